"""Candidates that are several methods: one in one section and another in the next, or one pass after another.

Each part is a candidate of its own, laid into the calendar after the one before it and judged as every candidate is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from envpredict.engine.compared.put_together import put_together
from envpredict.engine.judging import method_findings
from envpredict.engine.works.programme import SPEEDS, Passes, Speed, events, plan_work, shifts_until

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.run import MethodRun, Run
    from envpredict.scenario.types import CombinedEntry

AT_ONCE = 1000
"""So many receptors are judged at once; it bounds the memory, never the result."""
PART = "part"
"""The column of a combined candidate's findings that names the part that governs."""


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """A combined candidate: its `parts` in order of the work, each with the programmes that it has among the others."""

    id: str
    title: str
    parts: tuple[MethodRun, ...]

    def days(self, speed: Speed) -> int:
        """Return the days of work at some rates."""
        return len(self.parts[0].programmes[speed].works)

    def programme(self, run: Run, speed: Speed = "likely") -> pd.DataFrame:
        """Return the programme as a table, columns `programme.EVENT_COLUMNS`; `pass` begins with the part's id."""
        import pandas as pd

        tables = [events(run.scenario, part.choice, part.programmes[speed], run.drive) for part in self.parts]
        for part, table in zip(self.parts, tables, strict=True):
            table["method"] = self.id
            table["pass"] = f"{part.choice.id}: " + table["pass"]
        return pd.concat(tables, ignore_index=True)


def _title(entry: CombinedEntry, parts: Sequence[MethodRun]) -> str:
    told = [part.choice.title + (f" in {', '.join(part.choice.sections)}" if part.choice.sections else "")
            for part in parts]
    return entry.title or ", then ".join(told)


def _laid(run: Run, parts: Sequence[MethodRun], speed: Speed) -> list[Passes]:
    """Return the programmes of parts, each beginning with the shift after the one before it has ended."""
    found: list[Passes] = []
    first = 0
    for part in parts:
        found.append(plan_work(run.scenario, part.choice, run.drive, run.site, speed, first))
        first = shifts_until(found[-1], run.scenario.programme)
    whole = np.unique(np.concatenate([one.day for one in found]))
    return [replace(one, whole=whole) for one in found]


def combined_runs(run: Run, methods: Mapping[str, MethodRun]) -> tuple[Combined, ...]:
    """Return the scenario's combined candidates; `methods`: its candidates of one method, by id."""
    found = []
    for entry in run.scenario.combined:
        parts = [methods[name] for name in entry.parts]
        laid = {speed: _laid(run, parts, speed) for speed in SPEEDS}
        placed = [replace(part, passes=laid["likely"][number],
                          programmes={speed: laid[speed][number] for speed in SPEEDS})
                  for number, part in enumerate(parts)]
        found.append(Combined(entry.id, _title(entry, parts), tuple(placed)))
    return tuple(found)


def findings(run: Run, combined: Combined) -> pd.DataFrame:
    """Return the findings of a combined candidate at every receptor, with the column `PART` beside those of others."""
    import pandas as pd

    chunks = [np.arange(start, min(start + AT_ONCE, run.receptor_count), dtype=np.int64)
              for start in range(0, run.receptor_count, AT_ONCE)]
    found = [list(_judged(run.at(rows), combined)) for rows in chunks]
    # rule by rule in the order adopted, receptor by receptor, as the findings of a run
    return pd.concat([chunk[number] for number in range(len(found[0])) for chunk in found], ignore_index=True)


def _judged(run: Run, combined: Combined) -> Iterator[pd.DataFrame]:
    import pandas as pd

    blocks = [method_findings(run, part.at(run)) for part in combined.parts]
    names = [part.choice.id for part in combined.parts]
    for of_rule in zip(*blocks, strict=True):
        tables = [pd.DataFrame(block.columns) for block in of_rule]
        first = tables[0].iloc[0]
        rule = run.catalogue.limit_sets[first["limit_set"]].rule(first["rule"])
        together, part = put_together(tables, names, rule, run.design_exceedance)
        yield together.assign(method=combined.id, **{PART: np.array(names, dtype=object)[part]})
