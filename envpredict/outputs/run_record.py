"""run.json: what the run stood on, so that anybody can tell whether it can be repeated."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.engine.results import FINDING_COLUMNS, LIKELIHOOD_MEANING
from envpredict.outputs.registry import load_outputs, output

if TYPE_CHECKING:
    from envpredict.engine.results import Assessment

NAME = "run.json"


def record(assessment: Assessment) -> dict[str, Any]:
    """Return the run's record as plain data: no clock time, no path."""
    scenario, provenance = assessment.scenario, assessment.provenance
    return {
        "title": scenario.title,
        "invented": scenario.invented,
        "cautions": list(assessment.cautions),
        "draft_because": list(assessment.drafts),
        "envpredict": provenance.version,
        "packages": dict(provenance.packages),
        "inputs_sha256": dict(provenance.inputs),
        "options": dict(provenance.options),
        "limit_sets": list(provenance.limit_sets),
        "limits_confirmed": {name: {"by": c.by, "date": c.date.isoformat(), "edition": c.edition,
                                    "values": dict(c.values)} for name, c in scenario.limits.confirmed.items()},
        "models": list(provenance.models),
        "sources": list(provenance.sources),
        "assumed": list(assessment.warnings),
        "likelihood": dict(LIKELIHOOD_MEANING),
        "columns": {name: meaning for name, (_, meaning) in FINDING_COLUMNS.items()},
        "left_out": _left_out(assessment),
        "counts": {"receptors": len(assessment.receptors), "findings": len(assessment.findings),
                   "piles": len(scenario.piles), "methods": len(assessment.methods)},
    }


def _left_out(assessment: Assessment) -> dict[str, list[str]]:
    """Return, per file, what of a large run it doesn't hold, in sentences."""
    told = {name: list(one.left_out(assessment)) for name, one in load_outputs().items()}
    return {name: sentences for name, sentences in told.items() if sentences}


@output(NAME, "the run's record: hashes of the inputs, versions, limit sets, sources, options, cautions")
def write(assessment: Assessment, path: Path) -> None:
    """Write the record as JSON with sorted keys."""
    text = json.dumps(record(assessment), indent=2, ensure_ascii=False, sort_keys=True)
    path.write_text(text + "\n", encoding="utf-8")
