"""From the PPV that laws predict to the quantities that rules limit, by declared conversions alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.citation import Basis, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.core.registry import Registry
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.engine.choices import MethodChoice
    from envpredict.models.spec import ModelSpec

PPV = frozenset({"ppv_resultant", "ppv_component", "ppv_vertical", "ppv_horizontal", "ppv_unspecified"})
FROM_PPV = {"velocity_rms": "velocity_rms", "velocity_rms_third_octave": "third_octave_from_ppv",
            "velocity_level_us_db": "velocity_level_us_from_ppv", "kb_fmax": "kb_fmax_from_ppv",
            "vibration_level_jp_db": "vibration_level_jp_from_ppv",
            "vibration_level_cn_db": "vibration_level_cn_from_ppv"}
"""The model that turns a PPV into each quantity; all are proportional to the PPV."""
CREST_OF_SIGNAL = {"transient": "construction", "continuous": "sine", "quasi_static": "construction"}
"""Pulses take the crest factor of construction work; a vibrator that of a sine, which gives the higher level."""
STEADY_KB = 1.0


@dataclass(frozen=True, slots=True)
class Conversion:
    """A conversion of PPV in mm/s: `shift` in log10 units for linear quantities, `offset_db` for decibels."""

    shift: float
    offset_db: float
    basis: Basis
    notes: tuple[str, ...]


def _same_family(law: str, wanted: str) -> Conversion:
    """Return the conversion between kinds of PPV: the number stays, and what stands in for what is said."""
    if wanted in {law, "ppv_unspecified"}:
        return Conversion(0.0, 0.0, "read", ())
    given = QUANTITIES[law].component
    asked = QUANTITIES[wanted].component
    safe = ": never below it" if law == "ppv_resultant" else ""
    return Conversion(0.0, 0.0, "read", (f"the law's component ({given}) stands in for the rule's ({asked}){safe}",))


def conversion(models: Registry[ModelSpec], law: str, wanted: str, choice: MethodChoice) -> Conversion | Missing:
    """Return how a law's quantity becomes a rule's, or what is missing.

    Frequency: the method's likely one; crest factor: by the method's signal. Both are said in the notes.
    """
    from envpredict.models.vibration.people_measures import CREST_FACTORS

    if wanted in PPV:
        return _same_family(law, wanted)
    if wanted not in FROM_PPV:
        symbol = QUANTITIES[wanted].symbol
        return Missing("quantity", f"{symbol} isn't predicted for this method: judge it by measurement")
    spec = models[FROM_PPV[wanted]]
    crest, source = CREST_FACTORS[CREST_OF_SIGNAL[choice.signal]]
    likely = choice.method.frequency.likely_hz
    inputs: dict[str, float] = {}
    said = []
    if "crest_factor" in spec.inputs:
        inputs["crest_factor"] = crest
        said.append(f"crest factor {crest:.2f}")
    if "frequency_hz" in spec.inputs:
        inputs["frequency_hz"] = likely
        said.append(f"{likely:g} Hz")
    if "coefficient" in spec.inputs and choice.signal == "continuous":
        inputs["coefficient"] = STEADY_KB
        said.append("steady vibration")
    one = float(np.asarray(spec(ppv_mm_s=1.0, **inputs)))
    note = f"{QUANTITIES[wanted].symbol} from PPV by {spec.source.document} ({', '.join(said)})"
    linear = QUANTITIES[wanted].scale == "linear"
    basis = weakest([spec.basis, source.basis])
    return Conversion(float(np.log10(one)) if linear else 0.0, 0.0 if linear else one, basis, (note,))
