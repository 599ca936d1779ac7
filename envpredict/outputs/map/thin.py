"""Which receptors of a large run the page draws one by one, and the counts by cell of all others."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from envpredict.engine.results import EFFECTS
from envpredict.outputs.map.findings import FINDINGS_IN_FULL
from envpredict.outputs.map.privacy import discretion
from envpredict.outputs.map.shapes import encode, to_page
from envpredict.outputs.map.style import ORDER

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment
    from envpredict.outputs.map.pack import Block
    from envpredict.outputs.map.shapes import Origin

MOST_DRAWN = 20_000
"""The receptors that the page draws and lists; a browser is slow to show many more."""
CELL_M = 100.0
NONE = ORDER.index("none")
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Thin:
    """`drawn` (R): whether a receptor is drawn; `row` (F): the receptor's row of each finding."""

    drawn: NDArray[np.bool_]
    row: Rows

    @property
    def whole(self) -> bool:
        """Whether every receptor is drawn."""
        return bool(self.drawn.all())

    def shown(self, assessment: Assessment) -> Assessment:
        """Return a run with the drawn receptors alone."""
        if self.whole:
            return assessment
        chances = assessment.detail.get("daily") or {}
        daily = {key: np.asarray(by_day)[self.drawn] for key, by_day in chances.items()}
        return replace(assessment, receptors=assessment.receptors[self.drawn].reset_index(drop=True),
                       findings=assessment.findings[self.drawn[self.row]].reset_index(drop=True),
                       detail={**assessment.detail, **({"daily": daily} if daily else {})})

    def sentence(self) -> str:
        """Return what the page says of those that it doesn't draw."""
        return (f"Of {len(self.drawn)} receptors {int(self.drawn.sum())} are drawn and listed: those with the most "
                "severe likelihood of any method and effect first, of equally severe ones the nearest to the works. "
                f"The other {int((~self.drawn).sum())} are counted by likelihood in cells of {CELL_M:g} m, over the "
                "whole programme and all periods.")


def thin(assessment: Assessment, *, show_protected: bool) -> Thin:
    """Return which receptors are drawn: the most severe, then the nearest; what has no place here is always listed."""
    receptors = assessment.receptors
    ids = pd.Index(receptors["id"].astype(str))
    row = np.asarray(ids.get_indexer(pd.Index(assessment.findings["receptor"].astype(str))), dtype=np.int64)
    drawn = np.ones(len(receptors), dtype=bool)
    if len(receptors) > MOST_DRAWN:
        worst = np.full(len(receptors), -1, dtype=np.int64)
        np.maximum.at(worst, row, word_codes(assessment.findings["likelihood"]))
        away = receptors.geometry.distance(assessment.scenario.piles.union_all()).to_numpy(dtype=float)
        secret = discretion(receptors, private_names=True, show_protected=show_protected).places
        order = np.lexsort((np.arange(len(ids)), away, -worst, ~secret))
        drawn[order[MOST_DRAWN:]] = False
        drawn |= secret
    return Thin(drawn, row)


def word_codes(likelihood: pd.Series) -> Rows:
    """Return likelihoods as the page's codes, which are the higher the more severe."""
    codes, known = pd.factorize(likelihood.astype(object))
    return np.array([ORDER.index(str(word)) for word in known], dtype=np.int64)[codes]


def left_out(assessment: Assessment) -> list[str]:
    """Return, in sentences, what of a large run the page doesn't hold."""
    found = thin(assessment, show_protected=False)
    told = [] if found.whole else [found.sentence()]
    if np.count_nonzero(found.drawn[found.row]) > FINDINGS_IN_FULL:
        told.append("Rules that don't apply where another one does, one pile's chance, the range of days and other "
                    "laws stay out of the page.")
    return told


def write_rest(block: Block, assessment: Assessment, found: Thin, origin: Origin) -> dict[str, Any] | None:
    """Write the cells and, per method and effect, their counts by word; return what the page says of them."""
    if found.whole:
        return None
    rest = np.flatnonzero(~found.drawn)
    points = assessment.receptors.geometry.iloc[rest].representative_point()
    corners, cell = np.unique(np.floor(np.column_stack([points.x, points.y]) / CELL_M), axis=0, return_inverse=True)
    west, south = CELL_M * corners.T
    squares = gpd.GeoSeries(shapely.box(west, south, west + CELL_M, south + CELL_M),
                            crs=assessment.scenario.crs)
    encode(to_page(squares), origin).write(block, "rest")
    words = _words(assessment, found, rest)
    key = cell.ravel() * len(ORDER)
    for (method, effect), codes in words.items():
        counts = np.bincount(key + codes, minlength=len(corners) * len(ORDER))
        block.add(f"rest.{method}.{effect}", counts, "varint")
    return {"receptors": len(rest), "cell_m": f"{CELL_M:g}", "sentence": found.sentence()}


def _words(assessment: Assessment, found: Thin, rest: Rows) -> dict[tuple[int, str], Rows]:
    """Return, per method's number and effect, the code of the word that governs each of the receptors `rest`."""
    place = np.full(len(found.drawn), -1, dtype=np.int64)
    place[rest] = np.arange(len(rest))
    findings = assessment.findings
    mine = np.flatnonzero(place[found.row] >= 0)
    at, code = place[found.row[mine]], word_codes(findings["likelihood"].iloc[mine])
    method, effect = (findings[name].iloc[mine].to_numpy(dtype=object) for name in ("method", "effect"))
    words = {}
    for number, choice in enumerate(assessment.methods):
        ours = method == choice.id
        for name in ("governing", *EFFECTS):
            chosen = ours if name == "governing" else ours & (effect == name)
            if chosen.any():
                worst = np.full(len(rest), -1, dtype=np.int64)
                np.maximum.at(worst, at[chosen], code[chosen])
                words[number, name] = np.where(worst < 0, NONE, worst)
    return words
