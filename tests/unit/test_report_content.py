"""What the report says: what is missing, what is a draft, what isn't covered; a figure is computed again from it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from reading_outputs import PageReader, word_text
from scenario_folder import CRS, EAST, NORTH, Folder
from shapely.geometry import box

from envpredict.core import cautions
from envpredict.core.citation import VERIFY_MARK
from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import Assessment
from envpredict.models.spec import load_models
from envpredict.outputs.report import build
from envpredict.outputs.report.blocks import Column, Table
from envpredict.outputs.report.checklist import items
from envpredict.outputs.report.context import context
from envpredict.outputs.report.docx_file import document_bytes
from envpredict.outputs.report.html import page
from envpredict.outputs.report.wording import chance, number
from envpredict.outputs.texts import clean

GIVEN = {"applicant": "A", "site_manager": "B", "contact_24h": "C", "authority": "D", "legal_basis": "E",
         "competent_person": "F", "qualification": "G", "need": "H", "hours_exceptions": "none", "other_sites": "none",
         "community": "I", "condition_surveys": "J", "revision": "0"}
PLACES = {"applicant": [1], "site_manager": [1, 16], "contact_24h": [1], "legal_basis": [2], "authority": [2],
          "hours_exceptions": [5], "need": [6], "other_sites": [13], "community": [17], "condition_surveys": [18],
          "competent_person": [19], "qualification": [19], "revision": [19]}
"""The items of the checklist that a key of the submission belongs to."""


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(Folder(tmp_path_factory.mktemp("report") / "scenario").path))


def again(assessment: Assessment, **changes: Any) -> Assessment:
    """Return a run with parts of its scenario or of itself changed, and nothing kept from before."""
    own = {name: changes.pop(name) for name in ("drafts", "cautions", "detail") if name in changes}
    return replace(assessment, scenario=replace(assessment.scenario, **changes), findings=assessment.findings.copy(),
                   **own)


def words(assessment: Assessment) -> str:
    return " ".join("".join(PageReader(page(build(assessment))).words).split())


def test_chapters_come_in_the_order_an_authority_reads(assessed: Assessment) -> None:
    titles = [chapter.title.split("  ", 1)[1] for chapter in build(assessed).chapters]
    assert titles == [
        "Summary", "Purpose and job", "Site and receptors", "Baseline", "Ground", "Methods and feasibility",
        "How the levels are predicted", "Limits adopted", "Results by receptor and method", "Maps and charts",
        "Reductions", "Monitoring proposal", "Programme and hours", "Cautions", "Competent person and sign-off",
        "Submission checklist: what is missing", "Sources", "What the figures are computed from",
        "Traces of the worst receptors", "All receptors", "Numbers behind the likelihoods"]


@pytest.mark.parametrize("lacking", sorted(GIVEN))
def test_what_the_scenario_lacks_is_listed_item_by_item(assessed: Assessment, lacking: str) -> None:
    full = context(again(assessed, submission=GIVEN))
    without = context(again(assessed, submission={key: value for key, value in GIVEN.items() if key != lacking}))
    before, after = items(full), items(without)
    changed = [at for at, (one, other) in enumerate(zip(before, after, strict=True), 1) if one != other]
    assert changed == PLACES[lacking]
    for at in changed:
        assert len(after[at - 1].missing) == len(before[at - 1].missing) + 1
        assert after[at - 1].state != "given"


def test_nothing_is_called_complete_that_isnt_there(assessed: Assessment) -> None:
    bare = items(context(again(assessed, submission={}, baseline=None, boundary=None, strata=None)))
    state = {number: item.state for number, item in enumerate(bare, 1)}
    assert {number for number, word in state.items() if word == "missing"} >= {1, 9, 13, 17, 18, 20}
    assert state[3] == "partly"
    assert "the site boundary" in bare[2].missing
    text = words(again(assessed, submission={}, baseline=None, strata=None))
    for said in ("No baseline was given", "No boreholes were given", "No competent person is named",
                 "No rejected option is stated"):
        assert said in text


def test_a_draft_says_so_on_cover_and_every_page(assessed: Assessment, tmp_path: Path) -> None:
    assert assessed.drafts
    shown = tmp_path / "draft.docx"
    shown.write_bytes(document_bytes(build(assessed)))
    assert words(assessed).count(cautions.DRAFT) >= 3
    assert word_text(shown).count(cautions.DRAFT) >= 3
    final = again(assessed, drafts=(), invented=False,
                  cautions=tuple(text for text in assessed.cautions if text not in (cautions.DRAFT, cautions.INVENTED)))
    shown.write_bytes(document_bytes(build(final)))
    for text in (words(final), word_text(shown)):
        assert "NOT FOR SUBMISSION" not in text
        assert cautions.INVENTED not in text
        for caution in cautions.CAUTIONS:       # on the cover, in its chapter, and in the footer
            assert text.count(caution) >= 3


def test_piles_in_water_call_for_a_study_of_underwater_noise(assessed: Assessment) -> None:
    said = "Underwater noise not assessed: separate study needed"
    assert said not in words(assessed)

    def water(offset: float) -> gpd.GeoDataFrame:
        bounds = assessed.scenario.piles.total_bounds
        shape = box(bounds[0] - 2.0, bounds[1] - 2.0 + offset, bounds[2] + 2.0, bounds[3] + 2.0 + offset)
        return gpd.GeoDataFrame({"id": ["w"], "kind": ["over_water"], "value_m": [float("nan")], "from": [None],
                                 "to": [None]}, geometry=[shape], crs=CRS)

    assert words(again(assessed, constraints=water(0.0))).count(said) >= 2
    assert said not in words(again(assessed, constraints=water(500.0)))


def test_a_chance_of_exceedance_is_never_called_one_of_damage(assessed: Assessment) -> None:
    text = words(assessed).lower()
    assert text.count("not a probability of damage") >= 3
    rest = text.replace("not a probability of damage", "")
    for phrase in ("probability of damage", "chance of damage", "risk of damage", "likelihood of damage",
                   "damage is likely", "will be damaged", "safe to"):
        assert phrase not in rest


def test_every_citation_that_must_be_verified_says_so(assessed: Assessment) -> None:
    text = words(assessed)
    cited = [law.citation for choice in assessed.methods for law in choice.laws if law.role == "preferred"]
    cited += [source for choice in assessed.methods for use, plant in choice.plant
              for source in (use.citation, plant.citation, plant.spectrum_citation, plant.u_citation)]
    cited += [rate.citation for choice in assessed.methods for rate in choice.method.rates.values()]
    weak = [citation for citation in cited if citation.basis != "read"]
    assert len(weak) > 10
    for citation in weak:
        assert f"[{VERIFY_MARK[citation.basis]}]" in str(citation)
        if " ".join(str(citation).split()) not in text:
            assert citation in [rate.citation for choice in assessed.methods for rate in choice.method.rates.values()]


def test_plant_and_rates_carry_the_letter_of_their_basis(assessed: Assessment) -> None:
    letters = {"read": "", "memory": "m", "practice": "p", "estimate": "e"}
    read = PageReader(page(build(assessed)))
    table = next(table for table in read.tables if table.caption == "Plant")
    expected = [plant for choice in assessed.methods for _, plant in choice.plant]
    assert len(table.rows) == len(expected)
    for cells, plant in zip(table.rows, expected, strict=True):
        cell = dict(zip(table.head, cells, strict=True))["LWA, dB"]
        found = re.fullmatch(r"([\d.]+)(?:\u00a0\[([mpe])\])?", cell)
        assert found is not None
        assert float(found[1]) == pytest.approx(plant.lwa_db, abs=0.5)
        assert (found[2] or "") == letters[plant.citation.basis]


def test_a_traced_median_can_be_computed_again(assessed: Assessment) -> None:
    """From the trace alone: law, distance, energy and the ground's word give the printed median."""
    models = load_models()
    text = "".join(PageReader(page(build(assessed))).words)
    done = 0
    for block in re.split(r"\n\s*Governing pile ", text)[1:]:
        flat = " ".join(block.split())
        law = re.search(r"Law: .*?\((\w+)\), (\w+) phase; predicts \w+ on the ground as \w+, on (\w+) distance"
                        r"(?:; (.*?))? why this law", flat)
        printed = re.search(r"median on the ground: ([\d.e+-]+) mm/s", flat)
        if law is None or printed is None or "twice the running level" in flat:
            continue
        spec = models[law[1]]
        inputs: dict[str, Any] = {}
        for pair in filter(None, (law[4] or "").split(", ")):
            name, value = pair.split(" = ")
            inputs[name] = value if name in spec.options else float(value)
        where = r"slope distance ([\d.]+) m" if law[3] == "slope" else r"nearest part of the receptor: ([\d.]+) m"
        distance = re.search(where, flat)
        energy = re.search(r"energy: ([\d.]+) kJ", flat)
        ground = re.search(r"ground: '([\w ]+)'", flat)
        assert distance is not None
        if "energy_j" in spec.inputs:
            assert energy is not None
            inputs["energy_j"] = 1000.0 * float(energy[1])
        schemes = [name for name in spec.options if name not in inputs and name.endswith(("_ground", "_class"))]
        if schemes and ground is not None:
            inputs[schemes[0]] = ground[1]
        value = float(spec.median(spec(distance_m=float(distance[1]), **inputs)))
        assert value == pytest.approx(float(printed[1]), rel=0.01)
        done += 1
    assert done >= 2


def test_the_toe_is_called_reached_only_where_the_checks_say_so(assessed: Assessment) -> None:
    """The worst verdict over all piles of a section, found again by walking the checks."""
    order = ("feasible", "feasible_with_aid", "needs_trial", "cannot_judge", "not_feasible")
    worst: dict[tuple[str, str], int] = {}
    for row in assessed.detail["feasibility"].to_dict("records"):
        key = (row["method"], row["section"])
        worst[key] = max(worst.get(key, 0), order.index(row["verdict"]))
    read = PageReader(page(build(assessed)))
    table = next(table for table in read.tables if table.caption == "Feasibility by section")
    numbers = {f"M{number}": choice.id for number, choice in enumerate(assessed.methods, 1)}
    shown = {(numbers[cells[0]], cells[1]): cells[2] for cells in table.rows}
    assert shown == {key: order[rank].replace("_", " ") for key, rank in worst.items()}
    summary = next(table for table in read.tables if table.chapter == "summary")
    for cells, choice in zip([row for row in summary.rows if row[0]], assessed.methods, strict=True):
        ranks = [rank for (method, _), rank in worst.items() if method == choice.id]
        assert cells[1] == order[max(ranks)].replace("_", " ")
    bare = words(again(assessed, detail={name: value for name, value in assessed.detail.items()
                                         if name not in ("feasibility", "movement", "noise_needs")}))
    assert "nothing here shows that a method reaches the toe" in bare


def test_adopted_reductions_are_told_with_effect_and_source(assessed: Assessment, tmp_path: Path) -> None:
    assert "every number in this report is without any" in words(assessed)
    folder = Folder(tmp_path / "scenario")
    folder.add('[[reductions]]\nid = "hammer_shroud_sealed"\n')
    with_shroud = assess(read_scenario(folder.path))
    told = [row for choice in with_shroud.methods for row in choice.told]
    assert told
    text = words(with_shroud)
    for _, _, title, effect, _, source, _ in told:
        assert " ".join(effect.split())[:60] in text
        assert " ".join(source.split()) in text
        assert title in text
    assert "Every number in this report holds these measures in" in text


def test_needed_losses_are_never_understated(assessed: Assessment) -> None:
    read = PageReader(page(build(assessed)))
    table = next(table for table in read.tables if table.caption.startswith("Insertion loss"))
    needs = assessed.detail["noise_needs"]
    for cells, choice in zip(table.rows, assessed.methods, strict=True):
        mine = needs[(needs["method"] == choice.id) & (needs["need_db"] > 0)]
        assert int(cells[1]) == len(mine)
        if len(mine):
            shown = float(re.match(r"\d+", cells[2])[0])  # type: ignore[index]
            assert 0.0 <= shown - mine["need_db"].max() < 1.0


def test_tables_fit_their_page(assessed: Assessment) -> None:
    import io

    from docx import Document

    document = Document(io.BytesIO(document_bytes(build(assessed))))
    widths = [(section.page_width - section.left_margin - section.right_margin) / 36000.0
              for section in document.sections]
    assert {round(width) for width in widths} == {170, 257}
    for table in document.tables:
        width = sum(int(column.get(f"{{{table._tbl.nsmap['w']}}}w")) for column in table._tbl.tblGrid) / 1440.0 * 25.4
        assert width <= 257.5
        rows = table._tbl.tr_lst
        assert all(row.xpath("w:trPr/w:cantSplit") for row in rows)
        if len(rows) > 1 and len(table.columns) > 2:     # all but names and values repeat their head on every page
            assert rows[0].xpath("w:trPr/w:tblHeader")
            assert not rows[1].xpath("w:trPr/w:tblHeader")


def test_many_methods_go_into_several_tables_and_pictures(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "scenario")
    folder.add("\n".join(f'[[methods]]\nid = "press_{number}"\nmethod = "press_in"\n' for number in range(5)))
    assessment = assess(read_scenario(folder.path))
    assert len(assessment.methods) == 8
    report = build(assessment)
    wide = [block for chapter in report.chapters for block in chapter.blocks
            if isinstance(block, Table) and block.columns[0].head == "Receptor" and len(block.columns) > 9
            and chapter.id not in {"details", "site"}]
    assert not wide
    for name in ("all_receptors", "results"):
        chapter = next(chapter for chapter in report.chapters if chapter.id == name)
        shown = {column.head for block in chapter.blocks if isinstance(block, Table) for column in block.columns}
        assert {choice.title for choice in assessment.methods} <= shown


def test_homes_names_and_habitats_places_stay_out(tmp_path: Path) -> None:
    folder = Folder(tmp_path / "scenario")

    def hide(features: list[dict[str, Any]]) -> None:
        features[0]["properties"].update(name="The Secret Family", use="dwelling")
        features[1]["properties"].update(name="Heronry of the north bank", use="habitat", structure="none", floors=0)

    folder.features("receptors.geojson", hide)
    assessment = assess(read_scenario(folder.path))
    text = words(assessment)
    assert "Secret Family" not in text
    assert "Heronry" not in text
    point = assessment.receptors.geometry.representative_point().iloc[1]
    assert f"{point.x:.0f} {point.y:.0f}" not in text
    assert EAST < point.x < EAST + 1000 and NORTH - 1000 < point.y < NORTH + 1000  # noqa: PT018


def test_same_run_same_bytes(assessed: Assessment) -> None:
    first, second = build(again(assessed)), build(again(assessed))
    assert first is not second
    assert page(first) == page(second)
    assert document_bytes(first) == document_bytes(second)


@pytest.mark.parametrize(("value", "text"), [(0.0, "0"), (14.236, "14.2"), (0.03456, "0.0346"), (1234.4, "1230"),
                                             (9.996, "10.0"), (0.99951, "1.00"), (float("nan"), "–"),
                                             (2.5e-6, "2.50e-06")])
def test_numbers_keep_three_digits(value: float, text: str) -> None:
    assert number(value) == text


@pytest.mark.parametrize(("value", "text"), [(0.0, "<1 %"), (0.0049, "<1 %"), (0.005, "<1 %"), (0.0051, "1 %"),
                                             (0.5, "50 %"), (0.994, "99 %"), (0.9951, ">99 %"), (1.0, ">99 %"),
                                             (float("nan"), "–")])
def test_chances_never_reach_their_ends(value: float, text: str) -> None:
    assert chance(value).replace("\u00a0", " ") == text


def test_clean_text_is_one_line_that_xml_takes() -> None:
    assert clean("a\x07b\n c\u202ed\ud800e\ufffff") == "a b c d e f"
    assert len(clean("x" * 500)) == 160
    assert clean("x" * 500, None) == "x" * 500


def test_a_row_that_doesnt_fit_its_table_is_refused() -> None:
    with pytest.raises(ValueError, match="a row has 1 cells, not 2"):
        Table("t", (Column("a", 1.0), Column("b", 1.0)), (("x",),))
