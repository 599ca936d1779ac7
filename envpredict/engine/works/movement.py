"""Which ways of moving the ground each candidate may set off beside the assets of a site, section by section."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.geometry import plan_distance_m
from envpredict.engine.works.site import FACE_USES
from envpredict.methods.movement import RaisedFlag, movement_flags

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import Run
    from envpredict.engine.works.choices import MethodChoice

Near = tuple[NDArray[np.intp], NDArray[np.float64]]
MOVEMENT_COLUMNS: dict[str, str] = {
    "method": "identifier of the candidate method",
    "section": "part of the wall",
    "flag": "way in which the ground may move",
    "title": "its title",
    "state": "raised, clear or cannot_judge, at the asset nearest in lengths of pile",
    "receptor": "that asset: a foundation, pipe or track; empty where the site has none",
    "distance_m": "plan distance from its nearest pile",
    "pile": "that pile",
    "within": "number of assets for which the flag isn't clear",
    "reason": "why, and what to do",
    "source": "place of the rule, with its verify mark",
    "basis": "how the rule is known",
}
ASSET_USES = FACE_USES | {"railway", "buried_pipe"}
NO_GROUND_HINT = "find out the strata along the drive"


def _soils(run: Run, piles: NDArray[np.intp]) -> frozenset[str]:
    """Return the ground classes along the drives of some piles; `unknown` among them where a part isn't known."""
    drive = run.drive.take(piles)
    return frozenset(str(word) for word in np.unique(drive.words("catalogue")[drive.within]))


def _states(run: Run, choice: MethodChoice, soils: frozenset[str], pile: int,
            distance_m: float) -> tuple[RaisedFlag, ...]:
    piles = run.scenario.piles
    kind = run.catalogue.pile_types[piles["pile_type"].iat[pile]]
    return movement_flags(choice.method, run.catalogue.movement, soils, distance_m=distance_m,
                          pile_length_m=float(piles["length_m"].iat[pile]), pile_type=kind)


ASSETS_AT_ONCE = 2000
"""So many assets are measured to all piles at once; it bounds the memory, never the result."""


def _nearest(run: Run, assets: NDArray[np.intp], piles: NDArray[np.intp]) -> Near:
    """Return, per asset, the number of the nearest of some piles, counted in lengths of pile, and how far it stands."""
    places, length = run.scenario.piles.geometry.iloc[piles], run.scenario.piles["length_m"].to_numpy(dtype=float)
    which, apart = np.zeros(len(assets), dtype=np.intp), np.zeros(len(assets))
    for start in range(0, len(assets), ASSETS_AT_ONCE):
        some = slice(start, start + ASSETS_AT_ONCE)
        plan = plan_distance_m(run.scenario.receptors.geometry.iloc[assets[some]], places)
        which[some] = (plan / length[piles]).argmin(axis=1)
        apart[some] = plan[np.arange(len(plan)), which[some]]
    return which, apart


def _section_rows(run: Run, choice: MethodChoice, section: str, piles: NDArray[np.intp], assets: NDArray[np.intp],
                  near: Near) -> Iterator[tuple[Any, ...]]:
    """Yield one row per flag of a candidate in a section, judged at the nearest asset."""
    receptors, all_piles = run.scenario.receptors, run.scenario.piles
    soils = _soils(run, piles)
    if not assets.size:
        for name in choice.method.movement:
            flag = run.catalogue.movement[name]
            yield (choice.id, section, flag.id, flag.title, "clear", "", np.nan, "", 0,
                   "no foundation, pipe or track among the receptors", flag.source, flag.basis)
        return
    nearest, plan = near
    at = [_states(run, choice, soils, int(piles[pile]), float(plan[row])) for row, pile in enumerate(nearest)]
    first = int((plan / all_piles["length_m"].to_numpy(dtype=float)[piles[nearest]]).argmin())
    pile = int(nearest[first])
    for number, raised in enumerate(at[first]):
        within = sum(each[number].state != "clear" for each in at)
        hint = f"; {NO_GROUND_HINT}" if raised.state == "cannot_judge" else ""
        yield (choice.id, section, raised.flag.id, raised.flag.title, raised.state,
               str(receptors["id"].iat[assets[first]]), round(float(plan[first]), 2),
               str(all_piles["id"].iat[int(piles[pile])]), within, raised.reason + hint, raised.flag.source,
               raised.flag.basis)


def movement(run: Run, choices: Sequence[MethodChoice]) -> pd.DataFrame:
    """Return the flags of ground movement, one row per candidate, section and flag, columns `MOVEMENT_COLUMNS`.

    Assets are foundations (of buildings and bridges), buried pipes and railway tracks among the receptors.
    """
    import pandas as pd

    sections = run.scenario.piles["section"].to_numpy()
    assets = np.flatnonzero(run.scenario.receptors["use"].isin(ASSET_USES).to_numpy())
    piles = {section: np.flatnonzero(sections == section) for section in dict.fromkeys(sections)}
    near = {section: _nearest(run, assets, those) for section, those in piles.items()}
    rows: list[tuple[Any, ...]] = []
    for choice in choices:
        for section, those in piles.items():
            if not choice.sections or section in choice.sections:
                rows += _section_rows(run, choice, str(section), those, assets, near[section])
    return pd.DataFrame(rows, columns=list(MOVEMENT_COLUMNS))
