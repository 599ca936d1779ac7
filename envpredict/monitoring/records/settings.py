"""`records.toml`: how an export's columns, units, stamps and words map to our own; our own files need none."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import available_timezones

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator, model_validator

from envpredict.core.errors import Problem
from envpredict.core.words import suggestion
from envpredict.monitoring.records.columns import STREAMED, TABLES, UNITS
from envpredict.monitoring.records.flags import STATUS_WORDS
from envpredict.monitoring.records.stamps import offset_ms

SETTINGS_FILE = "records.toml"


def _tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


Texts = Annotated[tuple[str, ...], BeforeValidator(_tuple)]
Dates = Annotated[tuple[date, ...], BeforeValidator(_tuple)]


class _Record(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


class Export(_Record):
    """One kind of export: which files, and what its headings, units, stamps and words mean.

    `columns` maps our names to the file's headings; left out, the headings are ours. `offset` or `time_zone` tells in
    which time stamps without an offset are written. `station` names the station where no column does; `stations` maps
    the logger's own names to the plan's ids.
    """

    file: str
    columns: dict[str, str] = Field(default_factory=dict)
    ignore: Texts = ()
    units: dict[str, str] = Field(default_factory=dict)
    station: str | None = None
    stations: dict[str, str] = Field(default_factory=dict)
    status: dict[str, str] = Field(default_factory=dict)
    missing: Texts = ("",)
    delimiter: str = Field(default=",", min_length=1, max_length=1)
    decimal: str = Field(default=".", pattern=r"^[.,]$")
    skip_lines: int = Field(default=0, ge=0)
    encoding: str = "utf-8"
    time_format: str | None = None
    offset: str | None = None
    time_zone: str | None = None
    duration_s: float | None = Field(default=None, gt=0)

    @field_validator("offset")
    @classmethod
    def _offset(cls, text: str | None) -> str | None:
        if text is not None and offset_ms(text) is None:
            raise ValueError(f"'{text}' is no offset from UTC: write Z or +01:00")
        return text

    @field_validator("time_zone")
    @classmethod
    def _zone(cls, text: str | None) -> str | None:
        if text is not None and text not in available_timezones():
            raise ValueError(f"unknown time zone '{text}': write it as Etc/UTC or Europe/London")
        return text

    @field_validator("encoding")
    @classmethod
    def _encoding(cls, text: str) -> str:
        try:
            "".encode(text)
        except LookupError:
            raise ValueError(f"unknown encoding '{text}': write utf-8 or cp1252") from None
        return text

    @model_validator(mode="after")
    def _one_clock(self) -> Export:
        if self.offset is not None and self.time_zone is not None:
            raise ValueError("offset and time_zone exclude each other: a clock follows summer time or it doesn't")
        if self.decimal == self.delimiter:
            raise ValueError("decimal and delimiter must differ")
        return self


class Settings(_Record):
    """What a records folder says of itself."""

    title: str = "records"
    invented: bool = False
    holidays: Dates = ()
    noise: Annotated[tuple[Export, ...], BeforeValidator(_tuple)] = ()
    vibration: Annotated[tuple[Export, ...], BeforeValidator(_tuple)] = ()
    movement: Annotated[tuple[Export, ...], BeforeValidator(_tuple)] = ()

    def exports(self, table: str) -> tuple[Export, ...]:
        """Return the exports named for a table; empty where our own file names hold."""
        found: tuple[Export, ...] = getattr(self, table, ()) if table in STREAMED else ()
        return found


def read_settings(folder: Path, problems: list[Problem]) -> Settings:
    """Return what `records.toml` says, or nothing where there is none; what is wrong is added to the problems."""
    path = folder / SETTINGS_FILE
    if not path.exists():
        return Settings()
    try:
        settings = Settings.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problems.append(Problem(SETTINGS_FILE, f"can't be read: {error}", "give a TOML file in UTF-8"))
        return Settings()
    except ValidationError as error:
        problems += [Problem(f"{SETTINGS_FILE}, key '{_key(fault['loc'])}'", _said(fault), _hint(fault))
                     for fault in error.errors()]
        return Settings()
    for table in STREAMED:
        for number, export in enumerate(settings.exports(table)):
            problems += _unfit(table, export, f"{table}[{number + 1}]")
    return settings


def _key(loc: tuple[str | int, ...]) -> str:
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).lstrip(".")


def _said(fault: Mapping[str, Any]) -> str:
    return str(fault["msg"]).removeprefix("Value error, ")


def _hint(fault: Mapping[str, Any]) -> str:
    known = Export.model_fields if len(fault["loc"]) > 1 else Settings.model_fields
    return suggestion(str(fault["loc"][-1]), known, limit=20) if fault["type"] == "extra_forbidden" else ""


def _unfit(table: str, export: Export, place: str) -> list[Problem]:
    """Return the words of an export that its table doesn't know."""
    known, problems = TABLES[table], []
    for key in ("columns", "units"):
        for name in getattr(export, key):
            if name not in known:
                problems.append(Problem(f"{SETTINGS_FILE}, key '{place}.{key}.{name}'", f"unknown column '{name}'",
                                        suggestion(name, known.names, limit=40)))
    for name, unit in export.units.items():
        ours = known[name].unit if name in known else ""
        if name in known and unit not in UNITS.get(ours, {ours: 1.0}):
            problems.append(Problem(f"{SETTINGS_FILE}, key '{place}.units.{name}'",
                                    f"'{unit}' can't be turned into {ours or 'a plain number'}",
                                    suggestion(unit, UNITS.get(ours, {ours: 1.0}))))
    for word, ours in export.status.items():
        if ours not in STATUS_WORDS:
            problems.append(Problem(f"{SETTINGS_FILE}, key '{place}.status.{word}'", f"unknown status '{ours}'",
                                    suggestion(ours, STATUS_WORDS)))
    return problems
