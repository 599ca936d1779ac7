"""layers.gpkg: the results as GIS layers in the scenario's coordinate reference system; see docs/layers.md."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from envpredict.outputs.contours import contour_lines
from envpredict.outputs.registry import output
from envpredict.outputs.sheets import verify

if TYPE_CHECKING:
    import geopandas as gpd

    from envpredict.engine.results import Assessment

NAME = "layers.gpkg"
STAMP = "1970-01-01T00:00:00Z"
RECEPTOR_FIELDS: dict[str, str] = {"id": "text", "name": "text", "use": "text", "structure": "text", "floors": "whole"}
FINDING_FIELDS: dict[str, str] = {
    "effect": "text", "likelihood": "text", "p_exceed": "real", "margin_db": "real", "predicted_median": "real",
    "predicted_design": "real", "limit": "real", "unit": "text", "quantity": "text", "limit_set": "text",
    "rule": "text", "clause": "text", "period": "text", "governing_pile": "text", "governing_day": "text",
    "days_above": "real", "in_range": "truth", "basis": "text", "verify": "text", "reason": "text"}
"""The fields of the governing finding, with their types; `receptors` also names its method, and `verify` holds the mark
of its basis."""
CONTOUR_FIELDS: dict[str, str] = {"method": "text", "kind": "text", "quantity": "text", "level": "real",
                                  "unit": "text"}
DTYPES: dict[str, Any] = {"text": "object", "real": "float64", "whole": "Int64", "truth": "boolean"}


def typed(frame: Any, fields: dict[str, str]) -> Any:
    """Return a frame whose fields have the declared types, also where every value is missing."""
    out = frame.copy()
    for name, kind in fields.items():
        values = out[name].astype(object)
        values = values.where(values.notna(), None)
        out[name] = values if kind == "text" else pd.Series(values, index=out.index).astype(DTYPES[kind])
    return out


def receptor_layer(assessment: Assessment, method: str | None = None) -> gpd.GeoDataFrame:
    """Return the receptors with the finding that governs each: over all methods and effects, or of one method."""
    from envpredict.engine.govern import governing

    findings = assessment.findings
    if method is not None:
        findings = findings[findings["method"] == method]
    best = governing(findings, ("receptor",)).set_index("receptor")
    best = best.assign(verify=best["basis"].map(verify))
    layer = assessment.receptors[[*RECEPTOR_FIELDS, assessment.receptors.geometry.name]].copy()
    fields = FINDING_FIELDS if method is not None else {"method": "text", **FINDING_FIELDS}
    for name in fields:
        layer[name] = layer["id"].map(best[name])
    return typed(layer, {**RECEPTOR_FIELDS, **fields})


def pile_layer(assessment: Assessment) -> gpd.GeoDataFrame:
    """Return the piles with the first day on which each method works on them."""
    layer = assessment.scenario.piles.copy()
    for method, programme in assessment.programme.items():
        layer[f"day_{method}"] = layer["id"].map(programme.groupby("pile")["day"].min().astype(str))
    days = {f"day_{method}": "text" for method in assessment.programme}
    return typed(layer, {"id": "text", "section": "text", "pile_type": "text", "length_m": "real", **days})


def contour_layer(assessment: Assessment) -> gpd.GeoDataFrame:
    """Return the level contours of every method as lines."""
    import geopandas as gpd

    rows = []
    for (method, kind), grid in assessment.grids.items():
        for level, line in contour_lines(assessment, method, kind):
            rows.append({"method": method, "kind": kind, "quantity": grid.quantity, "level": level, "unit": grid.unit,
                         "geometry": line})
    frame = gpd.GeoDataFrame(rows, columns=[*CONTOUR_FIELDS, "geometry"], geometry="geometry",
                             crs=assessment.scenario.crs)
    return typed(frame, CONTOUR_FIELDS)


def note_layer(assessment: Assessment) -> pd.DataFrame:
    """Return the cautions as a table without geometry."""
    return pd.DataFrame({"caution": list(assessment.cautions)})


def layers(assessment: Assessment) -> dict[str, pd.DataFrame]:
    """Return every layer of the file by its name, in the order in which they are written."""
    made: dict[str, pd.DataFrame] = {"receptors": receptor_layer(assessment), "piles": pile_layer(assessment),
            "wall": assessment.scenario.wall, "contours": contour_layer(assessment)}
    made |= {f"receptors_{choice.id}": receptor_layer(assessment, choice.id) for choice in assessment.methods}
    return {**made, "cautions": note_layer(assessment)}


@output(NAME, "GIS layers: receptors with their governing findings, one layer per method, piles, wall, contours")
def write(assessment: Assessment, path: Path) -> None:
    """Write the layers as one GeoPackage; the time stamp inside is fixed, so that equal inputs give equal contents.

    Raises OSError if the file can't be written.
    """
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    previous = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": STAMP})
    made = layers(assessment)
    try:
        for name, layer in made.items():
            kind = _geometry_type(name)
            pyogrio.write_dataframe(layer.replace([np.inf, -np.inf], np.nan), path, layer=name, driver="GPKG",
                                    append=path.exists(), **({"geometry_type": kind} if kind else {}))
    except (DataSourceError, DataLayerError) as error:
        raise OSError(f"{path.name}: {error}") from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": previous})
    check_complete(path, made)


def check_complete(path: Path, made: dict[str, pd.DataFrame]) -> None:
    """Raise OSError unless a file holds every row and every spatial index of the layers.

    GDAL builds the indexes when it closes the file, and a disk that is full by then goes unreported.
    """
    found = {}
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
        tables = {name for (name,) in file.execute("select table_name from gpkg_contents")}
        indexed = {name for (name,) in file.execute("select table_name from gpkg_extensions")}
        for name in sorted(tables):
            quoted = name.replace('"', '""')
            found[name] = (file.execute(f'select count(*) from "{quoted}"').fetchone()[0], name in indexed)
        sound = file.execute("pragma quick_check").fetchone()[0] == "ok"
    if not sound or found != {name: (len(layer), hasattr(layer, "geometry")) for name, layer in made.items()}:
        raise OSError(f"{path.name}: written incompletely; is the disk full?")


def _geometry_type(name: str) -> str | None:
    """Return the geometry type that a layer is declared with; None takes that of what it holds."""
    if name.startswith("receptors"):
        return "Unknown"     # points, lines and areas in one layer
    return "LineString" if name == "contours" else None
