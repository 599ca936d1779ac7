"""The readable plan and audit: all that is stated is there, cautions first; folders are written whole or not at all."""

from __future__ import annotations

import io
import re
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import docx
import pytest
from audit_plans import drop, put, sound

from envpredict.core.cautions import CAUTIONS, INVENTED, STOP_WORK
from envpredict.core.errors import InputProblems, OutputFailure
from envpredict.monitoring.audit import audit
from envpredict.monitoring.audit_rules import load_rules
from envpredict.monitoring.blocks import Document, Table
from envpredict.monitoring.plan_file import read_plan
from envpredict.monitoring.plan_schema import LISTS, Plan
from envpredict.monitoring.plan_text import CHAPTERS, audit_document, days_said, plan_document
from envpredict.monitoring.plan_toml import NEVER_ALONE
from envpredict.outputs import plan_document as outputs
from envpredict.outputs.plan_document import column_widths_mm, to_docx, to_html, write_audit, write_plan
from envpredict.outputs.plan_sketch import station_drawing


class Words(HTMLParser):
    """The text of a page, and its tags as they open and close."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text: list[str] = []
        self.open: list[str] = []
        self.outside: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "wbr", "br", "link", "path", "use", "rect", "circle"):
            self.open.append(tag)
        self.outside += [value or "" for name, value in attrs if name in ("src", "href") and value and "//" in value]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.outside += [value or "" for name, value in attrs if name in ("src", "href") and value and "//" in value]

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def words_of_docx(content: bytes) -> str:
    paper = docx.Document(io.BytesIO(content))
    cells = [cell.text for table in paper.tables for row in table.rows for cell in row.cells]
    return "\n".join([paragraph.text for paragraph in paper.paragraphs] + cells)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan(sound(), tmp_path_factory.mktemp("documents") / "plan")


def test_folder_holds_the_plan_and_its_readable_forms(folder: Path) -> None:
    assert sorted(path.name for path in folder.iterdir()) == ["plan.docx", "plan.html", "plan.toml", "stations.geojson"]
    before, after = sound().model_dump(), read_plan(folder).model_dump()
    assert {key for key in before if before[key] != after[key]} == {"layers"}


@pytest.mark.parametrize("form", ["html", "docx"])
def test_readable_plan_says_what_it_must(form: str, folder: Path) -> None:
    if form == "html":
        text = "".join(Words((folder / "plan.html").read_text(encoding="utf-8")).text)
    else:
        text = words_of_docx((folder / "plan.docx").read_bytes())
    for said in (INVENTED, NEVER_ALONE, STOP_WORK, *CAUTIONS, "Sound plan of an invented site", "N1", "V1f", "foreman",
                 "two hours of rain", "piling near the station stops", "consent of an invented authority"):
        assert said in text, said


def test_cautions_come_before_anything_else() -> None:
    first = [type(block).__name__ for block in plan_document(sound()).blocks[:2]]
    assert first == ["Notice", "Notice"]


def test_every_table_of_the_plan_has_its_chapter() -> None:
    placed = {name for _, names in CHAPTERS for name in names}
    assert placed | {"layers", "stop_work", "open_points"} == {*LISTS, *(set(Plan.model_fields) - set(LISTS) - {
        "title", "revision", "issued_on", "prepared_by", "invented", "crs"})}


def test_plan_without_stop_work_says_so_loudly() -> None:
    page = to_html(plan_document(sound(drop("stop_work"))))
    assert "It must not be used without that" in page
    assert '<p class="notice">This plan doesn' in page


def test_values_that_were_not_read_carry_their_mark() -> None:
    text = to_html(plan_document(sound(put("criteria", "basis", "memory"), put("levels", "basis", "estimate"))))
    assert "memory (verify against the document)" in text
    assert "estimate (verify by trial: estimate)" in text


def test_page_stands_alone_and_is_well_formed(folder: Path) -> None:
    page = Words((folder / "plan.html").read_text(encoding="utf-8"))
    assert page.open == []
    assert page.outside == []


def test_drawing_shows_every_kind_with_a_scale_and_words() -> None:
    drawing = station_drawing(sound())
    assert "noise station (1)" in drawing.svg
    assert "vibration station (2)" in drawing.svg
    assert drawing.png.startswith(b"\x89PNG")
    assert "3 stations and 2 receptors" in drawing.alt
    with pytest.raises(ValueError, match="no station has a position"):
        station_drawing(Plan(title="bare"))


def test_plan_without_positions_is_printed_without_a_drawing(tmp_path: Path) -> None:
    bare = sound(*(drop("stations", key, row) for row in range(3) for key in ("x", "y")))
    folder = write_plan(bare, tmp_path / "plan")
    assert sorted(path.name for path in folder.iterdir()) == ["plan.docx", "plan.html", "plan.toml"]
    assert "<figure" not in (folder / "plan.html").read_text(encoding="utf-8")


def test_same_plan_gives_the_same_contents(folder: Path, tmp_path: Path) -> None:
    again = write_plan(sound(), tmp_path / "plan")
    for name in ("plan.html", "plan.toml", "stations.geojson"):
        assert (again / name).read_bytes() == (folder / name).read_bytes(), name
    first, second = (zipfile.ZipFile(path / "plan.docx") for path in (folder, again))
    assert first.namelist() == second.namelist()
    assert all(first.read(name) == second.read(name) for name in first.namelist())


def test_edited_plan_is_never_written_over(folder: Path) -> None:
    before = (folder / "plan.toml").read_bytes()
    with pytest.raises(InputProblems, match="exists already"):
        write_plan(sound(), folder)
    assert (folder / "plan.toml").read_bytes() == before


def test_failed_write_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs, "to_docx", full)
    with pytest.raises(OutputFailure):
        write_plan(sound(), tmp_path / "plan")
    assert list(tmp_path.iterdir()) == []


def test_audit_is_written_as_table_and_documents(tmp_path: Path) -> None:
    report = audit(sound(put("data", "capture_target_percent", 50.0, None), drop("stop_work")))
    folder = write_audit(report, tmp_path / "audit")
    assert sorted(path.name for path in folder.iterdir()) == ["audit.csv", "audit.docx", "audit.html"]
    assert (folder / "audit.csv").read_text(encoding="utf-8") == report.csv()
    page = "".join(Words((folder / "audit.html").read_text(encoding="utf-8")).text)
    for text in (page, words_of_docx((folder / "audit.docx").read_bytes())):
        assert "The plan must not be used as it stands" in text
        assert "M30 Completeness of the records" in text
        assert "at least 90 % asked" in text
        assert "no safety system" in text
        for rule in load_rules().values():
            assert rule.source in text, rule.id


def test_long_tables_say_that_they_are_cut() -> None:
    many = sound(lambda data: data["predictions"].extend(
        {"receptor": "H1", "criterion": "noise", "method": f"m{n}", "median": 50.0} for n in range(200)),
        lambda data: data["methods"].extend({"id": f"m{n}"} for n in range(200)))
    page = to_html(plan_document(many))
    assert "The first 150 of 204; all stand in the plan&#x27;s file." in page


def test_text_is_escaped() -> None:
    page = to_html(plan_document(sound(put("data", "when_down", "<script>alert(1)</script> & more", None))))
    assert "<script>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; more" in page


def test_table_with_a_ragged_row_is_refused() -> None:
    with pytest.raises(ValueError, match="1 cells, not 2"):
        Table(("a", "b"), (("x",),))


@pytest.mark.parametrize(("days", "text"), [
    (("mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"), "every day"),
    (("mon", "tue", "wed", "thu", "fri"), "mon to fri"),
    (("sat",), "sat"),
    (("mon", "tue", "sat", "sun", "holiday"), "mon, tue, sat, sun, holiday"),
])
def test_days_are_told_in_short(days: tuple[str, ...], text: str) -> None:
    assert days_said(days) == text


def test_word_file_repeats_the_head_of_its_tables() -> None:
    content = to_docx(Document("t", "", (Table(("a",), (("1",), ("2",))),)))
    body = zipfile.ZipFile(io.BytesIO(content)).read("word/document.xml").decode()
    assert body.count("<w:tblHeader/>") == 1
    assert re.search(r"<w:trPr><w:tblHeader/></w:trPr>", body)


def test_columns_fill_the_page_and_leave_room_for_the_longest_word() -> None:
    widths = column_widths_mm(Table(("id", "text"), (("a", "a long text of several words, " * 5), ("b", ""))))
    assert sum(widths) == pytest.approx(261.0)
    assert widths[1] > 3 * widths[0]


def test_coordinates_are_printed_in_full() -> None:
    assert "6150009" in to_html(plan_document(sound()))


def test_audit_of_a_sound_plan_lists_its_evidence() -> None:
    titles = [block.text for block in audit_document(audit(sound())).blocks if hasattr(block, "level")]
    assert "What passes" in titles
    assert "What fails" not in titles
