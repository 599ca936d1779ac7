"""Writes a site law as TOML: prior, records and posterior, each with where it comes from."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from envpredict.core.cautions import INVENTED, LOCAL_RULES, NOT_A_SAFETY_SYSTEM, SCREENING
from envpredict.core.citation import Citation
from envpredict.engine.learned.site_law import ENOUGH, REACH, Part, SiteFile
from envpredict.engine.learned.use import said
from envpredict.monitoring.plan_toml import toml_value
from envpredict.monitoring.site_law.update import METHOD_SOURCE, SHARE_SOURCE

WIDTH = 116
ABOUT = ("Written by `envpredict fit`; named by [site_law] file in a scenario. Don't edit it: fit the records again. "
         "Whether the records suffice is counted from them, each time the file is read.")


def to_toml(site: SiteFile) -> str:
    """Return the text of a site law's file; `engine.learned.read.read_site_law` reads it back to an equal one."""
    lines = ["# Site law: trial records of this site against a published law"]
    texts = [*((INVENTED,) if site.invented else ()), ABOUT, SCREENING, LOCAL_RULES, NOT_A_SAFETY_SYSTEM,
             *(f"Method: {source}." for source in (METHOD_SOURCE, SHARE_SOURCE, ENOUGH, REACH))]
    for text in texts:
        lines += ["#", *textwrap.wrap(text, WIDTH, initial_indent="# ", subsequent_indent="# ")]
    lines += [f'\nschema = "{site.form}"']
    if site.title:
        lines.append(f"title = {toml_value(site.title)}")
    if site.invented:
        lines.append("invented = true")
    lines += [f"fitted_with = {toml_value(site.fitted_with)}", f"records = {_inline(site.records)}"]
    for law in site.vibration:
        lines += ["", *textwrap.wrap(said(law), WIDTH, initial_indent="# ", subsequent_indent="# "), "[[vibration]]",
                  *_table(law, "vibration")]
    for name, parts in (("plant", site.plant), ("harder_ground", site.harder_ground)):
        for part in parts:
            lines += ["", f"[[{name}]]", *_table(part, name)]
    return "\n".join(lines) + "\n"


def _table(part: Part, path: str) -> Iterator[str]:
    """Yield the keys of a part, then its tables, then its lists of tables."""
    later: list[str] = []
    for key in type(part).model_fields:
        value = getattr(part, key)
        if isinstance(value, Part):
            later += ["", f"[{path}.{key}]", *_table(value, f"{path}.{key}")]
        elif isinstance(value, tuple) and value and isinstance(value[0], Part):
            for one in value:
                later += ["", f"[[{path}.{key}]]", *_table(one, f"{path}.{key}")]
        elif value is not None and value != ():
            yield f"{key} = {_value(value)}"
    yield from later


def _value(value: Any) -> str:
    if isinstance(value, Citation):
        return _inline({key: one for key, one in asdict(value).items() if one not in (None, "")})
    return _inline(value) if isinstance(value, Mapping) else toml_value(value)


def _inline(table: Mapping[str, Any]) -> str:
    inside = ", ".join(f"{toml_value(key)} = {toml_value(value)}" if not key.isidentifier()
                       else f"{key} = {toml_value(value)}" for key, value in table.items())
    return f"{{ {inside} }}" if inside else "{}"


def joined(earlier: SiteFile, later: SiteFile) -> SiteFile:
    """Return both in one: what speaks of the same phase of a method, or the same plant, is taken from the later one.

    Records of press forces of the later one take the place of the earlier one's, where it has any.
    """
    fresh = {(law.method, law.phase, law.stage) for law in later.vibration}
    plants = {item.plant for item in later.plant}
    kept = tuple(law for law in earlier.vibration if (law.method, law.phase, law.stage) not in fresh)
    return SiteFile(
        schema=later.form, title=later.title or earlier.title, invented=earlier.invented or later.invented,
        fitted_with=later.fitted_with, records={**earlier.records, **later.records},
        vibration=(*kept, *later.vibration),
        plant=(*(item for item in earlier.plant if item.plant not in plants), *later.plant),
        harder_ground=later.harder_ground or earlier.harder_ground)
