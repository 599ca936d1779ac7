"""What `envpredict compare --screen` prints: how high a screen along a drawn line would have to be for whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from envpredict.cli._tables import _columns
from envpredict.engine.noise.screens import MOST_M, screen_heights

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

HEADS = ("method", "receptor", "margin now, dB", "height, m", "margin with it, dB")
NOBODY = "every limit on noise that can be judged is met without it"
NEVER = "none"


def report(assessment: Assessment, screens: tuple[str, ...]) -> str:
    """Return, line by line drawn, the least height at which each receptor's limits on noise are met.

    Raises EnvpredictError for a line that the obstacles' layer doesn't hold.
    """
    told = []
    run, methods = assessment.detail["run"], assessment.detail["methods"].values()
    for screen in screens:
        found = [row for method in methods
                 for row in screen_heights(run, method, assessment.findings, screen).to_dict("records")]
        rows = [(row["method"], row["receptor"], f"{row['margin_db']:+.1f}",
                 f"{row['height_m']:g}" if row["height_m"] == row["height_m"] else NEVER,
                 f"{row['margin_with_db']:+.1f}")
                for row in found]
        told.append(f"A screen along '{screen}', up to {MOST_M:g} m, for receptors whose limits on noise aren't met:\n"
                    f"{_columns(rows, HEADS) if rows else NOBODY}\n")
    return "\n".join(told)
