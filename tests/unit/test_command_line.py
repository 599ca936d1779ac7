"""The program as a user meets it: exit codes, messages, folders that are written whole or not at all."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner, Result
from demo_assessment import SCENARIO, assessment

from envpredict.cli import main
from envpredict.cli._summary import summary
from envpredict.core.errors import InputProblems, OutputFailure
from envpredict.outputs.registry import OUTPUTS, load_outputs
from envpredict.outputs.write import write_assessment, write_folder


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_assessment(assessment(), tmp_path_factory.mktemp("result") / "out")


def test_the_starter_is_accepted_at_once(tmp_path: Path) -> None:
    assert run("new", tmp_path / "site").exit_code == 0
    assert "No problem found" in run("check", tmp_path / "site").output
    done = run("predict", tmp_path / "site", "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    written = {file.name for file in (tmp_path / "out").iterdir()}
    assert {"risk_map.html", "findings.csv", "layers.gpkg", "run.json"} <= written
    assert "Stop work when" in done.output
    again = run("new", tmp_path / "site")
    assert again.exit_code == 2
    assert "exists" in again.output


def test_five_broken_inputs_are_reported_together_and_nothing_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "broken"
    shutil.copytree(SCENARIO, folder)
    text = (folder / "scenario.toml").read_text(encoding="utf-8")
    text = text.replace('crs = "EPSG:32631"', 'crs = "EPSG:3857"', 1)
    text = text.replace('id = "press_in_auger"', 'id = "pres_in_auger"', 1)
    text = text.replace('damage = ["din_4150_3_1999"', 'damage = ["din_4150_3_1899"', 1)
    text = text.replace('strata = "boreholes.csv"', 'strata = "bore_holes.csv"', 1)
    text = text.replace('to = "18:00"', 'to = "08:00"', 1)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "out"
    done = run("predict", folder, "--out", out)
    assert done.exit_code == 2
    assert "Traceback" not in done.output
    for word in ("EPSG:3857", "press_in_auger", "din_4150_3_1999", "bore_holes.csv", "shift"):
        assert word in done.output, f"{word} isn't in: {done.output}"
    assert not out.exists()
    assert not list(tmp_path.glob(".out*"))


def test_what_the_terminal_shows_keeps_to_100_columns() -> None:
    """Words stay whole: what is said is the same text, in lines that end in time."""
    lines = summary(assessment(), Path("out")).splitlines()
    assert max(map(len, lines)) <= 100
    said = " ".join(" ".join(lines).split())
    for caution in assessment().cautions:
        assert caution in said
    assert "charts is a folder" in said


def test_an_output_folder_that_exists_is_an_error_before_anything_is_computed(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("mine")
    for extra in ([], ["--replace"]):
        done = run("predict", SCENARIO, "--out", tmp_path / "out", *extra)
        assert done.exit_code == 2
        assert "out" in done.output
    assert (tmp_path / "out" / "letter.txt").read_text() == "mine"


def test_a_scenario_that_is_missing_or_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "file.txt").write_text("x")
    for name in ("nowhere", "file.txt"):
        done = run("check", tmp_path / name)
        assert done.exit_code == 2
        assert name in done.output


def test_explain_traces_a_number_to_its_sources() -> None:
    done = run("explain", SCENARIO, "--receptor", "H001", "--method", "impact_hydraulic")
    assert done.exit_code == 0, done.output
    for word in ("Governing pile", "plan distance", "Law:", "valid range", "scatter", "source:", "Margin:",
                 "class of the receptor", "Likelihood:", "divergence", "on for", "verify"):
        assert word in done.output, word
    wrong = run("explain", SCENARIO, "--receptor", "H0001")
    assert wrong.exit_code == 2
    assert "did you mean 'H001'" in wrong.output


@pytest.mark.parametrize("kind", ["models", "methods", "plant", "limits"])
def test_lists_show_every_entry_with_its_basis(kind: str) -> None:
    done = run("list", kind)
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert "basis" in lines[0]
    names = [line.split()[0] for line in lines[1:]]
    assert len(names) == len(set(names)) > 4
    one = run("list", kind, names[0])
    assert one.exit_code == 0, one.output
    assert "basis" in one.output or "known as" in one.output
    assert run("list", kind, "nothing_like_it").exit_code == 2


def test_every_output_is_written_and_the_record_names_its_inputs(written: Path) -> None:
    assert {file.name for file in written.iterdir()} == set(load_outputs()) - {"findings.parquet"}
    record = json.loads((written / "run.json").read_text(encoding="utf-8"))
    assert set(record["inputs_sha256"]) >= {"scenario.toml", "boreholes.csv", "neighbours.gpkg"}
    assert all(len(digest) == 64 for digest in record["inputs_sha256"].values())
    assert record["draft_because"]
    assert any("verify" in source for source in record["sources"])
    assert str(written) not in json.dumps(record)


def test_findings_csv_reads_back_as_the_findings(written: Path) -> None:
    read = pd.read_csv(written / "findings.csv", comment="#", keep_default_na=True)
    findings = assessment().findings
    assert list(read.columns) == list(findings.columns)
    assert len(read) == len(findings)
    both = read["p_exceed"].notna().to_numpy() & findings["p_exceed"].notna().to_numpy()
    assert read["p_exceed"].to_numpy()[both] == pytest.approx(findings["p_exceed"].to_numpy()[both], rel=1e-6)
    first = (written / "findings.csv").read_text(encoding="utf-8").splitlines()[:8]
    assert any("Stop work" in line for line in first)


def test_layers_read_back_with_their_coordinate_system(written: Path) -> None:
    names = {name for name, _ in pyogrio.list_layers(written / "layers.gpkg")}
    assert {"receptors", "piles", "wall", "contours", "cautions", "receptors_press_in"} <= names
    layer = pyogrio.read_dataframe(written / "layers.gpkg", layer="receptors_impact_hydraulic")
    assert layer.crs == assessment().scenario.crs
    governing = assessment().governing()
    assert set(layer["likelihood"]) <= set(governing["likelihood"])
    assert len(layer) == len(assessment().receptors)


def test_the_same_inputs_give_the_same_bytes(written: Path, tmp_path: Path) -> None:
    """Every file of a second result, made with nothing kept from the first, charts and all."""
    fresh = replace(assessment(), findings=assessment().findings.copy())
    again = write_assessment(fresh, tmp_path / "again")
    files = sorted(path.relative_to(written) for path in written.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(again) for path in again.rglob("*") if path.is_file())
    assert len(files) > 20
    for name in files:
        if name.suffix != ".gpkg":
            assert (written / name).read_bytes() == (again / name).read_bytes(), name
    layers = {name for name, _ in pyogrio.list_layers(written / "layers.gpkg")}
    with sqlite3.connect(written / "layers.gpkg") as one, sqlite3.connect(again / "layers.gpkg") as two:
        for layer in layers:
            assert one.execute(f"select * from {layer}").fetchall() == two.execute(f"select * from {layer}").fetchall()


def test_replacing_swaps_only_a_complete_result(tmp_path: Path) -> None:
    out = tmp_path / "out"

    def first(folder: Path) -> None:
        (folder / "run.json").write_text("1")

    def fails(folder: Path) -> None:
        (folder / "run.json").write_text("2")
        raise OSError(28, "No space left on device")

    write_folder(out, first)
    with pytest.raises(InputProblems, match="exists already"):
        write_folder(out, first)
    with pytest.raises(OutputFailure, match="No space left"):
        write_folder(out, fails, replace=True)
    assert (out / "run.json").read_text() == "1"
    write_folder(out, lambda folder: (folder / "run.json").write_text("3") and None, replace=True)
    assert (out / "run.json").read_text() == "3"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_cannot_be_written_ends_with_exit_code_3(tmp_path: Path) -> None:
    blocker = tmp_path / "blocker"
    blocker.write_text("a file where a folder is wanted")
    with pytest.raises(OutputFailure) as caught:
        write_folder(blocker / "out", lambda folder: None)
    assert caught.value.exit_code == 3


def test_a_fault_of_the_program_itself_shows_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_path: Path) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("envpredict.engine.intake.read_scenario", broken)
    done = run("check", SCENARIO)
    assert done.exit_code == 4
    assert "a fault of envpredict itself" in done.output
    assert "Traceback" not in done.output
    monkeypatch.setenv("ENVPREDICT_DEBUG", "1")
    assert isinstance(run("check", SCENARIO).exception, ZeroDivisionError)


def test_outputs_are_found_without_a_list() -> None:
    assert set(OUTPUTS) == set(load_outputs())
    assert np.all([output.holds for output in OUTPUTS.values()])
