"""layers.gpkg: the results as GIS layers in the scenario's coordinate reference system."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from envpredict.outputs.contours import contour_lines
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.engine.results import Assessment

NAME = "layers.gpkg"
SUMMARY = ("effect", "likelihood", "p_exceed", "margin_db", "predicted_median", "predicted_design", "limit", "unit",
           "limit_set", "clause", "period", "governing_pile", "governing_day", "days_above", "in_range", "basis",
           "reason")
STAMP = "1970-01-01T00:00:00Z"


def receptor_layer(assessment: Assessment, method: str | None = None) -> gpd.GeoDataFrame:
    """Return the receptors with the finding that governs each: over all methods and effects, or of one method."""
    from envpredict.engine.govern import governing

    findings = assessment.findings
    by: tuple[str, ...] = ("receptor",)
    if method is not None:
        findings = findings[findings["method"] == method]
    best = governing(findings, by).set_index("receptor")
    columns = ["id", "name", "use", "structure", "floors", assessment.receptors.geometry.name]
    layer = assessment.receptors[columns].copy()
    for name in (("method", *SUMMARY) if method is None else SUMMARY):
        layer[name] = layer["id"].map(best[name])
    return layer


def pile_layer(assessment: Assessment) -> gpd.GeoDataFrame:
    """Return the piles with the day on which each method drives them."""
    layer = assessment.scenario.piles.copy()
    for method, programme in assessment.programme.items():
        day = programme.groupby("pile")["day"].min()
        layer[f"day_{method}"] = layer["id"].map(day)
    return layer


def contour_layer(assessment: Assessment) -> gpd.GeoDataFrame:
    """Return the level contours of every method as lines: method, kind, quantity, level, unit."""
    import geopandas as gpd

    rows = []
    for (method, kind), grid in assessment.grids.items():
        for level, line in contour_lines(assessment, method, kind):
            rows.append({"method": method, "kind": kind, "quantity": grid.quantity, "level": level, "unit": grid.unit,
                         "geometry": line})
    names = ["method", "kind", "quantity", "level", "unit", "geometry"]
    return gpd.GeoDataFrame(rows, columns=names, geometry="geometry", crs=assessment.scenario.crs)


def note_layer(assessment: Assessment) -> gpd.GeoDataFrame:
    """Return the cautions as a table without geometry."""
    import geopandas as gpd

    return gpd.GeoDataFrame({"caution": list(assessment.cautions)}, geometry=[None] * len(assessment.cautions),
                            crs=assessment.scenario.crs)


@output(NAME, "GIS layers: receptors with their governing findings, one layer per method, piles, wall, contours")
def write(assessment: Assessment, path: Path) -> None:
    """Write the layers as one GeoPackage; the time stamp inside is fixed, so that equal inputs give equal contents."""
    import pyogrio

    layers = {"receptors": receptor_layer(assessment), "piles": pile_layer(assessment),
              "wall": assessment.scenario.wall, "contours": contour_layer(assessment)}
    for choice in assessment.methods:
        layers[f"receptors_{choice.id}"] = receptor_layer(assessment, choice.id)
    layers["cautions"] = note_layer(assessment)
    previous = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    try:
        for name, layer in layers.items():
            kind = "Unknown" if name.startswith("receptors") else None
            pyogrio.write_dataframe(layer.replace([np.inf, -np.inf], np.nan), path, layer=name, driver="GPKG",
                                    append=path.exists(), **({"geometry_type": kind} if kind else {}))
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": previous})
