"""What a scenario states of a method itself takes the place of the catalogue's entry."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from envpredict.core.citation import Citation
from envpredict.methods.fields import Frequency, Rate, Spread

if TYPE_CHECKING:
    from envpredict.methods.schema import Method

STATED = Citation("the scenario", None, "stated by the user", "read")
"""The place of what a scenario states itself; it's the user's to vouch for."""


def stated_method(method: Method, stated: Mapping[str, Any]) -> Method:
    """Return the method with the frequency, rates, blows and zero moment that a scenario states."""
    changes: dict[str, Any] = {}
    frequency = stated.get("frequency_hz")
    if frequency is not None:
        changes["frequency"] = Frequency(low_hz=frequency, likely_hz=frequency, high_hz=frequency, citation=STATED)
    rate = stated.get("rate_m_h")
    if rate is not None:
        slow, likely, fast = (float(rate[key]) for key in ("slow", "likely", "fast"))
        changes["rates"] = {name: Rate(slow=slow, likely=likely, fast=fast, citation=STATED) for name in method.rates}
    per_metre = stated.get("blows_per_m")
    if per_metre is not None and method.blows_per_m is not None:
        spread = Spread(low=per_metre, likely=per_metre, high=per_metre, citation=STATED)
        changes["blows_per_m"] = dict.fromkeys(method.blows_per_m, spread)
    blow_rate = stated.get("blow_rate_per_min")
    if blow_rate is not None:
        changes["blow_rate_per_min"] = Spread(low=blow_rate, likely=blow_rate, high=blow_rate, citation=STATED)
    if stated.get("zero_moment") is not None:
        changes["zero_moment"] = bool(stated["zero_moment"])
    return method.model_copy(update=changes) if changes else method
