"""What a run returns: findings with their schema, and where every number came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import folium
    import geopandas as gpd
    import pandas as pd

    from envpredict.engine.works.choices import MethodChoice
    from envpredict.scenario.types import Scenario

Likelihood = Literal["unlikely", "possible", "likely", "cannot_judge", "not_applicable", "breach"]

LIKELIHOOD_MEANING: dict[Likelihood, str] = {
    "unlikely": "exceedance unlikely: chance below the design exceedance",
    "possible": "exceedance possible: chance between the design exceedance and 50 %",
    "likely": "exceedance likely: chance of 50 % or more",
    "cannot_judge": "cannot be judged: a fact or the evidence is missing",
    "not_applicable": "the rule doesn't govern this method, hour or place",
    "breach": "the programme breaks fixed hours or days",
}
SEVERITY: tuple[Likelihood, ...] = ("not_applicable", "unlikely", "cannot_judge", "possible", "likely", "breach")
"""From the least to the most severe: which finding governs a receptor."""

EFFECTS: dict[str, str] = {
    "damage": "damage to structures",
    "people": "vibration felt by people",
    "noise": "noise",
    "equipment": "vibration of sensitive equipment",
    "assets": "vibration of buried pipes, railways and other assets",
    "wildlife": "wildlife",
    "settlement": "settlement",
}

FINDING_COLUMNS: dict[str, tuple[str, str]] = {
    "receptor": ("text", "identifier of the receptor"),
    "use": ("text", "use of the receptor"),
    "method": ("text", "identifier of the installation method"),
    "effect": ("text", "damage, people, noise, equipment, assets, wildlife or settlement"),
    "model": ("text", "equation or method of prediction"),
    "quantity": ("text", "quantity that the limit is stated in"),
    "position": ("text", "where the limit is judged"),
    "period": ("text", "period that the finding speaks of"),
    "limit_set": ("text", "identifier of the limit set"),
    "rule": ("text", "identifier of the rule in its set"),
    "clause": ("text", "place in the document"),
    "class": ("text", "class of the receptor under the set"),
    "predicted_median": ("number", "median of the governing slot, in `unit`"),
    "scatter": ("number", "standard deviation: log10 units for linear quantities, dB for decibels"),
    "other_laws_low": ("number", "lowest median of the method's other published laws at the governing pile, in `unit`"),
    "other_laws_high": ("number", "highest median of the method's other published laws there; shown, never added"),
    "predicted_design": ("number", "level whose chance of being exceeded at least once is the design exceedance"),
    "limit": ("number", "the limit, in `unit`"),
    "unit": ("text", "unit of the levels and the limit"),
    "margin_db": ("number", "limit over predicted_design in dB; positive meets"),
    "p_exceed": ("number", "chance that the limit is exceeded at least once in the period (day rules: is triggered)"),
    "likelihood": ("text", "unlikely, possible, likely, cannot_judge, not_applicable or breach"),
    "p_one_pile": ("number", "chance that the governing pile or slot alone exceeds the limit"),
    "governing_pile": ("text", "pile with the highest median (noise: the slot's nearest working pile)"),
    "governing_day": ("text", "local date of the governing slot"),
    "days_above": ("number", "expected number of days above the limit"),
    "days_above_low": ("number", "5 % point of the number of days above"),
    "days_above_high": ("number", "95 % point of the number of days above"),
    "in_range": ("truth", "the governing prediction lies inside the law's valid range"),
    "median_basis": ("text", "how the governing median is known: read, memory, practice or estimate"),
    "basis": ("text", "the weakest basis of all inputs of the finding"),
    "reason": ("text", "why the likelihood is what it is, and what to verify"),
}


@dataclass(frozen=True, slots=True)
class Provenance:
    """What a run stood on; no clock time and no path, so a rerun is identical."""

    version: str
    inputs: Mapping[str, str]
    packages: Mapping[str, str]
    sources: tuple[str, ...]
    limit_sets: tuple[str, ...]
    models: tuple[str, ...]
    options: Mapping[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Levels on a regular grid for contours: `x` (X,), `y` (Y,) in the scenario's CRS, `values` (Y, X) in `unit`.

    `values` are medians of the worst slot of the programme, incident (noise) or on the ground (vibration).
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    values: NDArray[np.float64]
    quantity: str
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """The result of a run.

    `findings`: one row per receptor x method x limit (x period), columns `FINDING_COLUMNS`.
    `receptors`: the scenario's receptors (its CRS) in the scenario's order.
    `programme`: method id to its frame of events (`engine.works.programme.EVENT_COLUMNS`).
    `grids`: (method id, "vibration" | "noise") to the level grid.
    `drafts`: the adopted limits that are recalled from memory and unconfirmed; not empty means DRAFT.
    `detail`: `run` and `methods` (id to `run.MethodRun`); `days` (D,) and `daily`, (method, effect) to the highest
    chance by day (R, D); `feasibility`, one row per method, pile and aspect (`feasibility.FEASIBILITY_COLUMNS`; reduce
    it with `feasibility.decided`); `movement`, the flags of ground movement (`movement.MOVEMENT_COLUMNS`);
    `reductions`, what each does to each method (`reductions.REDUCTION_COLUMNS`); `unknowns`, where it was asked for,
    what the verdicts hang on (`sensitivity.tables.Study`).
    """

    scenario: Scenario
    methods: tuple[MethodChoice, ...]
    findings: pd.DataFrame
    receptors: gpd.GeoDataFrame
    programme: Mapping[str, pd.DataFrame]
    grids: Mapping[tuple[str, str], Grid]
    provenance: Provenance
    cautions: tuple[str, ...]
    drafts: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    detail: Mapping[str, Any] = field(default_factory=dict)

    def governing(self) -> pd.DataFrame:
        """Return one row per receptor x method x effect: the finding that governs it.

        The most severe likelihood first, then the highest chance, then the smallest margin.
        """
        from envpredict.engine.govern import governing

        return governing(self.findings)

    def write(self, folder: str | Path, *, replace: bool = False, grids: bool = False, csv: bool = False) -> Path:
        """Write every output to a new folder, all or nothing, and return it.

        With `grids` the level grids are written too, as GeoTIFF; with `csv` findings.csv also beyond a million
        findings, which stand in findings.parquet. Raises OutputFailure.
        """
        import importlib

        # outputs stand above the engine: the name is looked up when it's asked for, so no module here imports them
        write = importlib.import_module("envpredict.outputs.write").write_assessment
        return Path(write(self, Path(folder), replace=replace, grids=grids, also=("findings.csv",) if csv else ()))

    def explore(self, *, private_names: bool = True, show_protected: bool = False) -> folium.Map:
        """Return the risk map, which a notebook shows by itself and to which folium's layers may be added.

        With `private_names` the names of homes and workplaces stay out; places and names of protected habitats stay
        out unless `show_protected`.
        """
        import importlib

        # looked up when it's asked for, as above
        explore = importlib.import_module("envpredict.outputs.map").explore
        shown: folium.Map = explore(self, private_names=private_names, show_protected=show_protected)
        return shown
