"""The audit's rules as data: what is checked, when it passes, how much it matters, where it comes from."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator

from envpredict.core.citation import VERIFY_MARK, Basis, Citation
from envpredict.core.errors import InputProblems, Problem
from envpredict.core.registry import Registry
from envpredict.core.words import suggestion

Severity = Literal["high", "medium", "low"]
SEVERITIES: tuple[Severity, ...] = ("high", "medium", "low")
SettingValue = float | tuple[str, ...]


def _tuples(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


class _Record(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


class RuleSource(_Record):
    """Where a rule comes from."""

    document: str
    place: str
    basis: Basis
    year: int | None = None
    via: str = ""

    @property
    def citation(self) -> Citation:
        """Return the source as a citation."""
        return Citation(self.document, self.year, self.place, self.basis, self.via)


class Setting(_Record):
    """A number, or a list of words, that a rule compares with; a user may set another."""

    value: Annotated[SettingValue, BeforeValidator(_tuples)]
    meaning: str
    basis: Basis
    unit: str = ""
    source: str = ""

    def __str__(self) -> str:
        """Return value, unit and verify mark."""
        said = ", ".join(self.value) if isinstance(self.value, tuple) else f"{self.value:g} {self.unit}".strip()
        return said + (f" [{VERIFY_MARK[self.basis]}]" if VERIFY_MARK[self.basis] else "")


class Rule(_Record):
    """One rule of the audit.

    `essential`: a plan that doesn't state it can't pass; `records`: what only measured records can show of it.
    """

    id: Annotated[str, Field(pattern=r"^M\d\d$")]
    checked: str
    passes_when: str
    severity: Severity
    sources: Annotated[tuple[RuleSource, ...], BeforeValidator(_tuples), Field(min_length=1)]
    essential: bool = False
    records: str = ""
    settings: dict[str, Setting] = Field(default_factory=dict)

    @field_validator("checked", "passes_when")
    @classmethod
    def _said(cls, text: str) -> str:
        if not text.strip():
            raise ValueError("must say something")
        return text

    @property
    def source(self) -> str:
        """Return the sources in one line, with their verify marks."""
        return "; ".join(str(source.citation) for source in self.sources)


def load_rules(extra: Sequence[Path] = ()) -> Registry[Rule]:
    """Return the rules by id, with the settings that extra files replace.

    A file holds one table per rule, `[M20]`, with the settings to replace (their basis becomes `practice`: the user's
    own choice). Raises InputProblems with everything that is wrong with the files.
    """
    rules: Registry[Rule] = Registry("audit rule")
    changed = dict(_shipped())
    problems: list[Problem] = []
    for path in extra:
        try:
            tables = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            problems.append(Problem(path.name, f"can't be read: {error}", "give a TOML file with one table per rule"))
            continue
        for name, values in tables.items():
            problems += _replaced(changed, name, values, path.name)
    if problems:
        raise InputProblems(problems, "audit settings")
    for name, rule in changed.items():
        rules.add(name, rule)
    return rules


def _replaced(rules: dict[str, Rule], name: str, values: Any, file: str) -> list[Problem]:
    """Put a user's settings into a rule; return what is wrong with them."""
    if name not in rules or not isinstance(values, Mapping):
        return [Problem(f"{file}, key '{name}'", f"unknown rule '{name}'", suggestion(name, rules, limit=50))]
    rule, problems = rules[name], []
    for key, value in values.items():
        old = rule.settings.get(key)
        wanted = tuple if old is not None and isinstance(old.value, tuple) else float
        given = _tuples(value) if wanted is tuple else float(value) if type(value) in (int, float) else value
        where = f"{file}, key '{name}.{key}'"
        if old is None:
            problems.append(Problem(where, f"unknown setting '{key}'", suggestion(key, rule.settings)))
        elif not isinstance(given, wanted) or (isinstance(given, tuple) and not all(isinstance(w, str) for w in given)):
            kind = "a list of words" if wanted is tuple else "a number"
            problems.append(Problem(where, f"must be {kind}, not {value!r}", old.meaning))
        else:
            own = old.model_copy(update={"value": given, "basis": "practice", "source": f"set in {file}"})
            rule = rule.model_copy(update={"settings": {**rule.settings, key: own}})
    rules[name] = rule
    return problems


@lru_cache(maxsize=1)
def _shipped() -> Registry[Rule]:
    rules: Registry[Rule] = Registry("audit rule")
    folder = resources.files("envpredict.monitoring").joinpath("rules")
    problems: list[Problem] = []
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            for number, table in enumerate(tomllib.loads(entry.read_text(encoding="utf-8")).get("rules", []), 1):
                try:
                    rule = Rule.model_validate(table)
                except ValidationError as error:
                    problems += [Problem(f"{entry.name}, rules[{number}]", f"{fault['loc']}: {fault['msg']}")
                                 for fault in error.errors()]
                else:
                    rules.add(rule.id, rule)
    if problems:
        raise InputProblems(problems, "shipped audit rules")
    return rules
