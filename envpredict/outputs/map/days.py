"""The programme day by day: which piles are done, and each receptor's likelihood on each day."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from envpredict.outputs.map.style import ORDER

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.models.spec import ModelSpec
    from envpredict.outputs.map.pack import Block

NOT_IN_METHOD = 65535
CELLS_FOR_ALL_EFFECTS = 4_000_000
"""Beyond this many receptor-days the page holds the governing effect only, and says so."""
WORST = 100
"""Number of receptors whose chances by day are charted."""
CHANCE_STEPS = 200
NO_CHANCE = 255
LIKELY = 0.5
Codes = NDArray[np.uint8]
Chances = NDArray[np.float64]


def all_days(assessment: Assessment) -> list[str]:
    """Return every date on which any method works or a chance is stated, as ISO text."""
    worked = {str(day) for events in assessment.programme.values() for day in events["day"].astype(str).str[:10]}
    return sorted(worked | set(_stated_days(assessment.detail)))


def _stated_days(detail: Mapping[str, Any]) -> list[str]:
    return [str(day)[:10] for day in detail.get("days", ())] if detail.get("daily") else []


def write_programme(block: Block, assessment: Assessment, days: list[str]) -> list[dict[str, Any]]:
    """Write, per method, the day on which each pile is finished; return what the page says of each method's days."""
    piles = assessment.scenario.piles["id"].astype(str)
    place = {day: number for number, day in enumerate(days)}
    told = []
    for number, method in enumerate(assessment.methods):
        events = assessment.programme[method.id]
        event_day = events["day"].astype(str).str[:10].map(place)
        last = event_day.groupby(events["pile"].astype(str)).max()
        done = piles.map(last).fillna(NOT_IN_METHOD).to_numpy(dtype=np.int64)
        block.add(f"programme.{number}", done, "u16")
        told.append({"days": sorted({int(day) for day in event_day}), "piles": int((done != NOT_IN_METHOD).sum())})
    return told


def day_words(chance: Chances, design: float, unproven: NDArray[np.bool_], whole: Codes) -> Codes:
    """Return the word of each receptor (R) on each day (D) as the page's code, from the day's chances (R, D).

    Where the governing prediction is unproven (R) a small chance proves nothing: the word is `cannot_judge`, as it is
    over the whole programme. NaN: nothing to judge on that day. A receptor without a chance on any day keeps `whole`
    (R), its word over the whole programme.
    """
    below = np.where(unproven, ORDER.index("cannot_judge"), ORDER.index("unlikely"))[:, None]
    with np.errstate(invalid="ignore"):
        words = np.where(chance >= LIKELY, ORDER.index("likely"),
                         np.where(chance >= design, ORDER.index("possible"), below))
    missing = np.isnan(chance)
    found = np.where(missing, ORDER.index("quiet"), words)
    never = np.all(missing, axis=1, keepdims=True)
    return np.where(never, whole[:, None], found).astype(np.uint8)


def most_severe(words: list[Codes]) -> Codes:
    """Return the most severe of several effects' words; nothing to judge gives way to any other."""
    ranks = np.array([{"none": -2, "quiet": -1}.get(word, number) for number, word in enumerate(ORDER)])
    best = words[0]
    for other in words[1:]:
        best = np.where(ranks[other] > ranks[best], other, best)
    return best


def _unproven(frame: pd.DataFrame, receptors: int, doubtful: frozenset[str]) -> NDArray[np.bool_]:
    """Return, per receptor, whether its governing finding in `frame` rests on what no measurement supports."""
    first = frame.drop_duplicates("receptor_row")
    doubt = (first["word"].eq(ORDER.index("cannot_judge")) | first["median_basis"].eq("estimate")
             | first["in_range"].astype("boolean").eq(False).fillna(False) | first["model"].isin(doubtful))
    doubt &= first["word"].ne(ORDER.index("unlikely"))
    result = np.zeros(receptors, dtype=bool)
    result[first["receptor_row"].to_numpy()] = doubt.to_numpy(dtype=bool)
    return result


def _doubtful(method: MethodChoice, models: Mapping[str, ModelSpec]) -> frozenset[str]:
    """Return the models that predict this method by another one's law or by an estimate."""
    return frozenset(law.model for law in method.laws
                     if law.proxy or law.estimate or (law.model in models
                                                      and models[law.model].flags & {"proxy", "estimate"}))


def _words(frame: pd.DataFrame, receptors: int) -> Codes:
    """Return each receptor's word over the whole programme from the first of its findings in `frame`."""
    first = frame.drop_duplicates("receptor_row")
    words = np.full(receptors, ORDER.index("none"), dtype=np.uint8)
    words[first["receptor_row"].to_numpy()] = first["word"].to_numpy()
    return words


def worst_receptors(frame: pd.DataFrame, count: int = WORST) -> NDArray[np.int64]:
    """Return the rows of the receptors with the most severe finding of any method, the highest chance first."""
    order = np.lexsort((-frame["p_exceed"].fillna(-1.0).to_numpy(), -frame["word"].to_numpy()))
    return frame["receptor_row"].to_numpy()[order][np.sort(np.unique(
        frame["receptor_row"].to_numpy()[order], return_index=True)[1])][:count]


def write_chances(block: Block, assessment: Assessment, frame: pd.DataFrame, days: list[str],
                  programme: list[dict[str, Any]], secret: NDArray[np.bool_]) -> dict[str, Any]:
    """Write the likelihoods by day that the result holds, and return what the page says of them.

    Those of a `secret` receptor (R) stay out, since they tell which piles are near.
    """
    from envpredict.models.spec import load_models

    models = load_models()
    daily: Mapping[tuple[str, str], Chances] = assessment.detail.get("daily") or {}
    place = {day: number for number, day in enumerate(_stated_days(assessment.detail))}
    receptors = len(assessment.receptors)
    cells = sum(receptors * len(programme[number]["days"])
                for number, method in enumerate(assessment.methods) for name, _ in daily if name == method.id)
    every_effect = cells <= CELLS_FOR_ALL_EFFECTS
    told = frame[~secret[frame["receptor_row"].to_numpy()]]
    worst = worst_receptors(told) if daily else np.zeros(0, dtype=np.int64)
    held: list[list[str]] = []
    for number, method in enumerate(assessment.methods):
        columns = [place.get(days[day], -1) for day in programme[number]["days"]]
        mine = frame[frame["method_row"] == number]
        words: dict[str, Codes] = {}
        highest: Chances | None = None
        for (name, effect), chances in daily.items():
            if name != method.id:
                continue
            padded = np.pad(np.asarray(chances, dtype=float), ((0, 0), (0, 1)), constant_values=np.nan)[:, columns]
            padded[secret] = np.nan
            rows = mine[mine["effect"] == effect]
            doubt = _unproven(rows, receptors, _doubtful(method, models))
            words[effect] = day_words(padded, assessment.scenario.design_exceedance, doubt, _words(rows, receptors))
            highest = padded[worst] if highest is None else np.fmax(highest, padded[worst])
        if words and highest is not None:
            block.add(f"day.{number}.governing", most_severe(list(words.values())).ravel(), "u8")
            scaled = np.where(np.isnan(highest), NO_CHANCE, np.rint(highest * CHANCE_STEPS))
            block.add(f"chance.{number}", scaled.ravel(), "u8")
            if every_effect:
                for effect, codes in words.items():
                    block.add(f"day.{number}.{effect}", codes.ravel(), "u8")
        held.append(["governing", *words] if every_effect and words else ["governing"] if words else [])
    return {"held": held, "every_effect": every_effect, "worst": [int(row) for row in worst]}
