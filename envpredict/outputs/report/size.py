"""What the report of a large run doesn't hold, in sentences for the run's record; its tables say the same in place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from envpredict.outputs.findings_file import findings_file
from envpredict.outputs.report.appendix import MOST_DETAILED, MOST_RECEPTORS

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment


def left_out(assessment: Assessment) -> list[str]:
    """Return which receptors stand in the report's tables where it can't hold all."""
    told = []
    count = len(assessment.receptors)
    if count > MOST_RECEPTORS:
        told.append(f"Of {count} receptors the tables hold the {MOST_RECEPTORS} most affected, per effect; every one "
                    "is counted in the tables by limit.")
    if count > MOST_DETAILED:
        told.append(f"The numbers behind a likelihood are told for the {MOST_DETAILED} receptors with the highest "
                    f"chances, per method and effect; {findings_file(assessment)} holds every finding.")
    return told
