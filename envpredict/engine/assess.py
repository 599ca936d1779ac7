"""The main job: a scenario in, findings out."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from envpredict.core import cautions
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.confirmed import confirmed
from envpredict.engine.grids import level_grids
from envpredict.engine.judging import adopted_rules
from envpredict.engine.provenance import provenance
from envpredict.engine.results import Assessment
from envpredict.engine.tiled.means import Means, Progress
from envpredict.engine.tiled.merge import merged
from envpredict.engine.tiled.share import tiles
from envpredict.engine.tiled.tile import ready
from envpredict.engine.works import feasibility, reductions
from envpredict.engine.works.movement import movement
from envpredict.engine.works.programme import events

if TYPE_CHECKING:
    from envpredict.engine.run import Run
    from envpredict.scenario.types import Scenario


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


def assess(scenario: Scenario, progress: Progress | None = None, *, grids: bool = True,
           means: Means | None = None) -> Assessment:
    """Return the findings of a scenario: every candidate method against every adopted limit at every receptor.

    `progress` is called with a short text on what comes next and the share of the work done; without `grids` no
    contours are made. `means`: memory, processes and the like; they change how long it takes, never a result. Raises
    InputProblems for faults in files that the scenario brings.
    """
    tell = progress or _silent
    catalogue = load_catalogue(scenario.own)
    shared = ready(scenario, catalogue)
    run, methods = shared.run, shared.methods
    # both ask for the scene: it's made before they part
    run.quiet.scene({})
    with ThreadPoolExecutor(max_workers=1) as beside:
        drawn = beside.submit(level_grids, run, methods) if grids else None
        findings, found = merged(tiles(shared, means or Means(), tell))
        levels = {} if drawn is None else drawn.result()
    return Assessment(
        scenario=scenario,
        methods=run.choices,
        findings=findings,
        receptors=scenario.receptors,
        programme={m.choice.id: events(scenario, m.choice, m.passes, run.drive) for m in methods},
        grids=levels,
        provenance=provenance(scenario, catalogue, methods),
        cautions=cautions_of(run),
        drafts=drafts(run),
        warnings=(*scenario.notes, *dict.fromkeys(f"{c.id}: {note}" for c in run.choices for note in c.site.all_notes)),
        detail={"run": run, "methods": {m.choice.id: m for m in methods},
                "feasibility": feasibility.frame(run, [m.feasible for m in methods]),
                "movement": movement(run, run.choices), "reductions": reductions.frame(run.choices), **found},
    )


def _silent(_text: str, _share: float) -> None:
    """Say nothing."""
