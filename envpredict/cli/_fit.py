"""What `envpredict fit` asks, prints, writes and draws."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.core.errors import InputProblems, Problem
from envpredict.engine.learned.site_law import SCHEMA, SiteFile

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.monitoring.site_law.press_screen import Screened
    from envpredict.monitoring.site_law.trial import Trial
    from envpredict.scenario.types import Scenario


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked; one of `model` and `plant` is given."""

    records: Path
    model: str | None
    plant: str | None
    scenario: Path | None
    works: Path | None
    phase: str
    earlier: Path | None
    out: Path | None
    plot: Path | None


def question(records: Path, model: str | None, plant: str | None, scenario: Path | None, works: Path | None,
             phase: str, earlier: Path | None, out: Path | None, plot: Path | None) -> Question:
    """Return the question, or raise InputProblems with everything that is wrong with it."""
    asked = Question(records, model, plant, scenario, works, phase, earlier, out, plot)
    found = [*_contradictions(asked), *_places(asked)]
    if found:
        raise InputProblems(found, "the question")
    return asked


def _contradictions(asked: Question) -> list[Problem]:
    """Return which options don't go together."""
    model, plant, scenario, works, plot = asked.model, asked.plant, asked.scenario, asked.works, asked.plot
    found = []
    if (model is None) == (plant is None):
        found.append(Problem("--model, --plant", "one of the two is needed, and only one",
                             "--model for vibration records, --plant for levels measured beside a machine"))
    if works is not None and scenario is None:
        found.append(Problem("--works", "press records are held against strata, and no scenario is named",
                             "add --scenario"))
    if works is not None and plant is not None:
        found.append(Problem("--works", "press records say nothing of sound", "leave --works out"))
    if plot is not None and plant is not None:
        found.append(Problem("--plot", "levels of one machine make no chart", "leave --plot out"))
    if asked.records.is_dir() and plant is not None:
        found.append(Problem(str(asked.records), "is a folder; levels beside a machine come as one file",
                             "name a CSV file"))
    if asked.records.is_dir() and scenario is None:
        found.append(Problem(str(asked.records), "a scenario's piles place monitoring records, and none is named",
                             "add --scenario"))
    return found


def _places(asked: Question) -> list[Problem]:
    """Return what is wrong with the files that are named."""
    out, plot, found = asked.out, asked.plot, []
    if plot is not None and plot.suffix.lower() not in (".png", ".svg"):
        found.append(Problem(f"--plot {plot}", "is neither a PNG nor an SVG file", "name a .png or .svg file"))
    for name, path in (("--out", out), ("--plot", plot)):
        if path is not None and path.exists():
            found.append(Problem(f"{name} {path}", "exists already", "name a new file"))
        elif path is not None and not path.absolute().parent.is_dir():
            found.append(Problem(f"{name} {path}", "its folder doesn't exist", "make the folder first"))
    if not asked.records.exists():
        found.append(Problem(str(asked.records), "there is no such file", "name a CSV file of trial records"))
    return found


def answer(asked: Question) -> str:
    """Return what the records come to, in words; write and draw what is asked for.

    Raises InputProblems for records that can't be used and OutputFailure where nothing can be written.
    """
    from envpredict.engine.catalogue import load_catalogue
    from envpredict.engine.intake import read_scenario

    scenario = None if asked.scenario is None else read_scenario(asked.scenario)
    catalogue = load_catalogue() if scenario is None else load_catalogue(scenario.own)
    if asked.plant is not None:
        return _plant(asked, catalogue, scenario)
    return _vibration(asked, catalogue, scenario)


def _plant(asked: Question, catalogue: Catalogue, scenario: Scenario | None) -> str:
    from envpredict.monitoring.site_law.describe import cautions_text, plant_text
    from envpredict.monitoring.site_law.source_level import fit_plant

    found = fit_plant(asked.records, catalogue.plant, asked.plant or "")
    site = SiteFile(schema=SCHEMA, fitted_with=version("envpredict"), records=found.hashes, plant=(found.fit,),
                    **_head(scenario))
    return "\n".join([plant_text(found), cautions_text(), *_written(asked, site)])


def _vibration(asked: Question, catalogue: Catalogue, scenario: Scenario | None) -> str:
    from envpredict.monitoring.site_law.describe import cautions_text, fit_text
    from envpredict.monitoring.site_law.fit import fit_trial
    from envpredict.monitoring.site_law.on_site import placed
    from envpredict.monitoring.site_law.press_screen import screened

    model = asked.model or ""
    trial, works = _trial(asked, catalogue, scenario)
    if scenario is not None:
        trial = placed(trial, scenario, catalogue, model)
    found = fit_trial(trial, catalogue, model)
    press: Screened | None = None
    if works is not None and scenario is not None:
        press = screened(works, scenario, found)
    laws = tuple(one.law for one in found if one.law is not None)
    site = SiteFile(schema=SCHEMA, fitted_with=version("envpredict"), vibration=laws,
                    records={**trial.hashes, **(press.hashes if press else {})},
                    harder_ground=press.harder if press else (), **_head(scenario))
    said = [fit_text(found), *([press.text] if press else []), cautions_text(), *_written(asked, site)]
    if asked.plot is not None:
        from envpredict.monitoring.files import write_whole
        from envpredict.outputs.charts.site_law import draw

        drawn = draw(laws, asked.plot.suffix.lower()[1:], press.press if press else None, press.harder if press else ())
        write_whole(asked.plot, drawn)
        said.append(f"Wrote {asked.plot}.")
    return "\n".join(said)


def _trial(asked: Question, catalogue: Catalogue, scenario: Scenario | None) -> tuple[Trial, Path | None]:
    """Return the trial records, and the works diary that may hold press records."""
    from envpredict.monitoring.site_law.from_records import trial_of
    from envpredict.monitoring.site_law.trial import read_trial

    if not asked.records.is_dir() or scenario is None:
        return read_trial(asked.records, asked.phase), asked.works
    found = trial_of(asked.records, scenario, catalogue.models, asked.model or "", asked.phase)
    return found, asked.works or asked.records / "works.csv"


def _head(scenario: Scenario | None) -> dict[str, str | bool]:
    return {} if scenario is None else {"title": scenario.title, "invented": scenario.invented}


def _written(asked: Question, site: SiteFile) -> list[str]:
    """Write the site law where a file is named, an earlier one's other parts carried along."""
    from envpredict.engine.learned.read import read_site_law
    from envpredict.monitoring.files import write_whole
    from envpredict.monitoring.site_law.write import joined, to_toml

    whole = site if asked.earlier is None else joined(read_site_law(asked.earlier), site)
    if asked.out is None:
        return []
    write_whole(asked.out, to_toml(whole).encode())
    return [f"Wrote {asked.out}. Name it in the scenario: [site_law] file = \"{asked.out.name}\"."]
