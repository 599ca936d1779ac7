"""Everything the page shows, collected: a table of words and one block of numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from envpredict.core.cautions import DRAFT, INVENTED
from envpredict.core.citation import BASIS_MEANING, VERIFY_MARK
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.grids import GRID_EAR_M, MOST_POSITIONS
from envpredict.engine.results import EFFECTS
from envpredict.outputs.drafted import drafted, places
from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.map import contours, days, findings
from envpredict.outputs.map.documents import documents
from envpredict.outputs.map.pack import Block
from envpredict.outputs.map.privacy import Discretion, discretion
from envpredict.outputs.map.shapes import PAGE_CRS, Encoded, Origin, anchors, encode, to_page
from envpredict.outputs.map.sites import write_site
from envpredict.outputs.map.style import CONTOUR_COLOUR, words
from envpredict.outputs.map.thin import thin, write_rest

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment

FACTS: tuple[str, ...] = ("structure", "condition", "floors", "foundation", "depth_m", "occupied_hours", "equipment",
                          "zone", "material")
"""What the page says of a receptor beside its use."""
DISTANCE_STEPS = 10


@dataclass(frozen=True, slots=True)
class Payload:
    """`head`: what is written as JSON; `block`: the numbers it points to; `centre`: latitude and longitude."""

    head: dict[str, Any]
    block: str
    centre: tuple[float, float]


def collect(assessment: Assessment, *, private_names: bool, show_protected: bool) -> Payload:
    """Collect what the page shows of an assessment."""
    block = Block()
    found = thin(assessment, show_protected=show_protected)
    shown = found.shown(assessment)
    hidden = discretion(shown.receptors, private_names=private_names, show_protected=show_protected)
    shapes = to_page(shown.receptors.geometry)
    piles = to_page(shown.scenario.piles.geometry)
    works = shapely.multipoints(piles)
    origin = Origin(*(float(round(value)) for value in shapely.get_coordinates(shapely.centroid(works))[0]))
    methods = [method.id for method in shown.methods]
    secret = frozenset(shown.receptors["id"].astype(str)[hidden.places])
    frame = findings.ordered(_discreet(shown.findings, shown.receptors, hidden),
                             shown.receptors["id"].astype(str).tolist(), methods)
    dates = days.all_days(shown)
    programme = days.write_programme(block, shown, dates)
    head = {
        **_banner(shown, hidden),
        "words": words(),
        "meanings": {"quantities": {name: spec.symbol for name, spec in QUANTITIES.items()}, "positions": POSITIONS,
                     "basis": {str(basis): meaning for basis, meaning in BASIS_MEANING.items()},
                     "verify": dict(VERIFY_MARK)},
        "effects": _effects(assessment),
        "facts": _receptors(block, shown, shapes, works, origin, hidden),
        "findings_in_full": findings.write(block, frame, len(shown.receptors), len(methods)),
        "dates": dates,
        "methods": [{"id": method.id, "title": method.title, "estimate": _only_estimates(frame, number), **told}
                    for number, (method, told) in enumerate(zip(shown.methods, programme, strict=True))],
        "daily": days.write_chances(block, shown, frame, dates, programme, hidden.places),
        "site": write_site(block, shown.scenario, piles, origin, places(drafted(assessment), secret)),
        "contours": _contours(block, assessment, frame if found.whole else _for_lines(assessment, methods), origin),
        "rest": write_rest(block, assessment, found, origin),
        "findings_file": findings_file(assessment),
        "documents": documents(shown, frame),
        "origin": [origin.x, origin.y],
    }
    head["columns"] = block.index
    return Payload(head, block.text(), _centre(origin))


def _for_lines(assessment: Assessment, methods: list[str]) -> pd.DataFrame:
    """Return the findings of all receptors, those too that aren't drawn, with what the level lines need of them."""
    return findings.ordered(assessment.findings[list(contours.COLUMNS)],
                            assessment.receptors["id"].astype(str).tolist(), methods)


def _discreet(frame: pd.DataFrame, receptors: pd.DataFrame, hidden: Discretion) -> pd.DataFrame:
    """Return the findings without the pile and the day that would give away a place that stays out."""
    secret = frame["receptor"].astype(str).isin(set(receptors["id"].astype(str)[hidden.places]))
    return frame.assign(governing_pile=frame["governing_pile"].mask(secret),
                        governing_day=frame["governing_day"].mask(secret))


def _banner(assessment: Assessment, hidden: Discretion) -> dict[str, Any]:
    scenario = assessment.scenario
    return {
        "title": scenario.title, "invented": scenario.invented, "drafts": list(assessment.drafts),
        "cautions": [text for text in assessment.cautions if text not in (DRAFT, INVENTED)],
        "notes": list(dict.fromkeys((*assessment.warnings, *scenario.notes))), "left_out": hidden.notes(),
        "design_exceedance": scenario.design_exceedance, "version": assessment.provenance.version,
        "inputs": dict(assessment.provenance.inputs), "sources": list(assessment.provenance.sources),
        "contour_colour": CONTOUR_COLOUR,
    }


def _effects(assessment: Assessment) -> list[dict[str, Any]]:
    """Return the effects that have findings, with their periods in order of appearance."""
    found = assessment.findings[["effect", "period"]].drop_duplicates()
    return [{"id": effect, "title": title,
             "periods": [str(period) for period in found.loc[found["effect"].eq(effect), "period"].dropna()]}
            for effect, title in EFFECTS.items() if found["effect"].eq(effect).any()]


def _only_estimates(frame: pd.DataFrame, method: int) -> bool:
    """Return whether every vibration of a method is predicted by an estimate without published measurements."""
    known = frame["method_row"].eq(method) & frame["effect"].ne("noise") & frame["predicted_median"].notna()
    return bool(known.any() and frame.loc[known, "median_basis"].eq("estimate").all())


def _receptors(block: Block, assessment: Assessment, shapes: Any, works: Any, origin: Origin,
               hidden: Discretion) -> list[str]:
    """Write the receptors into the page's block and return the facts that the page says of them."""
    receptors = assessment.receptors
    encode(shapes, origin, hidden.places).write(block, "receptors")
    marks = origin.quantise(anchors(shapes, works))
    marks[hidden.places] = 0
    block.add("receptors.room", [_room(marks[~hidden.places])], "varint")
    block.add("receptors.anchor", marks, "varint")
    plan_m = receptors.geometry.distance(assessment.scenario.piles.union_all()).to_numpy(dtype=float)
    block.add("receptors.distance", np.where(hidden.places, -1, np.rint(plan_m * DISTANCE_STEPS)), "varint")
    ids = receptors["id"].astype(str).tolist()
    names = receptors["name"].astype(object).where(receptors["name"].notna(), "").astype(str).tolist()
    shown = ["" if secret or name == key else name for name, key, secret in zip(names, ids, hidden.names, strict=True)]
    block.add_json("receptors.ids", ids)
    block.add_json("receptors.names", shown if any(shown) else [])
    block.add_words("receptors.use", receptors["use"])
    facts = [fact for fact in FACTS if fact in receptors]
    for fact in facts:
        text = receptors[fact].map(lambda value: f"{value:g}" if isinstance(value, float) else str(value))
        block.add_words(f"receptors.{fact}", text.where(receptors[fact].notna(), ""))
    return facts


def _room(marks: Any) -> int:
    """Return the distance from mark to mark that three of four receptors keep, in the page's steps; 0 for one alone."""
    from scipy.spatial import cKDTree

    if len(marks) < 2:
        return 0
    nearest = cKDTree(marks).query(marks, k=2)[0][:, 1]
    return int(np.quantile(nearest, 0.25))


def _contours(block: Block, assessment: Assessment, frame: pd.DataFrame, origin: Origin) -> dict[str, Any]:
    """Write the level lines, with how the findings differ from the grid at each receptor's nearest point."""
    works = assessment.scenario.piles.union_all()
    shapes = np.asarray(assessment.receptors.geometry.values, dtype=object)
    facing = shapely.get_coordinates(shapely.get_point(shapely.shortest_line(shapes, works), 0))
    encoded = Encoded()
    lines: list[dict[str, Any]] = []
    left_out = 0
    for method, found, dropped in contours.lines_of(assessment, frame, facing):
        lines += contours.write(encoded, found, method, assessment.scenario.crs, origin)
        left_out += dropped
    encoded.write(block, "contours")
    cells = {float(grid.x[1] - grid.x[0]) for grid in assessment.grids.values()}
    return {"lines": lines, "left_out": left_out, "positions": MOST_POSITIONS, "height_m": GRID_EAR_M,
            "cell_m": f"{max(cells):.1f}" if cells else ""}


def _centre(origin: Origin) -> tuple[float, float]:
    from pyproj import Transformer

    longitude, latitude = Transformer.from_crs(PAGE_CRS, 4326, always_xy=True).transform(origin.x, origin.y)
    return round(float(latitude), 6), round(float(longitude), 6)
