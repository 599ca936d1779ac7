"""The files that `envpredict predict` leaves in its result folder: all of them, or none.

On one machine and set of versions the same inputs give the same bytes of `findings.csv`, `run.json`, `risk_map.html`
and `report.html`, and the same contents of the other files. With `--grids` the level grids are written too, as GeoTIFF
files in a folder `grids`, see layers.md.
"""

from __future__ import annotations

from envpredict.outputs.reference.markdown import table
from envpredict.outputs.registry import load_outputs

TITLE = "Outputs"


def body() -> str:
    """Return the list of files."""
    return table(["file", "what it holds"], [(f"`{name}`", found.holds) for name, found in load_outputs().items()])
