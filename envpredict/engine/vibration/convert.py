"""From the PPV that laws predict to the quantities that rules limit, by declared conversions alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.core.registry import Registry
from envpredict.limits.outcome import Missing

if TYPE_CHECKING:
    from envpredict.methods.fields import Frequency
    from envpredict.methods.schema import Method
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
STANDS_FOR = {"vibration_level_jp_db": "the level at work stands for the upper tenth percentile"}
"""What a converted velocity is taken for where the quantity is a statistic over time."""
STAND_IN = Citation("our judgement", None, "one component stands in for the resultant, which is 1.0 to 1.73 times the "
                    "largest component", "estimate")


@dataclass(frozen=True, slots=True)
class Conversion:
    """A conversion of PPV in mm/s: `shift` in log10 units for linear quantities, `offset_db` for decibels."""

    shift: float
    offset_db: float
    basis: Basis
    notes: tuple[str, ...]

    def in_log(self) -> float:
        """Return what is added to log10 of the PPV, whatever the scale; 20 times the sum is the level in dB."""
        return self.shift + self.offset_db / 20.0


def band_of(method: Method, phase: str) -> Frequency:
    """Return the band in which a phase of the method vibrates: start and stop sweep through a band of their own."""
    sweep = method.start_stop_frequency
    return sweep if phase == "start_stop" and sweep is not None else method.frequency


def crest_factor(signal: str) -> tuple[float, Citation]:
    """Return the crest factor of a method's signal, and where it comes from."""
    from envpredict.models.vibration.people_measures import CREST_FACTORS

    return CREST_FACTORS[CREST_OF_SIGNAL[signal]]


def _same_family(law: str, wanted: str) -> Conversion:
    """Return the conversion between kinds of PPV: the number stays, and what stands in for what is said."""
    if wanted in {law, "ppv_unspecified"}:
        return Conversion(0.0, 0.0, "read", ())
    given = QUANTITIES[law].component
    asked = QUANTITIES[wanted].component
    said = f"the law's component ({given}) stands in for the rule's ({asked})"
    if law == "ppv_resultant":
        return Conversion(0.0, 0.0, "read", (f"{said}: never below it",))
    if wanted == "ppv_resultant":
        return Conversion(0.0, 0.0, STAND_IN.basis, (f"{said}, which is up to 1.73 times as high",))
    return Conversion(0.0, 0.0, "read", (said,))


def _back(models: Registry[ModelSpec], spec: ModelSpec, wanted: str) -> Conversion:
    """Return the conversion into the quantity in which the law's source published, with the source's own numbers."""
    origin = spec.origin
    assert origin is not None
    inputs = {"crest_factor": origin.crest_factor, "frequency_hz": origin.frequency_hz}
    model = models[origin.conversion]
    taken = {name: value for name, value in inputs.items() if name in model.inputs and value is not None}
    one = float(np.asarray(model(ppv_mm_s=1.0, **taken)))
    linear = QUANTITIES[wanted].scale == "linear"
    note = (f"{QUANTITIES[wanted].symbol} as the law's source published it, turned back with the same crest factor "
            f"{origin.crest_factor:g} ({origin.detector})")
    return Conversion(float(np.log10(one)) if linear else 0.0, 0.0 if linear else one, model.basis, (note,))


def conversion(models: Registry[ModelSpec], spec: ModelSpec, wanted: str, method: Method,
               phase: str) -> Conversion | Missing:
    """Return how a law's quantity becomes a rule's for a phase of a method, or what is missing.

    A limit in the quantity in which the law's source published is judged in it, with the source's own crest factor.
    Else: the likely frequency of the phase's band; the crest factor of the method's signal. Both are said in the notes,
    with what the ends of the band would change.
    """
    if wanted in PPV:
        return _same_family(spec.quantity, wanted)
    if spec.origin is not None and spec.origin.quantity == wanted:
        return _back(models, spec, wanted)
    if wanted not in FROM_PPV:
        return Missing("quantity", f"{QUANTITIES[wanted].symbol} isn't predicted for this method: judge it by "
                                   "measurement")
    model, band = models[FROM_PPV[wanted]], band_of(method, phase)
    crest, source = crest_factor(method.signal)
    fixed: dict[str, Any] = {}
    said = []
    if "crest_factor" in model.inputs:
        fixed["crest_factor"] = crest
        said.append(f"crest factor {crest:.2f}")
    if "coefficient" in model.inputs and method.signal == "continuous":
        fixed["coefficient"] = STEADY_KB
        said.append("steady vibration")

    def at(frequency_hz: float) -> float:
        told = {"frequency_hz": frequency_hz} if "frequency_hz" in model.inputs else {}
        return float(np.asarray(model(ppv_mm_s=1.0, **fixed, **told)))

    one, linear = at(band.likely_hz), QUANTITIES[wanted].scale == "linear"
    if "frequency_hz" in model.inputs:
        said.append(_accuracy(one, at(band.low_hz), at(band.high_hz), band, linear=linear))
    taken = f"; {STANDS_FOR[wanted]}" if wanted in STANDS_FOR else ""
    note = f"{QUANTITIES[wanted].symbol} from PPV by {model.source.document} ({', '.join(said)}){taken}"
    basis = weakest([model.basis, *([source.basis] if "crest_factor" in model.inputs else [])])
    return Conversion(float(np.log10(one)) if linear else 0.0, 0.0 if linear else one, basis, (note,))


def _accuracy(one: float, low: float, high: float, band: Frequency, *, linear: bool) -> str:
    """Return the frequency taken, and what the ends of the band would change."""
    if linear:
        ends = f"{100 * (low / one - 1):+.0f} % at {band.low_hz:g} Hz, {100 * (high / one - 1):+.0f} % at "
    else:
        ends = f"{low - one:+.1f} dB at {band.low_hz:g} Hz, {high - one:+.1f} dB at "
    return f"{band.likely_hz:g} Hz; {ends}{band.high_hz:g} Hz"
