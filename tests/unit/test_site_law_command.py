"""`envpredict fit` from the command line: what it prints, writes, refuses; records in folders and on a site."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from site_law_site import PRESS, assessed, press_level, scenario

from envpredict.cli import main
from envpredict.engine.intake import read_scenario
from envpredict.engine.learned.read import read_site_law
from envpredict.monitoring.site_law.on_site import placed
from envpredict.monitoring.site_law.trial import read_trial

TRIAL = "pile,method,distance_m,ppv_mm_s,quantity,hard_stratum"
LEVELS = "plant,laeq_db,distance_m,position,ground,background_db"


def fit(*words: str | Path) -> Result:
    return CliRunner().invoke(main, ["fit", *map(str, words)])


def trial_csv(folder: Path, extra: str = ",yes", piles: int = 3) -> Path:
    rng = np.random.default_rng(3)
    lines = [f"A-{pile + 1:03d},{PRESS},{distance},{press_level(distance) * 10 ** rng.normal(0, 0.05):.4g},"
             f"ppv_resultant{extra}" for pile in range(piles) for distance in (5, 10, 20, 40)]
    path = folder / "trial.csv"
    path.write_text("\n".join([TRIAL, *lines]) + "\n", encoding="utf-8")
    return path


def test_a_fit_prints_writes_and_draws(tmp_path: Path) -> None:
    out, plot = tmp_path / "site_law.toml", tmp_path / "trial.svg"
    done = fit(trial_csv(tmp_path), "--model", "auger_press_estimate", "--out", out, "--plot", plot)
    assert done.exit_code == 0, done.output
    text = " ".join(done.output.split())
    for words in ("published law: ", "line through the records alone: v = ", "scatter between sites from 0.22 to",
                  "SUFFICIENT", "reach: 2.5 to 80 m", "! Screening prediction", f"Wrote {out}."):
        assert words in text
    assert max(len(line) for line in done.output.splitlines() if not line.startswith("Wrote")) <= 100
    assert read_site_law(out).vibration[0].of("hard") is not None
    assert b"<svg" in plot.read_bytes()


def test_the_same_records_give_the_same_bytes(tmp_path: Path) -> None:
    records = trial_csv(tmp_path)
    for name in ("one", "two"):
        fit(records, "--model", "auger_press_estimate", "--out", tmp_path / f"{name}.toml", "--plot",
            tmp_path / f"{name}.svg")
    assert (tmp_path / "one.toml").read_bytes() == (tmp_path / "two.toml").read_bytes()
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_the_file_that_fit_writes_lets_predict_say_unlikely(tmp_path: Path) -> None:
    made = scenario(tmp_path / "site", None)
    done = fit(trial_csv(tmp_path), "--model", "auger_press_estimate", "--out", made / "site_law.toml")
    assert done.exit_code == 0
    before = assessed(made).findings
    text = (made / "scenario.toml").read_text(encoding="utf-8")
    (made / "scenario.toml").write_text(f'{text}\n[site_law]\nfile = "site_law.toml"\n', encoding="utf-8")
    after = assessed(made).findings
    vibrating = before["effect"] != "noise"
    assert "unlikely" not in set(before.loc[vibrating, "likelihood"])
    assert "unlikely" in set(after.loc[vibrating, "likelihood"])


@pytest.mark.parametrize(("words", "said"), [
    ([], "one of the two is needed"),
    (["--model", "caltrans_impact", "--plant", "vibrator"], "one of the two is needed"),
    (["--model", "caltrans_impact", "--works", "works.csv"], "no scenario is named"),
    (["--plant", "vibrator", "--plot", "x.png"], "levels of one machine make no chart"),
    (["--model", "auger_press_estimate", "--plot", "x.pdf"], "is neither a PNG nor an SVG file"),
    (["--model", "auger_press_estimat"], "unknown model 'auger_press_estimat'"),
])
def test_contradictory_questions_are_refused(tmp_path: Path, words: list[str], said: str) -> None:
    done = fit(trial_csv(tmp_path), *words)
    assert done.exit_code == 2
    assert said in done.output
    assert "Traceback" not in done.output


def test_nothing_is_written_over_and_a_missing_file_is_named(tmp_path: Path) -> None:
    out = tmp_path / "site_law.toml"
    out.write_text("mine", encoding="utf-8")
    done = fit(trial_csv(tmp_path), "--model", "auger_press_estimate", "--out", out)
    assert done.exit_code == 2
    assert "exists already" in done.output
    assert out.read_text(encoding="utf-8") == "mine"
    assert "there is no such file" in fit(tmp_path / "none.csv", "--model", "auger_press_estimate").output


def test_a_faulty_record_ends_the_command_with_its_line_and_writes_nothing(tmp_path: Path) -> None:
    records = trial_csv(tmp_path)
    text = records.read_text(encoding="utf-8") + f"A-009,{PRESS},10,0,ppv_resultant,yes\n"
    records.write_text(text, encoding="utf-8")
    done = fit(records, "--model", "auger_press_estimate", "--out", tmp_path / "out.toml")
    assert done.exit_code == 2
    assert "trial.csv, line 14: ppv_mm_s 0 is out of range" in done.output
    assert not (tmp_path / "out.toml").exists()


def levels_csv(folder: Path, lines: list[str]) -> Path:
    path = folder / "levels.csv"
    path.write_text("\n".join([LEVELS, *lines]) + "\n", encoding="utf-8")
    return path


def test_levels_beside_a_machine_update_its_sound_power(tmp_path: Path) -> None:
    # 60 dB at 10 m over hard ground is 60 + 20 + 8 = 88 dB; a facade takes 3 dB off, 50 dB of background 0.46 dB
    lines = ["press_power_pack,60,10,free_field,hard,"] * 3 + ["press_power_pack,63,10,facade,hard,"] * 2
    lines += ["press_power_pack,60,10,free_field,hard,50", "press_power_pack,60,10,free_field,hard,58",
              "press_power_pack,60,80,free_field,hard,", "vibrator,90,10,free_field,hard,"]
    out = tmp_path / "site_law.toml"
    done = fit(levels_csv(tmp_path, lines), "--plant", "press_power_pack", "--out", out)
    assert done.exit_code == 0, done.output
    (item,) = read_site_law(out).plant
    assert item.measured_db == pytest.approx([88.0] * 5 + [87.542], abs=2e-3)
    mean = np.mean(item.measured_db)
    weight = 1 / 4.0**2 + 6 / 2.0**2
    assert item.posterior_db == pytest.approx((94.0 / 4.0**2 + 6 * mean / 2.0**2) / weight, abs=6e-3)
    assert item.posterior_u_db == 2.0
    for words in ("line 8: less than 3 dB above the background", "line 9: farther than 50 m",
                  "line 10: of other plant than 'press_power_pack'"):
        assert words in done.output


def test_few_or_faulty_levels_are_refused(tmp_path: Path) -> None:
    few = fit(levels_csv(tmp_path, ["press_power_pack,60,10,free_field,hard,"] * 2), "--plant", "press_power_pack")
    assert few.exit_code == 2
    assert "an update needs 3" in few.output
    bad = ["press_power_pack,0,10,free_field,hard,"] * 3
    assert "laeq_db 0 is out of range" in fit(levels_csv(tmp_path, bad), "--plant", "press_power_pack").output
    assert "unknown plant 'press_pack'" in fit(levels_csv(tmp_path, bad), "--plant", "press_pack").output


def test_earlier_laws_are_carried_along(tmp_path: Path) -> None:
    first, both = tmp_path / "first.toml", tmp_path / "both.toml"
    fit(trial_csv(tmp_path), "--model", "auger_press_estimate", "--out", first)
    lines = ["press_power_pack,60,10,free_field,hard,"] * 6
    done = fit(levels_csv(tmp_path, lines), "--plant", "press_power_pack", "--with", first, "--out", both)
    assert done.exit_code == 0, done.output
    site = read_site_law(both)
    assert (len(site.vibration), len(site.plant)) == (1, 1)
    assert set(site.records) == {"trial.csv", "levels.csv"}


def test_a_scenario_tells_what_its_piles_were_driven_through(tmp_path: Path) -> None:
    made = read_scenario(scenario(tmp_path / "site", None, "impact_hydraulic", "energy_kj = 40"))
    lines = [f"A-00{n},impact_hydraulic,10,5,ppv_resultant,40" for n in range(1, 4)]
    path = tmp_path / "trial.csv"
    path.write_text("\n".join(["pile,method,distance_m,ppv_mm_s,quantity,energy_kj", *lines]) + "\n", encoding="utf-8")
    from envpredict.engine.catalogue import load_catalogue

    trial = placed(read_trial(path), made, load_catalogue(), "bs5228_percussive")
    # the starter's borehole reaches gravel at refusal 6 m down: the first half metre in it ends at 6.5 m
    assert [(row.hard, row.depth_m) for row in trial.rows] == [(True, 6.5)] * 3
    classed = placed(read_trial(path), made, load_catalogue(), "caltrans_impact")
    assert {row.ground for row in classed.rows} <= {"I", "II", "III", "IV"}
    path.write_text(path.read_text(encoding="utf-8").replace("A-003", "X-003"), encoding="utf-8")
    done = fit(path, "--model", "caltrans_impact", "--scenario", tmp_path / "site")
    assert done.exit_code == 2
    assert "trial.csv, line 4: no pile 'X-003' in the scenario" in done.output


def records_folder(folder: Path, site: Path) -> Path:
    """Write a diary, three stations and their readings: three piles driven one after the other, levels by distance."""
    made = read_scenario(site)
    folder.mkdir()
    places = {str(name): (point.x, point.y) for name, point in zip(made.piles["id"], made.piles.geometry, strict=True)}
    stations = {f"V{n}": (places["A-001"][0], places["A-001"][1] + off) for n, off in enumerate((6.0, 12.0, 30.0), 1)}
    (folder / "stations.csv").write_text("\n".join([
        "station_id,kind,x,y,crs,position",
        *(f"{name},vibration,{x},{y},EPSG:32631,ground" for name, (x, y) in stations.items())]) + "\n",
        encoding="utf-8")
    diary = ["t_start,t_end,activity,method,pile_id,depth_from_m,depth_to_m,press_force_kn"]
    readings = ["station_id,t_start,duration_s,pvs_mm_s,overload"]
    for hour, pile in enumerate(("A-001", "A-002", "A-003"), 8):
        for step, depth in enumerate((0.0, 4.0, 8.0)):
            start, end = f"2027-03-01T{hour:02d}:{10 * step:02d}:00Z", f"2027-03-01T{hour:02d}:{10 * step + 9:02d}:00Z"
            diary.append(f"{start},{end},piling,{PRESS},{pile},{depth},{depth + 4},{300 + 100 * step}")
            for name, (x, y) in stations.items():
                distance = float(np.hypot(x - places[pile][0], y - places[pile][1]))
                level = press_level(distance) * (0.5, 0.7, 1.0)[step]
                clipped = "yes" if (name, pile, step) == ("V1", "A-002", 2) else "no"
                readings.append(f"{name},{start},60,{level:.4g},{clipped}")
    (folder / "works.csv").write_text("\n".join(diary) + "\n", encoding="utf-8")
    (folder / "vibration.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    return folder


def test_a_folder_of_monitoring_records_is_placed_by_the_scenario(tmp_path: Path) -> None:
    site = scenario(tmp_path / "site", None)
    folder, out = records_folder(tmp_path / "records", site), tmp_path / "site_law.toml"
    done = fit(folder, "--model", "auger_press_estimate", "--scenario", site, "--out", out)
    assert done.exit_code == 0, done.output
    data = read_site_law(out).vibration[0].of("hard")
    assert data is not None
    # the estimate predicts the vertical component; the loggers stored the vector sum, which is never below it
    assert read_site_law(out).vibration[0].quantity == "ppv_resultant"
    assert len(data.data.pile) == 9
    assert sorted(data.data.distance_m)[0] == pytest.approx(6.0)
    # the highest of the drive counts; the clipped reading is a lower bound
    assert data.data.ppv_mm_s[0] == pytest.approx(press_level(6.0), rel=1e-3)
    assert data.data.reads.count("above") == 1
    assert "Press records beside the strata" in done.output


def triggered(folder: Path, trigger: str = "0.25") -> None:
    """Make the loggers of a folder store only what reaches a trigger, stated in stations.csv."""
    stations = (folder / "stations.csv").read_text(encoding="utf-8").splitlines()
    (folder / "stations.csv").write_text("\n".join([f"{stations[0]},trigger_mm_s", *(
        f"{row},{trigger}" for row in stations[1:])]) + "\n", encoding="utf-8")
    rows = (folder / "vibration.csv").read_text(encoding="utf-8").splitlines()
    kept = [row for row in rows[1:] if float(row.split(",")[3]) >= 0.25 or row.startswith("V3,2027-03-01T10:20")]
    (folder / "vibration.csv").write_text("\n".join([rows[0], *kept]) + "\n", encoding="utf-8")


def test_a_trigger_that_a_pile_didnt_reach_counts_as_a_bound_where_the_logger_was_at_work(tmp_path: Path) -> None:
    site = scenario(tmp_path / "site", None)
    folder, out = records_folder(tmp_path / "records", site), tmp_path / "site_law.toml"
    triggered(folder)
    done = fit(folder, "--model", "auger_press_estimate", "--scenario", site, "--out", out)
    assert done.exit_code == 0, done.output
    fit_ = read_site_law(out).vibration[0].of("hard")
    assert fit_ is not None
    bounds = [(pile, level) for pile, level, reads in zip(fit_.data.pile, fit_.data.ppv_mm_s, fit_.data.reads,
                                                          strict=True) if reads == "below"]
    # V2 at 12 m never reaches 0.25, V3 at 30 m stores one reading of the third pile, which shows that it was at work;
    # a trigger of one axis bounds the vector sum by the root of three
    assert {pile for pile, _ in bounds} >= {"A-001", "A-002"}
    assert [level for _, level in bounds] == pytest.approx([0.25 * 3**0.5] * len(bounds))
    assert read_site_law(out).vibration[0].pile_types == ("sheet_u",)
    assert read_site_law(out).vibration[0].longest_m == 12.0


def test_silence_without_a_stated_trigger_or_without_a_sign_of_life_is_no_bound(tmp_path: Path) -> None:
    site = scenario(tmp_path / "site", None)
    folder, out = records_folder(tmp_path / "records", site), tmp_path / "site_law.toml"
    triggered(folder, trigger="")
    done = fit(folder, "--model", "auger_press_estimate", "--scenario", site, "--out", out)
    assert "an unreached trigger counts where stations.csv states trigger_mm_s" in " ".join(done.output.split())
    assert not out.exists() or "below" not in read_site_law(out).vibration[0].strata[0].data.reads


def test_readings_that_dont_hold_the_laws_quantity_are_refused(tmp_path: Path) -> None:
    site = scenario(tmp_path / "site", None)
    folder = records_folder(tmp_path / "records", site)
    text = (folder / "vibration.csv").read_text(encoding="utf-8")
    (folder / "vibration.csv").write_text(text.replace("pvs_mm_s", "ppv_x_mm_s"), encoding="utf-8")
    done = fit(folder, "--model", "auger_press_estimate", "--scenario", site)
    assert done.exit_code == 2
    assert "no usable reading while the pile was driven" in done.output


def test_a_folder_needs_a_scenario(tmp_path: Path) -> None:
    site = scenario(tmp_path / "site", None)
    done = fit(records_folder(tmp_path / "records", site), "--model", "auger_press_estimate")
    assert done.exit_code == 2
    assert "add --scenario" in done.output
