"""What can go wrong with laws, distances and energies: an error that can be mended or a flag, never a silent number."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from limits_site import entries, findings, prepared, scenario, strata
from scenario_folder import Folder

from envpredict.cli import main
from envpredict.cli._summary import out_of_range
from envpredict.core.errors import InputProblems, OutsideRange, ScenarioProblems
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.traced.explain import explain
from envpredict.engine.vibration.standoff import standoff_m
from envpredict.scenario.types import LimitsEntry, MethodEntry

MODELS = load_catalogue().models
ASK = ["distance", "--method", "impact_hydraulic", "--ground", "dense_sand", "--limit", "bs_5228_2_2009"]


@pytest.mark.parametrize(("name", "inputs"), [
    ("caltrans_impact", {"energy_j": 0.0, "caltrans_class": "III"}),
    ("caltrans_impact", {"energy_j": -5.0, "caltrans_class": "III"}),
    ("bs5228_percussive", {"energy_j": 1e4, "bs5228_ground": "gravel"}),
])
@pytest.mark.parametrize("distance_m", [10.0, 0.0, -1.0])
def test_a_law_refuses_what_it_cannot_take(name: str, inputs: dict[str, object], distance_m: float) -> None:
    with pytest.raises(ValueError, match=r"energy_j must be above 0|unknown word 'gravel'|distance_m must be above 0"):
        MODELS[name](distance_m=distance_m, **inputs)


def test_an_unknown_number_gives_no_distance() -> None:
    # NaN passes comparisons unnoticed: it must not come out as "met everywhere"
    found = standoff_m(MODELS["caltrans_impact"], [1.0, 5.0], 0.05, energy_j=np.array([np.nan, 5e4]),
                       caltrans_class="III")
    assert np.isnan(found.distance_m[0])
    assert found.distance_m[1] > 0.0
    assert found.in_range.tolist()[0] is False
    with pytest.raises(ValueError, match="limit_mm_s must be positive"):
        standoff_m(MODELS["caltrans_impact"], np.nan, energy_j=5e4, caltrans_class="III")


@pytest.mark.parametrize(("words", "what"), [
    (["--energy-kj", "nan"], "--energy-kj: nan is no value -> give a finite number"),
    (["--energy-kj", "inf"], "--energy-kj: inf is no value"),
    (["--frequency-hz", "nan", "--depth-m", "inf"], "--depth-m: inf is no value"),
    (["--energy-kj", "-1"], "-1.0 is not in the range x>0"),
    (["--exceedance", "nan"], "--exceedance: nan is no value"),
    (["--exceedance", "1"], "is not in the range 0<x<1"),
    (["--fact", "area:residential"], "'area:residential' isn't NAME=WORD"),
    (["--fact", "aera=residential"], "unknown fact 'aera' -> did you mean 'area'?"),
    (["--fact", "area=resdential"], "unknown word 'resdential' -> did you mean 'residential'?"),
    (["--use", "house"], "fact use: unknown word 'house'"),
    (["--days", "0"], "0 is not in the range x>=1"),
])
def test_the_command_names_what_is_wrong_with_its_question(words: list[str], what: str) -> None:
    done = CliRunner().invoke(main, [*ASK, *words])
    assert done.exit_code == 2
    assert what in done.output
    assert "Traceback" not in done.output


def test_limits_that_need_a_programme_or_a_place_say_so() -> None:
    ask = ["distance", "--ground", "dense_sand"]
    done = CliRunner().invoke(main, [*ask, "--method", "press_in_auger", "--limit", "din_4150_2_1999", "--fact",
                                     "area=residential", "--days", "30"])
    assert done.exit_code == 0, done.output
    assert "KB_FTr follows from times and numbers of a programme" in done.output
    assert "are read for 30" in done.output
    sand = CliRunner().invoke(main, [*ask, "--method", "impact_hydraulic", "--limit", "settlement_strain_bands"])
    assert "the rule speaks of loose saturated sand" in sand.output
    loose = CliRunner().invoke(main, ["distance", "--ground", "loose_sand", "--method", "impact_hydraulic", "--limit",
                                      "settlement_strain_bands"])
    assert " m " in loose.output


def test_a_range_that_excludes_every_receptor_is_a_flag_and_an_error_under_strict(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "site")
    (folder / "own_laws.toml").write_text(
        '[laws.mine]\nform = "power_law"\nconstants = { coefficient = 0.001, exponent = 1.2 }\n'
        'source = { document = "an invented trial", place = "table 1", basis = "read" }\n'
        "range = { distance_m = [2000.0, 3000.0] }\nscatter = { total = 0.3 }\n", encoding="utf-8")
    folder.add('[own]\nlaws = ["own_laws.toml"]\n\n[choice]\nmodels = { press_in_auger = "mine" }\n')
    found = assess(read_scenario(folder.path), grids=False)
    rows = found.findings[(found.findings["model"] == "mine") & found.findings["p_exceed"].notna()]
    assert len(rows)
    assert not rows["in_range"].any()
    assert (rows["likelihood"] == "cannot_judge").all()
    assert rows["reason"].str.contains("outside the law's valid range", regex=False).all()
    with pytest.raises(OutsideRange, match="outside its valid range"):
        out_of_range(found)


def test_an_energy_where_there_is_none_is_refused(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "site")
    folder.toml('id = "press_in_auger"', 'id = "press_in_auger"\nenergy_kj = 40')
    with pytest.raises(ScenarioProblems, match="the method has no energy per blow or cycle"):
        read_scenario(folder.path)
    folder.toml("energy_kj = 40\n\n[[methods]]\nid = \"vibratory", "energy_kj = -40\n\n[[methods]]\nid = \"vibratory")
    with pytest.raises(ScenarioProblems, match="-40 is out of range: it must be above 0"):
        read_scenario(folder.path)


def test_an_energy_beyond_the_law_is_flagged() -> None:
    site = scenario(methods=(MethodEntry("big", "impact_hydraulic", None, {"energy_kj": 2500.0}),))
    rows = findings(site)
    seen = rows[rows["predicted_median"].notna()]
    assert len(seen)
    assert not seen["in_range"].any()


def test_a_chance_that_is_none_and_a_receptor_that_is_not_there() -> None:
    site = scenario(limits=LimitsEntry(people=("bs_5228_2_2009",)))
    found = assess(site, grids=False)
    for chance in (0.0, 1.0, np.nan):
        with pytest.raises(InputProblems, match="is no chance -> give a number between 0 and 1"):
            explain(found, "R00", exceedances=(chance,))
    assert "0.2)" not in explain(found, "R00")
    assert "with a chance of 0.2" in explain(found, "R00", exceedances=(0.2,))


def test_unknown_ground_takes_the_documents_own_default_or_no_number() -> None:
    # without strata only the class stated by the user is known, which no law's words follow from
    base = scenario(methods=entries(["impact_hydraulic"]), strata=None)
    site = replace(base, ground_defaults=replace(base.ground_defaults, ground_class="dense_sand"))
    run, (method,) = prepared(site)
    law = next(field for field in method.vibration.fields if field.law.role == "preferred")
    assert any("the document's own default" in note for note in law.notes)
    assert np.isfinite(law.log_median).all()
    hard = next(field for field in method.vibration.fields if field.law.role == "hard_ground")
    assert np.isnan(hard.log_median).all()
    assert run.drive.ground is None
    assert len(strata()) == 3
