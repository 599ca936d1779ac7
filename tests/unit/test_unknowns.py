"""What the verdicts hang on: draws, the highest slot by one draw, the study and its texts, chart, sheet, bad input."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from demo_assessment import SCENARIO
from scipy import stats
from unknowns_site import plain, site

from envpredict.cli import main
from envpredict.cli._unknowns import report
from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.engine.assess import assess
from envpredict.engine.chances.exceed import at_least_once
from envpredict.engine.results import Assessment
from envpredict.engine.sensitivity.draws import Draws, normal
from envpredict.engine.sensitivity.highest import highest
from envpredict.engine.sensitivity.indices import Batches, Moments
from envpredict.engine.sensitivity.slices import SLICES, Slices
from envpredict.engine.sensitivity.study import Options, chosen_findings, sample
from envpredict.engine.sensitivity.tables import (
    SHARE_COLUMNS,
    UNKNOWN_COLUMNS,
    VERDICT_COLUMNS,
    Study,
    study,
    with_unknowns,
)
from envpredict.engine.sensitivity.unknowns import BACKGROUND, KINDS, PACE, SPREAD, STRENGTH
from envpredict.outputs.charts.draw import finished
from envpredict.outputs.charts.style import our_style
from envpredict.outputs.charts.unknowns import sketch
from envpredict.outputs.report.blocks import Table, Text
from envpredict.outputs.report.context import context
from envpredict.outputs.report.unknowns import HOW_TO_GET, hangs_on
from envpredict.outputs.sheets import SHEET_MEANING, unknowns
from envpredict.outputs.unknowns import write_unknowns

QUICK = Options(samples=256, most=4)


@cache
def small() -> Study:
    return study(plain(), QUICK)


@pytest.mark.parametrize(("shared", "own"), [(0.0, 0.2), (0.3, 0.2), (0.3, 0.02)])
def test_the_highest_slot_by_one_draw_against_the_closed_form(shared: float, own: float) -> None:
    # the engine's own quadrature of the same distribution
    rng = np.random.default_rng(3)
    median = rng.normal(0.0, 0.15, 40)
    count = 1 << 14
    a, _ = Draws(2, count).batch(0)
    level = median[None, :] + shared * normal(a[0])[:, None]
    drawn = highest(level, np.full_like(level, own), np.ones(40), a[1])
    for threshold in (0.1, 0.3, 0.6):
        exact = at_least_once(median[None], np.full((1, 40), own), np.array([shared]), np.array([threshold]), 0.05)
        assert (drawn > threshold).mean() == pytest.approx(exact.p_exceed[0], abs=0.004)


def test_slots_that_are_alike_count_as_often_as_there_are() -> None:
    uniform = (np.arange(999) + 0.5) / 999
    one = highest(np.zeros((999, 1)), np.ones((999, 1)), np.array([7.0]), uniform)
    seven = highest(np.zeros((999, 7)), np.ones((999, 7)), np.ones(7), uniform)
    assert one == pytest.approx(seven, abs=1e-9)
    # the quantile of the highest of seven normals is the normal quantile of the seventh root
    assert one == pytest.approx(stats.norm.ppf(uniform ** (1 / 7)), abs=2e-3)
    assert highest(np.array([[1.0, 3.0]]), np.zeros((1, 2)), np.ones(2), np.array([0.4])) == pytest.approx([3.0])


def test_draws_are_seeded_shared_by_batch_and_inside_the_open_interval() -> None:
    first, again = Draws(5, 256).batch(2), Draws(5, 256).batch(2)
    assert all((one == other).all() for one, other in zip(first, again, strict=True))
    assert not (first[0] == Draws(5, 256).batch(3)[0]).any()
    both = np.concatenate(first)
    assert both.shape == (10, 256)
    assert both.min() > 0.0
    assert both.max() < 1.0
    # a Sobol' sequence puts one of 256 points into each of 256 slices
    assert all(len(np.unique((row * 256).astype(int))) == 256 for row in both)


def test_how_sure_is_told_only_from_batches() -> None:
    one = Moments(np.array([0.5]), np.array([0.5]), np.array([[0.1]]), np.array([[0.1]]))
    assert np.isinf(Batches([one]).mean_se()).all()
    assert np.isinf(Batches([one]).first_se()).all()
    two = Batches([one, replace(one, mean=np.array([0.7]))])
    assert two.mean_se()[0] == pytest.approx(0.1)       # 0.5 and 0.7: standard deviation 0.1414, over the root of two


def test_what_a_known_unknown_does_to_a_verdict() -> None:
    # level 3 e1 + 4 e2, limit 5: given e1 the chance is Phi((3 e1 - 5) / 4)
    rng = np.random.default_rng(5)
    uniform = rng.random((2, 400_000))
    errors = normal(uniform)
    exceeds = (3.0 * errors[0] + 4.0 * errors[1] > 5.0).astype(float)
    slices = Slices.empty(2, 1)
    slices.add(0, 0, uniform[0], exceeds)
    found = slices.changes(np.array([exceeds.mean()]), 0.05)      # possible: 16 %
    middle = stats.norm.ppf((np.arange(SLICES) + 0.5) / SLICES)
    given = stats.norm.cdf((3.0 * middle - 5.0) / 4.0)
    expected = ((given < 0.05) | (given >= 0.5)).mean()
    assert 0.1 < expected < 0.9
    assert found[0, 0] == pytest.approx(expected, abs=1.0 / SLICES)
    assert np.isnan(found[1, 0])


def test_the_study_holds_its_tables_and_answers_in_words() -> None:
    found = small()
    assert list(found.unknowns.columns) == list(UNKNOWN_COLUMNS)
    assert list(found.verdicts.columns) == list(VERDICT_COLUMNS)
    assert list(found.shares.columns) == list(SHARE_COLUMNS)
    assert found.unknowns["share"].is_monotonic_decreasing
    assert found.unknowns["share"].sum() < 1.1
    assert set(found.unknowns["kind"]) <= set(KINDS)
    assert (found.unknowns["source"] != "").all()
    assert (found.unknowns["spread"] != "").all()
    assert set(found.unknowns["basis"]) <= {"read", "memory", "practice", "estimate"}
    assert "verdicts studied are in doubt" in found.answer[0]
    best = found.unknowns[~found.unknowns["kind"].isin(["within", "daily"])].iloc[0]
    assert best["title"] in found.answer[1]
    assert best["learn"] in found.answer[1]
    assert "batches of 256" in found.convergence


def test_shared_draws_are_one_unknown() -> None:
    names = list(small().unknowns["unknown"])
    assert len(names) == len(set(names))
    shares = small().shares
    crane = shares[shares["unknown"] == "source:service_crane"]
    assert crane["method"].nunique() >= 2
    assert shares[shares["unknown"] == "within"]["method"].nunique() >= 2


def test_equal_seeds_give_equal_tables() -> None:
    again = study(plain(), QUICK)
    assert again.unknowns.equals(small().unknowns)
    assert again.verdicts.equals(small().verdicts)


def test_held_kinds_are_neither_sampled_nor_forgotten() -> None:
    found = study(plain(), replace(QUICK, hold=("law", "ground")))
    assert not set(found.unknowns["kind"]) & {"law", "ground"}
    assert "held at its likely value by the user" in " ".join(found.held)


def test_our_own_distributions_are_marked_as_estimates() -> None:
    assert {one.basis for one in (STRENGTH, BACKGROUND, PACE, SPREAD)} == {"estimate"}


def test_findings_are_chosen_where_they_are_worst_and_most_in_doubt() -> None:
    chosen = chosen_findings(plain())
    governed = plain().governing()
    for finding, why in chosen:
        alike = governed[(governed["method"] == finding["method"]) & (governed["effect"] == finding["effect"])]
        if why.startswith("worst"):
            assert finding["p_exceed"] == alike["p_exceed"].max()
        if "most in doubt" in why and not why.startswith("worst"):
            assert abs(finding["p_exceed"] - 0.5) == (alike["p_exceed"] - 0.5).abs().min()


@pytest.mark.parametrize(("options", "words"), [
    (Options(samples=1000), ("isn't a power of two", "take 512 or 1024")),
    (Options(samples=16), ("64 to 65536",)),
    (Options(hold=("soil",)), ("no such kind of unknown",)),
    (Options(samples=1000, hold=("soil", "lawn")), ("3 problems", "lawn")),
])
def test_options_that_can_t_be_are_refused_all_at_once(options: Options, words: tuple[str, ...]) -> None:
    with pytest.raises(InputProblems) as raised:
        sample(plain(), options)
    assert all(word in str(raised.value) for word in words)


def test_nothing_to_sample_is_said() -> None:
    empty = replace(plain(), findings=plain().findings.assign(p_exceed=np.nan))
    with pytest.raises(EnvpredictError, match="no finding to sample"):
        sample(empty, QUICK)
    with pytest.raises(EnvpredictError, match="every kind of unknown is held"):
        sample(plain(), replace(QUICK, hold=tuple(KINDS)))


def test_verdicts_without_doubt_are_called_settled() -> None:
    held = tuple(kind for kind in KINDS if kind != "rate")
    found = study(plain(), replace(QUICK, hold=held))
    assert "None of the" in found.answer[0]
    assert (found.unknowns["share"] == 0.0).all()
    assert "hangs most on" in report(found)


def test_the_printed_table_keeps_to_the_terminal() -> None:
    text = report(small())
    assert max(map(len, text.splitlines())) <= 100
    for words in ("What the verdicts hang on", "To learn it:", "Held fixed:", "Standard errors", "changes"):
        assert words in text


def flat(blocks: Iterator[object] | list[object]) -> str:
    return " ".join(one.text for one in blocks if isinstance(one, Text))


def test_the_report_tells_or_tells_how_to_get_it() -> None:
    assert HOW_TO_GET in flat(list(hangs_on(context(plain()))))
    studied: Assessment = replace(plain(), findings=plain().findings.copy(),
                                  detail={**plain().detail, "unknowns": small()})
    blocks = hangs_on(context(studied))
    (table,) = [one for one in blocks if isinstance(one, Table)]
    assert str(table.rows[0][0]) == small().unknowns["title"].iloc[0]
    assert "verdicts studied are in doubt" in flat(list(blocks))
    assert {sheet.name for sheet in unknowns(studied)} <= set(SHEET_MEANING)
    assert unknowns(studied)[0].total == len(small().unknowns)
    assert unknowns(plain()) == ()


def test_an_assessment_holds_its_study() -> None:
    found = with_unknowns(plain(), replace(QUICK, least=1, most=1))
    assert isinstance(found.detail["unknowns"], Study)
    assert found.findings.equals(plain().findings)
    assert "NOT reached" in found.detail["unknowns"].convergence


def test_the_picture_shows_every_weighty_unknown_and_comes_out_alike() -> None:
    with our_style():
        one, two = finished(sketch(small())), finished(sketch(small()))
    assert one.svg == two.svg
    assert small().unknowns["title"].iloc[0] in one.alt


def test_tables_are_written_with_cautions(tmp_path: Path) -> None:
    write_unknowns(small(), tmp_path, ("a caution",))
    assert {path.name for path in tmp_path.iterdir()} == {"unknowns.csv", "unknowns_verdicts.csv",
                                                          "unknowns_shares.csv", "unknowns.svg", "unknowns.png"}
    text = (tmp_path / "unknowns.csv").read_text(encoding="utf-8")
    assert text.startswith("# a caution\n")
    assert "estimate" in text


@pytest.mark.parametrize(("extra", "words"), [
    (["--unknowns", "--samples", "1000"], "isn't a power of two"),
    (["--unknowns", "--hold", "grund"], "did you mean 'ground'"),
    (["--samples", "512"], "add --unknowns"),
])
def test_the_command_refuses_what_can_t_be(extra: list[str], words: str) -> None:
    result = CliRunner().invoke(main, ["compare", str(SCENARIO), *extra])
    assert result.exit_code == 2
    assert words in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize("lacking", ["strata", "baseline", "nothing, but a pump that runs all day"])
def test_sites_that_know_less_or_more(lacking: str) -> None:
    base = site()
    if lacking in ("strata", "baseline"):
        changed = replace(base, **{lacking: None})
    else:
        first = base.piles.geometry.iloc[0]
        changed = replace(base, other_sources=pd.DataFrame([{
            "id": "pump", "name": "pump", "x": first.x, "y": first.y - 30.0, "lwa_db": 112.0, "height_m": 1.5,
            "from": "00:00", "to": "23:59"}]))
    found = study(assess(changed, grids=False), replace(QUICK, samples=64, least=2, most=2))
    kinds = set(found.unknowns["kind"])
    assert ("ground" in kinds) == (lacking != "strata")
    assert ("background" in kinds) == (lacking != "baseline")
    assert ("source:other_0" in set(found.unknowns["unknown"])) == lacking.startswith("nothing")
    assert not found.left_out
