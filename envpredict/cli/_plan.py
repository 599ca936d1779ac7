"""What `envpredict plan` and `envpredict audit` do and say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from envpredict.cli._target import new_folder
from envpredict.core.cautions import NOT_A_SAFETY_SYSTEM
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion


def template(path: Path) -> str:
    """Write the spreadsheet template and return what to say."""
    from envpredict.monitoring.plan_template import write_template

    return f"Wrote {write_template(path)}. Fill it in, then: envpredict audit {path}"


def draft(scenario: Path, folder: Path, methods: Sequence[str]) -> str:
    """Draft the plan of a scenario into a new folder and return what to say."""
    from envpredict.engine.assess import assess
    from envpredict.engine.intake import read_scenario
    from envpredict.monitoring.draft import draft_plan
    from envpredict.outputs.plan_document import write_plan

    new_folder(folder, "a plan is edited by hand, so none is ever written over")
    read = read_scenario(scenario)
    known = [entry.id for entry in read.methods]
    unknown = [Problem("--method", f"unknown method '{name}' in this scenario", suggestion(name, known))
               for name in methods if name not in known]
    if unknown:
        raise InputProblems(unknown, "the question")
    plan = draft_plan(assess(read), methods=tuple(methods) or None)
    write_plan(plan, folder)
    return (f"Wrote {folder}: {len(plan.stations)} stations. A draft: edit plan.toml by hand, then\n"
            f"  envpredict audit {folder} --scenario {scenario}\n! {NOT_A_SAFETY_SYSTEM}")
