"""Japanese practice: vertical vibration levels of construction work at a reference distance, spreading with damping.

Two published tables: measured ranges of the Japanese Construction Mechanization Association (1994) and the unit
values of a road project's assessment. They are the only published levels of drilled and augered installation that
were reached, and the basis of the estimates for drilled methods below: velocity from level with the crest factor 4 of
the US transit guidance, so that the drilled methods stand on the same footing as its table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.spec import Origin, Scatter, model
from envpredict.models.vibration.people_measures import ppv_from_vibration_level_jp

ASSOCIATION: Final = Citation("Japan Construction Mechanization Association, manual on construction-work vibration",
                              1994, "table of measured ranges by work and distance", "read",
                              via="an acoustics consultancy's page")
ROAD: Final = Citation("unit table of a Japanese road project's environmental assessment", None,
                       "one value per kind of work at the reference point", "read", via="a document archive")
ROAD_DISTANCE: Final = Citation("Japanese road assessment method", None, "reference distance 5 m of the unit table",
                                "memory")
DECAY: Final = Citation("sheet of the Japanese Ministry of the Environment", None, "L(r) = L(r0) - 20 n log(r / r0) "
                        "- 8.68 alpha (r - r0), with n = 0.75 for construction", "read")
CONVERSION: Final = Citation("our judgement", None, "crest factor 4 and frequencies from 8 Hz on, to stand beside the "
                             "US transit table; the middle of the printed range taken as the median", "estimate")

CREST_FACTOR: Final = 4.0
FREQUENCY_HZ: Final = 8.0
"""From 8 Hz on the conversion doesn't depend on frequency."""
GEOMETRIC_DB: Final = 15.0
DB_PER_NEPER: Final = 8.68
DAMPING_SOIL: Final = 0.01
DAMPING_ROCK: Final = 0.001
ORIGIN: Final = Origin("vibration_level_jp_db", "vibration_level_jp_from_ppv", CREST_FACTOR, FREQUENCY_HZ,
                       "running root mean square of 0.63 s (from memory), upper tenth percentile")


@dataclass(frozen=True, slots=True)
class ReferenceLevel:
    """A row of a table: the range of levels at a distance, dB re 1e-5 m/s2; one value has low = high."""

    low_db: float
    high_db: float
    distance_m: float
    source: Citation

    @property
    def middle_db(self) -> float:
        """Return the middle of the range."""
        return 0.5 * (self.low_db + self.high_db)


REFERENCE_LEVELS: Final = {
    "diesel_hammer_to_2_t": ReferenceLevel(75, 80, 7, ASSOCIATION),
    "diesel_hammer_2_to_3_t": ReferenceLevel(72, 84, 7, ASSOCIATION),
    "diesel_hammer_3_to_4_t": ReferenceLevel(76, 89, 7, ASSOCIATION),
    "diesel_hammer_above_4_t": ReferenceLevel(70, 91, 7, ASSOCIATION),
    "drop_hammer": ReferenceLevel(63, 89, 7, ASSOCIATION),
    "hydraulic_hammer_6_5_t": ReferenceLevel(85, 88, 7, ASSOCIATION),
    "hydraulic_hammer_8_t": ReferenceLevel(85, 91, 7, ASSOCIATION),
    "vibrator_to_30_kw": ReferenceLevel(71, 77, 7, ASSOCIATION),
    "vibrator_above_40_kw": ReferenceLevel(72, 92, 7, ASSOCIATION),
    "earth_auger": ReferenceLevel(50, 61, 7, ASSOCIATION),
    "earth_drill_20_t": ReferenceLevel(59, 67, 7, ASSOCIATION),
    "earth_drill_30_t": ReferenceLevel(58, 61, 7, ASSOCIATION),
    "pre_boring": ReferenceLevel(50, 64, 5, ASSOCIATION),
    "all_casing_1300_mm": ReferenceLevel(57, 68, 7, ASSOCIATION),
    "all_casing_2000_mm": ReferenceLevel(53, 58, 7, ASSOCIATION),
    "road_hammer": ReferenceLevel(81, 81, 5, ROAD),
    "road_pre_boring": ReferenceLevel(62, 62, 5, ROAD),
    "road_inner_excavation": ReferenceLevel(63, 63, 5, ROAD),
    "road_sheet_pile_hammer": ReferenceLevel(81, 81, 5, ROAD),
    "road_sheet_pile_inner_excavation": ReferenceLevel(64, 64, 5, ROAD),
    "road_all_casing": ReferenceLevel(63, 63, 5, ROAD),
    "road_all_casing_hard_soil": ReferenceLevel(61, 61, 5, ROAD),
    "road_all_casing_hard_rock": ReferenceLevel(56, 56, 5, ROAD),
}
MIDDLE_DB: Final = {name: row.middle_db for name, row in REFERENCE_LEVELS.items()}
DISTANCE_M: Final = {name: row.distance_m for name, row in REFERENCE_LEVELS.items()}

DAMPING: Final = Range(0.001, 0.04, "0.001 rock, 0.01 to 0.04 soil")
LEVEL_SCATTER: Final = Scatter.from_total(
    6.0, Citation("our judgement", None, "0.30 in log10 of velocity; printed ranges are 3 to 26 dB wide", "estimate"),
    within_site=4.0)
DRILLED_SCATTER: Final = Scatter.from_total(
    0.30, Citation("our judgement", None, "wider than a quarter of the printed ranges, 0.14 for augers", "estimate"))
PRESSING_SCATTER: Final = Scatter.from_total(
    0.35, Citation("our judgement", None, "no measured values were seen: wider than for drilling", "estimate"))


@model(
    "japanese_level",
    title="Vertical vibration level used in Japan, from its value at a reference distance",
    quantity="vibration_level_jp_db", statistic="median", distance="plan",
    validity={"distance_m": Range(5.0, 50.0, "our judgement: the tables reach from 5 to 30 m"),
              "reference_level_db": Range.unstated(), "reference_distance_m": Range.unstated(),
              "damping_per_m": DAMPING},
    source=DECAY, scatter=LEVEL_SCATTER,
)
def japanese_level(distance_m: ArrayLike, *, reference_level_db: ArrayLike, reference_distance_m: ArrayLike = 5.0,
                   damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the level in dB re 1e-5 m/s2: L = L_0 - 15 log(r / r_0) - 8.68 alpha (r - r_0).

    distance_m: plan distance r, m; reference_level_db: L_0 at reference_distance_m r_0; damping_per_m: alpha, 0.01 in
    soil and 0.001 in rock, 1/m. Arrays broadcast. Used for 5 to 50 m. Raises ValueError for distances that aren't
    positive and a negative damping. Source: Japanese Ministry of the Environment.

    >>> round(float(japanese_level(10.0, reference_level_db=81.0)), 2)
    76.05
    """
    r = positive(distance_m, "distance_m")
    r_0 = positive(reference_distance_m, "reference_distance_m")
    alpha = not_negative(damping_per_m, "damping_per_m")
    level = numbers(reference_level_db, "reference_level_db")
    return level - GEOMETRIC_DB * np.log10(r / r_0) - DB_PER_NEPER * alpha * (r - r_0)


@model(
    "japanese_work_level",
    title="Vertical vibration level used in Japan, by kind of work",
    quantity="vibration_level_jp_db", statistic="median", distance="plan",
    validity={"distance_m": Range(5.0, 50.0, "our judgement: the tables reach from 5 to 30 m"),
              "damping_per_m": DAMPING},
    source=ASSOCIATION, sources=(ROAD, ROAD_DISTANCE, DECAY), scatter=LEVEL_SCATTER,
    options={"japanese_work": tuple(REFERENCE_LEVELS)},
)
def japanese_work_level(distance_m: ArrayLike, *, japanese_work: ArrayLike,
                        damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the level in dB re 1e-5 m/s2 of a kind of work: the middle of its printed range, by `japanese_level`.

    distance_m: plan distance, m; japanese_work: a row of the two tables; damping_per_m: as there. Arrays broadcast.
    Used for 5 to 50 m. Raises ValueError as there and for an unknown row. Source: Japan Construction Mechanization
    Association 1994; road assessment table, whose reference distance of 5 m is from memory: verify.

    >>> float(japanese_work_level(7.0, japanese_work="earth_auger"))
    55.5
    """
    return japanese_level(
        distance_m, damping_per_m=damping_per_m,
        reference_level_db=choose(japanese_work, MIDDLE_DB, "japanese_work"),
        reference_distance_m=choose(japanese_work, DISTANCE_M, "japanese_work"),
    )


def _velocity(distance_m: ArrayLike, reference_level_db: ArrayLike, reference_distance_m: ArrayLike,
              damping_per_m: ArrayLike) -> Floats:
    """Return the PPV in mm/s whose level is that of `japanese_level`, written as a law of the distance."""
    r = positive(distance_m, "distance_m")
    r_0 = positive(reference_distance_m, "reference_distance_m")
    alpha = not_negative(damping_per_m, "damping_per_m") * (DB_PER_NEPER * np.log(10.0) / 20.0)
    v_0 = ppv_from_vibration_level_jp(reference_level_db, FREQUENCY_HZ, crest_factor=CREST_FACTOR)
    falling: Floats = (r_0 / r) ** (GEOMETRIC_DB / 20.0) * np.exp(alpha * (r_0 - r))
    return v_0 * falling


def _validity(low_m: float, high_m: float) -> dict[str, Range]:
    return {"distance_m": Range(low_m, high_m, "our judgement"), "reference_level_db": Range.unstated(),
            "reference_distance_m": Range.unstated(), "damping_per_m": DAMPING}


@model(
    "auger_press_estimate",
    title="Pressing with an auger inside, estimated from piles installed by inner excavation (Japan)",
    quantity="ppv_vertical", statistic="median", distance="plan", validity=_validity(5.0, 50.0),
    source=CONVERSION, sources=(ROAD, ROAD_DISTANCE, DECAY), scatter=DRILLED_SCATTER,
    flags=frozenset({"estimate", "proxy"}), origin=ORIGIN,
)
def auger_press(distance_m: ArrayLike, *, reference_level_db: ArrayLike = 63.5,
                reference_distance_m: ArrayLike = 5.0, damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the estimated PPV in mm/s: 1.2 mm/s at 5 m, falling like `japanese_level`.

    distance_m: plan distance, m; reference_level_db: 63 to 64 dB of inner excavation at reference_distance_m;
    damping_per_m: 0.01 in soil, 0.001 in rock. Arrays broadcast. Used for 5 to 50 m. Raises ValueError for distances
    that aren't positive and a negative damping. Source: estimate from a road assessment's table, another method's
    levels.

    >>> round(float(auger_press(5.0)), 1)
    1.2
    """
    return _velocity(distance_m, reference_level_db, reference_distance_m, damping_per_m)


@model(
    "preauger_estimate",
    title="Pre-augering, estimated from levels of pre-boring (Japan)",
    quantity="ppv_vertical", statistic="median", distance="plan", validity=_validity(5.0, 30.0),
    source=CONVERSION, sources=(ASSOCIATION, DECAY), scatter=DRILLED_SCATTER, flags=frozenset({"estimate"}),
    origin=ORIGIN,
)
def preauger(distance_m: ArrayLike, *, reference_level_db: ArrayLike = 57.0, reference_distance_m: ArrayLike = 5.0,
             damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the estimated PPV in mm/s: 0.56 mm/s at 5 m, falling like `japanese_level`.

    distance_m: plan distance, m; reference_level_db: 57 dB, the middle of 50 to 64 at reference_distance_m;
    damping_per_m: 0.01 in soil, 0.001 in rock. Arrays broadcast. Used for 5 to 30 m; strikes on obstructions aren't
    covered. Raises ValueError for distances that aren't positive and a negative damping. Source: estimate from Japan
    Construction Mechanization Association 1994.

    >>> round(float(preauger(5.0)), 2)
    0.56
    """
    return _velocity(distance_m, reference_level_db, reference_distance_m, damping_per_m)


@model(
    "bored_estimate",
    title="Cased rotary boring, estimated from levels of casing and drilling rigs (Japan)",
    quantity="ppv_vertical", statistic="median", distance="plan", validity=_validity(5.0, 50.0),
    source=CONVERSION, sources=(ASSOCIATION, DECAY), scatter=DRILLED_SCATTER, flags=frozenset({"estimate"}),
    origin=ORIGIN,
)
def bored(distance_m: ArrayLike, *, reference_level_db: ArrayLike = 62.0, reference_distance_m: ArrayLike = 7.0,
          damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the estimated PPV in mm/s: 1.0 mm/s at 7 m, falling like `japanese_level`.

    distance_m: plan distance, m; reference_level_db: 62 dB, amid the ranges of casing and drilling rigs at
    reference_distance_m; damping_per_m: 0.01 in soil, 0.001 in rock. Arrays broadcast. Used for 5 to 50 m;
    chiselling, casing vibrators and dropped grabs aren't covered. Raises ValueError for distances that aren't
    positive and a negative damping. Source: estimate from Japan Construction Mechanization Association 1994.

    >>> round(float(bored(7.0)), 1)
    1.0
    """
    return _velocity(distance_m, reference_level_db, reference_distance_m, damping_per_m)


@model(
    "cfa_estimate",
    title="Continuous flight augering, estimated from levels of earth augers (Japan)",
    quantity="ppv_vertical", statistic="median", distance="plan", validity=_validity(5.0, 50.0),
    source=CONVERSION, sources=(ASSOCIATION, DECAY), scatter=DRILLED_SCATTER, flags=frozenset({"estimate"}),
    origin=ORIGIN,
)
def cfa(distance_m: ArrayLike, *, reference_level_db: ArrayLike = 55.5, reference_distance_m: ArrayLike = 7.0,
        damping_per_m: ArrayLike = DAMPING_SOIL) -> Floats:
    """Return the estimated PPV in mm/s: 0.47 mm/s at 7 m, falling like `japanese_level`.

    distance_m: plan distance, m; reference_level_db: 55.5 dB, the middle of 50 to 61 at reference_distance_m;
    damping_per_m: 0.01 in soil, 0.001 in rock. Arrays broadcast. Used for 5 to 50 m. Raises ValueError for distances
    that aren't positive and a negative damping. Source: estimate from Japan Construction Mechanization Association
    1994.

    >>> round(float(cfa(7.0)), 2)
    0.47
    """
    return _velocity(distance_m, reference_level_db, reference_distance_m, damping_per_m)


@model(
    "pressing_estimate",
    title="Pressing without an auger, estimated: no published measurement was seen",
    quantity="ppv_vertical", statistic="median", distance="plan",
    validity={"distance_m": Range(2.0, 30.0, "our judgement")},
    source=Citation("our judgement", None, "recalled level of 62 dB at 5 m for a hydraulic press, crest factor 4; "
                    "decay as the other Japanese levels", "estimate"),
    scatter=PRESSING_SCATTER, flags=frozenset({"estimate"}), origin=ORIGIN,
)
def pressing(distance_m: ArrayLike) -> Floats:
    """Return the estimated PPV in mm/s: v = 3.9 / x^0.85, that is 1.0 mm/s at 5 m.

    distance_m: plan distance x, m, any shape. Used for 2 to 30 m. Raises ValueError for a distance that isn't positive.
    Source: estimate of ours, unverified: trial and measurement needed.

    >>> round(float(pressing(5.0)), 2)
    0.99
    """
    return 3.9 / positive(distance_m, "distance_m") ** 0.85
