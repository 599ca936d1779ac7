"""Candidate methods side by side: who reaches the toe, in how many days, how far the worst receptor is over its limit.

Nothing is weighed and nothing is recommended: methods are put beside one another, and those that no other one beats are
marked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.quantities import QUANTITIES
from envpredict.engine.compared.combined import PART, Combined, combined_runs
from envpredict.engine.compared.combined import findings as combined_findings
from envpredict.engine.compared.pairs import pairs, standing
from envpredict.engine.govern import governing, severity
from envpredict.engine.results import EFFECTS, SEVERITY
from envpredict.engine.works.feasibility import decided
from envpredict.methods.stack import LEAST_FACTOR, applies

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment
    from envpredict.engine.run import MethodRun
    from envpredict.methods.schema import Method, Reduction

METHOD_COLUMNS: dict[str, tuple[str, str]] = {
    "method": ("text", "identifier of the candidate"),
    "title": ("text", "its title"),
    "feasible": ("text", "the verdict that decides for the whole candidate"),
    "why": ("text", "the check that decided, at its worst pile"),
    "piles": ("number", "piles that the candidate works on"),
    "share_of_wall": ("number", "their share of all piles of the scenario"),
    "days": ("number", "days of work at the likely rates"),
    "days_slow": ("number", "days of work at the slow rates"),
    "days_fast": ("number", "days of work at the fast rates"),
    "spoil_m3": ("number", "spoil as dug, likely"),
    "spoil_low_m3": ("number", "spoil as dug, low"),
    "spoil_high_m3": ("number", "spoil as dug, high"),
    "evidence_vibration": ("text", "what the velocities rest on: published, recalled, practice, proxy or estimate"),
    "evidence_noise": ("text", "what the sound rests on: published, recalled, practice or estimate"),
    "in_set": ("truth", "no other candidate is lower in one respect and not higher in any"),
    "standing": ("text", "why it stands in the set, or not"),
    "reductions": ("text", "reductions in force"),
}
EFFECT_COLUMNS: dict[str, tuple[str, str]] = {
    "method": ("text", "identifier of the candidate"),
    "effect": ("text", "what is judged"),
    "period": ("text", "period of the day, for sound; empty where all periods count together"),
    "receptor": ("text", "the worst receptor"),
    "limit_set": ("text", "set of the limit that is worst there"),
    "rule": ("text", "its rule"),
    "over_limit_db": ("number", "median less limit in dB at that receptor; above 0 exceeds"),
    "scatter_db": ("number", "standard deviation of that difference in dB"),
    "shared_db": ("number", "the part of it that is the error of a law or of an item of plant"),
    "stands_on": ("text", "that law, or the item of plant that gives most of the sound there"),
    "p_exceed": ("number", "chance that the limit is exceeded at least once there"),
    "likelihood": ("text", "likelihood there"),
    "shaky": ("text", "why it can't be called lower than another: an estimate, a proxy, out of range; or empty"),
    **{word: ("number", f"receptors governed by '{word}'") for word in reversed(SEVERITY)},
    "receptor_days": ("number", "expected days above the limit, summed over the receptors"),
    "needed_db": ("number", "how much lower the worst receptor must be to meet its limit; 0 where it does"),
    "needed_factor": ("number", "the same as a factor on velocity; missing for sound"),
    "needed": ("text", "what would make it comply, in words"),
    "measures": ("text", "reductions of the catalogue with a published effect on it"),
}
EVIDENCE = ("published", "recalled", "practice", "proxy", "estimate")
"""From the strongest to the weakest."""
OF_BASIS = {"read": "published", "memory": "recalled", "practice": "practice", "estimate": "estimate"}


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Candidates side by side.

    `methods`: one row each, columns `METHOD_COLUMNS`; `effects`: one row per candidate and effect, and per period for
    sound, columns `EFFECT_COLUMNS`; `pairs`: per respect which of two is lower, columns `pairs.PAIR_COLUMNS`.
    `combined`: the findings of candidates that are several methods one after another, with the `part` that governs,
    and `programmes`: theirs at the likely rates.
    """

    methods: pd.DataFrame
    effects: pd.DataFrame
    pairs: pd.DataFrame
    combined: pd.DataFrame
    programmes: Mapping[str, pd.DataFrame]

    @property
    def whole(self) -> pd.DataFrame:
        """Return the effects with all periods taken together."""
        return self.effects[self.effects["period"] == ""]


def compare(assessment: Assessment) -> Comparison:
    """Return the candidates of an assessment side by side."""
    import pandas as pd

    run = assessment.detail["run"]
    combined = combined_runs(run, assessment.detail["methods"])
    together = [combined_findings(run, one) for one in combined]
    tables = [assessment.findings.assign(**{PART: assessment.findings["method"]}), *together]
    rows = [_effect_row(assessment, method, effect, "", found) for method, effect, found in _groups(tables, False)]
    rows += [_effect_row(assessment, method, effect, str(period), part)
             for method, effect, found in _groups(tables, True) for period, part in found.groupby("period",
                                                                                                  sort=False)]
    effects = pd.DataFrame(rows, columns=list(EFFECT_COLUMNS))
    methods = pd.DataFrame([*(_method_row(assessment, name) for name in assessment.detail["methods"]),
                            *(_combined_row(assessment, one) for one in combined)])
    two = pairs(methods, effects[effects["period"] == ""])
    methods = methods.assign(**standing(methods, two))
    return Comparison(methods[list(METHOD_COLUMNS)], effects, two,
                      pd.concat(together, ignore_index=True) if together else tables[0].iloc[:0],
                      {one.id: one.programme(run) for one in combined})


def _groups(tables: Sequence[pd.DataFrame], by_period: bool) -> list[tuple[str, str, pd.DataFrame]]:
    """Return the findings of every candidate and effect, in the candidates' order; of sound alone where by period."""
    found = []
    for findings in tables:
        for method in dict.fromkeys(findings["method"]):
            for effect in EFFECTS:
                rows = findings[(findings["method"] == method) & (findings["effect"] == effect)]
                if len(rows) and (not by_period or effect == "noise"):
                    found.append((str(method), effect, rows))
    return found


def _worst(rows: pd.DataFrame) -> pd.Series:
    """Return the finding with the highest chance, then the smallest margin; a breach comes first, no number last."""
    import pandas as pd

    numbers = rows["predicted_median"].notna() & rows["limit"].notna() & rows["p_exceed"].notna()
    judged = rows[numbers] if numbers.any() else rows
    order = pd.DataFrame({"chance": judged["p_exceed"].fillna(-1.0), "margin": -judged["margin_db"].fillna(np.inf),
                          "severity": severity(judged["likelihood"])})
    first = order.sort_values(["chance", "margin", "severity"], ascending=False, kind="stable").index[0]
    return judged.loc[[first]].iloc[0]


def _over_limit_db(row: pd.Series) -> tuple[float, float]:
    """Return how far the median lies over the limit in dB, and the standard deviation of that; NaN without numbers."""
    if not row["quantity"] or row["predicted_median"] != row["predicted_median"] or row["limit"] != row["limit"]:
        return np.nan, np.nan
    if QUANTITIES[row["quantity"]].scale == "decibel":
        return float(row["predicted_median"] - row["limit"]), float(row["scatter"])
    with np.errstate(divide="ignore"):
        return float(20.0 * np.log10(row["predicted_median"] / row["limit"])), 20.0 * float(row["scatter"])


def _shared(assessment: Assessment, row: pd.Series, run: MethodRun) -> tuple[float, str]:
    """Return the part of a finding's scatter, in dB, that is the error of its law or loudest plant, and which that is.

    What can't be told apart shares nothing, so that no two levels are told apart more surely than is known.
    """
    if row["predicted_median"] != row["predicted_median"] or row["scatter"] != row["scatter"]:
        return 0.0, ""
    if row["quantity"] and QUANTITIES[row["quantity"]].effect == "noise":
        needs = assessment.detail["noise_needs"]
        mine = needs[(needs["receptor"] == row["receptor"]) & (needs["method"] == row[PART])
                     & (needs["limit_set"] == row["limit_set"]) & (needs["rule"] == row["rule"])
                     & (needs["period"] == row["period"])]
        plant = {plant.id: plant for _, plant in run.choice.plant}
        if not len(mine) or mine.iloc[0]["loudest_plant"] not in plant:
            return 0.0, ""
        one = plant[mine.iloc[0]["loudest_plant"]]
        # an item's error moves the sum by its share of the sound
        return min(one.u_db * float(mine.iloc[0]["loudest_share"]), float(row["scatter"])), one.id
    fields = [field for field in run.sample.vibration.fields if field.spec.id == row["model"] and field.trial is None]
    if not fields:
        return 0.0, ""
    return 20.0 * min(fields[0].shared, float(_over_limit_db(row)[1]) / 20.0), str(row["model"])


def _shaky(row: pd.Series, run: MethodRun) -> str:
    """Return why a finding's level can't be called lower than another's; empty where it can."""
    if row["median_basis"] == "estimate":
        return "estimate"
    proxies = {field.spec.id for field in run.sample.vibration.fields if field.law.proxy or "proxy" in field.spec.flags}
    if row["model"] in proxies:
        return "proxy"
    return "" if row["in_range"] else "out of range"


def _effect_row(assessment: Assessment, method: str, effect: str, period: str, rows: pd.DataFrame) -> dict[str, Any]:
    by = ("receptor", "method", "effect", *(("period",) if period else ()))
    governed = governing(rows, by)
    worst = _worst(rows)
    run = assessment.detail["methods"][worst[PART]]
    over, scatter = _over_limit_db(worst)
    margin = float(worst["margin_db"])
    needed = max(-margin, 0.0) if np.isfinite(margin) else np.nan
    sound = effect == "noise"
    factor = np.nan if sound or not np.isfinite(needed) else 10.0 ** (-needed / 20.0)
    counts = governed["likelihood"].value_counts()
    return {
        "method": method, "effect": effect, "period": period, "receptor": worst["receptor"],
        "limit_set": worst["limit_set"], "rule": worst["rule"], "over_limit_db": over, "scatter_db": scatter,
        **dict(zip(("shared_db", "stands_on"), _shared(assessment, worst, run), strict=True)),
        "p_exceed": worst["p_exceed"], "likelihood": worst["likelihood"], "shaky": _shaky(worst, run),
        **{word: int(counts.get(word, 0)) for word in reversed(SEVERITY)},
        "receptor_days": float(governed["days_above"].fillna(0.0).sum()), "needed_db": needed,
        "needed_factor": factor, "needed": _in_words(counts, needed, factor, sound),
        "measures": _measures(assessment, run.choice.method, sound),
    }


def _in_words(counts: pd.Series, needed: float, factor: float, sound: bool) -> str:
    if counts.get("breach", 0):
        return "other hours or days: the programme breaks fixed ones"
    if not np.isfinite(needed):
        return "nothing could be judged: see the findings' reasons"
    if needed == 0.0:
        open_ = int(counts.get("cannot_judge", 0))
        return "nothing at the worst receptor" + (f"; {open_} receptors can't be judged" if open_ else "")
    if sound:
        return f"{needed:.1f} dB less at the worst receptor"
    beyond = (f": more than published measures together are credited with (times {LEAST_FACTOR:g})"
              if factor < LEAST_FACTOR else "")
    return f"{needed:.1f} dB less, velocity times {factor:.2g}, at the worst receptor{beyond}"


def _measures(assessment: Assessment, method: Method, sound: bool) -> str:
    """Return the reductions of the catalogue that fit the method and have a published effect, the strongest first."""
    found: list[tuple[float, str]] = []
    catalogue: dict[str, Reduction] = dict(assessment.detail["run"].catalogue.reductions)
    for name, entry in catalogue.items():
        if not applies(entry, method):
            continue
        if sound and entry.noise is not None and entry.noise.on != "maximum":
            found.append((-entry.noise.insertion_loss_db, f"{name} (-{entry.noise.insertion_loss_db:g} dB on "
                          f"{entry.noise.on.replace('_', ' ')})"))
        if not sound and entry.vibration is not None and not (entry.setting == "zero_moment" and method.zero_moment):
            when = " at start and stop" if entry.vibration.phase == "start_stop" else ""
            found.append((entry.vibration.factor, f"{name} (x {entry.vibration.factor:g}{when})"))
    return ", ".join(text for _, text in sorted(found))


def _evidence(run: MethodRun, governs: Sequence[int]) -> str:
    """Return the weakest class of evidence among the laws that govern somewhere."""
    classes = []
    for number in governs:
        field = run.sample.vibration.fields[number]
        proxy = field.law.proxy or "proxy" in field.spec.flags
        estimate = field.law.estimate or field.median_basis == "estimate" or "estimate" in field.spec.flags
        classes.append("estimate" if estimate else "proxy" if proxy else OF_BASIS[field.median_basis])
    return max(classes, key=EVIDENCE.index)


def _method_row(assessment: Assessment, method: str) -> dict[str, Any]:
    run: MethodRun = assessment.detail["methods"][method]
    checks = assessment.detail["feasibility"]
    verdict = decided(checks[checks["method"] == method], ("method",)).iloc[0]
    worked = np.unique(run.passes.pile)
    piles = assessment.scenario.piles
    metres = float(piles["length_m"].to_numpy(dtype=float)[worked].sum())
    days = {speed: len(passes.days) for speed, passes in run.programmes.items()}
    spoil = run.choice.method.needs.spoil
    volumes = (np.nan,) * 3 if spoil is None else (spoil.m3_per_m, spoil.low_m3_per_m, spoil.high_m3_per_m)
    return {
        "method": method, "title": run.choice.title, "feasible": verdict["verdict"],
        "why": f"{verdict['pile']}: {verdict['reason']}", "piles": len(worked),
        "share_of_wall": len(worked) / len(piles), "days": days["likely"], "days_slow": days["slow"],
        "days_fast": days["fast"], "spoil_m3": metres * volumes[0], "spoil_low_m3": metres * volumes[1],
        "spoil_high_m3": metres * volumes[2],
        "evidence_vibration": _evidence(run, assessment.detail["governs"][method]),
        "evidence_noise": OF_BASIS[run.sample.sound.median_basis], "reductions": ", ".join(run.choice.reductions),
    }


def _combined_row(assessment: Assessment, combined: Combined) -> dict[str, Any]:
    """Return the row of a candidate of several parts: their worst verdict, all their piles, days and spoil."""
    parts = [_method_row(assessment, part.choice.id) for part in combined.parts]
    names = [part["method"] for part in parts]
    checks = assessment.detail["feasibility"]
    verdict = decided(checks[checks["method"].isin(names)].assign(method=combined.id), ("method",)).iloc[0]
    worked = np.unique(np.concatenate([part.passes.pile for part in combined.parts]))
    spoil = {name: float(np.nansum([part[name] for part in parts])) if any(part[name] == part[name] for part in parts)
             else np.nan for name in ("spoil_m3", "spoil_low_m3", "spoil_high_m3")}
    # without repeats: a reduction may serve several parts
    reductions = dict.fromkeys(name for part in combined.parts for name in part.choice.reductions)
    return {
        "method": combined.id, "title": combined.title, "feasible": verdict["verdict"],
        "why": f"{verdict['pile']}: {verdict['reason']}", "piles": len(worked),
        "share_of_wall": len(worked) / len(assessment.scenario.piles), "days": combined.days("likely"),
        "days_slow": combined.days("slow"), "days_fast": combined.days("fast"), **spoil,
        "evidence_vibration": max((part["evidence_vibration"] for part in parts), key=EVIDENCE.index),
        "evidence_noise": max((part["evidence_noise"] for part in parts), key=EVIDENCE.index),
        "reductions": ", ".join(reductions),
    }
