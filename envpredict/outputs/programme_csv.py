"""programme.csv: which pile on which day, with which plant, at the slow, the likely and the fast rates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from envpredict.engine.compared.combined import combined_runs
from envpredict.engine.works.programme import SPEEDS, events
from envpredict.outputs.findings_csv import text_columns_harmless
from envpredict.outputs.registry import output

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment
    from envpredict.engine.run import MethodRun, Run

NAME = "programme.csv"


def programmes(assessment: Assessment) -> pd.DataFrame:
    """Return the programmes of all candidates, one row per pass and item of plant.

    Columns: `rates` (slow, likely or fast), then those of `engine.works.programme.EVENT_COLUMNS`, times as ISO 8601.
    """
    import pandas as pd

    run: Run = assessment.detail["run"]
    methods: dict[str, MethodRun] = assessment.detail["methods"]
    frames = []
    laid = [(speed, events(assessment.scenario, method.choice, passes, run.drive))
            for method in methods.values() for speed, passes in method.programmes.items()]
    laid += [(speed, one.programme(run, speed)) for one in combined_runs(run, methods) for speed in SPEEDS]
    for speed, table in laid:
        table.insert(0, "rates", speed)
        frames.append(table.assign(**{name: _stamps(table[name]) for name in ("start", "end")}))
    return pd.concat(frames, ignore_index=True)


def _stamps(times: pd.Series) -> pd.Series:
    """Return moments as ISO 8601; each of them, at which several items of plant start or end, is spelled out once."""
    return times.map({moment: moment.isoformat() for moment in times.unique()})


@output(NAME, "the programme of every method at slow, likely and fast rates: pile, day, times, plant, on-times, blows")
def write(assessment: Assessment, path: Path) -> None:
    """Write the programmes as UTF-8 text with comma-separated values; lines that begin with # carry the cautions."""
    with path.open("w", encoding="utf-8", newline="") as file:
        for caution in assessment.cautions:
            file.write(f"# {caution}\n")
        text_columns_harmless(programmes(assessment)).to_csv(file, index=False, lineterminator="\n",
                                                             float_format="%.6g")
