"""One answer to whether a method gets a pile in: verdict, the rule that decided, where it happens, how it's known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from envpredict.methods.fields import Code
from envpredict.methods.suitability import Verdict

if TYPE_CHECKING:
    from envpredict.core.citation import Citation

VERDICTS: tuple[Verdict, ...] = ("feasible", "feasible_with_aid", "needs_trial", "cannot_judge", "not_feasible")
"""From the best to the worst: which check decides for a pile, a section, a method."""
OF_CODE: dict[Code, Verdict] = {"F": "feasible", "A": "feasible_with_aid", "N": "not_feasible"}
ASPECTS: dict[str, str] = {
    "ground": "whether the method suits the strata down to the toe",
    "size": "whether hammer, vibrator or press are large enough by the published rules",
    "headroom": "free height for rig and pile",
    "width": "width of the working strip",
    "clearance": "distance to existing faces",
    "over_water": "standing over water",
    "on_slope": "standing on a slope",
    "running_line": "rig and pile beside a running railway",
    "possession": "hours in which work is allowed on a line",
    "obstruction": "known obstructions in the ground",
}
"""What is checked; the first decides where several verdicts are equally bad."""


@dataclass(frozen=True, slots=True)
class Check:
    """The outcome of one check at a pile.

    `rule` that decided; `aid` named by it; `depth_m` and `stratum` where it happens (NaN and "" away from the ground);
    `borehole` that stands for the ground; `reason` in words; `citation` of the rule, None where nothing could decide.
    """

    aspect: str
    verdict: Verdict
    rule: str
    aid: str
    reason: str
    citation: Citation | None
    depth_m: float = np.nan
    stratum: str = ""
    borehole: str = ""

    @property
    def rank(self) -> int:
        """Return the rank of the verdict: the higher, the worse."""
        return VERDICTS.index(self.verdict)


def worst(checks: Iterable[Check]) -> Check:
    """Return the check with the worst verdict, the first of equally bad ones. Raises ValueError for none."""
    return max(checks, key=lambda check: check.rank)
