"""Predictions with a site law: what it changes, where, and when `unlikely` may rest on it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from site_law_site import PRESS, assessed, press_level, rows, scenario, site_file

from envpredict.engine.learned.site_law import SCHEMA, HarderGround, PlantFit, SiteFile, speaks_for
from envpredict.engine.results import Assessment
from envpredict.engine.traced.explain import explain
from envpredict.engine.vibration.field import TWICE
from envpredict.outputs.run_record import record

IMPACT = "impact_hydraulic"
TOE = {"quantity": "ppv_resultant", "method": "impact_hydraulic", "energy_kj": 40.0, "depth_m": 6.5}
LOW = {"quantity": "ppv_component", "method": IMPACT, "energy_kj": 40.0, "ground": "IV"}


METHODS = {"impact": (IMPACT, "energy_kj = 40"), "vibrator": ("vibratory_standard", "energy_kj = 6")}
VIBRATOR = {"quantity": "ppv_resultant", "method": "vibratory_standard", "energy_kj": 6.0}


def typed(kind: str) -> SiteFile:
    """Return the site law of records whose piles are of a type."""
    return site_file(("auger_press_estimate", tuple(replace(row, pile_type=kind, length_m=4.0) for row in rows())))


@cache
def run(case: str) -> Assessment:
    """Return the assessment of a named case, made once."""
    files = {
        "plain": None,
        "enough": site_file(("auger_press_estimate", rows())),
        "few": site_file(("auger_press_estimate", rows(distances=(5.0, 20.0), piles=2))),
        "near": site_file(("auger_press_estimate", rows(distances=(2.0, 4.0, 8.0)))),
        "soft": site_file(("auger_press_estimate", rows(hard=False))),
        "vertical": site_file(("auger_press_estimate", rows(quantity="ppv_vertical"))),
        "harder": site_file(("auger_press_estimate", rows(hard=False)), harder_ground=(
            HarderGround(piles=("A-001", "A-002"), from_m=4.0, to_m=5.5, why="pile A-001: press force 900 kN"),)),
        "impact plain": None,
        "vibrator plain": None,
        "vibrator running": site_file(("bs5228_vibratory", rows(lambda d: 90.0 / d**1.4, phase="running", **VIBRATOR))),
        "vibrator start": site_file(("bs5228_vibratory", rows(lambda d: 45.0 / d**1.2, phase="start_stop",
                                                              **VIBRATOR))),
        "impact": site_file(("caltrans_impact", rows(lambda d: 40.0 / d**1.2, **LOW))),
        "impact soft": site_file(("caltrans_impact", rows(lambda d: 40.0 / d**1.2, hard=False, **LOW))),
        "impact raised": site_file(("bs5228_percussive", rows(lambda d: 900.0 / d**1.2, (2.0, 6.0, 12.0, 24.0),
                                                              **TOE))),
        "other piles": typed("tubular"),
        "same piles": typed("sheet_u"),
        "impact few": site_file(("caltrans_impact", rows(lambda d: 5.0 / d**1.1, distances=(10.0, 20.0), piles=2,
                                                         **LOW))),
        "impact toe": site_file(("bs5228_percussive", rows(lambda d: 90.0 / d**1.2, **TOE))),
        "impact lower energy": site_file(("bs5228_percussive", rows(lambda d: 300.0 / d**1.2,
                                                                    **{**TOE, "energy_kj": 25.0}))),
        "impact other energy": site_file(("bs5228_percussive", rows(lambda d: 90.0 / d**1.2,
                                                                    **{**TOE, "energy_kj": 10.0}))),
    }
    method, more = METHODS.get(case.partition(" ")[0], (PRESS, ""))
    with TemporaryDirectory() as folder:
        return assessed(scenario(Path(folder) / "site", files[case], method, more))


def vibration(case: str) -> pd.DataFrame:
    table = run(case).findings
    return table[table["effect"] != "noise"].reset_index(drop=True)


def distance_m(case: str) -> pd.Series:
    """Return the plan distance of each vibration finding's governing pile."""
    whole = run(case).detail["run"]
    receptors = whole.scenario.receptors["id"].tolist()
    piles = whole.scenario.piles["id"].tolist()
    return vibration(case).apply(lambda row: whole.plan_m[receptors.index(row["receptor"]), piles.index(
        row["governing_pile"])] if row["governing_pile"] else np.nan, axis=1)


def test_without_a_site_law_an_estimate_never_carries_unlikely() -> None:
    assert "unlikely" not in set(vibration("plain")["likelihood"])


def test_unlikely_rests_on_a_sufficient_site_law_within_its_reach_alone() -> None:
    table, distance = vibration("enough"), distance_m("enough")
    sure = table["likelihood"] == "unlikely"
    assert sure.any()
    assert (distance[sure] <= 80.0).all()
    assert (table.loc[sure, "median_basis"] == "read").all()
    assert (table.loc[sure, "p_exceed"] < 0.05).all()
    beyond = (distance > 80.0) & table["p_exceed"].notna()
    assert beyond.any()
    assert "unlikely" not in set(table.loc[beyond, "likelihood"])
    assert table.loc[beyond, "reason"].str.contains("don't reach to this distance").all()


def test_beyond_the_reach_the_published_law_stands_to_the_last_digit() -> None:
    table, plain = vibration("near"), vibration("plain")
    whole = run("near").detail["run"]
    nearest = dict(zip(whole.scenario.receptors["id"], whole.plan_m.min(axis=1), strict=True))
    beyond = (table["receptor"].map(nearest) > 16.0) & table["p_exceed"].notna()
    assert beyond.any()
    for column in ("predicted_median", "scatter", "predicted_design", "p_exceed", "likelihood"):
        assert table.loc[beyond, column].tolist() == plain.loc[beyond, column].tolist()


def test_a_provisional_law_shifts_predictions_but_carries_no_unlikely() -> None:
    table, plain = vibration("few"), vibration("plain")
    changed = table["predicted_median"].notna() & (table["predicted_median"] != plain["predicted_median"])
    assert changed.any()
    assert "unlikely" not in set(table["likelihood"])
    updated = table["reason"].str.contains("updated by trial records")
    assert table.loc[updated, "reason"].str.contains("updated by trial records of this site, provisional").all()
    assert updated.any()


def test_the_median_is_the_published_one_shifted_and_the_scatter_what_is_left() -> None:
    table, plain, distance = vibration("enough"), vibration("plain"), distance_m("enough")
    fit = run("enough").methods[0].site.laws[0].of("hard")
    assert fit is not None
    inside = table["p_exceed"].notna() & (distance <= 80.0) & (table["governing_pile"] == plain["governing_pile"])
    assert inside.any()
    at = distance[inside].to_numpy()
    ratio = table.loc[inside, "predicted_median"] / plain.loc[inside, "predicted_median"]
    assert np.log10(ratio.to_numpy()) == pytest.approx(fit.shift(at), abs=1e-5)
    # what a place in the building adds to the scatter stays; the scatter between sites is exchanged
    law = run("enough").methods[0].site.laws[0].prior
    place = plain.loc[inside, "scatter"] ** 2 - law.between_site**2 - law.within_site**2
    left = np.sqrt(place.to_numpy() + fit.between(at) ** 2 + fit.within_site**2)
    assert table.loc[inside, "scatter"].to_numpy() == pytest.approx(left, abs=1e-5)


def test_piles_that_never_entered_the_hard_stratum_tell_nothing_of_those_that_will() -> None:
    table, plain = vibration("soft"), vibration("plain")
    numbers = ["predicted_median", "scatter", "p_exceed", "likelihood"]
    pd.testing.assert_frame_equal(table[numbers], plain[numbers])
    assert table.loc[table["p_exceed"].notna(), "reason"].str.contains("piles in other ground than this pile's").all()


def test_records_of_one_component_say_nothing_sure_of_a_rule_on_another() -> None:
    table = vibration("vertical")
    judged = table[table["p_exceed"].notna()]
    assert {"ppv_component", "ppv_vertical"} & set(judged["quantity"])
    sure = set(judged.loc[judged["likelihood"] == "unlikely", "quantity"])
    assert all(speaks_for("ppv_vertical", quantity) for quantity in sure)
    others = judged[~judged["quantity"].map(lambda quantity: speaks_for("ppv_vertical", quantity))]
    assert len(others)
    assert others["reason"].str.contains("say nothing sure of|don't reach").all()


def test_which_measured_velocity_speaks_for_which_rule() -> None:
    assert speaks_for("ppv_resultant", "ppv_component")
    assert speaks_for("ppv_resultant", "kb_fmax")
    assert speaks_for("ppv_component", "ppv_vertical")
    assert not speaks_for("ppv_component", "ppv_resultant")
    assert not speaks_for("ppv_vertical", "ppv_component")
    assert speaks_for("ppv_vertical", "velocity_level_us_db")
    assert not speaks_for("ppv_vertical", "vdv")


def test_reasons_explanation_and_record_show_prior_records_posterior_and_the_change() -> None:
    done = run("enough")
    table = vibration("enough")
    near = table[table["reason"].str.contains("updated by trial records")]
    assert near["reason"].str.contains(r"by the published law alone: median [\d.]+ mm/s, chance").all()
    text = " ".join(explain(done, near["receptor"].iloc[0], PRESS).split())
    assert "trial records: updated by trial records of this site" in text
    assert "prior: median" in text
    assert "posterior: median" in text
    assert f"{rows()[0].ppv_mm_s:g} at 5 m" in text
    assert any("site law of auger_press_estimate" in said and "12 records of 3 piles" in said for said in done.warnings)
    (law,) = record(done)["options"]["site_law"][PRESS]["laws"]
    assert law["prior"]["between_site"] > law["strata"][0]["covariance"][0] ** 0.5
    assert len(law["strata"][0]["data"]["ppv_mm_s"]) == 12


def test_where_press_records_show_harder_ground_predictions_are_flagged_and_unproven() -> None:
    table = vibration("harder")
    hit = table["reason"].str.contains("the ground proved harder than the boreholes show: pile A-001")
    # pile A-001 stands 30 m from the first receptors: near enough to govern, were it 5 times as strong
    assert hit.any()
    assert not hit.all()
    assert "unlikely" not in set(table.loc[hit, "likelihood"])
    assert any("proved harder" in said for said in run("harder").warnings)


def test_sufficient_records_from_the_hard_stratum_take_the_place_of_the_published_law_for_it() -> None:
    plain, table = vibration("impact plain"), vibration("impact")
    assert "bs5228_percussive" in set(plain["model"])
    near = table["reason"].str.contains("updated by trial records of this site;")
    assert near.any()
    assert set(table.loc[near, "model"]) == {"caltrans_impact"}


def test_records_from_outside_the_hard_stratum_never_silence_the_law_for_it() -> None:
    plain, table = vibration("impact plain"), vibration("impact soft")
    assert not run("impact soft").methods[0].site.laws[0].strata[0].lacks(), "there are enough of them"
    numbers = ["predicted_median", "scatter", "p_exceed", "likelihood", "model"]
    pd.testing.assert_frame_equal(table[numbers], plain[numbers])


def test_where_records_raise_the_level_nothing_beyond_their_reach_is_unlikely() -> None:
    plain, table = vibration("impact plain"), vibration("impact raised")
    beyond = table["reason"].str.contains("though they raise the level where they do, and it jumps")
    assert beyond.any()
    assert "unlikely" in set(plain.loc[beyond, "likelihood"]), "by the published law alone some would be"
    assert "unlikely" not in set(table.loc[beyond, "likelihood"])
    assert (table.loc[beyond, "predicted_median"] == plain.loc[beyond, "predicted_median"]).all()
    (ends,) = [text for text in run("impact raised").warnings if "the level jumps from the updated to" in text]
    assert "no blend is published" in ends


def test_records_of_other_piles_stay_provisional_and_it_is_said() -> None:
    other, same = vibration("other piles"), vibration("same piles")
    assert "unlikely" in set(same["likelihood"])
    assert "unlikely" not in set(other["likelihood"])
    rests = other["reason"].str.contains("the trial was of tubular, the works have sheet_u too")
    assert rests.any()
    assert any("the records stay provisional" in text for text in run("other piles").warnings)
    assert any("is longer than any of the trial, 4 m" in text for text in run("same piles").warnings)
    assert any("doesn't state its type of pile" in text for text in run("enough").warnings)


def test_a_chance_that_is_low_only_by_provisional_records_cant_be_judged() -> None:
    plain, table = vibration("impact plain"), vibration("impact few")
    rests = table["reason"].str.contains("the chance is low only by provisional trial records")
    assert (table.loc[rests, "likelihood"] == "cannot_judge").all()
    assert (plain.loc[rests, "p_exceed"] >= 0.05).all()
    # what was unlikely by the published law alone stays so
    sure = plain["likelihood"] == "unlikely"
    assert set(table.loc[sure, "likelihood"]) <= {"unlikely"}


def governing_phases(case: str) -> set[tuple[str, bool]]:
    """Return which phases govern the passes, each with whether it's the rule of twice the running level."""
    found = run(case).detail["methods"]["vibratory_standard"].vibration
    return {(found.fields[number].law.phase, TWICE in found.fields[number].notes) for number in np.unique(found.field)}


def test_start_and_stop_follow_the_running_level_until_they_are_measured_themselves() -> None:
    # twice the running level governs near by, the printed level of start and stop far off
    assert governing_phases("vibrator plain") == {("start_stop", True), ("start_stop", False)}
    plain, running, start = (vibration(f"vibrator {case}") for case in ("plain", "running", "start"))
    doubled = running["reason"].str.contains("twice the running level as trial records of this site have updated it")
    assert doubled.any()
    assert "unlikely" not in set(running.loc[doubled & ~(plain["likelihood"] == "unlikely"), "likelihood"])
    # a measured start and stop takes the place of both the printed law and twice the running level
    mine = start["reason"].str.contains("updated by trial records of this site;")
    assert mine.any()
    assert (start.loc[mine, "predicted_median"] < plain.loc[mine, "predicted_median"]).all()
    assert ("start_stop", False) in governing_phases("vibrator start")


def test_the_law_for_hard_ground_can_be_updated_itself() -> None:
    plain, table = vibration("impact plain"), vibration("impact toe")
    mine = table["reason"].str.contains("updated by trial records of this site;")
    assert mine.any()
    assert set(table.loc[mine, "model"]) == {"bs5228_percussive"}
    assert (table.loc[mine, "predicted_median"] < plain.loc[mine, "predicted_median"]).all()


def test_records_at_a_lower_energy_dont_prove_a_higher_one() -> None:
    table = vibration("impact lower energy")
    changed = table["reason"].str.contains("updated by trial records")
    assert changed.any()
    assert table.loc[changed, "reason"].str.contains("updated by trial records of this site, provisional").all()


def test_records_at_quite_another_energy_change_nothing() -> None:
    plain, table = vibration("impact plain"), vibration("impact other energy")
    assert table["predicted_median"].equals(plain["predicted_median"])
    assert table["reason"].str.contains("the trial was at another energy").any()


def plant_fit(measured: float, count: int) -> SiteFile:
    from envpredict.engine.catalogue import load_catalogue
    from envpredict.monitoring.site_law.source_level import updated

    item = load_catalogue().plant["press_power_pack"]
    fit: PlantFit = updated(item, [measured] * count)
    return SiteFile(schema=SCHEMA, fitted_with="test", records={"levels.csv": "0" * 64}, plant=(fit,))


@pytest.mark.parametrize(("measured", "count", "taken"), [(80.0, 6, True), (80.0, 4, False), (104.0, 4, True)])
def test_measured_plant_takes_effect_but_few_levels_never_lower_it(tmp_path: Path, measured: float, count: int,
                                                                   taken: bool) -> None:
    done = assessed(scenario(tmp_path / "site", plant_fit(measured, count)))
    table, plain = done.findings, run("plain").findings
    noise, before = (one[one["effect"] == "noise"].reset_index(drop=True) for one in (table, plain))
    moved = noise["predicted_median"] - before["predicted_median"]
    assert (moved.dropna() < 0).all() if taken and measured < 90 else (moved.dropna() >= 0).all()
    assert moved.abs().max() > 0.1 if taken else moved.abs().max() == 0.0
    said = next(text for text in done.warnings if "power pack" in text.casefold())
    assert "levels measured on this site" in said
    assert ("becomes" in said) == taken
    vibrating = [table[table["effect"] != "noise"], plain[plain["effect"] != "noise"]]
    assert vibrating[0]["predicted_median"].equals(vibrating[1]["predicted_median"])


def test_a_level_that_the_scenario_states_itself_stands(tmp_path: Path) -> None:
    stated = 'plant = [{ id = "press_power_pack", lwa_db = 99.0 }]'
    done = assessed(scenario(tmp_path / "site", plant_fit(80.0, 6), more=stated))
    assert any("its sound power is stated otherwise, 99 dB" in text for text in done.warnings)


def test_the_invented_level_lies_below_the_estimate() -> None:
    # the cases above rest on it
    assert press_level(10.0) < 0.5
