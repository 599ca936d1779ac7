"""Trial records: what is refused, what is left out, what is marked - each with file, line and reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from envpredict.core.errors import InputProblems, UnknownName
from envpredict.engine.catalogue import load_catalogue
from envpredict.monitoring.site_law.fit import Fitted, fit_trial
from envpredict.monitoring.site_law.trial import read_trial

HEAD = "pile,method,phase,distance_m,ppv_mm_s,quantity,hard_stratum,reads,station,energy_kj,ground,background_mm_s"
SYNTHETIC = [(5, 9.0), (5, 6.0), (10, 3.8), (10, 2.6), (20, 1.5), (20, 1.1), (40, 0.62), (40, 0.40)]


def row(pile: str, distance: object, level: object, **other: str) -> str:
    cells = {"method": "vibratory_standard", "phase": "running", "quantity": "ppv_resultant", "hard_stratum": "no",
             "reads": "", "station": "", "energy_kj": "", "ground": "", "background_mm_s": "", **other}
    return ",".join([pile, cells["method"], cells["phase"], str(distance), str(level), cells["quantity"],
                     *(cells[name] for name in HEAD.split(",")[6:])])


SOUND = [row(f"P{n}", distance, level) for n, (distance, level) in enumerate(SYNTHETIC)]


def written(folder: Path, rows: list[str], head: str = HEAD) -> Path:
    path = folder / "trial.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def fitted(folder: Path, rows: list[str], model: str = "bs5228_vibratory") -> Fitted:
    found = fit_trial(read_trial(written(folder, rows)), load_catalogue(), model)
    assert len(found) == 1
    return found[0]


def problems(folder: Path, rows: list[str], model: str = "bs5228_vibratory", head: str = HEAD) -> list[str]:
    with pytest.raises(InputProblems) as caught:
        fit_trial(read_trial(written(folder, rows, head)), load_catalogue(), model)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (row("P9", 10, 0), "trial.csv, line 10: ppv_mm_s 0 is out of range"),
        (row("P9", 10, -2.5), "trial.csv, line 10: ppv_mm_s -2.5 is out of range"),
        (row("P9", 10, 900), "trial.csv, line 10: ppv_mm_s 900 is out of range"),
        (row("P9", 10, "nan"), "trial.csv, line 10: ppv_mm_s 'nan' is not a number"),
        (row("P9", 0, 2.5), "trial.csv, line 10: distance_m 0 is out of range"),
        (row("P9", "far", 2.5), "trial.csv, line 10: distance_m 'far' is not a number"),
        (row("", 10, 2.5), "trial.csv, line 10: pile is empty"),
        (row("P9", 10, 2.5, quantity="ppv"), "trial.csv, line 10: unknown quantity 'ppv'"),
        (row("P9", 10, 2.5, reads="trigger"), "trial.csv, line 10: unknown reads 'trigger'"),
        (row("P9", 10, 2.5, phase="ramming"), "trial.csv, line 10: unknown phase 'ramming'"),
        (row("P9", 10, 2.5, hard_stratum="maybe"), "trial.csv, line 10: unknown hard_stratum 'maybe'"),
        (row("P9", 10, 2.5, method="hammering"), "trial.csv, line 10: unknown method 'hammering'"),
        ("P9,vibratory_standard,running", "trial.csv, line 10: has 3 cells"),
    ],
)
def test_a_faulty_record_is_named_with_its_line(tmp_path: Path, bad: str, said: str) -> None:
    found = problems(tmp_path, [*SOUND, bad])
    assert any(text.startswith(said) and " -> " in text for text in found), found


def test_every_fault_is_told_in_one_pass(tmp_path: Path) -> None:
    found = problems(tmp_path, [row("P0", 10, 0), row("P1", -4, 1), row("", 10, 1), *SOUND])
    assert len(found) == 3
    assert [text.split(":")[0] for text in found] == ["trial.csv, line 4", "trial.csv, line 3", "trial.csv, line 2"]


def test_a_zero_says_how_a_trigger_is_stated(tmp_path: Path) -> None:
    (text,) = problems(tmp_path, [*SOUND, row("P9", 10, 0)])
    assert "reads `below`" in text


@pytest.mark.parametrize(("head", "said"), [
    (HEAD.replace("ppv_mm_s", "ppv_mms"), "unknown column 'ppv_mms' -> did you mean 'ppv_mm_s'?"),
    (HEAD.replace("station", "pile"), "column 'pile' stands twice"),
    (HEAD.replace(",", ";"), "cells aren't separated by commas")])
def test_a_faulty_heading_is_named(tmp_path: Path, head: str, said: str) -> None:
    assert any(said in text for text in problems(tmp_path, SOUND, head=head))


def test_files_that_hold_nothing_or_arent_text_are_refused(tmp_path: Path) -> None:
    assert "holds a header but no rows" in problems(tmp_path, [])[0]
    path = tmp_path / "trial.csv"
    path.write_bytes(b"\xff\xfe\x00p")
    with pytest.raises(InputProblems, match="isn't UTF-8 text"):
        read_trial(path)
    with pytest.raises(InputProblems, match="can't be read"):
        read_trial(tmp_path / "none.csv")


def test_two_points_are_refused(tmp_path: Path) -> None:
    (text,) = problems(tmp_path, SOUND[:2])
    assert "2 records with a level; a site law needs 3" in text


def test_bounds_alone_are_refused(tmp_path: Path) -> None:
    (text,) = problems(tmp_path, [row(f"P{n}", d, v, reads="below") for n, (d, v) in enumerate(SYNTHETIC)])
    assert "0 records with a level" in text


def test_three_points_give_a_provisional_law_that_says_what_it_lacks(tmp_path: Path) -> None:
    found = fitted(tmp_path, [SOUND[0], SOUND[2], SOUND[4]])
    assert found.law is not None
    assert found.law.strata[0].lacks() == ("3 of 6 records",)


def test_one_distance_keeps_the_published_decay_and_says_so(tmp_path: Path) -> None:
    found = fitted(tmp_path, [row(f"P{n}", 10, 2.0 + 0.2 * n) for n in range(7)])
    assert found.law is not None
    fit = found.law.strata[0]
    assert fit.slope_shift == pytest.approx(0.0, abs=1e-12)
    assert fit.line_exponent is None
    assert fit.lacks() == ("1 of 3 distances", "the farthest 1 instead of 4 times the nearest distance")
    assert "all records lie at one distance: the decay stays the published law's" in found.strata[0].marks


def test_distances_that_differ_by_less_than_a_tenth_count_once(tmp_path: Path) -> None:
    rows = [row(f"P{n}", d, v) for n, (d, v) in enumerate([(10, 2), (10.3, 2.1), (10.9, 1.9), (44, 0.4), (45, 0.5),
                                                           (46, 0.4)])]
    found = fitted(tmp_path, rows)
    assert found.law is not None
    assert found.law.strata[0].lacks() == ("2 of 3 distances",)


def test_distances_without_spread_are_marked(tmp_path: Path) -> None:
    rows = [row(f"P{n}", d, v) for n, (d, v) in enumerate([(10, 2.4), (12, 2.0), (14, 1.6), (10, 2.6), (12, 1.9),
                                                           (16, 1.4)])]
    found = fitted(tmp_path, rows)
    assert found.law is not None
    assert found.law.strata[0].lacks() == ("the farthest 1.6 instead of 4 times the nearest distance",)
    assert any("the records alone don't tell the decay" in mark for mark in found.strata[0].marks)


def test_a_rise_with_distance_is_refused_where_the_records_decide_it(tmp_path: Path) -> None:
    rising = [row(f"P{n}", d, v) for n, (d, v) in enumerate([(5, 0.4), (5, 0.6), (10, 1.1), (20, 2.1), (40, 3.2),
                                                             (40, 4.0)])]
    (text,) = problems(tmp_path, rising)
    assert "the exponent of the records alone is 0.95, of the wrong sign" in text


def test_a_rise_between_near_distances_is_marked_and_not_used(tmp_path: Path) -> None:
    rising = [row(f"P{n}", d, v) for n, (d, v) in enumerate([(10, 2.0), (11, 2.1), (12, 2.3), (10, 1.9)])]
    found = fitted(tmp_path, rising)
    assert found.law is not None
    assert any("of the wrong sign; it isn't used" in mark for mark in found.strata[0].marks)
    assert -2.0 <= found.law.strata[0].exponent <= -0.5


def test_a_decay_steeper_than_the_bounds_is_refused(tmp_path: Path) -> None:
    steep = [row(f"P{n}", d, 3000.0 * d**-2.6) for n, d in enumerate([5, 8, 12, 20, 30, 40])]
    assert "is -2.60, outside -2 to -0.5" in problems(tmp_path, steep)[0]


def test_records_of_another_quantity_are_left_out_with_their_lines(tmp_path: Path) -> None:
    found = fitted(tmp_path, [*SOUND, row("P8", 10, 2.0, quantity="ppv_vertical"),
                              row("P9", 20, 1.0, quantity="ppv_vertical")])
    (left,) = found.trial.left_out
    assert left.lines == (10, 11)
    assert left.why == "records of ppv_vertical; 'bs5228_vibratory' predicts ppv_resultant"


def test_records_of_another_quantity_alone_are_refused(tmp_path: Path) -> None:
    rows = [row(f"P{n}", d, v, quantity="ppv_vertical") for n, (d, v) in enumerate(SYNTHETIC)]
    found = problems(tmp_path, rows)
    assert "no record of 'vibratory_standard', phase running, is left to fit" in found[0]
    assert "trial.csv, lines 2, 3, 4, 5, 6, 7, 8, 9: records of ppv_vertical" in found[1]


def test_a_quantity_that_is_never_below_the_laws_stands_in_for_it(tmp_path: Path) -> None:
    rows = [row(f"P{n}", d, v / 10, method="press_in", phase="all") for n, (d, v) in enumerate(SYNTHETIC)]
    found = fitted(tmp_path, rows, "pressing_estimate")
    assert found.law is not None
    assert found.law.quantity == "ppv_resultant"
    assert "records of ppv_resultant stand in for ppv_vertical: never below it" in found.marks


def test_levels_near_the_background_are_left_out(tmp_path: Path) -> None:
    found = fitted(tmp_path, [*SOUND, row("P8", 40, 0.2, background_mm_s="0.08")])
    (left,) = found.trial.left_out
    assert (left.lines, left.why) == ((10,), "the level lies within 3 times the background")


def test_one_record_per_pile_and_point_counts_the_highest(tmp_path: Path) -> None:
    found = fitted(tmp_path, [*SOUND, row("P0", 5, 7.0), row("P0", 5, 9.5)])
    assert found.law is not None
    data = found.law.strata[0].data
    assert len(data.pile) == 8
    assert data.ppv_mm_s[0] == 9.5
    assert found.trial.left_out[0].lines == (2, 10)


def test_a_clipped_record_is_a_lower_bound_and_a_trigger_gives_way_to_a_level(tmp_path: Path) -> None:
    found = fitted(tmp_path, [*SOUND, row("P0", 5, 8.0, reads="above"), row("P2", 10, 1.0, reads="below"),
                              row("P8", 40, 0.3, reads="below")])
    assert found.law is not None
    data = found.law.strata[0].data
    assert dict(zip(data.pile, zip(data.ppv_mm_s, data.reads, strict=True), strict=True))["P0"] == (9.0, "above")
    assert dict(zip(data.pile, data.reads, strict=True))["P2"] == "level"
    assert data.reads.count("below") == 1


def test_the_energy_is_asked_for_where_the_law_takes_it(tmp_path: Path) -> None:
    impact = {"method": "impact_hydraulic", "phase": "all", "quantity": "ppv_component", "ground": "dense_sand"}
    rows = [row(f"P{n}", d, v, energy_kj="40", **impact) for n, (d, v) in enumerate(SYNTHETIC)]
    found = fitted(tmp_path, [*rows, row("P8", 10, 3, **impact)], "caltrans_impact")
    assert found.trial.left_out[0].why == "no energy_kj, which 'caltrans_impact' takes"
    assert found.law is not None
    assert found.law.energy_kj == (40.0, 40.0)


def test_a_law_that_takes_the_ground_is_told_it_by_class_or_by_its_own_word(tmp_path: Path) -> None:
    impact = {"method": "impact_hydraulic", "phase": "all", "quantity": "ppv_component", "energy_kj": "40"}
    by_class = [row(f"P{n}", d, v, ground="hard_rock", **impact) for n, (d, v) in enumerate(SYNTHETIC)]
    by_word = [row(f"P{n}", d, v, ground="IV", **impact) for n, (d, v) in enumerate(SYNTHETIC)]
    one, other = (fitted(tmp_path, rows, "caltrans_impact").law for rows in (by_class, by_word))
    assert one is not None
    assert one == other
    assert "unknown ground 'mud'" in problems(tmp_path, [*by_word, row("P8", 9, 2, ground="mud", **impact)],
                                              "caltrans_impact")[0]


def test_a_model_or_phase_that_doesnt_fit_is_refused(tmp_path: Path) -> None:
    assert "doesn't predict 'vibratory_standard'" in problems(tmp_path, SOUND, "caltrans_impact")[0]
    unphased = [line.replace("running", "") for line in SOUND]
    rows = [line.replace("vibratory_standard", "vibratory_variable_moment") for line in unphased]
    assert "predicts phase running" in problems(tmp_path, rows, "vibratory_variable_moment")[0]
    with pytest.raises(UnknownName, match="unknown model 'bs5228_vibrator'"):
        fit_trial(read_trial(written(tmp_path, SOUND)), load_catalogue(), "bs5228_vibrator")


def test_methods_and_phases_are_fitted_by_themselves_and_their_decay_compared(tmp_path: Path) -> None:
    start = [row(f"P{n}", d, 1.5 * v, phase="start_stop") for n, (d, v) in enumerate(SYNTHETIC)]
    found = fit_trial(read_trial(written(tmp_path, [*SOUND, *start])), load_catalogue(), "bs5228_vibratory")
    assert [(one.method, one.phase) for one in found] == [("vibratory_standard", "running"),
                                                          ("vibratory_standard", "start_stop")]
    assert all(one.law is not None and one.law.phase == one.phase for one in found)
    assert "one exponent for all 2 lines is not rejected" in found[0].marks[-1]


def test_piles_that_entered_the_hard_stratum_are_fitted_apart_from_the_others(tmp_path: Path) -> None:
    hard = [row(f"H{n}", d, 2 * v, hard_stratum="yes") for n, (d, v) in enumerate(SYNTHETIC)]
    found = fitted(tmp_path, [*SOUND, *hard])
    assert found.law is not None
    of_hard, of_others = found.law.of("hard"), found.law.of("other")
    assert of_hard is not None
    assert of_others is not None
    assert set(of_hard.data.pile) == {f"H{n}" for n in range(8)}
    assert of_hard.level_shift > of_others.level_shift + 0.2


def test_a_pile_whose_stratum_isnt_stated_counts_as_never_having_entered_it(tmp_path: Path) -> None:
    found = fitted(tmp_path, [*SOUND, row("P8", 10, 3, hard_stratum="")])
    assert found.law is not None
    assert found.law.of("hard") is None
    assert any("hard_stratum isn't stated" in mark for mark in found.marks)
