"""A drafted plan covers whoever may exceed, measures the worst, derives its levels, and says what is still open."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from demo_assessment import assessment as demo

from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.limits.load import load_limit_sets
from envpredict.monitoring.audit import audit
from envpredict.monitoring.checks.coverage import near_its_limit
from envpredict.monitoring.draft import draft_plan
from envpredict.monitoring.draft_cover import cover, transfer_db
from envpredict.monitoring.draft_defaults import load_defaults
from envpredict.monitoring.draft_limits import highest_alert, levels_of, limits_of, windows_of, without_room
from envpredict.monitoring.draft_stations import interval_s
from envpredict.monitoring.plan_schema import Plan
from envpredict.monitoring.plan_toml import NEVER_ALONE, to_toml
from envpredict.monitoring.predicted import Predicted, from_assessment, worked
from envpredict.scenario.starter import write_starter

SETS = load_limit_sets()


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(write_starter(tmp_path_factory.mktemp("plans") / "starter")))


@pytest.fixture(scope="module")
def plan(starter: Assessment) -> Plan:
    return draft_plan(starter)


@pytest.fixture(scope="module")
def quay_plan() -> Plan:
    return draft_plan(demo())


def one(receptor: str = "H1", median: float = 2.0, design: float = 6.0, limit: float = 10.0,
        **other: object) -> Predicted:
    base = Predicted(receptor=receptor, method="press", kind="vibration", effect="damage", quantity="ppv_component",
                     position="foundation", period="whole programme", limit_set="own", rule="flat",
                     receptor_class="any", median=median, design=design, limit=limit, likelihood="possible",
                     where="a finding")
    return replace(base, **other)  # type: ignore[arg-type]


def noise(receptor: str = "H1", median: float = 50.0, design: float = 58.0, limit: float = 65.0,
          **other: object) -> Predicted:
    stated: dict[str, object] = {
        "kind": "noise", "effect": "noise", "quantity": "laeq_db", "position": "facade", "period": "weekdays 07-19",
        "limit_set": "bs_5228_1_2009", "rule": "abc", "receptor_class": "dwelling"}
    return one(receptor, median, design, limit, **{**stated, **other})


def test_draft_passes_its_own_audit(starter: Assessment, plan: Plan) -> None:
    report = audit(plan, starter)
    assert report.passed
    assert report.rules("fail") == ()


def test_draft_of_the_quay_passes_its_own_audit(quay_plan: Plan) -> None:
    report = audit(quay_plan, demo())
    assert report.passed
    assert report.rules("fail") == ()


@pytest.mark.parametrize("name", ["starter", "quay"])
def test_open_points_are_what_the_audit_finds_open(name: str, starter: Assessment, plan: Plan, quay_plan: Plan) -> None:
    drafted, assessment = (plan, starter) if name == "starter" else (quay_plan, demo())
    open_rules = {result.rule.id for result in audit(drafted, assessment).rules("not_stated")}
    assert {point.rule for point in drafted.open_points if point.rule} == open_rules
    # what no prediction can know stays open: certificates, photographs, a hotline
    assert {"M10", "M08", "M37"} <= open_rules


def test_audit_without_the_scenario_agrees(plan: Plan) -> None:
    assert audit(plan).rules("fail") == ()


def test_everybody_who_may_exceed_is_covered(quay_plan: Plan) -> None:
    """By hand from the findings: every `possible` or `likely` receptor has a station or a proxy of that kind."""
    findings = demo().findings
    noise_units = findings["unit"] == "dB"
    for kind, rows in (("noise", findings[noise_units]), ("vibration", findings[~noise_units])):
        exceeding = set(rows.loc[rows["likelihood"].isin(["possible", "likely"]), "receptor"])
        stations = {station.id: station for station in quay_plan.stations if station.kind == kind}
        at = {station.receptor for station in stations.values()}
        at |= {proxy.receptor for proxy in quay_plan.proxies if proxy.station in stations}
        assert len(exceeding) > 20
        assert exceeding <= at


def test_the_worst_of_each_kind_is_measured(quay_plan: Plan) -> None:
    findings = demo().findings
    measured = {(station.kind, station.receptor) for station in quay_plan.stations}
    for kind, unit in (("noise", "dB"), ("vibration", "mm/s")):
        rows = findings[(findings["unit"] == unit) & findings["predicted_median"].notna()]
        assert (kind, rows.loc[rows["predicted_median"].idxmax(), "receptor"]) in measured
        assert (kind, rows.loc[rows["margin_db"].idxmin(), "receptor"]) in measured


def test_stations_stand_where_they_say(quay_plan: Plan) -> None:
    from shapely import Point

    scenario = demo().scenario
    shapes = dict(zip(scenario.receptors["id"], scenario.receptors.geometry, strict=True))
    works = scenario.piles.geometry.union_all()
    for station in quay_plan.stations:
        assert station.x is not None
        assert station.y is not None
        distance = shapes[station.receptor].distance(Point(station.x, station.y))
        assert distance == pytest.approx(station.reflector_m or 0.0, abs=0.06), station.id
        # on the side that faces the works
        nearest = shapes[station.receptor].distance(works)
        assert Point(station.x, station.y).distance(works) <= nearest + 0.02, station.id


def test_levels_rise_to_the_limit(quay_plan: Plan) -> None:
    limits = {criterion.id: criterion for criterion in quay_plan.criteria}
    assert {row.criterion for row in quay_plan.levels} == set(limits)
    for row in quay_plan.levels:
        assert row.alert is not None
        assert row.action is not None
        assert row.stop is not None
        value = limits[row.criterion].value
        assert value is not None
        assert row.alert < row.action < row.stop <= value
        assert row.stop == pytest.approx(value, rel=0.01)
        assert row.basis in ("read", "memory", "practice", "estimate")
        assert row.derived


def test_limits_from_memory_are_marked(quay_plan: Plan) -> None:
    for criterion in quay_plan.criteria:
        if criterion.basis != "read":
            assert "verify against the document" in (criterion.note or ""), criterion.id


def test_method_without_room_for_an_alert_is_held_back(starter: Assessment, plan: Plan) -> None:
    # the impact hammer stands a few metres from House 1: above the damage limit and far above the noise threshold
    hammer = next(method for method in plan.methods if method.id == "impact_hydraulic")
    assert hammer.condition is not None
    assert "H1" in hammer.condition
    assert "consented_value" in hammer.condition


def test_alert_lies_above_the_median_of_methods_that_may_start() -> None:
    limits = limits_of([one(median=3.0, design=6.0), one("H2", median=5.5, design=8.0)], {})
    row = levels_of(limits[0], [3.0, 5.5], load_defaults())
    # half of 10 would lie below the median of 5.5; 1.1 times it lies above
    assert row.alert == pytest.approx(6.05)
    assert row.action == 7.5
    assert row.derived is not None
    assert "raised above the median" in row.derived


def test_alert_keeps_its_share_where_the_median_is_low() -> None:
    row = levels_of(limits_of([one()], {})[0], [2.0], load_defaults())
    assert (row.alert, row.action, row.stop) == (5.0, 7.5, 10.0)
    assert row.basis == "memory"


def test_median_without_room_does_not_raise_the_alert() -> None:
    limit = limits_of([one(median=9.0)], {})[0]
    assert highest_alert(limit, load_defaults()) == 7.5
    assert levels_of(limit, [9.0], load_defaults()).alert == 5.0


@pytest.mark.parametrize("median", [0.1, 2.0, 4.9, 5.0, 5.2, 6.9, 7.2, 7.49])
def test_levels_stay_in_order_for_any_median(median: float) -> None:
    row = levels_of(limits_of([one(median=median)], {})[0], [median], load_defaults())
    assert row.alert is not None
    assert row.action is not None
    assert median < row.alert < row.action < 10.0
    assert row.alert <= 8.0


@pytest.mark.parametrize("median", [40.0, 58.0, 59.2, 59.9])
def test_noise_levels_stay_in_order_for_any_median(median: float) -> None:
    row = levels_of(limits_of([noise(median=median)], SETS)[0], [median], load_defaults())
    assert row.alert is not None
    assert median < row.alert <= 60.0
    assert (row.action, row.stop) == (63.0, 65.0)
    assert row.alarm_windows_s == (900.0, 3600.0)


def test_stop_level_is_never_rounded_above_the_limit() -> None:
    row = levels_of(limits_of([one(limit=7.87325)], {})[0], [], load_defaults())
    assert row.stop == 7.87


def test_steps_of_effect_levels_become_alert_action_and_stop() -> None:
    # BS 5228-2:2009+A1:2014, Table B.1 (quoted second-hand): 0.3 may be felt, 1.0 complaints, 10 intolerable
    steps = [one(median=0.1, design=0.5, limit=limit, effect="people", quantity="ppv_unspecified", position="floor",
                 limit_set="bs_5228_2_2009", rule=rule, receptor_class="occupied")
             for rule, limit in (("felt", 0.3), ("complaints", 1.0), ("intolerable", 10.0))]
    limits = limits_of(steps, SETS)
    assert [limit.criterion.rule for limit in limits] == ["intolerable"]
    row = levels_of(limits[0], [0.1], load_defaults())
    assert (row.alert, row.action, row.stop) == (0.3, 1.0, 10.0)
    assert row.basis == "read"
    assert limits[0].near("H1", 3.0), "the lowest step is passed, though the limit is far"


def test_limits_of_damage_are_never_taken_for_steps() -> None:
    both = [one(limit=15.0, limit_set="bs_7385_2_1993", rule="transient", receptor_class="line_2"),
            one(limit=7.5, limit_set="bs_7385_2_1993", rule="continuous", receptor_class="line_2")]
    assert sorted(limit.value for limit in limits_of(both, SETS)) == [7.5, 15.0]


def test_lowest_value_of_the_methods_holds() -> None:
    both = [one(limit=25.0), one(limit=15.0, method="impact")]
    (limit,) = limits_of(both, {})
    assert limit.value == 15.0
    assert "lowest value within the methods' frequencies" in (limit.criterion.note or "")


def test_limits_that_follow_the_background_stay_apart() -> None:
    found = limits_of([noise("H1", limit=65.0), noise("H2", limit=70.0)], SETS)
    assert [(limit.value, limit.criterion.receptors) for limit in found] == [(65.0, ("H1",)), (70.0, ("H2",))]
    assert len({limit.criterion.id for limit in found}) == 2
    assert found[0].criterion.averaging_s == 43200.0   # 07:00 to 19:00


def test_day_rules_get_their_windows() -> None:
    # BS 5228-1 E.4 (memory): 10 or more days in 15 consecutive ones, more than 40 in any 6 months
    rules = [(name, rule) for name, limit_set in SETS.items() for rule in limit_set.rules
             if any(getattr(each, "kind", "") == "count" and each.window == 15 for each in rule.persistence)]
    name, rule = next((name, rule) for name, rule in rules if rule.periods)
    (limit,) = limits_of([noise(limit_set=name, rule=rule.id, period=rule.periods[0].label)], SETS)
    assert limit.criterion.counts_days is True
    assert {(window.more_than_days, window.within) for window in windows_of(limit)} >= {(9.0, "15 calendar days")}


def cover_of(predicted: list[Predicted], distance: float = 20.0) -> tuple[tuple[str, ...], dict[str, str]]:
    names = sorted({each.receptor for each in predicted})
    between = {(a, b): 0.0 if a == b else distance for a in names for b in names}
    found = cover(predicted, "vibration", between, {name: float(n) for n, name in enumerate(names)}, (), 50.0, 3.0)
    return found.measured, {each.receptor: each.at for each in found.stand_ins}


def test_station_stands_for_receptors_that_use_up_their_limits_less() -> None:
    assert cover_of([one("A", 4.0, 12.0), one("B", 3.0, 9.0), one("C", 0.1, 0.3)]) == (("A",), {"B": "A"})


def test_station_does_not_stand_for_a_receptor_beyond_its_reach() -> None:
    assert cover_of([one("A", 4.0, 12.0), one("B", 3.0, 9.0)], distance=60.0) == (("A", "B"), {})


def test_station_does_not_stand_for_a_stricter_limit() -> None:
    # B feels less, but its limit is used up more: it's the worst by margin, and A the worst by level
    assert cover_of([one("A", 4.0, 12.0, limit=10.0), one("B", 3.0, 9.0, limit=5.0)])[0] == ("B", "A")


def test_station_does_not_stand_for_an_effect_that_it_does_not_know() -> None:
    people = {"effect": "people", "position": "floor", "quantity": "ppv_vertical"}
    found = cover_of([one("A", 4.0, 12.0), one("B", 1.0, 3.0), one("B", 1.0, 3.0, 2.0, **people),
                      one("C", 0.9, 2.5, 2.0, **people), one("C", 0.9, 2.5)])
    assert found == (("B", "A"), {"C": "B"})


def test_receptor_without_a_number_is_covered_from_nearer_to_the_works() -> None:
    unknown = [one(name, math.nan, math.nan, likelihood="cannot_judge") for name in ("A", "B")]
    measured, stand_ins = cover_of(unknown)
    assert measured == ("A",)
    assert stand_ins == {"B": "A"}


def test_low_number_on_weak_evidence_needs_no_station() -> None:
    assert not near_its_limit(one(median=0.1, design=0.5, likelihood="cannot_judge"), 3.0)
    assert near_its_limit(one(median=math.nan, design=math.nan, likelihood="cannot_judge"), 3.0)


def test_transfer_is_the_largest_difference_over_the_methods() -> None:
    # 20 lg(1/2) = -6.02 dB and 20 lg(3/4) = -2.50 dB
    rows = [one("A", 2.0), one("B", 1.0), one("A", 4.0, method="impact"), one("B", 3.0, method="impact")]
    assert transfer_db(rows, "B", "A") == -2.5
    assert transfer_db([one("A"), one("B", position="floor")], "B", "A") is None
    assert transfer_db([noise("A", 60.0), noise("B", 55.5)], "B", "A") == -4.5


def test_interval_divides_every_averaging_time() -> None:
    five_minutes = limits_of([noise()], SETS)
    assert interval_s(five_minutes, 300.0) == 300.0
    odd = five_minutes[0].criterion.model_copy(update={"averaging_s": 4500.0 + 60.0})
    assert interval_s([replace(five_minutes[0], criterion=odd)], 300.0) == 60.0
    assert interval_s([], 10.0) == 10.0


def test_what_no_instrument_logs_is_asked_of_it_as_what_it_comes_from() -> None:
    from envpredict.monitoring.draft_stations import _asked

    strain = one(quantity="shear_strain", position="ground", effect="settlement", limit=1e-4)
    assert _asked(limits_of([strain, one()], {})) == ["ppv_component"]
    assert _asked(limits_of([noise(quantity="lar_db")], {})) == ["laeq_db"]


def test_what_nobody_works_in_is_left_out(starter: Assessment, plan: Plan) -> None:
    found = from_assessment(starter)
    kept = worked(found, plan, SETS)
    # the starter works from Monday to Friday, 08 to 18
    assert not any(each.period.startswith(("Saturday", "Sunday", "night")) for each in kept)
    assert any(each.period == "weekdays 07-19" for each in kept)


def test_values_filled_in_are_listed_with_basis_and_source(plan: Plan) -> None:
    rows = {row.key: row for row in plan.defaults}
    assert rows["weather.max_wind_m_s"].basis == "read"
    assert rows["calibration.meter_months"].basis == "practice"
    assert rows["stop_work.ordered_by"].basis == "estimate"
    assert all(row.source for row in plan.defaults)
    for name in ("calibration", "weather", "stop_work", "data", "investigation"):
        part = getattr(plan, name)
        stated = {key for key in type(part).model_fields if getattr(part, key) not in (None, ())}
        assert {f"{name}.{key}" for key in stated} <= set(rows), name


def test_defaults_can_be_replaced(starter: Assessment, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text('[draft]\nalert_share = { value = 0.6, basis = "practice", source = "our contract" }\n'
                    '[sections.weather]\nmax_wind_m_s = { value = 4.0, basis = "practice", source = "our contract" }\n',
                    encoding="utf-8")
    plan = draft_plan(starter, defaults=load_defaults([file]))
    assert plan.weather.max_wind_m_s == 4.0
    assert {row.key: row.source for row in plan.defaults}["weather.max_wind_m_s"] == "our contract"


def test_faulty_defaults_are_told_in_one_pass(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text('[draft]\nalert = { value = 0.6, basis = "practice", source = "x" }\n[sections.wether]\n'
                    '[sections.weather]\nmax_wind_m_s = { value = "strong", basis = "practice", source = "x" }\n',
                    encoding="utf-8")
    bare = tmp_path / "bare.toml"
    bare.write_text("[draft]\nalert_share = 0.6\n", encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        load_defaults([file, bare, tmp_path / "missing.toml"])
    said = str(caught.value)
    for text in ("own.toml, key 'draft.alert'", "own.toml, key 'sections.wether'", "max_wind_m_s",
                 "bare.toml, key 'draft.alert_share'", "missing.toml"):
        assert text in said


def test_plan_says_what_the_tool_is_not(plan: Plan) -> None:
    assert " ".join(NEVER_ALONE.split()) in " ".join(to_toml(plan).replace("#", "").split())
    assert plan.invented


def test_plan_tells_receptors_that_no_limit_governs(plan: Plan) -> None:
    assert any("No adopted limit governs R1, P1" in point.what for point in plan.open_points)


def test_surveys_trial_and_baseline_come_before_the_works(quay_plan: Plan) -> None:
    works = quay_plan.works
    assert works.first_piling is not None
    assert works.last_piling is not None
    assert len(quay_plan.surveys) > 5
    for survey in quay_plan.surveys:
        assert survey.before is not None
        assert survey.after is not None
        assert survey.before < works.first_piling
        assert survey.after > works.last_piling
    assert quay_plan.trial.on == works.first_piling
    for row in quay_plan.baseline:
        assert row.last is not None
        assert row.last < works.first_piling


def test_trial_begins_far_from_everybody(quay_plan: Plan) -> None:
    scenario = demo().scenario
    distance = {pile: shape.distance(scenario.receptors.geometry.union_all())
                for pile, shape in zip(scenario.piles["id"], scenario.piles.geometry, strict=True)}
    chosen = [distance[pile] for pile in quay_plan.trial.piles]
    assert len(chosen) == 3
    assert min(chosen) >= max(value for pile, value in distance.items() if pile not in quay_plan.trial.piles)


def test_trial_line_spreads_its_distances(quay_plan: Plan) -> None:
    # a site law wants three distances or more that spread at least fourfold
    distances = quay_plan.trial.distances_m
    assert len(distances) >= 3
    assert all(near < far for near, far in pairwise(distances))
    assert distances[-1] / distances[0] >= 4.0


def test_plan_for_chosen_methods_alone(starter: Assessment) -> None:
    plan = draft_plan(starter, methods=["press_in_auger"])
    assert [method.id for method in plan.methods] == ["press_in_auger"]
    assert {row.method for row in plan.predictions} == {"press_in_auger"}
    assert all("transient" not in criterion.id for criterion in plan.criteria)
    assert audit(plan, starter).rules("fail") == ()


def test_unknown_method_is_refused_with_the_known_ones(starter: Assessment) -> None:
    with pytest.raises(EnvpredictError, match="did you mean 'press_in_auger'"):
        draft_plan(starter, methods=["press_in_augur"])


def test_plan_of_another_scenario_is_refused(starter: Assessment, quay_plan: Plan) -> None:
    with pytest.raises(InputProblems, match="isn't among the scenario's methods"):
        audit(quay_plan, starter)


def test_same_assessment_gives_the_same_plan(starter: Assessment, plan: Plan) -> None:
    assert to_toml(draft_plan(starter)) == to_toml(plan)


def test_coverage_is_checked_against_the_scenario(starter: Assessment, plan: Plan) -> None:
    """A plan whose stations at the worst house are taken away fails, though its own text still agrees with itself."""
    kept = tuple(station for station in plan.stations if station.receptor != "H1")
    ids = tuple(station.id for station in kept)
    phases = tuple(phase.model_copy(update={"stations": ids}) for phase in plan.phases)
    bare = plan.model_copy(update={
        "stations": kept, "proxies": (), "predictions": (), "baseline": (), "phases": phases,
        "trial": plan.trial.model_copy(update={"stations": ()})})
    report = audit(bare, starter)
    for rule in ("M04", "M05", "M39"):
        assert report[rule].outcome == "fail", rule
    assert any("receptor H1" in evidence.where for evidence in report["M04"].evidence)
    assert audit(bare)["M04"].outcome == "not_stated"


def test_plan_made_in_memory_with_a_loose_end_is_refused(plan: Plan) -> None:
    with pytest.raises(InputProblems, match=r"'V1' isn't among the stations"):
        audit(plan.model_copy(update={"stations": plan.stations[:1]}))


def test_limit_above_the_scenarios_is_found(starter: Assessment) -> None:
    plan = draft_plan(starter, methods=["press_in_auger"])
    raised = tuple(criterion.model_copy(update={"value": 90.0}) if criterion.rule == "abc" else criterion
                   for criterion in plan.criteria)
    free = tuple(method.model_copy(update={"condition": None}) for method in plan.methods)
    report = audit(plan.model_copy(update={"criteria": raised, "methods": free}), starter)
    assert report["M21"].outcome == "fail"
    assert any("limit 90 lies above 65" in evidence.said for evidence in report["M21"].evidence)


def test_each_level_names_the_methods_that_reach_it_by_their_median_alone() -> None:
    crowd = [one(median=12.0, method="hammer"), one("H2", median=8.0, method="vibrator"),
             one("H2", median=6.0, method="drill"), one("H1", median=1.0, method="press")]
    (limit,) = limits_of(crowd, {})
    levels = levels_of(limit, [1.0], load_defaults())
    assert without_room(limit, levels, {"H1", "H2"}) == (
        "no room: the median prediction alone reaches the stop level with hammer (12 at H1); the action level with "
        "vibrator (8 at H2); the alert level with drill (6 at H2)")
    assert without_room(limit, levels, {"H1"}) == (
        "no room: the median prediction alone reaches the stop level with hammer (12 at H1)")
    assert without_room(limits_of([one(median=1.0)], {})[0], levels, {"H1"}) == ""


def test_a_plan_whose_methods_all_lack_room_says_so_and_where(quay_plan: Plan) -> None:
    assert all(method.condition for method in quay_plan.methods)
    assert any("No method of this plan leaves room for alert levels" in point.what for point in quay_plan.open_points)
    crowded = [row for row in quay_plan.levels if "no room: the median" in (row.derived or "")]
    assert crowded
    medians = {(row.criterion, row.method): [] for row in quay_plan.predictions}
    for row in quay_plan.predictions:
        medians[row.criterion, row.method].append(row.median or 0.0)
    for row in quay_plan.levels:
        assert row.alert is not None
        reached = {method for (name, method), found in medians.items() if name == row.criterion
                   and max(found) >= row.alert * (1 + 1e-3)}
        assert all(method in (row.derived or "") for method in reached), row.criterion


def test_a_limit_over_frequency_is_drafted_at_its_lowest_and_says_so(quay_plan: Plan) -> None:
    # DIN 4150-3:1999, Table 1 (read): foundation values rise with frequency
    notes = {row.id: row.note or "" for row in quay_plan.criteria}
    assert "a peak below those frequencies may have a lower one" in notes["din_4150_3_1999.foundation.line_2"]
    assert "frequencies" not in notes["bs_5228_1_2009.abc.dwelling.day"]
