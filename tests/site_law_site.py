"""A scenario with one method and a site law fitted to invented trial records, for the tests of site laws."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.intake import read_scenario
from envpredict.engine.learned.site_law import SCHEMA, SiteFile
from envpredict.engine.results import Assessment
from envpredict.monitoring.site_law.fit import fit_trial
from envpredict.monitoring.site_law.trial import Row, Trial
from envpredict.monitoring.site_law.write import to_toml
from envpredict.scenario.starter import write_starter

HEAD, TAIL = "[[methods]]", "# [[reductions]]"
PRESS = "press_in_auger"


def press_level(distance_m: float) -> float:
    """Return an invented level that lies well below the estimate for pressing with an auger."""
    return 0.4 * (5.0 / distance_m) ** 0.9


def rows(level: Callable[[float], float] = press_level, distances: Iterable[float] = (5.0, 10.0, 20.0, 40.0),
         piles: int = 3, *, method: str = PRESS, phase: str = "all", quantity: str = "ppv_resultant",
         hard: bool | None = True, energy_kj: float | None = None, ground: str | None = None,
         depth_m: float | None = None, line: str = "A") -> tuple[Row, ...]:
    """Return records of several piles at the same distances, scattered a little around a level; seeded."""
    rng = np.random.default_rng(17)
    return tuple(Row(line=2 + number, pile=f"{line}-{1 + pile:03d}", method=method, phase=phase, distance_m=distance,
                     ppv_mm_s=float(f"{level(distance) * 10 ** rng.normal(0, 0.06):.4g}"), reads="level",
                     quantity=quantity, hard=hard, energy_kj=energy_kj, ground=ground, depth_m=depth_m)
                 for number, (pile, distance) in enumerate((p, d) for p in range(piles) for d in distances))


def site_file(*fits: tuple[str, tuple[Row, ...]], **more: object) -> SiteFile:
    """Return the site law of records, each with the model to update."""
    laws = [one.law for model, some in fits for one in fit_trial(Trial("trial.csv", some), load_catalogue(), model)]
    return SiteFile(schema=SCHEMA, fitted_with="test", records={"trial.csv": "0" * 64},
                    vibration=tuple(law for law in laws if law is not None), **more)


def scenario(folder: Path, site: SiteFile | None, method: str = PRESS, more: str = "") -> Path:
    """Write a scenario with one candidate and, where given, a site law; return its folder."""
    write_starter(folder)
    path = folder / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index(HEAD), text.index(TAIL)
    text = f'{text[:start]}{HEAD}\nid = "{method}"\n{more}\n{text[end:]}'
    if site is not None:
        (folder / "site_law.toml").write_text(to_toml(site), encoding="utf-8")
        text += '\n[site_law]\nfile = "site_law.toml"\n'
    path.write_text(text, encoding="utf-8")
    return folder


def assessed(folder: Path) -> Assessment:
    """Return the assessment of a scenario's folder, without contours."""
    return assess(read_scenario(folder), grids=False)
