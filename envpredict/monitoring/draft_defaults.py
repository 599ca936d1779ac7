"""What a drafted plan fills in without a limit or a prediction to derive it from; each value with basis and source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from envpredict.core.citation import Basis
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.words import suggestion
from envpredict.monitoring.plan_fields import Part
from envpredict.monitoring.plan_rows import Default
from envpredict.monitoring.plan_schema import LISTS, SECTIONS
from envpredict.monitoring.plan_toml import toml_value

FILE = "draft_defaults.toml"


def _tuples(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


class _Record(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


class Value(_Record):
    """One value that the draft fills in, or draws a plan up with."""

    value: Annotated[float | bool | str | tuple[str, ...] | tuple[float, ...], BeforeValidator(_tuples)]
    basis: Basis
    source: str = Field(min_length=1)


class Rows(_Record):
    """Rows of a list that the draft fills in."""

    basis: Basis
    source: str = Field(min_length=1)
    rows: Annotated[tuple[dict[str, Any], ...], BeforeValidator(_tuples)]


class _File(_Record):
    draft: dict[str, Value] = Field(default_factory=dict)
    sections: dict[str, dict[str, Value]] = Field(default_factory=dict)
    lists: dict[str, Rows] = Field(default_factory=dict)


@dataclass(frozen=True)
class Defaults:
    """The values of a draft by name, and which of them a plan has used."""

    draft: Mapping[str, Value]
    sections: Mapping[str, Mapping[str, Value]]
    lists: Mapping[str, Rows]
    used: dict[str, Default] = field(default_factory=dict)

    def number(self, name: str) -> float:
        """Return a number that plans are drawn up with; its use is noted."""
        value = self.draft[name]
        if isinstance(value.value, str | tuple):
            raise TypeError(f"default '{name}' is no number")
        self._use(f"draft.{name}", toml_value(value.value), value)
        return float(value.value)

    def section(self, name: str, /, **stated: Any) -> Any:
        """Return a section filled with what is stated and, for the rest, with defaults; None counts as not stated."""
        given = {key: value for key, value in stated.items() if value is not None and value != ()}
        filled: dict[str, Any] = {}
        for key, default in self.sections.get(name, {}).items():
            if key not in given:
                filled[key] = default.value
                self._use(f"{name}.{key}", toml_value(default.value), default)
        return SECTIONS[name].model_validate({**filled, **given})

    def rows(self, name: str) -> tuple[Any, ...]:
        """Return the rows of a list that are filled in by default."""
        default = self.lists[name]
        self._use(name, f"{len(default.rows)} rows", default)
        return tuple(LISTS[name].model_validate(row) for row in default.rows)

    def _use(self, key: str, value: str, default: Value | Rows) -> None:
        self.used[key] = Default(key=key, value=value, basis=default.basis, source=default.source)


def load_defaults(extra: Sequence[Path] = ()) -> Defaults:
    """Return the shipped values with those that extra files replace; a replaced value needs its basis and source too.

    Raises InputProblems with everything that is wrong with the files.
    """
    shipped = resources.files("envpredict.monitoring").joinpath("data", FILE).read_text(encoding="utf-8")
    problems: list[Problem] = []
    base = _read(shipped, FILE, problems)
    draft, sections, lists = dict(base.draft), {k: dict(v) for k, v in base.sections.items()}, dict(base.lists)
    for path in extra:
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            problems.append(Problem(path.name, f"can't be read: {error}", "give a TOML file in UTF-8"))
            continue
        mine = _read(text, path.name, problems)
        for name in mine.draft:
            if name not in base.draft:
                problems.append(Problem(f"{path.name}, key 'draft.{name}'", f"unknown value '{name}'",
                                        suggestion(name, base.draft, limit=50)))
        draft |= mine.draft
        lists |= mine.lists
        for name, values in mine.sections.items():
            sections.setdefault(name, {}).update(values)
    if problems:
        raise InputProblems(problems, "defaults of the draft")
    return Defaults(draft, sections, lists)


def _read(text: str, name: str, problems: list[Problem]) -> _File:
    """Return a file's values; what is wrong is added to the problems, and what is sound is kept."""
    try:
        found = _File.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(name, f"isn't TOML: {error}", "correct the line named"))
        return _File()
    except ValidationError as error:
        problems += [Problem(f"{name}, key '{'.'.join(map(str, fault['loc']))}'", fault["msg"],
                             "write { value = ..., basis = \"practice\", source = \"...\" }")
                     for fault in error.errors()]
        return _File()
    for section, values in found.sections.items():
        if section not in SECTIONS:
            problems.append(Problem(f"{name}, key 'sections.{section}'", f"unknown section '{section}'",
                                    suggestion(section, SECTIONS, limit=40)))
            continue
        problems += _unfit(SECTIONS[section], {key: value.value for key, value in values.items()},
                           f"{name}, key 'sections.{section}'")
    for table, rows in found.lists.items():
        if table not in LISTS:
            problems.append(Problem(f"{name}, key 'lists.{table}'", f"unknown list '{table}'",
                                    suggestion(table, LISTS, limit=40)))
            continue
        for row in rows.rows:
            problems += _unfit(LISTS[table], row, f"{name}, key 'lists.{table}.rows'")
    return found


def _unfit(part: type[Part], values: Mapping[str, Any], where: str) -> list[Problem]:
    try:
        part.model_validate(dict(values))
    except ValidationError as error:
        return [Problem(f"{where}, {'.'.join(map(str, fault['loc']))}", fault["msg"], "as in a plan")
                for fault in error.errors()]
    return []
