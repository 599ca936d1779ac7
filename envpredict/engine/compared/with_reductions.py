"""The same scenario without and with some reductions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.engine.noise.fit import noise_problems
from envpredict.engine.works import reductions
from envpredict.engine.works.fit import reduction_problems

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.compared.compare import Comparison
    from envpredict.engine.results import Assessment
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.scenario.types import ReductionEntry, Scenario

NUMBERS = frozenset({"energy_kj", "frequency_hz", "insertion_loss_db", "vibration_factor", "height_m"})
CHANGE_COLUMNS: dict[str, str] = {
    "method": "identifier of the candidate",
    "respect": "an effect, or days",
    "before": "worst receptor without the reductions: median over the limit and chance; days of work",
    "after": "the same with them",
    "change": "after less before: dB, or days",
}


@dataclass(frozen=True, slots=True, eq=False)
class BeforeAfter:
    """What reductions change: `table` (columns `CHANGE_COLUMNS`), and what each is (`reductions.REDUCTION_COLUMNS`)."""

    table: pd.DataFrame
    reductions: pd.DataFrame


@dataclass(frozen=True, slots=True, eq=False)
class SideBySide:
    """The candidates of a scenario side by side, with the reductions that were asked for; `change` None without any."""

    assessment: Assessment
    comparison: Comparison
    change: BeforeAfter | None


def side_by_side(scenario: Scenario, texts: Sequence[str] = ()) -> SideBySide:
    """Return the candidates of a scenario side by side, with some reductions (as on the command line) before and after.

    Raises InputProblems for reductions that can't be read or don't fit.
    """
    from envpredict.engine.assess import assess
    from envpredict.engine.catalogue import load_catalogue
    from envpredict.engine.compared.compare import compare

    if not texts:
        found = assess(scenario, grids=False)
        return SideBySide(found, compare(found), None)
    changed = with_reductions(scenario, texts, load_catalogue(scenario.own))
    plain, found = (assess(one, grids=False) for one in (scenario, changed))
    after = compare(found)
    return SideBySide(found, after, before_after(compare(plain), after, found.methods))


def read_reduction(text: str) -> dict[str, Any]:
    """Return a reduction as it's written on the command line: `ID`, or `ID:key=value,key=value`.

    Hours are written `shift=HH:MM-HH:MM`, candidates `methods=a+b`. Raises InputProblems for what can't be read.
    """
    name, _, rest = text.partition(":")
    found: dict[str, Any] = {"id": name}
    for part in filter(None, rest.split(",")):
        key, equals, value = part.partition("=")
        if not equals:
            raise InputProblems([Problem(f"--with {text}", f"'{part}' isn't key=value",
                                         "write --with lower_energy:energy_kj=20")], "the reductions")
        if key == "shift":
            start, _, to = value.partition("-")
            found[key] = {"from": start, "to": to}
        elif key == "methods":
            found[key] = value.split("+")
        elif key in NUMBERS:
            try:
                found[key] = float(value)
            except ValueError:
                raise InputProblems([Problem(f"--with {text}", f"'{value}' is no number", "write digits, as 20.5")],
                                    "the reductions") from None
        else:
            found[key] = value
    return found


def with_reductions(scenario: Scenario, texts: Sequence[str], catalogue: Catalogue) -> Scenario:
    """Return a scenario with further reductions, as written on the command line.

    Raises InputProblems with everything that is wrong with them.
    """
    found: list[ReductionEntry] = []
    problems: list[Problem] = []
    place: dict[str, str] = {}
    for text in texts:
        entry = _entry(text, scenario, catalogue, problems)
        if entry is not None:
            found.append(entry)
            place[f"reductions[{len(scenario.reductions) + len(found)}]"] = f"--with {text}"
            problems += reduction_problems(f"--with {text}", entry, scenario.methods, catalogue)
    changed = replace(scenario, reductions=(*scenario.reductions, *found))
    # the scenario itself was found sound: what shows now comes from what was added
    for fault in noise_problems(changed, catalogue):
        where = next((shown for name, shown in place.items() if name in fault.where), fault.where)
        problems.append(Problem(where, fault.what, fault.hint))
    if problems:
        raise InputProblems(problems, "the reductions")
    return changed


def _entry(text: str, scenario: Scenario, catalogue: Catalogue, problems: list[Problem]) -> ReductionEntry | None:
    """Return one reduction, or None after telling what is wrong with it."""
    from pydantic import ValidationError

    from envpredict.scenario.schema import ReductionTable
    from envpredict.scenario.types import ReductionEntry

    try:
        table = ReductionTable.model_validate(read_reduction(text))
    except ValidationError as error:
        for fault in error.errors():
            key = ".".join(map(str, fault["loc"]))
            problems.append(Problem(f"--with {text}", f"{key}: {fault['msg']}",
                                    f"keys are: {', '.join(sorted(ReductionTable.model_fields))}"))
        return None
    except InputProblems as error:
        problems += error.problems
        return None
    names = [entry.id for entry in scenario.methods]
    strange = [name for name in table.methods if name not in names]
    if table.id not in catalogue.reductions:
        problems.append(Problem(f"--with {text}", f"unknown reduction '{table.id}'",
                                suggestion(table.id, catalogue.reductions)))
        return None
    problems += [Problem(f"--with {text}", f"unknown candidate '{name}'", suggestion(name, names)) for name in strange]
    return None if strange else ReductionEntry(table.id, tuple(table.methods), table.stated("id", "methods"))


def before_after(before: Comparison, after: Comparison, choices: Sequence[MethodChoice]) -> BeforeAfter:
    """Return what changes between two comparisons of the same candidates; `choices`: those of the second."""
    import pandas as pd

    rows = []
    for method in before.methods["method"]:
        days = [one.methods["days"][one.methods["method"] == method].to_numpy(dtype=int)[0] for one in (before, after)]
        for effect in dict.fromkeys(before.whole["effect"]):
            pair = [one.whole[(one.whole["method"] == method) & (one.whole["effect"] == effect)]
                    for one in (before, after)]
            if all(len(part) for part in pair):
                rows.append((method, effect, *(_level(part.iloc[0]) for part in pair),
                             _fall(*(float(part.iloc[0]["over_limit_db"]) for part in pair))))
        rows.append((method, "days", str(days[0]), str(days[1]), f"{days[1] - days[0]:+d} d"))
    return BeforeAfter(pd.DataFrame(rows, columns=list(CHANGE_COLUMNS)), reductions.frame(choices))


def _level(row: pd.Series) -> str:
    if row["over_limit_db"] != row["over_limit_db"]:
        return "-"
    return f"{row['over_limit_db']:+.1f} dB, {100 * row['p_exceed']:.0f} %"


def _fall(before: float, after: float) -> str:
    return "-" if math.isnan(before) or math.isnan(after) else f"{after - before:+.1f} dB"
