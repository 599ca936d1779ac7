"""What `envpredict distance` asks, prints and draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from envpredict.core.cautions import CAUTIONS
from envpredict.core.errors import InputProblems, OutputFailure, Problem
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.vibration.standoffs import Answer, Question, check_question, phase_of, standoffs, verify_mark
from envpredict.engine.works.choices import choose


def question(*, method: str, ground_class: str, limit_set: str, model: str | None, use: str, structure: str,
             facts: Sequence[str], frequency_hz: float | None, energy_kj: float | None, depth_m: float,
             exceedance: float, days: int) -> Question:
    """Return the question, or raise InputProblems with everything that is wrong with it."""
    from envpredict.scenario.types import MethodEntry

    catalogue = load_catalogue()
    told = stated_facts(use, structure, facts)
    _finite({"--frequency-hz": frequency_hz, "--energy-kj": energy_kj, "--depth-m": depth_m,
             "--exceedance": exceedance})
    check_question(method, ground_class, limit_set, model, catalogue, told)
    stated = {"frequency_hz": frequency_hz, "energy_kj": energy_kj}
    overrides = {key: value for key, value in stated.items() if value is not None}
    if "energy_kj" in overrides and catalogue.methods[method].energy is None:
        raise InputProblems([Problem("--energy-kj", f"'{method}' has no energy per blow or cycle", "leave it out")],
                            "the question")
    choice = choose(MethodEntry(method, method, None, overrides), catalogue, catalogue.methods[method].forms[0])
    known: dict[str, str | None] = {"foundation": None, "condition": None, **told}
    return Question(choice, ground_class, catalogue.limit_sets[limit_set], known, exceedance, depth_m, model, days)


def _finite(numbers: Mapping[str, float | None]) -> None:
    """Raise InputProblems for numbers that are none: a command line takes "nan" and "inf" for numbers."""
    wrong = [Problem(name, f"{value} is no value", "give a finite number, or leave it out")
             for name, value in numbers.items() if value is not None and not math.isfinite(value)]
    if wrong:
        raise InputProblems(wrong, "the question")


def stated_facts(use: str, structure: str, others: Sequence[str]) -> dict[str, str]:
    """Return the facts of the receptor; `others` are texts NAME=WORD. Raises InputProblems for one that isn't."""
    wrong = [Problem("--fact", f"'{text}' isn't NAME=WORD", "write it as --fact area=residential")
             for text in others if "=" not in text]
    if wrong:
        raise InputProblems(wrong, "the question")
    pairs = (text.partition("=") for text in others)
    return {"use": use, "structure": structure, **{name.strip(): word.strip() for name, _, word in pairs}}


def answers(asked: Question) -> list[Answer]:
    """Return the stand-offs of the shipped catalogue."""
    return standoffs(asked, load_catalogue())


def _metres(distance_m: float) -> str:
    if math.isnan(distance_m):
        return "cannot judge"
    if math.isinf(distance_m):
        return "met nowhere"
    return "met everywhere" if distance_m == 0.0 else f"{distance_m:.1f} m"


def _distance(answer: Answer) -> str:
    solved = math.isfinite(answer.distance_m) and answer.distance_m > 0.0
    return _metres(answer.distance_m) + (" OUT OF RANGE" if solved and not answer.in_range else "")


def _printed(answer: Answer) -> list[str]:
    """Return the stand-offs of the curves that the law's document prints, under its own labels."""
    return [f"    {'':<22}    {_metres(distance)} by the curve {label} (the document's label, no chance of ours)"
            for label, distance in answer.printed]


def table(asked: Question, found: Sequence[Answer]) -> str:
    """Return the stand-offs as lines of text, with their marks and the cautions."""
    choice = asked.choice
    energy = "" if choice.energy_j is None else f", {choice.energy_j / 1000:g} kJ"
    lines = [f"{choice.title}{energy}, in {asked.ground_class}; {asked.limit_set.document}, {asked.limit_set.edition}",
             f"Stand-off at which one pile exceeds the limit with a chance of {asked.exceedance:g}; many piles need "
             f"more. Limits that depend on days of work are read for {asked.days}."]
    last = ""
    for answer in found:
        if answer.rule != last:
            unit = f" {answer.unit}" if answer.unit != "1" else ""
            value = f"; {answer.limit:g}{unit}, {answer.place.replace('_', ' ')}" if answer.model else ""
            lines += ["", f"{answer.rule}: {answer.title}{value}"]
            last = answer.rule
        if not answer.model:
            lines += [f"    {answer.why}"]
            continue
        lines += [f"    {_distance(answer):<22} by {answer.model} ({phase_of(answer)}){verify_mark(answer.basis)}"
                  + (f"; {answer.why}" if answer.why else ""), *_printed(answer)]
    return "\n".join([*lines, "", *(f"! {caution}" for caution in CAUTIONS)])


def picture(asked: Question, found: Sequence[Answer], path: Path) -> None:
    """Draw level against distance for the laws of the first rule that was answered. Raises OutputFailure."""
    from envpredict.outputs.charts.standoff import draw

    if path.suffix.lower() not in (".png", ".svg"):
        raise InputProblems([Problem(str(path), "is neither a PNG nor an SVG file", "name a .png or .svg file")],
                            "the question")
    if path.exists():
        raise InputProblems([Problem(str(path), "exists already", "name a new file")], "the question")
    try:
        path.write_bytes(draw(asked, found, path.suffix.lower()[1:]))
    except OSError as error:
        raise OutputFailure(f"{path}: can't be written: {error}", "check the folder") from None
