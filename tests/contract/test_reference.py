"""The reference pages say what the registries hold, and say it of every entry."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from envpredict.engine.catalogue import load_catalogue
from envpredict.outputs import reference
from envpredict.outputs.reference.markdown import cell, facts, table

MAKE = "run: python -m envpredict.outputs.reference"


def test_the_pages_are_current() -> None:
    assert reference.stale() == {}, MAKE


@pytest.mark.parametrize("page", ["models", "methods", "plant", "pile_types", "reductions"])
def test_every_entry_has_its_section(page: str) -> None:
    text = (reference.FOLDER / f"{page}.md").read_text(encoding="utf-8")
    entries = list(getattr(load_catalogue(), page))
    assert entries
    missing = [entry for entry in entries if f"\n## {entry}\n" not in text]
    assert not missing, MAKE


def test_what_was_not_read_is_marked_on_the_pages() -> None:
    text = (reference.FOLDER / "models.md").read_text(encoding="utf-8")
    for spec in load_catalogue().models.values():
        assert cell(spec.source) in text
        assert ("[verify" in str(spec.source)) == (spec.source.basis != "read")
        listed, = re.findall(rf"^\| \[{spec.id}\]\(.*$", text, flags=re.MULTILINE)
        assert ("(verify" in listed) == (spec.basis != "read")


def test_writing_mends_a_changed_a_missing_and_a_foreign_page(tmp_path: Path) -> None:
    assert set(reference.write(tmp_path)) == set(reference.pages())
    (tmp_path / "models.md").write_text("changed", encoding="utf-8")
    (tmp_path / "methods.md").unlink()
    (tmp_path / "old.md").write_text("of a page that is gone", encoding="utf-8")
    assert reference.stale(tmp_path) == {
        "methods.md": "is missing", "models.md": "is out of date", "old.md": "belongs to no page",
    }
    assert reference.write(tmp_path) == ["methods.md", "models.md", "old.md"]
    assert reference.stale(tmp_path) == {}


def test_a_table_keeps_its_columns_whatever_stands_in_a_cell() -> None:
    made = table(["a", "b"], [("x | y", "two\nlines"), (None, 0.1 + 0.2)])
    assert made.splitlines() == ["| a | b |", "| --- | --- |", r"| x \| y | two lines |", "| - | 0.3 |"]


def test_facts_leave_out_what_is_empty() -> None:
    assert facts([("kept", 0.0), ("empty", ""), ("none", None), ("no", False)]) == "- kept: 0\n- no: no"
