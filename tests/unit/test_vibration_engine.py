"""Ground vibration on its way to a rule: phases, conversions, steps into buildings, boundary, pipes, printed curves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from limits_site import entries, findings, judged, made_up, prepared, scenario, strata, with_set

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.boundary import NEAREST_M, boundary_plan_m, boundary_points
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.traced.vibration import examined
from envpredict.engine.vibration.convert import FROM_PPV, conversion
from envpredict.engine.vibration.occupied import reaches
from envpredict.engine.vibration.printed import printed_curves, printed_values
from envpredict.engine.vibration.rules import examine
from envpredict.engine.vibration.steps import check_choice, foundation_loss, step_to
from envpredict.engine.works.programme import Passes
from envpredict.limits.outcome import Missing
from envpredict.scenario.types import LimitsEntry, MethodEntry, Scenario

CATALOGUE = load_catalogue()
MODELS, METHODS = CATALOGUE.models, CATALOGUE.methods
DAMAGE = 'effect = "damage"\nquantity = "ppv_component"\nunit = "mm/s"\n'
FLAT = 'place = "ground"\nvalue = { kind = "fixed", rows = [{ level = 5 }] }\n'


def one(site: Scenario, *rules: str) -> pd.DataFrame:
    """The findings of a made-up set at the nearest house."""
    run, methods = prepared(site)
    found = judged(with_set(run, made_up(*rules)), methods)
    return found[found["receptor"] == "R00"].set_index(["method", "rule"])


# --- phases: each judged in its own band -----------------------------------------------------------------------------

CURVE = ('place = "ground"\n[rules.value]\nkind = "fixed"\nshape = { between = "stepped", above = "hold" }\n'
         "rows = [{ points = [POINTS] }]\n")


def curve(points: str) -> str:
    return DAMAGE + CURVE.replace("POINTS", points)


def test_start_and_stop_are_judged_in_their_own_band_and_running_in_its_own() -> None:
    # running at 23 to 28 Hz, start and stop at 10 to 20 Hz (from memory): the curve tells which of them it was read for
    site = scenario(methods=entries(["vibratory_standard"]))
    found = one(site, curve("[1, 5], [22, 50], [30, 50]"), curve("[1, 500], [22, 2], [30, 2]"), DAMAGE + FLAT)
    low, high, flat = (found.loc[("vibratory_standard", f"rule_{n}")] for n in (1, 2, 3))
    # strict below 22 Hz: start and stop govern, at the same level and limit as under the flat rule
    assert "start or stop" in low["reason"]
    assert "10 to 20 Hz at start and stop" in low["reason"]
    assert (low["limit"], low["predicted_median"]) == (5.0, flat["predicted_median"])
    assert low["p_exceed"] == pytest.approx(flat["p_exceed"], abs=1e-6)
    # strict above 22 Hz: running governs, although start and stop shake more
    assert "running" in high["reason"]
    assert (high["limit"], high["unit"]) == (2.0, "mm/s")
    assert high["predicted_median"] < flat["predicted_median"]
    # by hand: BS 5228-2 (from memory), 60 / x^1.4 running and the higher of 60 / x^1.2 and its double at start and stop
    plan = _nearest_plan_m(site)
    assert high["predicted_median"] == pytest.approx(60.0 / plan**1.4, rel=1e-5)
    assert flat["predicted_median"] == pytest.approx(max(60.0 / plan**1.2, 120.0 / plan**1.4), rel=1e-5)


def _nearest_plan_m(site: Scenario) -> float:
    house = site.receptors.set_index("id").geometry["R00"]
    return float(site.piles.geometry.distance(house).min())


def test_a_phase_outside_the_curve_leaves_a_doubt_but_hides_no_exceedance() -> None:
    site = scenario(methods=entries(["vibratory_standard"]))
    found = one(site, curve("[22, 2], [30, 2]"), curve("[22, 1000], [30, 1000]"))
    strict, lax = (found.loc[("vibratory_standard", f"rule_{n}")] for n in (1, 2))
    assert strict["likelihood"] == "likely"
    assert lax["likelihood"] == "cannot_judge"
    assert "no value for all of 10 to 20 Hz" in lax["reason"]
    assert "start and stop" in lax["reason"]
    # a machine that starts and stops with zero moment has no such phase
    quiet = one(scenario(methods=entries(["vibratory_variable_moment"])), curve("[33, 1000], [60, 1000]"))
    assert "start" not in quiet.iloc[0]["reason"]


def test_other_laws_are_compared_like_for_like() -> None:
    run, (method,) = prepared(scenario(methods=entries(["vibratory_standard"])))
    found = judged(run, [method])
    row = found[(found["receptor"] == "R00") & (found["rule"] == "felt")].iloc[0]
    # twice the running level governs a few metres away: beside it stands the other law for start and stop, as a median
    assert "twice the running level" in row["reason"]
    spec = MODELS["caltrans_vibratory"]
    inputs = {"caltrans_class": "IV"} if "caltrans_class" in spec.options else {}
    median = float(spec.median(spec(distance_m=_nearest_plan_m(run.scenario), **inputs)))
    assert row["other_laws_low"] <= median * 10.0 ** (5.0 / 20.0) * 1.0001
    assert row["other_laws_high"] >= median * 10.0 ** (5.0 / 20.0) * 0.2


# --- conversions -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize("quantity", sorted(FROM_PPV))
def test_a_conversion_states_what_it_takes_for_granted(method: str, quantity: str) -> None:
    for law in METHODS[method].laws:
        found = conversion(MODELS, MODELS[law.model], quantity, METHODS[method], law.phase)
        assert not isinstance(found, Missing)
        told = found.notes[0]
        model = MODELS[FROM_PPV[quantity]]
        assert ("crest factor" in told) == ("crest_factor" in model.inputs)
        if "frequency_hz" in model.inputs and "published it" not in told:
            assert " Hz; " in told
            assert " at " in told


def test_a_level_turned_into_a_velocity_and_back_returns_itself() -> None:
    # the drilled and pressed methods rest on Japanese levels, 57 dB at 5 m for pre-boring (read, one source's middle)
    spec = MODELS["preauger_estimate"]
    found = conversion(MODELS, spec, "vibration_level_jp_db", METHODS["preauger_press"], "all")
    assert not isinstance(found, Missing)
    velocity = float(spec(distance_m=5.0))
    assert 20.0 * np.log10(velocity) + found.offset_db == pytest.approx(57.0, abs=1e-9)
    assert "published it" in found.notes[0]
    # a law without an origin takes the crest factor of the method's signal
    other = conversion(MODELS, MODELS["bs5228_vibratory"], "vibration_level_jp_db", METHODS["vibratory_standard"],
                       "running")
    assert not isinstance(other, Missing)
    assert "crest factor 1.41" in other.notes[0]


def test_a_limit_in_the_sources_own_quantity_is_judged_in_it() -> None:
    site = scenario(methods=entries(["bored_cased"]))
    rule = ('effect = "people"\nquantity = "vibration_level_jp_db"\nunit = "dB re 1e-5 m/s2"\nplace = "ground"\n'
            'value = { kind = "fixed", rows = [{ level = 75 }] }\n')
    row = one(site, rule).iloc[0]
    # by hand: 62 dB at 7 m, less 15 log(r / 7) and 8.68 x 0.01 (r - 7)
    plan = _nearest_plan_m(site)
    assert row["predicted_median"] == pytest.approx(62.0 - 15.0 * np.log10(plan / 7.0) - 0.0868 * (plan - 7.0),
                                                    abs=1e-3)


def test_one_component_never_passes_for_the_resultant_in_silence() -> None:
    vertical = conversion(MODELS, MODELS["preauger_estimate"], "ppv_resultant", METHODS["preauger_press"], "all")
    resultant = conversion(MODELS, MODELS["bs5228_vibratory"], "ppv_component", METHODS["vibratory_standard"], "all")
    assert not isinstance(vertical, Missing)
    assert not isinstance(resultant, Missing)
    assert "up to 1.73 times as high" in vertical.notes[0]
    assert vertical.basis == "estimate"
    assert "never below it" in resultant.notes[0]


def test_a_quantity_without_a_declared_conversion_cannot_be_judged() -> None:
    rule = ('effect = "people"\nquantity = "mtvv"\nunit = "m/s2"\nplace = "floor"\n'
            'value = { kind = "fixed", rows = [{ level = 0.01 }] }\n')
    row = one(scenario(), rule).iloc[0]
    assert row["likelihood"] == "cannot_judge"
    assert "MTVV isn't predicted" in row["reason"]


# --- steps into buildings --------------------------------------------------------------------------------------------

HOUSE = ("masonry", 2, "unknown")


def factor(place: str, choice: dict[str, Any], facts: tuple[str, int, str] = HOUSE) -> float:
    step = step_to(place, choice, facts)
    assert step is not None
    assert not isinstance(step, Missing)
    return step.factor


def test_no_loss_is_taken_unless_the_scenario_chooses_it() -> None:
    assert factor("foundation", {}) == 1.0
    assert factor("floor", {}) == pytest.approx(10.0 ** (5.0 / 20.0))
    assert step_to("ground", {"ground_to_foundation": 0.5}, HOUSE) is None


def test_steps_are_chosen_by_number_name_or_structure() -> None:
    # FTA 2006, Table 10-1 (read): -7 dB for masonry of 1 or 2 storeys, -5 dB for a wood frame, +6 dB at resonance
    assert factor("foundation", {"ground_to_foundation": 0.4}) == 0.4
    assert factor("foundation", {"ground_to_foundation": "masonry_1_2_storeys"}) == pytest.approx(10 ** (-7 / 20))
    by = {"ground_to_foundation": "by_structure"}
    assert factor("foundation", by, ("timber", 2, "unknown")) == pytest.approx(10 ** (-5 / 20))
    assert factor("foundation", by, ("masonry", 3, "unknown")) == pytest.approx(10 ** (-10 / 20))
    assert factor("foundation", by, ("concrete", 8, "spread")) == pytest.approx(10 ** (-13 / 20))
    both = by | {"foundation_to_floor": "resonant_floor"}
    step = step_to("floor", both, HOUSE)
    assert step is not None
    assert not isinstance(step, Missing)
    assert step.gain_db == pytest.approx(-1.0)
    assert step.scatter == pytest.approx(np.hypot(0.20, 0.25))


def test_what_a_step_needs_is_named() -> None:
    assert isinstance(foundation_loss(("concrete", 8, "unknown")), Missing)
    assert isinstance(foundation_loss(("none", 2, "spread")), Missing)
    site = scenario(choice={"ground_to_foundation": "by_structure"},
                    limits=LimitsEntry(damage=("din_4150_3_1999",)))
    concrete = site.receptors.assign(structure="concrete", foundation="unknown")
    rows = findings(replace(site, receptors=concrete))
    house = rows[(rows["receptor"] == "R00") & (rows["rule"] == "foundation")].iloc[0]
    assert house["likelihood"] == "cannot_judge"
    assert "the step into the building needs foundation" in house["reason"]


@pytest.mark.parametrize(("choice", "what"), [
    ({"ground_to_foundation": "masonry_1_2_storey"}, "unknown step 'masonry_1_2_storey' -> a number, or did you mean "
                                                     "'masonry_1_2_storeys'?"),
    ({"ground_to_floor": "resonant_floor"}, "unknown step 'resonant_floor'"),
    ({"ground_to_floor": 2.0, "foundation_to_floor": 3.0}, "is chosen beside foundation_to_floor"),
])
def test_a_step_that_is_not_declared_is_refused(choice: dict[str, Any], what: str) -> None:
    told = [str(problem) for problem in check_choice(choice)]
    assert len(told) == 1
    assert what in told[0]
    assert told[0].startswith("scenario.toml, key 'choice.")


def test_the_step_and_its_scatter_reach_the_finding_in_quadrature() -> None:
    site = scenario(methods=entries(["vibratory_variable_moment"]), choice={"ground_to_floor": 3.0},
                    limits=LimitsEntry(people=("bs_5228_2_2009",)))
    found = findings(site)
    row = found[(found["receptor"] == "R00") & (found["rule"] == "felt")].iloc[0]
    spec = MODELS["vibratory_variable_moment"]
    assert row["predicted_median"] == pytest.approx(3.0 * float(spec(distance_m=_nearest_plan_m(site))), rel=1e-5)
    assert spec.scatter is not None
    assert row["scatter"] == pytest.approx(np.hypot(spec.scatter.total, 0.25), rel=1e-5)
    assert "factor 3 from the ground, stated by the scenario" in row["reason"]


# --- the boundary ----------------------------------------------------------------------------------------------------

LEVEL = ('effect = "people"\nquantity = "ppv_vertical"\nunit = "mm/s"\nplace = "boundary"\n'
         'value = { kind = "fixed", rows = [{ class = "building", level = 5 }, { class = "other", level = 0.5 }] }\n')


def test_a_boundary_rule_is_judged_at_the_boundary_and_not_at_the_receptor() -> None:
    site = scenario(methods=entries(["vibratory_variable_moment"]))
    run, methods = prepared(site)
    found = judged(with_set(run, made_up(LEVEL)), methods).set_index("receptor")
    spec = MODELS["vibratory_variable_moment"]
    # the boundary runs 5 m from the piles: every receptor gets the level there, each under its own class's limit
    assert found["predicted_median"].to_numpy() == pytest.approx(float(spec(distance_m=5.0)), rel=5e-3)
    assert (found.loc["R00", "limit"], found.loc["R08", "limit"]) == (5.0, 0.5)
    assert found.loc["R08", "p_exceed"] > found.loc["R00", "p_exceed"]
    assert "judged on the site's boundary" in found.loc["R00", "reason"]


def test_without_a_boundary_it_cannot_be_judged() -> None:
    run, methods = prepared(scenario(boundary=None))
    found = judged(with_set(run, made_up(LEVEL)), methods)
    assert (found["likelihood"] == "cannot_judge").all()
    assert found["reason"].str.contains("name its polygon under [layers] boundary", regex=False).all()


def test_a_pile_on_the_boundary_counts_as_a_little_way_off_and_out_of_range() -> None:
    site = scenario(methods=entries(["vibratory_variable_moment"]))
    x, y = site.piles.geometry.iloc[0].x, site.piles.geometry.iloc[0].y
    touching = gpd.GeoDataFrame(geometry=[shapely.box(x, y, x + 60.0, y + 60.0)], crs=site.crs)
    plan = boundary_plan_m(replace(site, boundary=touching))
    assert not isinstance(plan, Missing)
    assert plan.min() == NEAREST_M
    run, methods = prepared(replace(site, boundary=touching))
    row = judged(with_set(run, made_up(LEVEL)), methods).iloc[0]
    assert not row["in_range"]
    assert "a pile nearer than 0.5 m counts as that far" in row["reason"]


def test_points_along_the_boundary_are_close_and_hold_the_nearest_to_each_pile() -> None:
    site = scenario()
    points = boundary_points(site, 2.0)
    assert not isinstance(points, Missing)
    line = site.boundary.geometry.iloc[0].boundary
    assert max(line.distance(shapely.Point(xy)) for xy in points.xy) < 1e-2
    along = np.sort([line.project(shapely.Point(xy)) for xy in points.xy])
    assert np.diff(np.append(along, along[0] + line.length)).max() <= 2.0 + 1e-6
    piles = np.column_stack([site.piles.geometry.x, site.piles.geometry.y])
    plan = boundary_plan_m(site)
    assert not isinstance(plan, Missing)
    assert points.plan_m(piles).min(axis=0) == pytest.approx(plan[0], abs=2e-3)
    with pytest.raises(ValueError, match="spacing_m"):
        boundary_points(site, 0.0)
    assert isinstance(boundary_points(scenario(boundary=None)), Missing)


# --- buried pipes, several rigs --------------------------------------------------------------------------------------

def test_the_slope_distance_to_a_buried_pipe_is_reported_and_flagged() -> None:
    site = scenario(limits=LimitsEntry(assets=("bs_5228_2_2009_assets",)))
    found = findings(site)
    row = found[(found["receptor"] == "R10") & (found["rule"] == "service_transient")].iloc[0]
    pile = site.piles.set_index("id").geometry[row["governing_pile"]]
    plan = site.receptors.set_index("id").geometry["R10"].distance(pile)
    assert f"buried 1.5 m deep: {np.hypot(plan, 1.5):.1f} m" in row["reason"]
    assert "the law was fitted at the surface" in row["reason"]


def test_several_rigs_combine_by_the_higher_level_and_say_so() -> None:
    base = scenario(limits=LimitsEntry(people=("bs_5228_2_2009",)))
    two = replace(base, programme=replace(base.programme, rigs=2))
    single, several = findings(base), findings(two)
    assert several["reason"].str.contains("the higher of their levels counts", regex=False).any()
    assert not single["reason"].str.contains("the higher of their levels counts", regex=False).any()
    key = ["receptor", "rule"]
    both = single.set_index(key)["predicted_median"].dropna()
    assert several.set_index(key)["predicted_median"].dropna().to_numpy() == pytest.approx(both.to_numpy())


# --- the toe-distance law in hard ground -----------------------------------------------------------------------------

def test_impact_is_shown_by_both_laws_where_the_drive_enters_hard_ground() -> None:
    run, (method,) = prepared(scenario())
    found = judged(run, [method])
    row = found[(found["receptor"] == "R00") & (found["rule"] == "felt")].iloc[0]
    roles = {field.law.role for field in method.vibration.fields}
    assert roles == {"preferred", "hard_ground"}
    seen = examined(run, method, row)
    levels = {field.law.role: float(field.log_median[0, seen.pile[0]]) for field in method.vibration.fields}
    higher = max(levels, key=lambda role: levels[role])
    assert method.vibration.fields[int(seen.field[0])].law.role == higher
    # by hand: BS 5228-2 (from memory), 5 sqrt(W) / r^1.3 at refusal, r to the toe where N is first above 50 (5.5 m)
    plan = float(run.plan_m[0, seen.pile[0]])
    energy = method.choice.energy_j
    assert energy is not None
    bound = 5.0 * np.sqrt(energy) / np.hypot(plan, 5.5) ** 1.3
    spec = MODELS["bs5228_percussive"]
    assert levels["hard_ground"] == pytest.approx(np.log10(float(spec.median(bound))), abs=1e-9)


def test_a_law_that_the_scenario_chose_governs_in_hard_ground_and_the_other_is_shown() -> None:
    chosen = replace(scenario(), choice={"models": {"impact_hydraulic": "attewell_1992_impact"}})
    run, (method,) = prepared(chosen)
    row = judged(run, [method]).query("receptor == 'R00' and rule == 'felt'").iloc[0]
    assert row["model"] == "attewell_1992_impact"
    assert "the scenario chose this law: in hard ground that for refusal" in row["reason"]
    # the law for refusal, by the distance to the toe where N is first above 50, is the highest of the others
    seen = examined(run, method, row)
    pile = int(seen.pile[0])
    energy = method.choice.energy_j
    assert energy is not None
    bound = 5.0 * np.sqrt(energy) / np.hypot(float(run.plan_m[0, pile]), 5.5) ** 1.3
    field = method.vibration.fields[int(seen.field[0])]
    other = float(MODELS["bs5228_percussive"].median(bound)) / 10.0 ** float(field.log_median[0, pile])
    assert row["other_laws_high"] / row["predicted_median"] == pytest.approx(other, rel=1e-5)
    soft = strata().assign(spt_n=["8", "20", "20"], gravel="no", description="sand")
    there = findings(replace(chosen, strata=soft))
    assert not there["reason"].str.contains("the scenario chose this law", regex=False).any()


def test_soft_ground_has_no_refusal() -> None:
    soft = strata().assign(spt_n=["8", "20", "20"], gravel="no", description="sand")
    run, (method,) = prepared(scenario(strata=soft))
    hard = next(field for field in method.vibration.fields if field.law.role == "hard_ground")
    assert np.isnan(hard.log_median).all()
    found = judged(run, [method])
    assert (found.loc[found["predicted_median"].notna(), "model"] == "caltrans_impact").all()


# --- printed curves --------------------------------------------------------------------------------------------------

def test_a_documents_curves_come_back_digit_for_digit_under_its_own_labels() -> None:
    # BS 5228-2 (from memory): 60, 126 and 266 over x^1.3, worked at 10 m: 3.01, 6.31, 13.33
    curves = printed_curves(MODELS, MODELS["bs5228_vibratory"], {"operation": "all"})
    values = {one.label: float(printed_values(one, distance_m=10.0, operation="all")) for one in curves}
    assert list(values) == ["'50 %' as printed", "'33.3 %' as printed", "'5 %' as printed"]
    assert [round(value, 2) for value in values.values()] == [3.01, 6.31, 13.33]
    (bound,) = printed_curves(MODELS, MODELS["bs5228_percussive"], {})
    # worked by hand: 1.5 sqrt(30 000) / 10^1.3 = 13.02
    value = printed_values(bound, distance_m=10.0, energy_j=30_000.0, bs5228_ground="stiff")
    assert float(value) == pytest.approx(13.02, abs=0.005)
    assert printed_curves(MODELS, MODELS["caltrans_impact"], {}) == []


def test_ground_that_nobody_knows_is_no_number() -> None:
    unknown = strata().assign(spt_n=None, gravel=None, description="ground")
    found = findings(scenario(strata=unknown, methods=(MethodEntry("x", "impact_hydraulic", None,
                                                                   {"model": "bs5228_percussive"}),)))
    rows = found[found["limit"].notna()]
    assert len(rows)
    assert (rows["likelihood"] == "cannot_judge").all()
    assert rows["predicted_median"].isna().all()
    assert rows["reason"].str.contains("the ground along the drive isn't known well enough", regex=False).all()


def test_a_period_without_work_is_not_applicable_and_no_pass() -> None:
    run, (method,) = prepared(scenario())
    night = made_up(DAMAGE + 'periods = [{ id = "night", label = "night", from = "23:00", to = "05:00" }]\n' + FLAT)
    seen = examine(with_set(run, night), method, night, night.rules[0], night.rules[0].periods[0])
    assert seen.judgement.silent.all()
    found = judged(with_set(run, night), [method])
    assert (found["likelihood"] == "not_applicable").all()
    assert found["reason"].str.contains("nothing works").all()


def test_the_scenario_refuses_a_step_that_nobody_declares(tmp_path: Any) -> None:
    from scenario_folder import Folder

    from envpredict.engine.intake import read_scenario

    folder = Folder(tmp_path / "site").add('[choice]\nground_to_foundation = "half_of_groun"\nground_to_floor = 25\n')
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(folder.path)
    assert "25 is out of range: it must be above 0 and at most 20" in str(caught.value)
    folder.text("scenario.toml", "ground_to_floor = 25\n", "")
    with pytest.raises(ScenarioProblems, match="did you mean 'half_of_ground'"):
        read_scenario(folder.path)


# --- people are asked only while they are there ----------------------------------------------------------------------

def test_clock_hours_reach_passes_over_midnight() -> None:
    night = passes_at([(23.0, 25.0), (8.0, 9.0), (16.0, 17.0)])
    assert reaches(night, "00:30-06:00").tolist() == [True, False, False]
    assert reaches(night, "22:00-08:30").tolist() == [True, True, False]
    assert reaches(night, "09:00-16:00").tolist() == [False, False, False]
    assert reaches(night, "07:00-08:01, 16:59-18:00").tolist() == [False, True, True]


def passes_at(hours: list[tuple[float, float]]) -> Passes:
    count = len(hours)
    start, end = (np.array(each) * 3600.0 for each in zip(*hours, strict=True))
    none = np.zeros(count, dtype=bool)
    return Passes(np.arange(count), np.ones(count, dtype=int), np.zeros(count, dtype=int),
                  np.full(count, "2027-03-01", dtype="datetime64[D]"), start, end, np.ones(count), none, none, ())


def test_limits_for_people_count_no_work_while_nobody_is_there_and_limits_on_damage_do() -> None:
    base = scenario(methods=entries(["impact_hydraulic"]),
                    limits=LimitsEntry(people=("bs_5228_2_2009",), damage=("bs_7385_2_1993",)))
    key = ["receptor", "rule"]

    def at(hours: str | None) -> pd.DataFrame:
        receptors = base.receptors.assign(occupied_hours=hours)
        return findings(replace(base, receptors=receptors)).set_index(key)

    always, evening, morning = at(None), at("20:00-23:00"), at("08:00-09:00")
    people = (always["effect"] == "people") & always["predicted_median"].notna()
    assert people.any()
    assert (evening.loc[people, "likelihood"] == "not_applicable").all()
    nobody = "nobody is there while the works go on: people are there 20:00"
    assert evening.loc[people, "reason"].str.startswith(nobody).all()
    assert (morning.loc[people, "p_exceed"] <= always.loc[people, "p_exceed"]).all()
    assert (morning.loc[people, "p_exceed"] < always.loc[people, "p_exceed"]).any()
    assert morning.loc[people, "reason"].str.contains("people are there 08:00-09:00: work wholly outside").any()
    damage = always["effect"] == "damage"
    assert damage.any()
    pd.testing.assert_frame_equal(evening[damage], always[damage])
