"""Which rules a run is judged by, and the findings of one candidate under them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from envpredict.core.quantities import QUANTITIES
from envpredict.engine import hours_rules
from envpredict.engine.findings import Block
from envpredict.engine.noise import rules as noise_rules
from envpredict.engine.vibration import rules as vibration_rules
from envpredict.engine.works import worst_programme
from envpredict.limits.values import HoursOnly

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.limits.schema import LimitSet, Rule


def adopted_rules(run: Run) -> Iterator[tuple[LimitSet, Rule]]:
    """Yield every rule that the scenario adopts: for each effect, the rules of its sets that speak of it."""
    for effect, names in run.scenario.limits.by_effect().items():
        for name in names:
            limit_set = run.catalogue.limit_sets[name]
            for rule in limit_set.rules_for(effect):
                yield limit_set, rule


def method_findings(run: Run, method: MethodRun) -> list[Block]:
    """Return the findings of one candidate under every adopted rule, as blocks of rows."""
    found: list[Block] = []
    for limit_set, rule in adopted_rules(run):
        found += worst_programme.judged(method, rule, _judge(run, limit_set, rule))
    return found


def _judge(run: Run, limit_set: LimitSet, rule: Rule) -> Callable[[MethodRun], list[Block]]:
    """Return what makes the findings of a rule for a method: on hours, on sound or on vibration."""
    if isinstance(rule.value, HoursOnly):
        kind = hours_rules.findings
    elif rule.quantity is not None and QUANTITIES[rule.quantity].effect == "noise":
        kind = noise_rules.findings
    else:
        kind = vibration_rules.findings
    return lambda method: kind(run, method, limit_set, rule)
