"""The chapter on how levels are predicted: laws and plant with editions, valid ranges and scatter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from envpredict.core.quantities import QUANTITIES
from envpredict.core.vocabulary import INPUTS
from envpredict.models.spec import PHASES
from envpredict.outputs.report.blocks import Block, Bullets, Chapter, Column, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import mark, mark_notes, number
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from envpredict.methods.fields import LawUse
    from envpredict.models.spec import ModelSpec

STATISTICS = {"median": "median", "upper_bound": "printed as an upper bound, turned into its median",
              "exceedance": "printed with a stated exceedance", "deterministic": "no scatter of its own"}
SOURCE_NOTE = "S: number in the chapter Sources."
PRINCIPLES = (
    "A prediction is a median with scatter. Scatter is two numbers: the error of the law on this ground, which all "
    "piles "
    "and days share, and what each pile or day has of its own.",
    "The chance that a limit is exceeded at least once is computed for a given shared error over all piles and days, "
    "and then integrated over that error; piles and days are never treated as independent.",
    "The design level is the level whose own chance of being exceeded at least once is the design exceedance.",
    "Distances for vibration run from the pile to the nearest part of the receptor, in plan or along the slope to the "
    "toe as each law was fitted; the worst step of each drive counts.",
    "Sound is computed as incident sound at every floor; a facade's reflection is added once, where a "
    "rule asks for a facade level.",
    "Outside a law's valid range the number is shown and marked as out of range, and never called unlikely.",
)


def how_predicted(shown: Context) -> Chapter:
    """Return the laws of every method, the plant, and the principles that hold for all."""
    blocks: list[Block] = [Bullets(PRINCIPLES), Subheading("Vibration laws"), *_laws(shown),
                           Subheading("Sound sources"), _plant(shown), *_sound(shown)]
    return Chapter("prediction", "How the levels are predicted", tuple(blocks))


@dataclass(frozen=True, slots=True, eq=False)
class Used:
    """A law that predicts a candidate: the candidate's title, how it uses the law, the model, and what to note."""

    title: str
    law: LawUse
    spec: ModelSpec
    notes: tuple[str, ...] = ()

    @property
    def when(self) -> str:
        """Return for which part of the drive the law speaks."""
        told = [PHASES[self.law.phase]]
        told += ["in hard ground, where it's the higher"] if self.law.role == "hard_ground" else []
        return "; ".join([*told, *self.notes])


def used_laws(shown: Context) -> list[Used]:
    """Return the laws that predict the candidates, as the run used them; where it kept none, those declared."""
    runs = shown.assessment.detail.get("methods")
    if runs is not None:
        return [Used(run.choice.title, field.law, field.spec, field.notes)
                for run in runs.values() for field in run.sample.vibration.fields]
    models = shown.catalogue.models
    return [Used(choice.title, law, models[law.model]) for choice in shown.methods for law in choice.laws
            if law.role != "alternative"]


SUFFIXES = {"m": "_m", "J": "_j", "Hz": "_hz", "1/m": "_per_m", "degC": "_c", "%": "_percent", "kPa": "_kpa",
            "dB": "_db", "mm/s": "_mm_s", "1/min": "_per_min", "s": "_s"}
"""How a unit ends an input's name."""


def input_words(name: str) -> tuple[str, str]:
    """Return an input's name in words, without its unit, and its unit."""
    if name not in INPUTS:
        return name.replace("_", " "), ""
    unit = INPUTS[name].unit
    return name.removesuffix(SUFFIXES.get(unit, "")).replace("_", " "), "" if unit == "1" else f" {unit}"


def ranges(spec: ModelSpec) -> str:
    """Return a law's valid range in words."""
    told = []
    for name, limits in spec.validity.items():
        if limits.stated:
            words, unit = input_words(name)
            told.append(f"{words} {limits}{unit}")
    told += [f"{one.meaning} {one.limits}" for one in spec.derived]
    return "; ".join(told) or "none stated"


def _laws(shown: Context) -> list[Block]:
    rows = []
    bases: set[str] = set()
    for used in used_laws(shown):
        law, spec = used.law, used.spec
        scatter = spec.scatter
        spread = "none" if scatter is None else (f"{scatter.between_site:.2f} shared, {scatter.within_site:.2f} own"
                                                 f"{mark(scatter.source.basis)}")
        bases |= {spec.basis, *((scatter.source.basis,) if scatter else ())}
        what = QUANTITIES[spec.quantity]
        rows.append((clean(used.title, 60), f"{spec.title}{mark(spec.basis)}\n({spec.id})", used.when,
                     f"{what.symbol}: {STATISTICS[spec.statistic]}", spec.distance, ranges(spec), spread,
                     shown.references.of(spec.source, *spec.sources, law.citation,
                                         *((scatter.source,) if scatter else ()))))
    columns = (Column("Method", 27), Column("Law", 40), Column("Phase", 18), Column("Predicts", 24),
               Column("Distance", 15), Column("Valid range", 27), Column("Scatter, log10 units", 20),
               Column("Sources", 14))
    return [Table("Laws of ground vibration", columns, tuple(rows), (SOURCE_NOTE, *mark_notes(bases)))]


def _plant(shown: Context) -> Table:
    rows = []
    bases: set[str] = set()
    for choice in shown.methods:
        for use, plant in choice.plant:
            height = "pile head" if plant.height == "pile_head" else f"{plant.height:g}"
            bases |= {plant.citation.basis, plant.u_citation.basis, use.citation.basis}
            rows.append((clean(choice.title, 50), clean(plant.title), f"{use.count}",
                         f"{number(plant.lwa_db)}{mark(plant.citation.basis)}",
                         f"{plant.lwa_low_db:g} to {plant.lwa_high_db:g}",
                         f"{plant.u_db:g}{mark(plant.u_citation.basis)}", height,
                         f"{100.0 * use.on_time_fraction:.0f}{mark(use.citation.basis)}",
                         shown.references.of(plant.citation, plant.u_citation, plant.height_citation, use.citation)))
    columns = (Column("Method", 26), Column("Plant", 42), Column("No.", 8, "right"), Column("LWA, dB", 15, "right"),
               Column("Range, dB", 17), Column("u, dB", 11, "right"), Column("Height, m", 12, "right"),
               Column("On, %", 12, "right"), Column("Sources", 22))
    notes = ("LWA: A-weighted sound power while operating; its range carries its mark. u: its standard uncertainty. "
             "On: share of the time in which "
             f"a pile is worked on. {SOURCE_NOTE}", *mark_notes(bases))
    return Table("Plant", columns, tuple(rows), notes)


def _sound(shown: Context) -> list[Block]:
    models = shown.catalogue.models
    names = [name for name in sorted(set(shown.view.of("noise")["model"].dropna())) if name in models]
    air = shown.scenario.acoustic
    told = [f"{models[name].title} ({name}): {shown.references.of(models[name].source, *models[name].sources)}; valid "
            f"range: {ranges(models[name])}"
            for name in names]
    blocks: list[Block] = []
    if told:
        blocks += [Text("How sound travels:"), Bullets(tuple(told))]
    options = shown.assessment.provenance.options
    chosen = [clean(options[name], None) for name in ("noise", "terrain") if options.get(name)]
    blocks += [Text(f"Chosen: {'; terrain from '.join(chosen)}")] if chosen else []
    if options.get("site_law"):
        blocks.append(Text("Trial records of this site have changed the prediction; what they taught stands in the "
                           "chapter Site and receptors, among what was taken."))
    blocks.append(Text(f"Air {air.temperature_c:g} °C, {air.humidity_percent:g} % relative humidity; ground between "
                       f"source and receptor of porosity {air.porosity:g} (0 hard, 1 porous) where nothing else is "
                       "said. Tones and impulses count where a rule or the scenario adds them; weather is a light "
                       "downwind unless the scenario gives a place's statistics."))
    return blocks
