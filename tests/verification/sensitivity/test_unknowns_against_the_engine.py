"""The responses that are sampled, against the engine itself: whole assessments of scenarios in which unknowns are set.

What is set to a value in a scenario (a sound power, an on-time, an energy, rates, the strength at a borehole, the
background) must move the level as the response says when the unknown is drawn at that value. The chances that sampling
gives must be those that the findings state, where the findings hold a closed form; and both must agree with a plain
simulation (random numbers of NumPy, no Sobol' sequence, no response) of the same slots.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from limits_site import adopting, scenario, starter
from scipy import stats
from unknowns_site import assessed, baseline, plain

from envpredict.core.quantities import QUANTITIES
from envpredict.engine.assess import assess
from envpredict.engine.results import Assessment
from envpredict.engine.sensitivity.draws import Draws
from envpredict.engine.sensitivity.study import Options, Studied, responses, sample
from envpredict.engine.sensitivity.unknowns import KINDS
from envpredict.engine.sensitivity.vibration import STRENGTHS, strength_factors
from envpredict.limits.load import load_limit_sets
from envpredict.scenario.types import MethodEntry

BESIDE = tuple(name for name, kind in KINDS.items() if kind.beside)
"""What the findings hold at its likely value."""


def over_db(finding: pd.Series) -> float:
    """Return the median over the limit in dB; a noise limit that rounds is exceeded from half a dB below the next."""
    if QUANTITIES[finding["quantity"]].scale == "decibel":
        return float(finding["predicted_median"] - finding["limit"])
    return float(20.0 * np.log10(finding["predicted_median"] / finding["limit"]))


def row(assessment: Assessment, method: str, effect: str, receptor: str) -> pd.Series:
    found = assessment.governing()
    hit = (found["method"] == method) & (found["effect"] == effect) & (found["receptor"] == receptor)
    return found[hit].iloc[0]


@cache
def studied(method: str, effect: str, receptor: str) -> Studied:
    found, left_out = responses(plain(), [(row(plain(), method, effect, receptor), "here")])
    assert not left_out
    return found[0]


def moved(method: str, effect: str, receptor: str, draws: Mapping[str, float]) -> float:
    """Return by how much the level over the limit moves in dB when some unknowns are drawn."""
    response = studied(method, effect, receptor).response
    assert set(draws) <= {one.id for one in response.unknowns}
    at = {name: np.array([value]) for name, value in draws.items()}
    return float(response.over_db(at, 1)[0] - response.over_db({}, 1)[0])


def same_finding(assessment: Assessment, method: str, effect: str, receptor: str) -> pd.Series:
    """Return the finding under the same rule and period in another assessment."""
    base = studied(method, effect, receptor).finding
    rows = assessment.findings
    for name in ("method", "effect", "receptor", "limit_set", "rule", "period"):
        rows = rows[rows[name] == base[name]]
    assert len(rows) == 1
    return rows.iloc[0]


def check(changes: Mapping[str, Any], method: str, effect: str, receptor: str, draws: Mapping[str, float],
          tolerance_db: float) -> float:
    """Compare a whole assessment with the response and return by how much the level moved."""
    base = over_db(studied(method, effect, receptor).finding)
    full = over_db(same_finding(assessed(**changes), method, effect, receptor)) - base
    assert moved(method, effect, receptor, draws) == pytest.approx(full, abs=tolerance_db)
    return full


def at_triangle(value: float, low: float, likely: float, high: float) -> float:
    return float(stats.triang.cdf(value, (likely - low) / (high - low), loc=low, scale=high - low))


def test_a_sound_power_stated() -> None:
    plant = plain().detail["methods"]["vibratory_standard"].choice.plant
    item = next(item for _, item in plant if item.id == "vibrator")
    louder = {"vibratory_standard": {"plant": [{"id": "vibrator", "lwa_db": item.lwa_db + 1.5 * item.u_db}]}}
    if item.level_type == "maximum":
        louder["vibratory_standard"]["plant"][0]["level_type"] = "maximum"
    draws = {"source:vibrator": float(stats.norm.cdf(1.5))}
    # the finding's median counts that the other sources err as well, the draw holds them at theirs
    assert check({"overrides": louder}, "vibratory_standard", "noise", "far", draws, 0.35) > 3.0


@pytest.mark.parametrize("share", [0.33, 0.5])
def test_an_on_time_stated(share: float) -> None:
    uses = plain().detail["methods"]["impact_hydraulic"].choice.plant
    use = next(use for use, item in uses if item.id == "hydraulic_hammer_light")
    value = use.on_time_low + share * (use.on_time_high - use.on_time_low)
    stated = {"impact_hydraulic": {"plant": [{"id": use.plant, "on_time_fraction": value}]}}
    draws = {"on_time:impact_hydraulic:hydraulic_hammer_light":
             at_triangle(value, use.on_time_low, use.on_time_fraction, use.on_time_high)}
    check({"overrides": stated}, "impact_hydraulic", "noise", "far", draws, 0.1)


@pytest.mark.parametrize("kj", [25.0, 65.0])
@pytest.mark.parametrize("effect", ["damage", "people"])
def test_an_energy_stated(kj: float, effect: str) -> None:
    choice = plain().detail["methods"]["impact_hydraulic"].choice
    energy = choice.method.energy
    assert energy is not None
    assert energy.low_kj < kj < energy.high_kj
    draws = {"energy:impact_hydraulic": at_triangle(kj, energy.low_kj, energy.default_kj, energy.high_kj)}
    full = check({"overrides": {"impact_hydraulic": {"energy_kj": kj}}}, "impact_hydraulic", effect, "R00", draws, 0.05)
    assert abs(full) > 0.3


@pytest.mark.parametrize("states", [(0, 2), (2, 4), (4, 0), (4, 4)])
@pytest.mark.parametrize("receptor", ["R00", "R07"])
def test_the_strength_at_each_borehole(states: tuple[int, int], receptor: str) -> None:
    factors = strength_factors()
    draws = {f"ground:{name}": (state + 0.5) / STRENGTHS for name, state in zip(("west", "east"), states, strict=True)}
    changes = {"strengths": (float(factors[states[0]]), float(factors[states[1]]))}
    check(changes, "impact_hydraulic", "damage", receptor, draws, 0.02)


@pytest.mark.parametrize("shift", [-3.0, 4.5])
def test_another_background(shift: float) -> None:
    draws = {"background:far": float(stats.norm.cdf(shift / 2.0))}
    check({"background_db": shift}, "vibratory_standard", "noise", "far", draws, 0.02)


@pytest.mark.parametrize(("word", "draw"), [("slow", 0.1), ("fast", 0.9)])
def test_another_rate(word: str, draw: float) -> None:
    rate = {"slow": 1.8, "likely": 3.1, "fast": 6.0}
    before = assessed(overrides={"press_in_auger": {"rate_m_h": rate}})
    after = assessed(overrides={"press_in_auger": {"rate_m_h": dict.fromkeys(rate, rate[word])}})
    base = row(before, "press_in_auger", "noise", "far")
    (one,), _ = responses(before, [(base, "here")])
    move = float(one.response.over_db({"rate:press_in_auger": np.array([draw])}, 1)[0] - one.response.over_db({}, 1)[0])
    same = after.findings[(after.findings["method"] == "press_in_auger") & (after.findings["receptor"] == "far")
                          & (after.findings["rule"] == base["rule"]) & (after.findings["period"] == base["period"])]
    assert move == pytest.approx(over_db(same.iloc[0]) - over_db(base), abs=0.02)
    days = {name: len(passes.days) for name, passes in before.detail["methods"]["press_in_auger"].programmes.items()}
    assert days["slow"] > days["fast"]
    assert len(after.detail["methods"]["press_in_auger"].passes.days) == days[word]


def test_several_unknowns_at_once() -> None:
    energy = plain().detail["methods"]["impact_hydraulic"].choice.method.energy
    assert energy is not None
    factors = strength_factors()
    draws = {"energy:impact_hydraulic": at_triangle(60.0, energy.low_kj, energy.default_kj, energy.high_kj),
             "ground:west": 0.9, "ground:east": 0.1}
    changes = {"strengths": (float(factors[4]), float(factors[0])),
               "overrides": {"impact_hydraulic": {"energy_kj": 60.0}}}
    check(changes, "impact_hydraulic", "people", "R02", draws, 0.1)


def test_the_chances_of_the_findings() -> None:
    # with everything held that the findings hold, vibration must come out as their closed form says
    found = sample(plain(), Options(samples=2048, most=8, p_se=0.002, hold=BESIDE))
    chance, error = found.exceeds.mean(), found.exceeds.mean_se()
    compared = 0
    for number, one in enumerate(found.studied):
        if one.finding["effect"] == "noise":
            continue
        compared += 1
        assert chance[number] == pytest.approx(one.finding["p_exceed"], abs=4.0 * error[number] + 0.004)
    assert compared >= 8


SETS = ("din_4150_2_1999", "bs_6472_1_2008", "nl_sbr_b_2002", "nz_nzs_6803_1999", "se_nfs_2004_15", "no_t_1442_2021",
        "bs_5228_1_2009", "uk_rail_effect_levels")
"""Peaks, doses, strengths of a day, means, maxima, rooms, limits by days and by background, rules that count days."""
ALONE = {"vibratory_standard": ("hammer_power_pack", "service_crane"),
         "press_in_auger": ("press_power_pack", "service_crane", "excavator")}
"""Plant that is made inaudible, so that one source is left: its closed form is exact."""
QUIET_DB = 40.0


@cache
def under_many_sets() -> Assessment:
    base = scenario()
    methods = tuple(MethodEntry(name, name, overrides={"plant": [{"id": item, "lwa_db": QUIET_DB} for item in quiet]})
                    for name, quiet in ALONE.items())
    sets = load_limit_sets()
    return assess(scenario(
        piles=starter().piles.iloc[:10].copy(), methods=methods, limits=adopting([sets[name] for name in SETS]),
        baseline=baseline(base.receptors["id"].tolist()), choice={**base.choice, "windows": "open"}), grids=False)


def test_every_kind_of_rule_against_the_findings() -> None:
    findings = under_many_sets().findings
    doubtful = findings[findings["p_exceed"].between(0.03, 0.97) & findings["limit"].notna()]
    rows = doubtful.groupby(["method", "limit_set", "rule", "period"], sort=False).head(1)
    found, left_out = responses(under_many_sets(), [(finding, "here") for _, finding in rows.iterrows()])
    assert not left_out
    assert len(found) >= 30
    assert {"vdv", "kb_ftr", "kb_fmax", "lafmax_db", "laeq_db"} <= {one.finding["quantity"] for one in found}
    assert {"slow", "likely"} <= {one.response.likely for one in found}
    counting = 0
    for number, one in enumerate(found):
        ids = [each.id for each in one.response.unknowns if each.kind not in BESIDE]
        draws, _ = Draws(len(ids), 2048).batch(number)
        chance = (one.response.over_db(dict(zip(ids, draws, strict=True)), 2048, (number,)) > 0.0).mean()
        counts = one.response.programmes["likely"].trigger is not None
        counting += counts
        # findings that count days rest on 512 draws themselves: twice the standard error of even odds among them
        assert chance == pytest.approx(one.finding["p_exceed"], abs=0.045 if counts else 0.012), one.finding["rule"]
    assert counting


def test_a_sum_of_sources_against_plain_simulation() -> None:
    """The findings take the sum of sources for one log-normal; sampling adds the sources themselves, as this does."""
    one = studied("press_in_auger", "noise", "far")
    held = set(BESIDE)
    ids = [each.id for each in one.response.unknowns if each.kind not in held]
    rng = np.random.default_rng(7)
    count = 200_000
    uniform = {name: rng.random(count) for name in ids}
    ours = one.response.over_db(uniform, count)
    method = plain().detail["methods"]["press_in_auger"]
    from envpredict.engine.noise.levels import levels_of

    run = plain().detail["run"]
    rule = run.catalogue.limit_sets[one.finding["limit_set"]].rule(one.finding["rule"])
    period = next(each for each in rule.periods if each.label == one.finding["period"])
    levels = levels_of(run, method, rule, period)
    here = [str(name) for name in plain().receptors["id"]].index("far")
    point = levels.at.point[here]
    slots = np.arange(len(point))
    energy = levels.heard.energy[:, point, slots]
    add = levels.step.add_db + levels.adjust_db
    factor = 10.0 ** (levels.heard.u_db[None, :] * rng.standard_normal((count, len(energy))) / 10.0)
    total = 10.0 * np.log10(factor @ energy) + add
    total += levels.heard.way_u_db[point, slots] * rng.standard_normal((count, 1))
    total += levels.at.series.own[here] * rng.standard_normal(total.shape)
    simulated = total.max(axis=1)
    threshold = float(np.median(simulated) - np.median(ours))
    for chance in (0.05, 0.5, 0.95):
        # the same distribution but for its place, and its place by the limit
        assert np.quantile(ours, chance) + threshold == pytest.approx(np.quantile(simulated, chance), abs=0.05)
    limit = float(one.finding["limit"])
    assert threshold == pytest.approx(limit, abs=0.55)
