"""BS 5228-1:2009+A1:2014 Annex F: the hand method for the A-weighted level of plant on a site.

Levels are incident; the facade's reflection is added once, by whoever knows the limit's position.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from envpredict.core.citation import Citation
from envpredict.core.ranges import Range
from envpredict.models.arguments import Floats, choose, not_negative, numbers, positive
from envpredict.models.noise.arguments import between, result
from envpredict.models.spec import Scatter, model

_DOCUMENT = "BS 5228-1:2009+A1:2014"
_MEMO = "the Hong Kong technical memorandum on noise from percussive piling, which has the same values"
HARD: Final = Citation(_DOCUMENT, 2009, "Annex F, hard ground: 20 lg(R/10)", "read",
                       via="environmental studies that use it")
SOFT: Final = Citation(_DOCUMENT, 2009, "Annex F, soft ground: 25 lg(R/10) - 2 for R of 25 m and more", "memory",
                       note="the slope of 25 was read in an environmental study")
SCREENING: Final = Citation(_DOCUMENT, 2009, "Annex F: 5 dB partly, 10 dB fully hidden", "read", via=_MEMO)
SOFT_OR_SCREEN: Final = Citation(_DOCUMENT, 2009, "Annex F: soft ground and screen aren't added", "memory",
                                 note="the principle was recalled, not the words")
FACADE: Final = Citation(_DOCUMENT, 2009, "Annex F: +3 dB at 1 m before a facade", "read", via=_MEMO)
POWER: Final = Citation(_DOCUMENT, 2009, "Annex C: sound power is the level at 10 m plus 28 dB", "read",
                        via="environmental studies whose printed powers confirm it")
MOBILE: Final = Citation(_DOCUMENT, 2009, "Annex F, equation (F.6)", "memory")
ANGLE: Final = Citation(_DOCUMENT, 2009, "Annex F: angle of view", "memory")
TRAVERSE: Final = Citation(_DOCUMENT, 2009, "Annex F: plant on a short traverse; the chart replaced by its integral",
                           "estimate")
FIELD_TEST: Final = Citation(
    "TRRL Laboratory Report LR 756", 1977, "rms deviation 2.1 dB(A) of predicted from measured site levels", "read",
    via="an abstract of the report", note="of the forerunner of this method; its source levels were measured")

FACADE_DB: Final = 3.0
POWER_LESS_LEVEL_DB: Final = 28.0
SCREEN_DB: Final = {"none": 0.0, "partly_hidden": 5.0, "fully_hidden": 10.0}
"""What a screen takes off: none; the plant's top is just visible over it; it hides the plant fully."""
_TWIN_DB: Final = {"single": 0.0, "twin": 3.0}

_RANGE = Range(high=300.0, place="Annex F (recalled): beyond about 300 m with caution, since weather rules")
_SOFT = Range(0.0, 1.0, "Annex F: share of the plan distance")
_TIMES = {"on_time_s": Range.unstated(), "period_s": Range.unstated()}
_SCATTER = Scatter(2.1, 0.0, FIELD_TEST)


@model("bs5228_distance_hard", title="Distance over hard ground (BS 5228-1)", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="plan", validity={"distance_m": _RANGE}, source=HARD,
       falls_with_distance=False)
def distance_hard_db(distance_m: ArrayLike) -> Floats:
    """Return Kh = 20 lg(R / 10 m) in dB, to be taken off the level at 10 m.

    distance_m: R in m, any shape; negative results nearer than 10 m. Raises ValueError unless positive.

    >>> round(float(distance_hard_db(50.0)), 1)
    14.0
    """
    return result(20.0 * np.log10(positive(distance_m, "distance_m") / 10.0))


@model("bs5228_distance_soft", title="Distance over soft ground (BS 5228-1)", quantity="attenuation_db",
       statistic="deterministic", position="free_field", distance="plan", validity={"distance_m": _RANGE}, source=SOFT,
       falls_with_distance=False)
def distance_soft_db(distance_m: ArrayLike) -> Floats:
    """Return Ks = 25 lg(R / 10 m) - 2 in dB for R of 25 m and more; nearer the hard law holds.

    distance_m: R in m, any shape. Raises ValueError unless positive.

    >>> round(float(distance_soft_db(50.0)), 1)
    15.5
    """
    r = positive(distance_m, "distance_m")
    return result(np.where(r < 25.0, distance_hard_db(r), 25.0 * np.log10(r / 10.0) - 2.0))


def on_time_db(on_time_s: ArrayLike, period_s: ArrayLike) -> Floats:
    """Return 10 lg(t / T) in dB: what working for a part of the period takes off the mean; -inf where it never works.

    on_time_s: t in s, 0 to T. period_s: T in s, positive. They broadcast. Raises ValueError where t is above T.
    """
    t, period = not_negative(on_time_s, "on_time_s"), positive(period_s, "period_s")
    if (t > period).any():
        raise ValueError("on_time_s must not be longer than period_s")
    with np.errstate(divide="ignore"):
        return result(10.0 * np.log10(t / period))


def angle_of_view_db(view_angle_deg: ArrayLike) -> Floats:
    """Return 10 lg(a / 180) in dB for a route seen under the angle a in degrees, 0 to 180. Source: `ANGLE`."""
    with np.errstate(divide="ignore"):
        return result(10.0 * np.log10(between(view_angle_deg, 0.0, 180.0, "view_angle_deg") / 180.0))


def traverse_db(traverse_m: ArrayLike, distance_m: ArrayLike) -> Floats:
    """Return what moving to and fro takes off the level at the nearest point, in dB, 0 or less.

    traverse_m: length of the route, the nearest point at its middle, in m, 0 or more. distance_m: to that point, in m.
    The mean of 1/r2 along the route, steady speed; the document has a chart for it and treats a route of at most half
    the distance as a fixed place (here -0.1 dB). Raises ValueError that names the argument. Source: `TRAVERSE`.

    >>> round(float(traverse_db(100.0, 25.0)), 2)
    -2.57
    """
    ratio = not_negative(traverse_m, "traverse_m") / (2.0 * positive(distance_m, "distance_m"))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(ratio == 0.0, 1.0, np.arctan(ratio) / ratio)
    return result(10.0 * np.log10(mean))


class Terms(NamedTuple):
    """A sum of the hand method, term by term in dB: level = reference - distance - screening + on-time."""

    reference_db: Floats
    distance_db: Floats
    screening_db: Floats
    on_time_db: Floats
    level_db: Floats


def activity_terms(reference_level_db: ArrayLike, distance_m: ArrayLike, on_time_s: ArrayLike, period_s: ArrayLike, *,
                   soft_fraction: ArrayLike = 0.0, screen: ArrayLike = "none") -> Terms:
    """Return the terms of `activity_laeq`, each of the common shape; arguments and errors are the same."""
    soft = between(soft_fraction, 0.0, 1.0, "soft_fraction")
    reduction = choose(screen, SCREEN_DB, "screen")
    hard = distance_hard_db(distance_m)
    mixed = (1.0 - soft) * hard + soft * distance_soft_db(distance_m)
    screened = (reduction > 0.0) & (hard + reduction >= mixed)
    working = on_time_db(on_time_s, period_s)
    distance = np.where(screened, hard, mixed)
    screening = np.where(screened, reduction, 0.0)
    reference = numbers(reference_level_db, "reference_level_db")
    level = reference - distance - screening + working
    return Terms(*(result(np.broadcast_to(one, np.shape(level)))
                   for one in (reference, distance, screening, working, level)))


@model("bs5228_activity", title="Level of an activity by the hand method (BS 5228-1)", quantity="laeq_db",
       statistic="median", position="free_field", distance="plan",
       validity={"reference_level_db": Range.unstated(), "distance_m": _RANGE, "soft_fraction": _SOFT, **_TIMES},
       source=HARD, sources=(SOFT, SCREENING, SOFT_OR_SCREEN), scatter=_SCATTER, options={"screen": tuple(SCREEN_DB)})
def activity_laeq(reference_level_db: ArrayLike, distance_m: ArrayLike, on_time_s: ArrayLike, period_s: ArrayLike, *,
                  soft_fraction: ArrayLike = 0.0, screen: ArrayLike = "none") -> Floats:
    """Return the incident LAeq,T in dB of plant at work for a part of the period.

    reference_level_db: LAeq at 10 m while it works. distance_m: R in m. on_time_s, period_s: time at work and period in
    s. soft_fraction: share of the plan distance over soft ground, 0 to 1 (0: hard, the louder). screen: `none`,
    `partly_hidden` (-5 dB) or `fully_hidden` (-10 dB). All broadcast, words too. Soft ground and a screen aren't added:
    the larger of (mixed ground, no screen) and (hard ground, screen) is taken off.
    Raises ValueError that names the argument.

    >>> round(float(activity_laeq(87.0, 40.0, 0.35, 1.0, screen="partly_hidden")) + FACADE_DB, 1)
    68.4
    """
    return activity_terms(reference_level_db, distance_m, on_time_s, period_s, soft_fraction=soft_fraction,
                          screen=screen).level_db


@model("bs5228_sound_power", title="Level of plant by its sound power, hand method (BS 5228-1)", quantity="laeq_db",
       statistic="median", position="free_field", distance="plan",
       validity={"sound_power_db": Range.unstated(), "distance_m": _RANGE, "soft_fraction": _SOFT, **_TIMES},
       source=HARD, sources=(POWER, SOFT, SCREENING, SOFT_OR_SCREEN), scatter=_SCATTER,
       options={"screen": tuple(SCREEN_DB)})
def sound_power_laeq(sound_power_db: ArrayLike, distance_m: ArrayLike, on_time_s: ArrayLike, period_s: ArrayLike, *,
                     soft_fraction: ArrayLike = 0.0, screen: ArrayLike = "none") -> Floats:
    """Return the incident LAeq,T in dB of plant given by its A-weighted sound power: LWA - 20 lg R - 8 on hard ground.

    sound_power_db: LWA re 1 pW; the level at 10 m is 28 dB less. The rest as in `activity_laeq`.

    >>> round(float(sound_power_laeq(108.0, 40.0, 1.0, 1.0)), 1)
    68.0
    """
    reference = numbers(sound_power_db, "sound_power_db") - POWER_LESS_LEVEL_DB
    return activity_laeq(reference, distance_m, on_time_s, period_s, soft_fraction=soft_fraction, screen=screen)


@model("bs5228_haul_road", title="Mobile plant on a regular route (BS 5228-1)", quantity="laeq_db",
       statistic="median", position="free_field", distance="plan",
       validity={"distance_m": _RANGE, **dict.fromkeys(("sound_power_db", "passes_per_hour", "speed_km_h"),
                                                       Range.unstated())},
       source=MOBILE, scatter=_SCATTER, options={"engines": tuple(_TWIN_DB)})
def haul_road_laeq(sound_power_db: ArrayLike, distance_m: ArrayLike, passes_per_hour: ArrayLike,
                   speed_km_h: ArrayLike, *, engines: ArrayLike = "single") -> Floats:
    """Return LAeq = LWA - 33 + 10 lg Q - 10 lg V - 10 lg d in dB of single items passing along a route, incident.

    sound_power_db: LWA of one item re 1 pW. distance_m: d to the route in m. passes_per_hour: Q, 0 or more.
    speed_km_h: V in km/h. engines: `single` or `twin` (+3 dB). All broadcast. Raises ValueError that names the
    argument.

    >>> round(float(haul_road_laeq(110.0, 30.0, 10.0, 15.0)), 1)
    60.5
    """
    with np.errstate(divide="ignore"):
        flow = 10.0 * np.log10(not_negative(passes_per_hour, "passes_per_hour"))
    return result(numbers(sound_power_db, "sound_power_db") - 33.0 + flow
                  - 10.0 * np.log10(positive(speed_km_h, "speed_km_h"))
                  - 10.0 * np.log10(positive(distance_m, "distance_m")) + choose(engines, _TWIN_DB, "engines"))
