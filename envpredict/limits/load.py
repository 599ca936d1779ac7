"""Reading limit sets: the shipped ones and a user's own, all problems of a file in one pass."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.registry import Registry
from envpredict.core.words import suggestion
from envpredict.limits.base import Source
from envpredict.limits.schema import LimitSet

TAGS = frozenset({"fixed", "product", "background_category", "background_plus", "day_allowance", "hours_by_margin",
                  "hours_only", "impulse", "tone", "daily_hours", "works_days", "short_events", "rest_hours", "count",
                  "lasting"})
_TAGGED = ("value", "adjustments", "persistence")


def load_limit_sets(extra: Sequence[Path] = ()) -> Registry[LimitSet]:
    """Return the shipped limit sets and those of extra files (same schema), by id.

    Raises InputProblems with every problem of every extra file.
    """
    shipped = _shipped()
    if not extra:
        return shipped
    registry: Registry[LimitSet] = Registry("limit set")
    for name, limit_set in shipped.items():
        registry.add(name, limit_set)
    problems: list[Problem] = []
    for path in extra:
        read = read_limit_set(path)
        if not isinstance(read, LimitSet):
            problems += read
        elif read.id in registry:
            problems.append(Problem(f"{path.name}: id", f"a limit set '{read.id}' exists already", "choose another id"))
        else:
            registry.add(read.id, read)
    if problems:
        raise InputProblems(problems, "limit sets")
    return registry


@lru_cache(maxsize=1)
def _shipped() -> Registry[LimitSet]:
    registry: Registry[LimitSet] = Registry("limit set")
    problems: list[Problem] = []
    folder = resources.files("envpredict.limits").joinpath("sets")
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            read = parse_limit_set(entry.read_text(encoding="utf-8"), entry.name)
            if isinstance(read, LimitSet):
                registry.add(read.id, read)
            else:
                problems += read
    if problems:
        raise InputProblems(problems, "shipped limit sets")
    return registry


def read_limit_set(path: Path) -> LimitSet | list[Problem]:
    """Return the set of a TOML file, or every problem of it."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return [Problem(path.name, "the file isn't UTF-8 text", "save it as UTF-8")]
    except OSError as error:
        return [Problem(path.name, f"the file can't be read: {error.strerror}", "check the path in [limits] own")]
    return parse_limit_set(text, path.name)


def parse_limit_set(text: str, name: str) -> LimitSet | list[Problem]:
    """Return the set of a TOML text, or every problem of it; `name` is the file's, for the problems."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return [Problem(name, f"not valid TOML: {error}", "mend the syntax at that line")]
    problems: list[Problem] = []
    sources = _sources(raw.pop("sources", {}), name, problems)
    _fill_in(raw, sources, "", name, problems)
    classes, axes = _declared(raw)
    try:
        limit_set = LimitSet.model_validate_json(json.dumps(raw, default=str),
                                                  context={"classes": classes, "axes": axes})
    except ValidationError as error:
        details = error.errors(include_url=False)
        problems += [_problem(detail, raw, name) for detail in details if not _hollow(detail, details)]
    else:
        if not problems:
            return limit_set
    return sorted(dict.fromkeys(problems))


def _sources(tables: Any, name: str, problems: list[Problem]) -> dict[str, Any]:
    """Return the tables of [sources] by name; a faulty one is told of once, here, and replaced."""
    if not isinstance(tables, dict):
        problems.append(Problem(f"{name}: sources", "sources must be tables", "write [sources.NAME]"))
        return {}
    good = dict(tables)
    for key, source in tables.items():
        try:
            Source.model_validate_json(json.dumps(source, default=str))
        except ValidationError as error:
            where = f"{name}: sources.{key}"
            problems += [_problem(detail, source, where, ".") for detail in error.errors(include_url=False)]
            good[key] = _STAND_IN
    return good


def _declared(raw: dict[str, Any]) -> tuple[set[str], dict[str, set[str]]]:
    """Return the classes and the axes that a file declares, as far as they can be read."""
    axes: dict[str, set[str]] = {}
    for axis in raw.get("axes", []) if isinstance(raw.get("axes"), list) else []:
        if isinstance(axis, dict) and isinstance(axis.get("classes"), dict):
            axes[str(axis.get("id"))] = set(axis["classes"])
    plain = raw.get("classes")
    classes = set(plain) if isinstance(plain, dict) else set()
    return classes.union(*axes.values()), axes


def _fill_in(node: Any, sources: dict[str, Any], where: str, name: str, problems: list[Problem]) -> None:
    """Put the tables of [sources] where `source` names one."""
    items = node.items() if isinstance(node, dict) else enumerate(node, 1) if isinstance(node, list) else ()
    for key, child in list(items):
        label = child.get("id", key) if isinstance(node, list) and isinstance(child, dict) else key
        place = f"{where}[{label}]" if isinstance(node, list) else f"{where}.{key}".lstrip(".")
        if key == "source" and isinstance(node, dict):
            names = [child] if isinstance(child, str) else child if isinstance(child, list) else []
            for word in names:
                if isinstance(word, str) and word not in sources:
                    problems.append(Problem(f"{name}: {place}", f"unknown source '{word}'", suggestion(word, sources)))
            if isinstance(child, str):
                node[key] = sources.get(child, _STAND_IN)
            elif isinstance(child, list):
                node[key] = [sources.get(w, _STAND_IN) if isinstance(w, str) else w for w in child]
        else:
            _fill_in(child, sources, place, name, problems)


_STAND_IN = {"document": "unknown", "place": "unknown", "basis": "estimate"}
"""Stands where a source isn't known, so that the other problems are found too; such a file is never accepted."""


def _hollow(detail: ErrorDetails, details: list[ErrorDetails]) -> bool:
    """Tell whether a list only seems too short because its entries are faulty."""
    depth = len(detail["loc"])
    return detail["type"] == "too_short" and any(
        len(other["loc"]) > depth and other["loc"][:depth] == detail["loc"] for other in details)


def _problem(detail: ErrorDetails, raw: Any, name: str, joint: str = ": ") -> Problem:
    hint = str(detail.get("ctx", {}).get("hint", ""))
    kind = detail["type"]
    if kind == "limit":
        what = str(detail["ctx"]["what"])
    elif kind == "missing":
        what, hint = "missing", "add this key"
    elif kind == "extra_forbidden":
        what, hint = "unknown key", "remove it or mend its name"
    else:
        what = detail["msg"][0].lower() + detail["msg"][1:]
        given = detail.get("input")
        if isinstance(given, str | int | float):
            what += f", not {given!r}"
    return Problem(f"{name}{joint}{_key(detail['loc'], raw)}", what, hint)


def _key(loc: tuple[int | str, ...], raw: Any) -> str:
    """Return a validation place as a key: rules by their id, other lists counted from 1, union tags left out."""
    parts: list[str] = []
    before: tuple[int | str, ...] = ()
    node = raw
    for item in loc:
        tagged = bool(before) and (before[-1] in _TAGGED or (len(before) > 1 and before[-2] in _TAGGED))
        if isinstance(item, str) and item in TAGS and tagged:
            continue
        node = _child(node, item)
        if isinstance(item, int):
            label = str(node["id"]) if isinstance(node, dict) and isinstance(node.get("id"), str) else str(item + 1)
            parts.append(f"[{label}]")
        else:
            parts.append(f".{item}" if parts else str(item))
        before = (*before, item)
    return "".join(parts) or "set"


def _child(node: Any, item: int | str) -> Any:
    try:
        return node[item]
    except (KeyError, IndexError, TypeError):
        return None
