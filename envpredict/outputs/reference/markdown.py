"""The little Markdown that the pages need."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pydantic import BaseModel

from envpredict.core.citation import VERIFY_MARK, Basis, Citation

SHORT = {"citation"}


def cell(value: object) -> str:
    """Return a value as the text of a table's cell."""
    if value is None or (isinstance(value, str | tuple | list | frozenset) and not value):
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, tuple | list | frozenset | set):
        parts = sorted(map(str, value)) if isinstance(value, frozenset | set) else [cell(part) for part in value]
        return ", ".join(parts)
    return str(value).replace("|", "\\|").replace("\n", " ")


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table, or the words `none` where it has no rows."""
    lines = ["| " + " | ".join(cell(value) for value in row) + " |" for row in rows]
    if not lines:
        return "none"
    return "\n".join(["| " + " | ".join(head) + " |", "|" + " --- |" * len(head), *lines])


def facts(rows: Iterable[tuple[str, object]]) -> str:
    """Return a list of named facts; what is empty is left out."""
    return "\n".join(f"- {name}: {cell(value)}" for name, value in rows if cell(value) != "-")


def values(part: BaseModel, leave_out: Iterable[str] = ()) -> str:
    """Return the fields of a part of an entry in one line, without its citation and what is empty."""
    left_out = {*SHORT, *leave_out}
    shown = ((name, getattr(part, name)) for name in type(part).model_fields if name not in left_out)
    return ", ".join(f"{name} {cell(value)}" for name, value in shown
                     if cell(value) != "-" and not isinstance(value, Citation))


def cited(part: BaseModel | None) -> str:
    """Return the place that a part of an entry comes from, with its verify mark."""
    found = getattr(part, "citation", None)
    return cell(found)


def marked(basis: Basis) -> str:
    """Return a basis with its verify mark."""
    return f"{basis} ({VERIFY_MARK[basis]})" if VERIFY_MARK[basis] else basis


def sections(parts: Iterable[str]) -> str:
    """Return parts with an empty line between them; empty parts are left out."""
    return "\n\n".join(part for part in parts if part)
