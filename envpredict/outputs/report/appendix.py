"""The appendices: what is needed to compute every figure again, traces of the worst, and all receptors."""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from envpredict.core.citation import Basis, weakest
from envpredict.core.quantities import QUANTITIES
from envpredict.engine.results import EFFECTS
from envpredict.engine.traced.explain import explain
from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.report.blocks import (
    Block,
    Bullets,
    Cell,
    Chapter,
    Column,
    Facts,
    Subheading,
    Table,
    Text,
    Trace,
)
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.limits import limit_text
from envpredict.outputs.report.prediction import ranges, used_laws
from envpredict.outputs.report.results import governed, matrix
from envpredict.outputs.report.wording import (
    HELD,
    NOTHING,
    SYMBOLS,
    chance,
    days,
    given,
    level,
    margin,
    mark,
    mark_notes,
    marked,
    number,
    unit_words,
)
from envpredict.outputs.texts import clean

MOST_RECEPTORS = 400
MOST_DETAILED = 25
MOST_TRACES = 8
_CODE_SPEAK = re.compile(r"(Raises|Arrays broadcast|Source:)")


def equation_words(docstring: str | None) -> str:
    """Return what an equation's own description says of it, without what only programmers need."""
    text = " ".join((docstring or "").split(">>>")[0].split())
    kept = [sentence for sentence in re.split(r"(?<=\.) (?=[A-Z])", text) if not _CODE_SPEAK.match(sentence)]
    return " ".join(kept).removeprefix("Return ")


def recompute(shown: Context) -> Chapter:
    """Return, per law and item of plant, the constants from which every figure can be computed again."""
    blocks: list[Block] = [
        Text("Together with the tables of receptors (distances), the workbook (every finding with its governing pile "
             "and "
             "day) and the traces that follow, this is all that a figure is made of.")]
    done: set[str] = set()
    for used in used_laws(shown):
        law, spec = used.law, used.spec
        settings = ", ".join(f"{name} = {value}" for name, value in law.parameters.items())
        defaults = ", ".join(f"{name} = {value}" for name, value in spec.defaults.items() if value is not None)
        scatter = spec.scatter
        rows = [("For", f"{clean(used.title)}; {used.when}; factor {law.factor:g}; {law.why}")]
        rows += [("Settings of the method", f"{settings}; {law.citation}")] if settings or law.factor != 1.0 else []
        if spec.id not in done:
            done.add(spec.id)
            rows += [("Equation", equation_words(spec.function.__doc__)), ("Source", str(spec.source)),
                     *((("Further sources", "; ".join(map(str, spec.sources))),) if spec.sources else ()),
                     ("The document's own constants", defaults or "none left open"),
                     ("Valid range", ranges(spec)), ("Distance", spec.distance)]
            if scatter is not None:
                bound = "" if scatter.bound_z is None else (f"; printed bound lies {scatter.bound_z:g} standard "
                                                            "deviations "
                                                            "above the median")
                rows.append(("Scatter, log10 units", f"shared {scatter.between_site:.3g}, own {scatter.within_site:.3g}"
                                                     f"{bound}; {scatter.source}"))
        blocks += [Subheading(f"{spec.title} ({spec.id})"), Facts(tuple(rows))]
    blocks += [Subheading("Energy"), *_energy(shown), Subheading("Sound power by octave band"), _octaves(shown)]
    return Chapter("recompute", "What the figures are computed from", tuple(blocks))


def _energy(shown: Context) -> list[Block]:
    told = [f"{clean(choice.title)}: {choice.energy_j / 1000.0:g} kJ; {choice.energy_source}"
            for choice in shown.methods if choice.energy_j is not None and choice.energy_source is not None]
    return [Bullets(tuple(told))] if told else [Text("No candidate has an energy per blow or cycle.")]


def _octaves(shown: Context) -> Table:
    plants = {plant.id: plant for choice in shown.methods for _, plant in choice.plant}
    rows = []
    bases: set[str] = set()
    for plant in plants.values():
        bases |= {plant.citation.basis, plant.spectrum_citation.basis}
        rows.append((f"{plant.title}{mark(plant.citation.basis)}", *(f"{value:.1f}" for value in plant.octaves_db),
                     f"{plant.lwa_db:.1f}", shown.references.of(plant.citation, plant.spectrum_citation)))
    bands = ("63", "125", "250", "500", "1k", "2k", "4k", "8k")
    columns = (Column("Plant", 54), *(Column(f"{band} Hz", 11, "right") for band in bands), Column("LWA", 12, "right"),
               Column("Sources", 16))
    return Table("Sound power, dB re 1 pW, unweighted octaves and A-weighted sum", columns, tuple(rows),
                 mark_notes(bases))


def traces(shown: Context) -> Chapter:
    """Return the governing findings of the worst receptor of each method, traced to their inputs."""
    if "run" not in shown.assessment.detail:
        return Chapter("traces", "Traces of the worst receptors", (
            Text("This run keeps no intermediate values: \"envpredict explain\" traces any receptor.", "note"),))
    blocks: list[Block] = [
        Text("For each method the receptor with the smallest margins; \"envpredict explain SCENARIO --receptor R\" "
             "writes the same for any other.")]
    for choice in shown.methods[:MOST_TRACES]:
        name = _worst(shown.view.governing[shown.view.governing["method"] == choice.id])
        if name is not None:
            text = explain(shown.assessment, name, choice.id)
            body = [line for line in text.splitlines() if not line.startswith("! ")]
            tail = next((at for at, line in enumerate(text.splitlines()) if line.startswith("! ")), len(body))
            blocks += [Subheading(f"{clean(name, 24)}: {clean(choice.title)}"),
                       Trace("\n".join(body[:tail]).rstrip())]
    if len(shown.methods) > MOST_TRACES:
        blocks.append(Text(f"The other {len(shown.methods) - MOST_TRACES} methods are left out here.", "note"))
    return Chapter("traces", "Traces of the worst receptors", tuple(blocks))


def _worst(rows: pd.DataFrame) -> str | None:
    """Return the receptor whose margins, summed over the effects, are the smallest."""
    known = rows[rows["margin_db"].notna()]
    if known.empty:
        return None
    return str(known.groupby("receptor", sort=False)["margin_db"].sum().idxmin())


def all_receptors(shown: Context) -> Chapter:
    """Return the likelihood of every receptor under every method."""
    holder = findings_file(shown.assessment)
    blocks: list[Block] = []
    for effect in shown.view.effects:
        affected = shown.view.affected(effect)
        receptors = affected[:MOST_RECEPTORS]
        silent = len(shown.view.receptors) - len(affected)
        told = [f"the {MOST_RECEPTORS} most affected of {len(affected)}; {holder} holds all"] if (
            len(affected) > MOST_RECEPTORS) else []
        told += [f"{silent} receptors of which no rule of this effect speaks are left out"] if silent else []
        if told:
            blocks.append(Text(f"{EFFECTS[effect].capitalize()}: {'; '.join(told)}.", "note"))
        caption = f"Likelihood and chance of exceedance: {EFFECTS[effect]}"
        blocks += matrix(shown, effect, receptors, caption, short=True)
    return Chapter("all_receptors", "All receptors", tuple(blocks))


def details(shown: Context) -> Chapter:
    """Return the numbers behind the likelihoods of the most affected receptors, method by method."""
    blocks: list[Block] = [
        Text(f"Per method and effect the {MOST_DETAILED} receptors with the highest chances; "
             f"{findings_file(shown.assessment)} holds all. "
             "Median: "
             "of the governing pile or slot. Design level: exceeded at least once with the design exceedance. Other "
             "laws: "
             "the span of medians that the method's other published laws give there, for comparison. Margin: limit "
             "over "
             "design level in dB, cut towards the worse. Days above: expected, with the 5 % to 95 % range.")]
    for choice in shown.methods:
        blocks.append(Subheading(clean(choice.title)))
        for effect in shown.view.effects:
            rows = governed(shown.view.of(effect, choice.id))
            blocks.append(_detail(shown, rows, effect))
    return Chapter("details", "Numbers behind the likelihoods", tuple(blocks), landscape=True)


DETAIL_COLUMNS = (
    Column("Receptor", 17), Column("Distance, m", 15, "right"), Column("Pile", 16), Column("Period", 24),
    Column("Rule", 9), Column("Limit", 20, "right"), Column("Median", 17, "right"), Column("Other laws", 23, "right"),
    Column("Design level", 18, "right"), Column("Margin, dB", 14, "right"), Column("Chance", 18, "right"),
    Column("", 7, "center"), Column("Days above", 20, "right"), Column("Range", 11))
DETAIL_NOTE = ("Rule: number in the chapter Limits adopted. Levels in the unit of the limit. Range: out where the "
               "governing "
               "prediction lies outside the law's valid range. Margin and days carry the mark of the chance.")


def _detail(shown: Context, rows: pd.DataFrame, effect: str) -> Table:
    ordered = rows.sort_values(["p_exceed", "margin_db"], ascending=[False, True], kind="stable", na_position="last")
    cells = []
    bases: set[str] = set()
    for row in ordered.head(MOST_DETAILED).to_dict("records"):
        known = shown.catalogue.limit_sets[str(row["limit_set"])].rule(str(row["rule"])).basis
        others = _others_basis(shown, str(row["method"]))
        bases |= {known, str(row["basis"]), str(row["median_basis"]), others}
        cells.append(detail_cells(shown, row, known, others))
    symbol = QUANTITIES[str(rows["quantity"].mode().iloc[0])].symbol.split(" (")[0] if len(rows) else ""
    more = f" The first {MOST_DETAILED} of {len(rows)}." if len(rows) > MOST_DETAILED else ""
    return Table(f"{EFFECTS[effect].capitalize()}{f' ({symbol})' if symbol else ''}", DETAIL_COLUMNS, tuple(cells),
                 (DETAIL_NOTE + more, *mark_notes(bases)))


def _others_basis(shown: Context, method: str) -> Basis:
    """Return the weakest basis of a method's laws beside the one that predicts it."""
    models = shown.catalogue.models
    choice = next(one for one in shown.methods if one.id == method)
    return weakest(models[law.model].basis for law in choice.laws if law.role != "preferred" and law.model in models)


def detail_cells(shown: Context, row: Mapping[Hashable, Any], known: str, other: str) -> tuple[Cell | str, ...]:
    """Return one finding as a row of the table of details; `known`, `other`: bases of its limit and the other laws."""
    unit, name, basis, word = str(row["unit"]), str(row["receptor"]), str(row["basis"]), str(row["likelihood"])
    kept = name in shown.view.hidden_places()
    low, high = row.get("other_laws_low", float("nan")), row.get("other_laws_high", float("nan"))
    both = given(low) and given(high)
    others = marked(f"{level(low, unit)}–{level(high, unit)}", other) if both else NOTHING
    limit = limit_text(row["limit"], unit)
    return (
        clean(name, 24), NOTHING if kept else number(row["distance_m"]),
        NOTHING if kept else clean(row["governing_pile"], 20) or NOTHING, clean(row["period"]),
        shown.rule_number(str(row["limit_set"]), str(row["rule"])),
        limit if limit == NOTHING else marked(f"{limit}{HELD}{unit_words(unit)}", known),
        marked(level(row["predicted_median"], unit), str(row["median_basis"])), others,
        marked(level(row["predicted_design"], unit), basis), margin(row["margin_db"], unit),
        marked(chance(row["p_exceed"]), basis), Cell(SYMBOLS[word], word),
        days(row["days_above"], row["days_above_low"], row["days_above_high"]), "" if row["in_range"] else "out")
