"""The chapters on what is done about it: reductions, programme and hours."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from envpredict.methods.stack import applies
from envpredict.outputs.report.blocks import Block, Chapter, Column, Facts, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, given, mark, mark_notes, marked, number
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from envpredict.methods.schema import Reduction

LADDER = {1: "another method", 2: "loosened ground", 3: "machine settings", 4: "time", 5: "source and path",
          6: "at the receiver"}


def effect_words(reduction: Reduction) -> tuple[str, set[str]]:
    """Return what a reduction is credited with, and the bases of those numbers."""
    told: list[str] = []
    bases: set[str] = set()
    if reduction.vibration is not None:
        one = reduction.vibration
        told.append(f"velocity times {one.factor:g} ({one.best:g} to {one.least:g}){mark(one.basis)}")
        bases.add(one.basis)
    if reduction.noise is not None:
        loss = reduction.noise
        told.append(f"{loss.insertion_loss_db:g} dB(A) ({loss.least_db:g} to {loss.best_db:g}) on the "
                    f"{loss.on.replace('_', ' ')}{mark(loss.basis)}")
        bases.add(loss.basis)
    if not told:
        told.append(reduction.unknown or f"taken up in the calculation itself ({reduction.setting.replace('_', ' ')})")
    return "; ".join(told), bases


def reductions(shown: Context) -> Chapter:
    """Return the reductions in force, what more would be needed for noise, and what the catalogue holds."""
    blocks: list[Block] = [Subheading("Adopted")]
    rows = []
    bases: set[str] = set()
    for choice in shown.methods:
        for method, _, title, effect, caution, source, basis in choice.told:
            bases.add(basis)
            rows.append((shown.method_number(method), clean(title), f"{clean(effect, 200)}{mark(basis)}",
                         clean(caution, 200), shown.references.of_texts(source) if source else NOTHING))
    if rows:
        columns = (Column("For", 11), Column("Measure", 38), Column("What it does in the calculation", 58),
                   Column("Caution", 51), Column("Source", 14))
        blocks += [Table("Adopted reductions", columns, tuple(rows), mark_notes(bases)),
                   Text("Every number in this report holds these measures in. Who checks each on site, and how, has "
                        "to be named before work starts.", "missing")]
    elif shown.scenario.reductions:
        blocks.append(Text("The scenario names reductions, but none acts on a candidate: every number in this report "
                           "is without any.", "missing"))
    else:
        blocks.append(Text("The scenario adopts no reduction: every number in this report is without any."))
    blocks += [*_needs(shown), Subheading("Open to the candidates"), _ladder(shown)]
    return Chapter("reductions", "Reductions", tuple(blocks))


def _needs(shown: Context) -> list[Block]:
    """Return by how much the works' sound would have to fall, per method."""
    needs = shown.assessment.detail.get("noise_needs")
    if needs is None or needs.empty:
        return []
    rows = []
    for method in shown.view.methods:
        mine = needs[needs["method"] == method]
        wanting = mine[mine["need_db"] > 0.0].sort_values("need_db", ascending=False, kind="stable")
        hopeless = int(mine["need_db"].isna().sum())
        basis = str(shown.view.of("noise", method)["basis"].mode().iloc[0]) if len(mine) else ""
        if wanting.empty:
            rows.append((shown.method_number(method), "0", NOTHING, NOTHING, NOTHING, str(hopeless)))
            continue
        worst = wanting.iloc[0]
        loudest = _plant_title(shown, str(worst["loudest_plant"]))
        rows.append((shown.method_number(method), str(len(wanting)), marked(f"{math.ceil(worst['need_db'])}", basis),
                     clean(worst["receptor"], 24), f"{loudest}, {100.0 * worst['loudest_share']:.0f} % of the energy",
                     str(hopeless)))
    columns = (Column("No.", 11), Column("Receptors where sound must fall", 30, "right"),
               Column("Highest need, dB", 22, "right"), Column("at", 20), Column("Loudest plant there", 60),
               Column("Out of reach", 20, "right"))
    return [Subheading("How much quieter the works would have to be"),
            Table("Insertion loss on all plant that would meet the limits on noise", columns, tuple(rows),
                  ("Beyond what is predicted with, in whole dB, cut towards the worse. Out of reach: receptors where "
                   "other "
                   "sources alone exceed the limit. The workbook lists every receptor.",
                   *mark_notes(shown.view.of("noise")["basis"])))]


def _ladder(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    for reduction in sorted(shown.catalogue.reductions.values(), key=lambda one: (one.order, one.title)):
        fitting = [shown.method_number(choice.id) for choice in shown.methods if applies(reduction, choice.method)]
        if not fitting:
            continue
        text, used = effect_words(reduction)
        bases |= used | {reduction.citation.basis}
        names = "all" if len(fitting) == len(shown.methods) else ", ".join(fitting)
        rows.append((LADDER[reduction.order], f"{reduction.title}{mark(reduction.citation.basis)}", names, text,
                     reduction.caution, shown.references.of(reduction.citation)))
    columns = (Column("Step", 20), Column("Measure", 38), Column("For", 16), Column("Effect, likely (range)", 40),
               Column("Caution", 45), Column("Source", 14))
    return Table("What could be done", columns, tuple(rows),
                 ("From the catalogue, the first steps first. M: number in the table of candidate methods. Effects of "
                  "several measures are not added beyond what "
                  "sources support; a screen that isn't drawn and computed is credited with nothing.",
                  *mark_notes(bases)))


def programme(shown: Context) -> Chapter:
    """Return the days and hours of work by method."""
    calendar = shown.scenario.programme
    holidays = ", ".join(day.isoformat() for day in sorted(calendar.holidays)[:20]) or "none"
    exceptions = shown.submission("hours_exceptions")
    blocks: list[Block] = [
        Facts((("Start", calendar.start.isoformat()), ("Working days", ", ".join(calendar.working_days)),
               ("Hours", f"{calendar.shift_from:%H:%M} to {calendar.shift_to:%H:%M}, {calendar.time_zone}"),
               ("Rigs", str(calendar.rigs)), ("Public holidays", f"{calendar.holidays_from}: {holidays}"),
               ("Exceptions to the hours", exceptions or "none stated"))),
        _days(shown), _rates(shown),
        Text("Start-up and run-down outside these hours, deliveries and other plant aren't in the programme unless the "
             "scenario names them.", "note")]
    return Chapter("programme", "Programme and hours", tuple(blocks))


def _days(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    for choice in shown.methods:
        events = shown.assessment.programme[choice.id]
        days = events["day"].astype(str)
        blows = events["blows"].sum()
        on_time = events.groupby("plant", sort=False)["on_time_s"].sum() / 3600.0
        known = shown.days_basis(choice.id)
        bases.add(known)
        rows.append((clean(choice.title), marked(str(days.nunique()), known), _pace(shown, choice.id), days.min(),
                     days.max(), str(events["pile"].nunique()),
                     f"{blows:.0f}" if given(blows) and blows > 0 else NOTHING,
                     "; ".join(f"{_plant_title(shown, str(name))} "
                               f"{hours:.0f} h" for name, hours in on_time.items())))
    columns = (Column("Method", 34), Column("Days", 14, "right"), Column("Fast to slow", 18, "right"),
               Column("First", 18), Column("Last", 18), Column("Piles", 10, "right"), Column("Blows", 14, "right"),
               Column("Plant at work, in all", 46))
    return Table("Programme by method", columns, tuple(rows),
                 ("Days, dates and hours follow from the likely rates; day rules are judged at the slow and fast rates "
                  "too. The workbook lists every pile, day and hour.", *mark_notes(bases)))


def _pace(shown: Context, method: str) -> str:
    """Return the days of work at the fast and the slow rates, where the run kept them."""
    run = (shown.assessment.detail.get("methods") or {}).get(method)
    if run is None:
        return NOTHING
    return f"{len(run.programmes['fast'].days)} to {len(run.programmes['slow'].days)}"


def _plant_title(shown: Context, name: str) -> str:
    return shown.catalogue.plant[name].title if name in shown.catalogue.plant else clean(name)


def _rates(shown: Context) -> Table:
    from envpredict.outputs.report.methods import classes_met

    met = [name for name in classes_met(shown) if name != "unknown"]
    rows = []
    bases: set[str] = set()
    for choice in shown.methods:
        for name, rate in choice.method.rates.items():
            if name in met or not met:
                bases.add(rate.basis)
                rows.append((clean(choice.title), str(name).replace("_", " "), number(rate.slow) + mark(rate.basis),
                             number(rate.likely) + mark(rate.basis),
                             number(rate.fast) + mark(rate.basis), shown.references.of(rate.citation)))
    columns = (Column("Method", 76), Column("Ground class", 32), Column("Slow, m/h", 16, "right"),
               Column("Likely, m/h", 16, "right"), Column("Fast, m/h", 18, "right"), Column("Source", 14))
    return Table("Rates that the programme rests on", columns, tuple(rows),
                 ("Metres of pile per hour and rig, pitching and moves included.", *mark_notes(bases)))
