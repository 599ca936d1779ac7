"""Houses between source and receptor whose heights aren't known: by their density, or by rows."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, not_negative, numbers
from envpredict.models.noise.arguments import between, result
from envpredict.models.spec import model

ANNEX_A: Final = Citation("ISO 9613-2", 1996, "Annex A.3 (informative), equations (A.2) and (A.3)", "memory")
ROWS: Final = Citation("FHWA and FTA traffic and transit noise guidance", None, "attenuation by rows of buildings",
                       "memory", note="the steps differ between documents by about 1 dB")
CEILING_DB: Final = 10.0
_MOST_ROW_PERCENT: Final = 90.0


@model("iso9613_housing", title="Built-up region whose heights aren't known (ISO 9613-2 Annex A)",
       quantity="attenuation_db", statistic="deterministic", position="free_field", distance="none", source=ANNEX_A,
       validity={"built_fraction": Range(0.0, 1.0, "Annex A.3"), "built_path_m": Range.unstated(),
                 "wall_loss_db": Range.unstated(),
                 "row_percent": Range(0.0, _MOST_ROW_PERCENT, "Annex A.3: p is at most 90 %")})
def housing_db(built_fraction: ArrayLike, built_path_m: ArrayLike, *, row_percent: ArrayLike = 0.0,
               wall_loss_db: ArrayLike = np.inf) -> Floats:
    """Return Ahous = Ahous,1 + Ahous,2 of the A-weighted level in dB, 0 to 10.

    built_fraction: B, built over total area along the path, 0 to 1. built_path_m: db, the curved path through the built
    region in m. row_percent: p, the share of a road's or railway's length beside it that facades take up, 0 to 90; only
    with a well-defined row near such a line. wall_loss_db: insertion loss of a closed wall as high as the row, which
    Ahous,2 doesn't exceed. All broadcast. Ahous,1 = 0.1 B db, Ahous,2 = -10 lg(1 - p/100).
    Raises ValueError for a fraction outside 0 to 1, a share outside 0 to 90 or a negative length.

    >>> round(float(housing_db(0.30, 100.0)), 1), round(float(housing_db(0.0, 0.0, row_percent=70.0)), 1)
    (3.0, 5.2)
    """
    density = 0.1 * between(built_fraction, 0.0, 1.0, "built_fraction") * not_negative(built_path_m, "built_path_m")
    share = between(row_percent, 0.0, _MOST_ROW_PERCENT, "row_percent")
    row = np.minimum(-10.0 * np.log10(1.0 - share / 100.0), not_negative(wall_loss_db, "wall_loss_db"))
    return result(np.minimum(density + np.maximum(row, 0.0), CEILING_DB))


def rows_db(rows: ArrayLike, first_row_percent: ArrayLike) -> Floats:
    """Return the attenuation of whole rows of buildings on the A-weighted level, dB, 0 to 10.

    rows: number of rows between source and receptor, 0 or more. first_row_percent: share of the first row's length that
    buildings take up: 40 to 65 % gives 3 dB, above 65 % gives 5 dB, less gives none; each further row 1.5 dB. They
    broadcast. Raises ValueError for a negative number or a share outside 0 to 100. Source: recalled (`ROWS`).

    >>> [float(loss) for loss in rows_db([0, 1, 2, 9], 70.0)]
    [0.0, 5.0, 6.5, 10.0]
    """
    count = not_negative(rows, "rows")
    share = between(first_row_percent, 0.0, 100.0, "first_row_percent")
    first = np.where(share > 65.0, 5.0, np.where(share >= 40.0, 3.0, 0.0))
    further = np.where(first > 0.0, 1.5 * (count - 1.0), 0.0)
    loss = np.minimum(np.where(count >= 1.0, first + further, 0.0), CEILING_DB)
    return result(np.where(np.isnan(count + share), np.nan, loss))


def with_ground_db(ground_attenuation_db: ArrayLike, housing_db: ArrayLike) -> Floats:
    """Return ground effect and houses together in dB: the larger of the ground without houses, and houses on ground.

    ground_attenuation_db: Agr as if the houses weren't there. housing_db: Ahous, 0 or more. They broadcast. Between the
    houses a positive Agr is lost; a negative one, where the ground raises the level, is kept: the louder reading, so
    that no houses change nothing.
    """
    agr, houses = numbers(ground_attenuation_db, "ground_attenuation_db"), not_negative(housing_db, "housing_db")
    return result(np.maximum(agr, houses + np.minimum(agr, 0.0)))
