"""The report of a run, chapter by chapter in the order in which an authority reads."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from envpredict.core.cautions import DRAFT, INVENTED
from envpredict.outputs.once import once
from envpredict.outputs.report import (
    appendix,
    checklist,
    closing,
    job,
    limits,
    measures,
    methods,
    monitoring,
    prediction,
    results,
)
from envpredict.outputs.report import site as place
from envpredict.outputs.report.blocks import Block, Chapter, Report, Subheading
from envpredict.outputs.report.context import Context, context
from envpredict.outputs.texts import clean

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

CHAPTERS: tuple[Callable[[Context], Chapter], ...] = (
    job.summary, job.purpose, place.site_and_receptors, place.baseline, place.ground, methods.feasibility,
    prediction.how_predicted, limits.limits, results.results, results.pictures, measures.reductions,
    monitoring.monitoring, measures.programme, closing.cautions, closing.competence, checklist.checklist,
    closing.sources)
APPENDICES: tuple[Callable[[Context], Chapter], ...] = (appendix.recompute, appendix.traces, appendix.all_receptors,
                                                        appendix.details)
TITLE = "Pile installation: prediction of ground vibration and noise at neighbours"


def build(assessment: Assessment) -> Report:
    """Return the report of a run, made at the first call."""
    return once(assessment, _built)


def _built(assessment: Assessment) -> Report:
    shown = context(assessment)
    # the list of sources is made last, when every other chapter has said what it cites
    makers = [(str(number), make) for number, make in enumerate(CHAPTERS, 1)]
    makers += zip("ABCDEFGH", APPENDICES, strict=False)
    made = {number: _numbered(make(shown), number)
            for number, make in sorted(makers, key=lambda one: one[1] is closing.sources)}
    chapters = [made[number] for number, _ in makers]
    return Report(title=TITLE, subtitle=clean(assessment.scenario.title), banners=banners(assessment),
                  facts=_cover_facts(shown), cautions=assessment.cautions, chapters=tuple(chapters))


def banners(assessment: Assessment) -> tuple[str, ...]:
    """Return what stands in large letters on the cover and at the head of every page."""
    told = [DRAFT] if assessment.drafts else []
    return (*told, *((INVENTED,) if assessment.scenario.invented else ()))


def _numbered(chapter: Chapter, number: str) -> Chapter:
    blocks: list[Block] = []
    section = 0
    for block in chapter.blocks:
        if isinstance(block, Subheading):
            section += 1
            blocks.append(Subheading(f"{number}.{section}  {block.text}"))
        else:
            blocks.append(block)
    label = f"Appendix {number}" if number.isalpha() else number
    return Chapter(chapter.id, f"{label}  {chapter.title}", tuple(blocks), chapter.landscape)


def _cover_facts(shown: Context) -> tuple[tuple[str, str], ...]:
    scenario = shown.scenario
    stated = [(title, shown.submission(key) or "not stated") for title, key in
              (("Applicant", "applicant"), ("Authority", "authority"), ("Competent person", "competent_person"),
               ("Revision", "revision"), ("Date", "date"))]
    return (*stated,
            ("Works", f"{len(scenario.piles)} piles, {len(shown.methods)} candidate methods, from "
                      f"{scenario.programme.start.isoformat()}"),
            ("Receptors", str(len(shown.assessment.receptors))),
            ("Verdicts at", f"a chance of exceedance of {100 * scenario.design_exceedance:g} %"),
            ("Made with", f"envpredict {shown.assessment.provenance.version}"))
