"""The quantities that are predicted, limited and measured; comparing unlike ones is an error.

A position (where the quantity is taken) is a word of its own, since one quantity is predicted on the ground and limited
on a floor: see `POSITIONS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from envpredict.core.registry import Registry

Scale = Literal["linear", "decibel"]
Combine = Literal["maximum", "energy_sum", "fourth_power_sum", "none"]
Effect = Literal["vibration", "noise"]

POSITIONS: dict[str, str] = {
    "ground": "on the ground surface beside the receptor",
    "foundation": "on the foundation or the lowest load-bearing part",
    "floor": "on the occupied floor where people stand, vertical",
    "slab": "at the middle of a floor slab, vertical",
    "top_floor": "in the plane of the topmost floor, horizontal",
    "structure": "on the ground or in the building, as the document leaves open",
    "pipe": "on the buried pipe or service",
    "instrument": "on the floor at the instrument",
    "facade": "1 m in front of a facade: the reflection included",
    "free_field": "away from reflecting surfaces: the incident sound",
    "indoors": "inside the room",
    "boundary": "on the site's boundary",
    "habitat": "at the habitat, away from reflecting surfaces",
    "water": "in the water",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A physical quantity as documents use it.

    `scale` says whether levels are linear or in decibels, `component` which direction of motion, `metric` which
    statistic of the signal, `combine` how sources or events at work together are combined.
    """

    id: str
    symbol: str
    unit: str
    scale: Scale
    effect: Effect
    component: str
    metric: str
    combine: Combine
    meaning: str


QUANTITIES: Registry[Quantity] = Registry("quantity")


def _declare(id: str, symbol: str, unit: str, scale: Scale, effect: Effect, component: str, metric: str,
             combine: Combine, meaning: str) -> None:
    QUANTITIES.add(id, Quantity(id, symbol, unit, scale, effect, component, metric, combine, meaning))


_declare("ppv_resultant", "PPV (resultant)", "mm/s", "linear", "vibration", "resultant", "peak", "maximum",
         "peak of the vector sum of the three velocity components")
_declare("ppv_component", "PPV", "mm/s", "linear", "vibration", "largest component", "peak", "maximum",
         "largest peak among the velocity components")
_declare("ppv_vertical", "PPV (vertical)", "mm/s", "linear", "vibration", "vertical", "peak", "maximum",
         "peak of the vertical velocity component")
_declare("ppv_horizontal", "PPV (horizontal)", "mm/s", "linear", "vibration", "largest horizontal", "peak", "maximum",
         "larger peak of the two horizontal velocity components")
_declare("ppv_unspecified", "PPV", "mm/s", "linear", "vibration", "not specified by the source", "peak", "maximum",
         "peak particle velocity whose component the source doesn't name")
_declare("velocity_rms", "v rms", "mm/s", "linear", "vibration", "largest component", "rms", "maximum",
         "root mean square velocity of the strongest second")
_declare("velocity_rms_third_octave", "v rms (1/3 octave)", "um/s", "linear", "vibration", "largest component",
         "rms per third-octave band", "maximum", "root mean square velocity in the strongest third-octave band")
_declare("velocity_level_us_db", "Lv", "dB re 1e-6 in/s", "decibel", "vibration", "vertical", "rms of 1 s", "maximum",
         "velocity level re one micro-inch per second")
_declare("kb_fmax", "KB_Fmax", "1", "linear", "vibration", "largest component", "weighted running rms, maximum",
         "maximum", "largest frequency-weighted vibration strength")
_declare("kb_ftr", "KB_FTr", "1", "linear", "vibration", "largest component", "weighted rms over the period",
         "energy_sum", "frequency-weighted vibration strength averaged over the assessment period")
_declare("vdv", "VDV", "m/s^1.75", "linear", "vibration", "vertical or horizontal, weighted", "fourth-power dose",
         "fourth_power_sum", "vibration dose value over the period")
_declare("vibration_level_jp_db", "VL", "dB re 1e-5 m/s2", "decibel", "vibration", "vertical, weighted",
         "upper tenth percentile", "maximum", "weighted vertical acceleration level used in Japan")
_declare("vibration_level_cn_db", "VLz", "dB re 1e-6 m/s2", "decibel", "vibration", "vertical, weighted", "rms",
         "maximum", "weighted vertical acceleration level used in China")
_declare("laeq_db", "LAeq", "dB", "decibel", "noise", "none", "energy mean over the averaging time", "energy_sum",
         "A-weighted equivalent continuous sound level")
_declare("lafmax_db", "LAFmax", "dB", "decibel", "noise", "none", "maximum, time weighting F", "maximum",
         "largest A-weighted sound level, fast")
_declare("lasmax_db", "LASmax", "dB", "decibel", "noise", "none", "maximum, time weighting S", "maximum",
         "largest A-weighted sound level, slow")
_declare("lae_db", "LAE", "dB", "decibel", "noise", "none", "exposure of a single event", "maximum",
         "largest A-weighted sound exposure level (SEL) of a single blow")
_declare("lar_db", "LAr", "dB", "decibel", "noise", "none", "rating level over the period", "energy_sum",
         "A-weighted level with the adjustments of the rule")
_declare("la90_db", "LA90", "dB", "decibel", "noise", "none", "level exceeded 90 % of the time", "none",
         "background sound level")
_declare("settlement_mm", "settlement", "mm", "linear", "vibration", "vertical", "permanent", "none",
         "permanent vertical movement of the ground")
_declare("shear_strain", "shear strain", "1", "linear", "vibration", "none", "peak", "maximum",
         "peak shear strain of the ground")
_declare("attenuation_db", "A", "dB", "decibel", "noise", "none", "octave-band attenuation", "none",
         "how much a sound loses on its way, per octave band where it has bands; negative where it gains")
_declare("air_absorption_db_m", "alpha", "dB/m", "decibel", "noise", "none", "attenuation per metre", "none",
         "absorption of sound by the air per metre of path")
_declare("level_correction_db", "K", "dB", "decibel", "noise", "none", "correction", "none",
         "what is added to a level: a frequency weighting, an on-time, a reflection, an adjustment")
_declare("material_damping", "alpha", "1/m", "linear", "vibration", "none", "loss per metre", "none",
         "loss of amplitude per metre of ground, beside the geometric spreading")
_declare("mtvv", "MTVV", "m/s2", "linear", "vibration", "vertical or horizontal, weighted",
         "running rms of 1 s, maximum", "maximum", "largest frequency-weighted rms acceleration of one second")
_declare("lnight_db", "Lnight", "dB", "decibel", "noise", "none", "energy mean over all nights of a year", "energy_sum",
         "A-weighted equivalent continuous sound level of the nights of a year")
_declare("ldn_db", "Ldn", "dB", "decibel", "noise", "none", "day-night mean, nights raised by 10 dB", "energy_sum",
         "A-weighted day-night average sound level")
_declare("lden_db", "Lden", "dB", "decibel", "noise", "none", "energy mean over a year, evenings raised by 5 dB and "
         "nights by 10 dB", "energy_sum", "A-weighted day-evening-night sound level")
_declare("peak_water_db", "Lp,pk (water)", "dB re 1 uPa", "decibel", "noise", "none", "peak", "maximum",
         "peak sound pressure level in water")
_declare("sel_water_db", "SELcum (water)", "dB re 1 uPa2 s", "decibel", "noise", "none", "cumulative exposure",
         "energy_sum", "cumulative sound exposure level in water")
_declare("rms_water_db", "Lp,rms (water)", "dB re 1 uPa", "decibel", "noise", "none", "rms of a strike or of vibration",
         "maximum", "root mean square sound pressure level in water")
