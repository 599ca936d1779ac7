"""What report, charts and workbook read from a run: governing findings, distances, names that may be shown."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.govern import governing, severity
from envpredict.engine.results import EFFECTS, SEVERITY
from envpredict.outputs.map.privacy import Discretion, discretion

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.results import Assessment

BY_EFFECT = ("receptor", "method", "effect")


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A run as outputs for readers see it.

    `governing`: one finding per receptor, method and effect, with `distance_m`, the plan distance to its governing
    pile; `effects`: those that the run judges; `receptors`: identifiers from the worst affected to the least;
    `methods`: identifiers in the scenario's order; `discretion`: what stays out of what anybody may read.
    """

    assessment: Assessment
    governing: pd.DataFrame
    effects: tuple[str, ...]
    methods: tuple[str, ...]
    receptors: tuple[str, ...]
    discretion: Discretion
    _hidden: list[frozenset[str]] = field(default_factory=list)

    def of(self, effect: str, method: str | None = None) -> pd.DataFrame:
        """Return the governing findings of an effect, of one method or of all."""
        rows = self.governing[self.governing["effect"] == effect]
        return rows if method is None else rows[rows["method"] == method]

    def affected(self, effect: str) -> tuple[str, ...]:
        """Return the receptors of which a rule of an effect speaks, from the worst affected to the least."""
        rows = self.of(effect)
        spoken = set(rows.loc[rows["likelihood"] != "not_applicable", "receptor"].astype(str))
        return tuple(name for name in _worst_first(self.assessment, rows) if name in spoken)

    def title(self, method: str) -> str:
        """Return a method's title."""
        return next(choice.title for choice in self.assessment.methods if choice.id == method)

    def names(self) -> dict[str, str]:
        """Return the names that may be shown, by identifier; empty where a name stays out or adds nothing."""
        receptors = self.assessment.receptors
        hidden = self.discretion.names
        return {str(key): "" if out or str(name) == str(key) else str(name)
                for key, name, out in zip(receptors["id"], receptors["name"], hidden, strict=True)}

    def hidden_places(self) -> frozenset[str]:
        """Return the identifiers of receptors whose place stays out."""
        if not self._hidden:      # asked for cell by cell
            self._hidden.append(frozenset(self.assessment.receptors["id"][self.discretion.places].astype(str)))
        return self._hidden[0]


def view(assessment: Assessment) -> View:
    """Return the view of a run; names of homes and workplaces and places of habitats stay out."""
    chosen = plain_texts(governing(assessment.findings, BY_EFFECT))
    chosen = chosen.assign(distance_m=distances_m(assessment, chosen))
    present = set(chosen["effect"])
    return View(
        assessment=assessment, governing=chosen, effects=tuple(name for name in EFFECTS if name in present),
        methods=tuple(choice.id for choice in assessment.methods), receptors=_worst_first(assessment, chosen),
        discretion=discretion(assessment.receptors, private_names=True, show_protected=False))


def catalogue_of(assessment: Assessment) -> Catalogue:
    """Return the catalogue that a run used: its own where it kept it, else read again."""
    run = assessment.detail.get("run")
    if run is not None:
        found: Catalogue = run.catalogue
        return found
    from envpredict.engine.catalogue import load_catalogue

    return load_catalogue(assessment.scenario.own)


def comparable(assessment: Assessment) -> bool:
    """Return whether a run kept what the candidates are put side by side with."""
    return {"run", "methods", "feasibility"} <= set(assessment.detail)


def distances_m(assessment: Assessment, findings: pd.DataFrame) -> NDArray[np.float64]:
    """Return the plan distance from each finding's receptor to its governing pile, NaN where it has none."""
    import shapely

    receptors, piles = assessment.receptors, assessment.scenario.piles
    row = {name: number for number, name in enumerate(receptors["id"])}
    pile = {name: number for number, name in enumerate(piles["id"])}
    at = findings["receptor"].map(row).to_numpy()
    to = findings["governing_pile"].map(pile).to_numpy(dtype=float)
    found = np.full(len(findings), np.nan)
    ok = np.isfinite(to)
    shapes = np.asarray(receptors.geometry.values, dtype=object)
    points = np.asarray(piles.geometry.values, dtype=object)
    found[ok] = shapely.distance(shapes[at[ok]], points[to[ok].astype(int)])
    return found


def _worst_first(assessment: Assessment, chosen: pd.DataFrame) -> tuple[str, ...]:
    """Return the receptors ordered by their worst effect's rank under the best method, then by the sum of all ranks.

    A receptor that no method spares comes before one that a quieter method spares; ties keep the scenario's order.
    """
    ids = [str(name) for name in assessment.receptors["id"]]
    if chosen.empty:
        return tuple(ids)
    # what can't be judged isn't known to be an exceedance: it ranks below `possible`, as in SEVERITY
    table = chosen.assign(_rank=severity(chosen["likelihood"]), _chance=chosen["p_exceed"].fillna(0.0).astype(float))
    per_method = table.groupby(["receptor", "method"], sort=False)["_rank"].max()
    spared = per_method.groupby("receptor").min().reindex(ids).fillna(-1).to_numpy()
    total = table.groupby("receptor")["_chance"].sum().reindex(ids).fillna(0.0).to_numpy()
    order = np.lexsort((np.arange(len(ids)), -total, -spared))
    return tuple(ids[number] for number in order)


def plain_texts(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame with its texts as plain objects: rows are taken from it, and lists made of it, much faster."""
    texts = [name for name in frame.columns if str(frame[name].dtype) in ("str", "string")]
    return frame.assign(**{name: frame[name].to_numpy(dtype=object) for name in texts}) if texts else frame


def counts(rows: pd.DataFrame) -> dict[str, int]:
    """Return how many findings have each likelihood, from the most severe; words that don't occur count 0."""
    found = rows["likelihood"].value_counts()
    return {word: int(found.get(word, 0)) for word in reversed(SEVERITY)}
