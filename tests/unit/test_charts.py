"""The charts: every kind is drawn, grey print keeps the likelihoods apart, and equal runs give equal bytes."""

from __future__ import annotations

import gc
import io
import weakref
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from PIL import Image
from scenario_folder import Folder

from envpredict.engine.assess import assess
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import SEVERITY, Assessment
from envpredict.outputs import once as once_module
from envpredict.outputs.chart_files import write
from envpredict.outputs.charts import charts
from envpredict.outputs.charts.levels import series
from envpredict.outputs.charts.site import extent_of, nice_length
from envpredict.outputs.charts.style import HATCHES, MARKERS, fill, tint


@pytest.fixture(scope="module")
def assessed(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    return assess(read_scenario(Folder(tmp_path_factory.mktemp("charts") / "scenario").path))


def again(assessment: Assessment, **changes: object) -> Assessment:
    return replace(assessment, findings=assessment.findings.copy(), **changes)  # type: ignore[arg-type]


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour, 0 black to 1 white (WCAG 2.1, from memory)."""
    parts = [int(colour[at:at + 2], 16) / 255.0 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_kind_is_drawn_as_svg_and_png(assessed: Assessment, tmp_path: Path) -> None:
    write(assessed, tmp_path / "charts")
    names = {path.stem for path in (tmp_path / "charts").iterdir()}
    assert names == {"site_plan", "methods_compared", "risk_maps", "levels_damage", "levels_people", "levels_noise",
                     "days_above", "chance_by_day", "methods_tradeoffs"}
    for name in names:
        ElementTree.parse(tmp_path / "charts" / f"{name}.svg")
        picture = Image.open(tmp_path / "charts" / f"{name}.png")
        assert 900 <= picture.width <= 1400
        assert np.asarray(picture.convert("L")).std() > 5.0      # something is drawn on it


def test_grey_print_keeps_likelihoods_apart() -> None:
    """By shape or by filling; areas that lie side by side in a bar differ in hatch or in lightness."""
    looks = {(MARKERS[word], luminance(fill(word)) > 0.9) for word in SEVERITY}
    assert len(looks) == len(SEVERITY)
    for one in SEVERITY:
        for other in SEVERITY:
            if one < other and HATCHES[one] == HATCHES[other]:
                assert abs(luminance(fill(one)) - luminance(fill(other))) > 0.2
    for word in SEVERITY:      # a mark on its own area's tint
        assert luminance(tint(word)) >= luminance(fill(word))


def test_the_words_of_a_chart_tell_what_it_shows(assessed: Assessment) -> None:
    for chart in charts(assessed):
        assert chart.title
        assert len(chart.caption) > 30
        assert len(chart.alt) > 20
        if chart.id == "methods_compared":
            for choice in assessed.methods:
                rows = assessed.governing()
                mine = rows[(rows["method"] == choice.id) & (rows["effect"] == "noise")]
                for word, count in mine["likelihood"].value_counts().items():
                    spoken = {"cannot_judge": "cannot be judged", "not_applicable": "not applicable"}.get(word, word)
                    assert f"{count} {spoken}" in chart.alt.split(f"noise, {choice.id}: ")[1].split(";")[0]


def test_equal_runs_give_equal_bytes_whatever_the_users_style(assessed: Assessment) -> None:
    first = charts(again(assessed))
    with matplotlib.rc_context({"font.size": 20.0, "axes.facecolor": "red", "savefig.dpi": 40}):
        second = charts(again(assessed))
    assert [(chart.id, chart.svg, chart.png) for chart in first] == [(c.id, c.svg, c.png) for c in second]
    for chart in first:
        assert b"<dc:date>" not in chart.svg
        assert not [key for key in Image.open(io.BytesIO(chart.png)).info if key in ("Software", "Creation Time")]


def test_charts_are_drawn_once_and_forgotten_with_the_run(assessed: Assessment) -> None:
    run = again(assessed)
    assert charts(run) is charts(run)
    held = weakref.ref(run.findings)
    key = id(run.findings)
    assert key in once_module._KEPT
    del run
    gc.collect()
    assert held() is None
    assert key not in once_module._KEPT


def test_without_chances_by_day_that_chart_is_left_out(assessed: Assessment) -> None:
    bare = again(assessed, detail={**assessed.detail, "daily": {}, "days": ()})
    assert "chance_by_day" not in {chart.id for chart in charts(bare)}


def test_nothing_judged_still_draws_the_site(assessed: Assessment) -> None:
    none = assessed.findings.assign(predicted_median=np.nan, p_exceed=np.nan, days_above=np.nan,
                                    likelihood="cannot_judge", governing_pile="")
    names = {chart.id for chart in charts(replace(assessed, findings=none))}
    assert {"site_plan", "risk_maps", "methods_compared"} <= names
    assert not [name for name in names if name.startswith("levels_")]


@pytest.mark.parametrize(("metres", "nice"), [(100.0, 100.0), (99.0, 50.0), (49.9, 20.0), (1.5, 1.0), (0.7, 0.5)])
def test_scale_bars_are_round(metres: float, nice: float) -> None:
    assert nice_length(metres) == pytest.approx(nice)


def test_ticks_are_round_numbers_inside_the_axis() -> None:
    assert series(np.log10(7.0), np.log10(260.0), (1.0, 2.0, 5.0)) == [10.0, 20.0, 50.0, 100.0, 200.0]
    assert series(-1.1, 1.1, (1.0,)) == pytest.approx([0.1, 1.0, 10.0])


def test_a_plan_fits_a_page_whatever_the_sites_shape(assessed: Assessment) -> None:
    for stretch in ((20.0, 1.0), (1.0, 20.0)):
        layer = assessed.scenario.piles.copy()
        layer.geometry = layer.geometry.scale(*stretch, origin=(524_000.0, 6_150_000.0)).to_list()
        extent = extent_of([layer])
        assert 0.44 <= extent.aspect <= 1.26
        assert extent.x0 <= layer.total_bounds[0]
        assert extent.y1 >= layer.total_bounds[3]
