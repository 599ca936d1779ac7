"""The main job: a scenario in, findings out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from envpredict.core import cautions
from envpredict.core.quantities import QUANTITIES
from envpredict.engine import hours_rules
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.confirmed import confirmed
from envpredict.engine.findings import Block, by_day, frame
from envpredict.engine.grids import level_grids
from envpredict.engine.noise import rules as noise_rules
from envpredict.engine.noise.needs import noise_needs
from envpredict.engine.provenance import provenance
from envpredict.engine.results import Assessment
from envpredict.engine.run import MethodRun, Run, prepare, run_method
from envpredict.engine.vibration import rules as vibration_rules
from envpredict.engine.works import feasibility, reductions, worst_programme
from envpredict.engine.works.choices import choices
from envpredict.engine.works.movement import movement
from envpredict.engine.works.programme import events
from envpredict.limits.values import HoursOnly

if TYPE_CHECKING:
    from envpredict.limits.schema import LimitSet, Rule
    from envpredict.scenario.types import Scenario

Progress = Callable[[str], None]


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


def drafts(run: Run) -> tuple[str, ...]:
    """Return the adopted limits that are recalled and that nobody has compared with their document, value by value."""
    return tuple(f"{limit_set.id}: {rule.clause}" for limit_set, rule in adopted_rules(run)
                 if rule.basis != "read" and not confirmed(run, limit_set, rule).whole)


def cautions_of(run: Run) -> tuple[str, ...]:
    """Return the cautions of a run, the loudest first."""
    scenario = run.scenario
    first = [cautions.DRAFT] if drafts(run) else []
    first += [cautions.INVENTED] if scenario.invented else []
    if scenario.own.limits is None:
        first.append("No local authority's own limits were given: the adopted sets are examples until the authority "
                     "names its own.")
    return (*first, *cautions.CAUTIONS)


def assess(scenario: Scenario, progress: Progress | None = None, *, grids: bool = True) -> Assessment:
    """Return the findings of a scenario: every candidate method against every adopted limit at every receptor.

    `progress` is called with a short text before each candidate; without `grids` no contours are made. Raises
    InputProblems for faults in files that the scenario brings.
    """
    catalogue = load_catalogue(scenario.own)
    run = prepare(scenario, catalogue, choices(scenario, catalogue))
    methods: list[MethodRun] = []
    blocks: list[Block] = []
    for choice in run.choices:
        if progress is not None:
            progress(choice.title)
        method = run_method(run, choice)
        methods.append(method)
        blocks += method_findings(run, method)
    days, daily = by_day(blocks)
    findings = frame(blocks)
    return Assessment(
        scenario=scenario,
        methods=run.choices,
        findings=findings,
        receptors=scenario.receptors,
        programme={m.choice.id: events(scenario, m.choice, m.passes, run.drive) for m in methods},
        grids=level_grids(run, methods) if grids else {},
        provenance=provenance(scenario, catalogue, tuple(methods)),
        cautions=cautions_of(run),
        drafts=drafts(run),
        warnings=(*scenario.notes, *dict.fromkeys(f"{c.id}: {note}" for c in run.choices for note in c.site.all_notes)),
        detail={"run": run, "methods": {m.choice.id: m for m in methods}, "days": days, "daily": daily,
                "feasibility": feasibility.frame(run, [m.feasible for m in methods]),
                "movement": movement(run, run.choices), "reductions": reductions.frame(run.choices),
                "noise_needs": noise_needs(run, methods, findings)},
    )
