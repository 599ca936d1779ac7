"""Writes a plan as TOML, with what every key means beside it."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable
from datetime import date

from envpredict.core.cautions import CAUTIONS, INVENTED, NOT_A_SAFETY_SYSTEM
from envpredict.monitoring.plan_fields import Part
from envpredict.monitoring.plan_schema import HEAD, LISTS, SECTIONS, Plan, meaning

WIDTH = 118
NEVER_ALONE = f"{NOT_A_SAFETY_SYSTEM} People on site stop the work when in doubt, whatever a level or a monitor says."
"""What every form of a plan says of itself."""


def to_toml(plan: Plan) -> str:
    """Return the plan as TOML text that `plan_file.read_plan` reads back to an equal plan."""
    said = [*((INVENTED,) if plan.invented else ()), NEVER_ALONE,
            *(caution for caution in CAUTIONS if caution != NOT_A_SAFETY_SYSTEM)]
    lines = ["# Monitoring plan for pile installation"]
    for text in said:
        lines += ["#", *_comment(text)]
    lines += ["#", *_comment("A key that is left out, or stands behind a #, is not stated."), "", *_keys(plan, HEAD)]
    for name in _order():
        if name in SECTIONS:
            part = getattr(plan, name)
            lines += ["", *_comment(meaning(name)), f"[{name}]", *_keys(part, type(part).model_fields)]
        elif name in LISTS:
            lines += ["", *_comment(f"{meaning(name)}; one [[{name}]] each")]
            lines += [*_comment("keys: " + "; ".join(f"{key} = {field.description}"
                                                      for key, field in LISTS[name].model_fields.items()))]
            for row in getattr(plan, name):
                lines += [f"[[{name}]]", *_pairs(row), ""]
    return "\n".join(lines).rstrip() + "\n"


LAST = ("receptors", "instruments", "proxies", "surveys", "predictions", "defaults")
"""Lists that may be long and are looked up rather than read: they stand at the end of the file."""


def _order() -> list[str]:
    """Return the tables as they stand in the file: what is open first, long lists last."""
    first = [name for name in ("open_points",) if name in LISTS]
    middle = [name for name in Plan.model_fields if name not in (*HEAD, *first, *LAST)]
    return [*first, *middle, *LAST]


def _comment(text: str) -> list[str]:
    """Return a text as comment lines."""
    return textwrap.wrap(text, WIDTH, initial_indent="# ", subsequent_indent="# ", break_long_words=False)


def _stated(value: object) -> bool:
    return value is not None and value != ()


def _pairs(part: Part) -> list[str]:
    """Return the stated keys."""
    values = {key: getattr(part, key) for key in type(part).model_fields}
    return [f"{key} = {toml_value(value)}" for key, value in values.items() if _stated(value)]


def _keys(part: Part, keys: Iterable[str]) -> list[str]:
    """Return every key with its meaning; one that isn't stated stands behind a #."""
    lines = []
    for key in keys:
        value, said = getattr(part, key), type(part).model_fields[key].description
        if not _stated(value):
            lines.append(f"# {key} =    # {said}")
            continue
        line = f"{key} = {toml_value(value)}"
        lines += [f"{line}    # {said}"] if "\n" not in line and len(line) < 60 else [f"# {key}: {said}", line]
    return lines


def toml_value(value: object) -> str:
    """Return a value as TOML: text, truth, number, date or a list of them. Raises TypeError for anything else."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the delete character, which TOML wants escaped too
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        inner = [toml_value(item) for item in value]
        flat = f"[{', '.join(inner)}]"
        return flat if len(flat) < WIDTH - 20 else "[\n    " + ",\n    ".join(inner) + ",\n]"
    raise TypeError(f"{value!r} can't be written as TOML")
