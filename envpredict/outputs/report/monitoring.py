"""The chapter on monitoring: the drafted plan's positions, levels and surveys, as a proposal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from envpredict.core import cautions
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.results import EFFECTS
from envpredict.outputs.drafted import MOST_RECEPTORS, drafted
from envpredict.outputs.report.blocks import Block, Bullets, Chapter, Column, Facts, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.limits import limit_text
from envpredict.outputs.report.wording import (
    HELD,
    NOTHING,
    given,
    mark_notes,
    marked,
    unit_words,
    verdict,
)
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from envpredict.monitoring.plan_rows import Criterion, Station
    from envpredict.monitoring.plan_schema import Plan

NO_STOP = "A limit reached is never the only reason to go on or to stop."
MOST_OPEN = 12
"""Open points of the draft that the report prints; the plan itself lists all."""


def monitoring(shown: Context) -> Chapter:
    """Return what should be measured where, and at which levels what follows: the drafted plan as a proposal."""
    plan = drafted(shown.assessment)
    blocks: list[Block] = [
        Text("A proposal: the draft that the command envpredict plan writes from the same scenario, to be edited, "
             "audited "
             "and agreed before work starts."), _to_measure(shown)]
    if plan is None:
        blocks.append(Text(f"No plan was drafted along the way (there is no work, or there are more than "
                           f"{MOST_RECEPTORS} receptors): envpredict plan drafts stations, instruments and alert, "
                           "action and stop levels.", "missing"))
    else:
        blocks += [*_positions(shown, plan), *_levels(shown, plan), *_before(shown, plan), *_open(plan)]
    blocks += [
        Subheading("Rules that hold throughout"),
        Bullets((
            "Trial piles come first, with measurements at three distances or more, and the prediction is fitted to "
            "them before the works go on.",
            "Measured levels are compared with the predicted ones for each activity; where they differ beyond the "
            "scatter given here, the prediction is made anew.",
            "Every reading carries its time with time zone, and the works log its piles, so that one can be matched to "
            "the other.")),
        Text(cautions.STOP_WORK, "caution"), Text(NO_STOP, "note"),
        Facts((("Site manager, who stops work", shown.submission("site_manager") or "not stated"),
               ("Telephone at all hours", shown.submission("contact_24h") or "not stated")))]
    return Chapter("monitoring", "Monitoring proposal", tuple(blocks))


def _positions(shown: Context, plan: Plan) -> Iterator[Block]:
    """Yield the measuring positions: one row per spot and kind, with what is measured there."""
    hidden = shown.view.hidden_places()
    at: dict[tuple[str, str | None, float | None, float | None], list[Station]] = {}
    for station in plan.stations:
        at.setdefault((station.kind, station.receptor, station.x, station.y), []).append(station)
    rows = []
    for (kind, receptor, x, y), mine in at.items():
        kept = receptor in hidden
        logged = dict.fromkeys(name for one in mine for name in one.quantities)
        rows.append((", ".join(clean(one.id, 24) for one in mine), kind, clean(receptor or NOTHING, 24),
                     ", ".join(dict.fromkeys(str(one.position or "").replace("_", " ") for one in mine)),
                     NOTHING if kept or x is None else f"{x:.1f}", NOTHING if kept or y is None else f"{y:.1f}",
                     ", ".join(_symbol(name) for name in logged), _every(mine[0].interval_s)))
    columns = (Column("Stations", 30), Column("Measures", 17), Column("At", 15), Column("Where", 22),
               Column("East, m", 17, "right"), Column("North, m", 18, "right"), Column("Logged", 37),
               Column("Every", 14, "right"))
    yield Subheading("Measuring positions")
    yield Table("Stations of the drafted plan", columns, tuple(rows),
                (f"Coordinates in {shown.scenario.crs.to_string()}; the plan of the site shows them. They follow from "
                 "geometry alone: look at each for access, power and other sources before it's fixed. Receptors "
                 f"without a station of their own: {len({proxy.receptor for proxy in plan.proxies})}, judged at "
                 "another one's, with a transfer that the trial must show.",))


def _symbol(name: str) -> str:
    return QUANTITIES[name].symbol if name in QUANTITIES else name.replace("_", " ")


def _every(interval_s: float | None) -> str:
    if interval_s is None:
        return NOTHING
    for unit, seconds in (("d", 86400.0), ("min", 60.0)):
        if interval_s >= seconds:
            return f"{interval_s / seconds:g}{HELD}{unit}"
    return f"{interval_s:g}{HELD}s"


def _levels(shown: Context, plan: Plan) -> Iterator[Block]:
    """Yield alert, action and stop levels per limit, and what follows at each."""
    criteria = {one.id: one for one in plan.criteria}
    rows = []
    bases: set[str] = set()
    for one in plan.levels:
        limit = criteria[one.criterion]
        bases |= {limit.basis or "estimate", one.basis or "estimate"}
        values = [NOTHING if value is None else marked(f"{value:g}", one.basis or "estimate")
                  for value in (one.alert, one.action, one.stop)]
        rows.append((_rule(shown, limit), clean((limit.receptor_class or "").replace("_", " ")) or NOTHING,
                     _symbol(limit.quantity or ""), POSITIONS.get(limit.position or "", limit.position or NOTHING),
                     NOTHING if limit.value is None else marked(f"{limit.value:g}", limit.basis or "estimate"), *values,
                     unit_words(limit.unit or ""), clean(one.derived or "", 60)))
    columns = (Column("Rule", 10), Column("Class", 18), Column("Quantity", 20), Column("Where", 26),
               Column("Limit", 16, "right"), Column("Alert", 15, "right"), Column("Action", 15, "right"),
               Column("Stop", 15, "right"), Column("Unit", 10), Column("How they follow", 25))
    yield Subheading("Alert, action and stop levels")
    yield Table("Levels of the drafted plan", columns, tuple(rows),
                ("Rule: number in the chapter Limits adopted. A level reached asks for what follows below; it is never "
                 "the only reason to go on.", *mark_notes(bases)))
    yield Bullets(tuple(f"{response.level.capitalize()}: acknowledged within {_minutes(response.acknowledge_min)}, "
                        f"acted on at the rig within {_minutes(response.act_min)}: {'; '.join(response.actions)}."
                        for response in plan.responses))
    held = tuple(f"{shown.method_number(method.id)}, {clean(method.title or method.id)}: may start only after: "
                 f"{clean(method.condition, None)}." for method in plan.methods if method.condition)
    if held:
        yield Text("Methods whose median prediction leaves no room for an alert below the limit:", "missing")
        yield Bullets(held, "missing")


def _rule(shown: Context, limit: Criterion) -> str:
    pair = (str(limit.limit_set), str(limit.rule))
    return shown.rule_number(*pair) if pair in shown.rules else clean(limit.rule or limit.id, 20)


def _minutes(value: float | None) -> str:
    return "a time to be stated" if value is None else f"{value:g} min"


def _before(shown: Context, plan: Plan) -> Iterator[Block]:
    """Yield what is measured and looked at before the works."""
    trial = plan.trial
    surveys = plan.surveys
    dates = (f", before {min(one.before for one in surveys if one.before)} and after "
             f"{max(one.after for one in surveys if one.after)}" if any(one.before and one.after for one in surveys)
             else "")
    undone = sum(not one.done for one in plan.baseline)
    yield Subheading("Before the works")
    yield Facts((
        ("Condition surveys", f"{len(surveys)} receptors{dates}: {_few([one.receptor for one in surveys])}"),
        ("Baseline of noise", f"{len(plan.baseline)} surveys at the noise stations' positions by period, {undone} "
                              "still to be made"),
        ("Trial piles", f"{_few(trial.piles)} from {trial.on or 'a date to be stated'}, measured at "
                        f"{', '.join(f'{value:g}' for value in trial.distances_m) or '-'} m; accepted when: "
                        f"{clean(trial.accepted_when or 'not stated', None)}")))


def _few(names: Sequence[str], most: int = 25) -> str:
    shown = ", ".join(clean(name, 24) for name in names[:most]) or "none"
    return shown + (f" and {len(names) - most} more" if len(names) > most else "")


def _open(plan: Plan) -> Iterator[Block]:
    """Yield what the draft's own audit leaves open."""
    if not plan.open_points:
        return
    points = plan.open_points
    yield Subheading("Open points of the draft")
    yield Bullets(tuple(f"{point.rule + ': ' if point.rule else ''}{clean(point.what, 240)}"
                        for point in points[:MOST_OPEN]), "missing")
    if len(points) > MOST_OPEN:
        yield Text(f"The first {MOST_OPEN} of {len(points)}; the plan lists all.", "note")


def _to_measure(shown: Context) -> Table:
    """Return, per effect and limit set, the receptor with the highest chance over all methods."""
    rows = []
    bases: set[str] = set()
    findings = shown.assessment.findings
    open_ones = findings[findings["likelihood"].isin(["breach", "likely", "possible", "cannot_judge"])
                         & findings["p_exceed"].notna()]
    worst = open_ones.sort_values("p_exceed", ascending=False, kind="stable")
    worst = worst.drop_duplicates(["effect", "limit_set", "rule", "period"])
    for row in worst.sort_index().to_dict("records"):
        unit, basis = str(row["unit"]), str(row["basis"])
        known = shown.catalogue.limit_sets[str(row["limit_set"])].rule(str(row["rule"])).basis
        value = (marked(f"{limit_text(row['limit'], unit)}{HELD}{unit_words(unit)}", known)
                 if given(row["limit"]) else NOTHING)
        bases |= {basis, known}
        rows.append((EFFECTS[str(row["effect"])], clean(row["receptor"], 24), QUANTITIES[str(row["quantity"])].symbol,
                     POSITIONS[str(row["position"])], clean(row["period"]), value,
                     verdict(str(row["likelihood"]), row["p_exceed"], basis)))
    columns = (Column("Effect", 24), Column("Receptor", 17), Column("Quantity", 22), Column("Where", 38),
               Column("Period", 22), Column("Limit", 23, "right"), Column("Highest chance", 28))
    return Table("Where each limit should be measured: the receptor with the highest chance over all methods", columns,
                 tuple(rows), mark_notes(bases))
