"""Outputs that can't be written: nothing half-written is left, an earlier result is untouched, the exit code is 3."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from scenario_folder import Folder

from envpredict.core.errors import OutputFailure
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.outputs.grid_files import write_grids
from envpredict.outputs.layers import check_complete, layers
from envpredict.outputs.registry import OUTPUTS, Output, load_outputs
from envpredict.outputs.write import write_assessment, write_folder

resource = pytest.importorskip("resource", reason="limits on the size of files are told to the system on POSIX alone")
OURS = ("charts", "report.docx", "report.html", "workbook.xlsx", "layers.gpkg", "findings.csv", "run.json")


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(Folder(tmp_path_factory.mktemp("failures") / "scenario").path))


@contextlib.contextmanager
def small_disk(most_bytes: int) -> Iterator[None]:
    """Let no file grow beyond a size, as a disk that is full would: every library meets the system's own error."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("name", OURS)
def test_a_full_disk_is_told_by_every_output(assessed: Assessment, name: str, tmp_path: Path) -> None:
    with small_disk(4096), pytest.raises(OSError, match=r".+"):
        load_outputs()[name].write(assessed, tmp_path / name)


def test_a_disk_that_fills_as_the_layers_are_closed_is_told(assessed: Assessment, tmp_path: Path) -> None:
    write = load_outputs()["layers.gpkg"].write
    write(assessed, tmp_path / "whole.gpkg")
    size = (tmp_path / "whole.gpkg").stat().st_size
    told = 0
    for missing in (4096, 12_288, 20_480, 40_960, 81_920):
        path = tmp_path / f"cut_{missing}.gpkg"
        try:
            with small_disk(size - missing):
                write(assessed, path)
        except OSError:
            told += 1
        else:      # it fitted after all: then nothing may be missing
            check_complete(path, layers(assessed))
    assert told >= 3


def test_a_full_disk_is_told_by_the_grids(assessed: Assessment, tmp_path: Path) -> None:
    with small_disk(1024), pytest.raises(OSError, match=r".+"):
        write_grids(assessed, tmp_path)


def earlier_result(folder: Path) -> dict[str, bytes]:
    folder.mkdir()
    (folder / "run.json").write_text("{}")
    (folder / "report.html").write_text("an earlier report")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def alone(folder: Path) -> bool:
    """Return whether nothing stands beside a folder: no scratch folder is left."""
    return [path.name for path in folder.parent.iterdir()] == [folder.name]


@pytest.mark.parametrize("fault", [OSError(28, "No space left on device"), PermissionError(13, "Permission denied"),
                                   KeyboardInterrupt()])
@pytest.mark.parametrize("at", ["charts", "workbook.xlsx"])
def test_a_fault_at_any_output_leaves_the_earlier_result(assessed: Assessment, fault: BaseException, at: str,
                                                         tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = earlier_result(tmp_path / "out")

    def broken(_: Assessment, path: Path) -> None:
        path.write_text("half")
        raise fault

    def quick(_: Assessment, path: Path) -> None:
        path.write_text("whole")

    load_outputs()
    things: dict[str, Any] = {name: Output(name, "", broken if name == at else quick) for name in OUTPUTS}
    monkeypatch.setattr(OUTPUTS, "_things", things)
    wanted = OutputFailure if isinstance(fault, OSError) else KeyboardInterrupt
    with pytest.raises(wanted) as caught:
        write_assessment(assessed, tmp_path / "out", replace=True)
    if isinstance(caught.value, OutputFailure):
        assert caught.value.exit_code == 3
        assert "room" in caught.value.hint
    assert held(tmp_path / "out") == before
    assert alone(tmp_path / "out")


def test_a_place_without_permission_is_told(assessed: Assessment, tmp_path: Path,
                                            monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> str:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(tempfile, "mkdtemp", refused)
    with pytest.raises(OutputFailure, match="can't be written") as caught:
        write_assessment(assessed, tmp_path / "out")
    assert caught.value.exit_code == 3
    assert not (tmp_path / "out").exists()


def program(*words: str | Path, most_bytes: int | None = None) -> subprocess.Popen[str]:
    # a program started in the background of a shell ignores Ctrl-C: here it must be as in a terminal
    start = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
             "from envpredict.cli import main; main(prog_name='envpredict')")
    if most_bytes is not None:
        start = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes}, {most_bytes})); {start}"
    return subprocess.Popen([sys.executable, "-c", start, *map(str, words)], stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, text=True)


def test_the_program_ends_with_3_on_a_full_disk(tmp_path: Path) -> None:
    scenario = Folder(tmp_path / "in").path
    place = tmp_path / "results"
    place.mkdir()
    before = earlier_result(place / "out")
    run = program("predict", scenario, "--out", place / "out", "--replace", most_bytes=60_000)
    _, said = run.communicate(timeout=300)
    assert run.returncode == 3, said
    assert "can't be written" in said
    assert "Traceback" not in said
    assert held(place / "out") == before
    assert alone(place / "out")


def test_the_program_ends_with_3_where_nothing_may_be_written(tmp_path: Path) -> None:
    """A folder of the system's own, in which even root can make nothing."""
    scenario = Folder(tmp_path / "in").path
    run = program("predict", scenario, "--out", "/proc/envpredict/out")
    _, said = run.communicate(timeout=300)
    assert run.returncode == 3, said
    assert "Traceback" not in said


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_program_leaves_nothing_half_written_and_ends_with_3(ending: signal.Signals,
                                                                            tmp_path: Path) -> None:
    scenario = Folder(tmp_path / "in").path
    place = tmp_path / "results"
    place.mkdir()
    before = earlier_result(place / "out")
    run = program("predict", scenario, "--out", place / "out", "--replace")
    until = time.monotonic() + 240
    while time.monotonic() < until and alone(place / "out") and run.poll() is None:
        time.sleep(0.01)       # until the scratch folder shows that writing has begun
    os.kill(run.pid, ending)
    _, said = run.communicate(timeout=240)
    assert run.returncode == 3, said
    assert "interrupted" in said
    assert "Traceback" not in said
    assert held(place / "out") == before
    assert alone(place / "out")


@pytest.mark.parametrize("after", [0, 1])
def test_an_interrupt_while_the_new_result_is_put_in_place_keeps_one_of_both(after: int, tmp_path: Path,
                                                                             monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the renames, and right after the second: the folder is never without a whole result."""
    before = earlier_result(tmp_path / "out")
    rename, seen = Path.rename, []

    def interrupted(self: Path, target: Path) -> Path:
        seen.append(target)
        if len(seen) == 2 and not after:
            raise KeyboardInterrupt
        found = rename(self, target)
        if len(seen) == 2 and after:
            raise KeyboardInterrupt
        return found

    monkeypatch.setattr(Path, "rename", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "out", lambda new: (new / "run.json").write_text("new") and None, replace=True)
    assert held(tmp_path / "out") == ({"run.json": b"new"} if after else before)
    assert alone(tmp_path / "out")
