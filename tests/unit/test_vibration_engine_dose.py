"""What adds up over a day, what decides between two bounds, and the check of settlement."""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from limits_site import entries, findings, judged, made_up, prepared, scenario, strata, with_set
from shapely.affinity import translate

from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.run import MethodRun, Run
from envpredict.engine.vibration import rules as vibration_rules
from envpredict.engine.vibration.case import Case
from envpredict.engine.vibration.dose import add_up, power_of
from envpredict.engine.vibration.exposure import exposures
from envpredict.engine.vibration.rules import examine
from envpredict.limits.outcome import Missing
from envpredict.models.vibration.vibration_dose import vdv_total
from envpredict.scenario.types import LimitsEntry, MethodEntry

MODELS = load_catalogue().models
DAY = 'periods = [{ id = "day", label = "day", from = "06:00", to = "22:00", averaging_s = 57600 }]\n'
VDV = 'effect = "people"\nquantity = "vdv"\nunit = "m/s^1.75"\nplace = "floor"\n' + DAY
VDV += 'value = { kind = "fixed", rows = [{ level = 0.8 }] }\n'
KB = 'effect = "people"\nunit = "1"\nplace = "slab"\ngroup = "a"\n' + DAY


def bound(quantity: str, gate: str, level: float) -> str:
    value = f'value = {{ kind = "fixed", rows = [{{ level = {level} }}] }}\n'
    return KB + f'quantity = "{quantity}"\ngate = "{gate}"\n{value}'


# --- adding up -------------------------------------------------------------------------------------------------------

def test_which_quantities_add_up() -> None:
    assert (power_of("vdv"), power_of("kb_ftr")) == (4.0, 2.0)
    assert [power_of(name) for name in ("ppv_component", "kb_fmax", "velocity_level_us_db", "laeq_db")] == [None] * 4


def test_without_errors_of_their_own_contributions_add_by_their_power() -> None:
    # by hand: doses 0.2 and 0.2 make 0.238 (fourth powers); 3 and 4 make 5 (squares)
    level = np.log10(np.array([[0.2, 0.2]]))
    one, slot = np.arange(2), np.zeros(2, dtype=np.int64)
    median, own, _ = add_up(level, np.zeros((1, 2)), np.ones(2), one, slot, 1, 2, 4.0)
    assert 10.0 ** median[0, 0] == pytest.approx(float(vdv_total([0.2, 0.2])), abs=1e-12)
    assert own[0, 0] == 0.0
    median, _, top = add_up(np.log10([[3.0, 4.0]]), np.zeros((1, 2)), np.ones(2), one, slot, 1, 2, 2.0)
    assert (10.0 ** median[0, 0], top[0, 0]) == (pytest.approx(5.0), 1)


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 12), st.floats(0.05, 0.3), st.sampled_from([2.0, 4.0]), st.integers(0, 1000))
def test_middle_and_upper_end_of_a_sum_agree_with_simulation(count: int, own: float, power: float, seed: int) -> None:
    # against draws of another generator, 40 000 of them
    rng = np.random.default_rng(seed)
    level, weight = rng.normal(0.0, 0.3, count), rng.uniform(1.0, 1000.0, count)
    median, spread, _ = add_up(level[None], np.full((1, count), own), weight, np.arange(count),
                               np.zeros(count, dtype=np.int64), 1, count, power)
    draws = level + own * rng.standard_normal((40_000, count))
    total = np.log10((weight * 10.0 ** (power * draws)).sum(axis=1)) / power
    assert median[0, 0] == pytest.approx(np.median(total), abs=0.12 * own)
    assert median[0, 0] + 1.645 * spread[0, 0] == pytest.approx(np.quantile(total, 0.95), abs=0.3 * own)


def test_phases_of_one_pass_share_its_error() -> None:
    level = np.zeros((1, 2))
    alike = add_up(level, np.full((1, 2), 0.2), np.ones(2), np.zeros(2, dtype=np.int64), np.zeros(2, dtype=np.int64), 1,
                   1, 4.0)
    assert alike[1][0, 0] == pytest.approx(0.2, rel=0.05)
    apart = add_up(level, np.full((1, 2), 0.2), np.ones(2), np.arange(2), np.zeros(2, dtype=np.int64), 1, 2, 4.0)
    assert apart[1][0, 0] < alike[1][0, 0]


def test_an_unknown_contribution_leaves_its_slot_unknown_and_an_empty_slot_is_silent() -> None:
    median, _, top = add_up(np.array([[0.0, np.nan]]), np.zeros((1, 2)), np.ones(2), np.arange(2), np.array([0, 2]), 3,
                            2, 4.0)
    assert median[0, 0] == 0.0
    assert median[0, 1] == -np.inf
    assert top[0, 1] == -1
    assert np.isnan(median[0, 2])


# --- doses -----------------------------------------------------------------------------------------------------------

def tried(run: Run, method: MethodRun, rule: str) -> pd.DataFrame:
    return judged(with_set(run, made_up(rule)), [method])


def test_the_dose_of_a_day_of_blows_by_hand() -> None:
    run, (method,) = prepared(scenario())
    found = tried(run, method, VDV)
    assert found.loc[0, "likelihood"] == "likely"
    case = Case(run, method, made_up(VDV), made_up(VDV).rules[0], made_up(VDV).rules[0].periods[0])
    parts = exposures(case)
    assert not isinstance(parts, Missing)
    (part,) = parts
    # the blows of the programme's table, day by day
    from envpredict.engine.works.programme import events

    table = events(run.scenario, method.choice, method.passes, run.drive)
    table = table[table["blows"] > 0].drop_duplicates(["pile", "start"])
    by_day = table.groupby("day")["blows"].sum()
    ours = pd.Series(part.weight).groupby(case.work.block[part.entry]).sum()
    assert ours.to_numpy() == pytest.approx(by_day.to_numpy(), abs=len(table))
    # one blow of 1 mm/s at 15 Hz, damping 0.05: 1000 of them give 0.199 (worked example), one gives 0.199 / 1000^0.25
    assert 10.0 ** part.log_factor[0] == pytest.approx(0.199 / 1000.0**0.25, abs=2e-4)
    assert "no estimate from rms values" in part.spoken[0]
    assert found["reason"].str.contains("VDV of blows").any()


def test_the_estimate_from_rms_values_is_for_lasting_vibration_alone() -> None:
    run, methods = prepared(scenario(methods=entries(["impact_hydraulic", "vibratory_standard", "press_in"])))
    found = judged(with_set(run, made_up(VDV)), methods)
    said = {name: rows["reason"].str.contains("1.4 a t^0.25", regex=False).any()
            for name, rows in found.groupby("method")}
    assert said == {"impact_hydraulic": False, "vibratory_standard": True, "press_in": True}
    assert not found.loc[found["method"] == "impact_hydraulic", "reason"].str.contains("estimated as").any()


def test_a_vibrators_dose_by_hand() -> None:
    # 1.4 a t^0.25 with a = W omega v / sqrt 2 (a worked example gives 0.65 for 1 mm/s, 30 Hz, 1800 s)
    run, (method,) = prepared(scenario(methods=entries(["vibratory_standard"])))
    limit_set = made_up(VDV)
    seen = examine(with_set(run, limit_set), method, limit_set, limit_set.rules[0], limit_set.rules[0].periods[0])
    assert seen.levels is not None
    total = 0.0
    passes = method.passes
    share = next(use.on_time_fraction for use, plant in method.choice.plant if use.part == "drive")
    for number, pile in enumerate(passes.pile.tolist()):
        plan = float(run.plan_m[0, pile])
        seconds = float(passes.end_s[number] - passes.start_s[number]) * share
        running = 60.0 / plan**1.4 * 10.0 ** (5.0 / 20.0)
        swept = max(60.0 / plan**1.2, 120.0 / plan**1.4) * 10.0 ** (5.0 / 20.0)
        # 16 Hz and above: a = 2 pi 16 v; at 15 Hz: 2 pi 15 v
        total += (1.4 * 2 * np.pi * 16e-3 * running / np.sqrt(2)) ** 4 * seconds
        total += (1.4 * 2 * np.pi * 15e-3 * swept / np.sqrt(2)) ** 4 * 20.0
    plain = total**0.25
    assert len(np.unique(passes.day)) == 1
    # the middle of the sum of seven uncertain contributions lies above the sum of their medians, by less than a third
    assert plain < seen.judgement.median[0] < 1.35 * plain


def test_blows_without_a_number_of_them_cannot_be_judged() -> None:
    unknown = strata().assign(spt_n=["8", None, "58"], gravel="no", description="sand")
    found = findings(scenario(strata=unknown, limits=LimitsEntry(people=("bs_6472_1_2008",))))
    rows = found[(found["receptor"] == "R00") & (found["period"] == "day 07-23")]
    assert (rows["likelihood"] == "cannot_judge").all()


def test_more_blows_give_a_higher_dose_by_their_fourth_root() -> None:
    plain = scenario(limits=LimitsEntry(people=("bs_6472_1_2008",)))
    many, few = (findings(replace(plain, methods=(MethodEntry("x", "impact_hydraulic", None, {"blows_per_m": count}),)))
                 for count in (160.0, 10.0))
    ratio = (many["predicted_median"] / few["predicted_median"]).dropna()
    assert ratio.to_numpy() == pytest.approx(2.0, rel=1e-5)


# --- strength of an assessment time between two bounds ---------------------------------------------------------------

def between(lower: float, upper: float, decides: float) -> pd.DataFrame:
    run, (method,) = prepared(scenario())
    rules = (bound("kb_fmax", "met_below", lower), bound("kb_fmax", "broken_above", upper),
             bound("kb_ftr", "decides_between", decides))
    found = judged(with_set(run, made_up(*rules)), [method])
    return found[found["receptor"] == "R00"].set_index("rule")


def test_a_lower_bound_is_no_verdict_of_its_own() -> None:
    found = between(0.4, 1000.0, 0.3)
    assert found.loc["rule_1", "likelihood"] == "not_applicable"
    assert "above this lower bound 'rule_3' decides" in found.loc["rule_1", "reason"]
    assert found.loc["rule_1", "p_exceed"] > 0.9
    assert found.loc["rule_3", "likelihood"] == "likely"
    assert found.loc["rule_2", "likelihood"] == "unlikely"


def test_below_the_lower_bound_the_requirement_is_met_whatever_the_strength_of_the_day() -> None:
    found = between(1000.0, 2000.0, 0.001)
    assert found.loc["rule_1", "likelihood"] == "unlikely"
    assert found.loc["rule_3", "likelihood"] == "unlikely"
    assert found.loc["rule_3", "p_exceed"] == pytest.approx(found.loc["rule_1", "p_exceed"], abs=0.01)
    assert "the level shown is what decides" in found.loc["rule_3", "reason"]


def test_a_strength_that_never_reaches_its_own_limit_decides_too() -> None:
    found = between(0.001, 2000.0, 500.0)
    assert found.loc["rule_3", "likelihood"] == "unlikely"
    assert found.loc["rule_1", "likelihood"] == "not_applicable"


def test_work_in_hours_of_rest_counts_twice() -> None:
    # DIN 4150-2 (from memory): KB_FTr^2 = (T_e1 KB^2 + 2 T_e2 KB^2) / T_r, rest from 06 to 07 and from 19 to 22 h
    def strength(start: int) -> float:
        base = scenario()
        calendar = replace(base.programme, shift_from=time(start, 0), shift_to=time(start + 3, 0), shift_s=3 * 3600)
        site = scenario(programme=calendar, methods=entries(["vibratory_variable_moment"]),
                        receptors=base.receptors.iloc[[0]], limits=LimitsEntry(people=("din_4150_2_1999",)))
        found = findings(site)
        row = found[found["rule"] == "work_3_r"].iloc[0]
        told = "h of work in hours of rest" in row["reason"]
        assert told == (start == 19)
        return float(row["predicted_median"])

    assert strength(19) == pytest.approx(np.sqrt(2.0) * strength(10), rel=1e-5)


def test_days_with_notable_vibration_choose_the_row_receptor_by_receptor() -> None:
    # DIN 4150-2, table 2: the more days with notable vibration, the stricter; far receptors have fewer of them
    base = scenario(limits=LimitsEntry(people=("din_4150_2_1999",)))
    far = base.receptors.assign(area="residential", use="dwelling", structure="masonry", floors=2)
    far.loc[len(far) - 1, "geometry"] = translate(far.geometry.iloc[-1], yoff=9000.0)
    found = findings(replace(base, receptors=far))
    rows = found[(found["rule"] == "work_1_u") & found["limit"].notna()].set_index("receptor")
    assert rows.loc["R00", "limit"] < rows.loc["bare", "limit"]
    assert rows.loc["bare", "limit"] == 0.8


# --- settlement ------------------------------------------------------------------------------------------------------

STRAIN = ('effect = "settlement"\nquantity = "shear_strain"\nunit = "1"\nplace = "ground"\n'
          'value = { kind = "fixed", rows = [{ level = 1e-4 }] }\n')


def strained(**changes: object) -> pd.Series:
    site = scenario(methods=entries(["vibratory_variable_moment"]), **changes)
    run, methods = prepared(site)
    return judged(with_set(run, made_up(STRAIN)), methods).iloc[0]


def test_the_strain_of_loose_wet_sand_by_hand() -> None:
    row = strained()
    site = scenario()
    plan = float(site.piles.geometry.distance(site.receptors.geometry.iloc[0]).min())
    # 80 N^(1/3) (read) for N 8: 160 m/s; strain = velocity over it
    velocity = float(MODELS["vibratory_variable_moment"](distance_m=plan))
    assert row["predicted_median"] == pytest.approx(1e-3 * velocity / 160.0, rel=1e-5)
    spec = MODELS["vibratory_variable_moment"]
    assert spec.scatter is not None
    # 30 % either way of the correlation (practice) in quadrature
    assert row["scatter"] == pytest.approx(np.hypot(spec.scatter.total, np.log10(1.3)), rel=1e-5)
    assert "loose saturated sand at 0 to 5 m in borehole BH1" in row["reason"]


def test_a_measured_wave_speed_takes_the_place_of_the_correlation() -> None:
    row = strained(strata=strata().assign(vs_m_s=[120.0, np.nan, np.nan]))
    assert row["predicted_median"] == pytest.approx(strained()["predicted_median"] * 160.0 / 120.0, rel=1e-5)
    assert "120 m/s, measured" in row["reason"]


@pytest.mark.parametrize(("ground", "word", "why"), [
    ({"spt_n": ["35", "50/120 mm", "58"]}, "not_applicable", "no loose saturated sand in borehole BH1"),
    ({"water_m": 30.0}, "not_applicable", "no loose saturated sand"),
    ({"description": "stiff clay"}, "not_applicable", "no loose saturated sand"),
    ({"spt_n": [None, "50/120 mm", "58"]}, "cannot_judge", "its SPT N, to tell whether it is loose sand"),
    ({"spt_n": ["0", "50/120 mm", "58"]}, "cannot_judge", "has an SPT N of 0"),
    ({"description": "see sheet 2", "spt_n": ["8", "9", "9"]}, "cannot_judge", "what lies at 0 to 5 m"),
])
def test_settlement_is_judged_only_where_such_sand_is_known(ground: dict[str, object], word: str, why: str) -> None:
    row = strained(strata=strata().assign(**ground))
    assert row["likelihood"] == word
    assert why in row["reason"]
    assert np.isnan(row["predicted_median"])


def test_unknown_groundwater_is_asked_for_and_may_be_stated() -> None:
    base = scenario()
    dry = strata().assign(water_m=np.nan)
    row = strained(strata=dry)
    assert row["likelihood"] == "cannot_judge"
    assert "groundwater_m" in row["reason"]
    stated = replace(base.ground_defaults, groundwater_m=1.0)
    assert strained(strata=dry, ground_defaults=stated)["predicted_median"] == strained()["predicted_median"]


def test_no_ground_data_is_no_all_clear() -> None:
    base = scenario()
    row = strained(strata=None, ground_defaults=replace(base.ground_defaults, ground_class="loose_sand"))
    assert row["likelihood"] == "cannot_judge"
    assert "boreholes tell whether there is loose saturated sand" in row["reason"]


def test_a_lower_bound_shows_no_chance_of_a_day() -> None:
    run, (method,) = prepared(scenario())
    limit_set = made_up(bound("kb_fmax", "met_below", 0.4), bound("kb_ftr", "decides_between", 0.3))
    run = with_set(run, limit_set)
    lower, deciding = (vibration_rules.findings(run, method, limit_set, rule)[0] for rule in limit_set.rules)
    assert np.isnan(lower.p_day).all()
    assert np.isfinite(deciding.p_day[0]).all()
