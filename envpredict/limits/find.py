"""Finding sets among many: by country, quantity, use of the receptor and effect."""

from __future__ import annotations

from collections.abc import Mapping

from envpredict.core.quantities import QUANTITIES
from envpredict.limits.facts import FACTS
from envpredict.limits.outcome import NotGoverned
from envpredict.limits.schema import LimitSet


def matching(
    sets: Mapping[str, LimitSet],
    *,
    country: str | None = None,
    quantity: str | None = None,
    use: str | None = None,
    effect: str | None = None,
) -> list[LimitSet]:
    """Return the sets that fit every filter given, in the order of their ids.

    `country`: ISO 3166 code, case ignored, international sets are kept; `quantity`: id of a core quantity that a rule
    is stated in; `use`: word for a receptor's use that the set governs; `effect`: an effect that a rule speaks of.
    Raises UnknownName for an unknown quantity, ValueError for an unknown use.
    """
    if quantity is not None:
        _ = QUANTITIES[quantity]
    if use is not None and use not in FACTS["use"].words:
        raise ValueError(f"unknown use '{use}'; known: {', '.join(FACTS['use'].words)}")
    return [found for found in sets.values() if _fits(found, country, quantity, use, effect)]


def _fits(found: LimitSet, country: str | None, quantity: str | None, use: str | None, effect: str | None) -> bool:
    return (
        (country is None or found.country in (country.upper(), "INT"))
        and (quantity is None or any(rule.quantity == quantity for rule in found.rules))
        and (use is None or not isinstance(found.classify({"use": use}), NotGoverned))
        and (effect is None or effect in found.effects)
    )
