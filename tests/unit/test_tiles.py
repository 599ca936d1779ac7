"""Tiles: results are the same to the last bit whatever their size and whoever computes them; finished ones are kept."""

from __future__ import annotations

import errno
import os
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import limits_site
import numpy as np
import pytest

from envpredict.core.errors import InputProblems, OutputFailure
from envpredict.engine.assess import assess
from envpredict.engine.catalogue import load_catalogue
from envpredict.engine.results import Assessment
from envpredict.engine.tiled import fingerprint, kept, means, processes, share
from envpredict.engine.tiled.means import Means, bytes_per_receptor, tile_size
from envpredict.engine.tiled.tile import ready
from envpredict.scenario.types import LimitsEntry, MethodEntry, Scenario

ROLLING = LimitsEntry(damage=("din_4150_3_1999",), people=("bs_5228_2_2009",),
                      noise=("bs_5228_1_2009", "nz_nzs_6803_1999"), settlement=("settlement_strain_bands",))


@lru_cache(maxsize=1)
def site() -> Scenario:
    """Return a small site of every kind of receptor, with rules on windows that may start at any moment."""
    return limits_site.scenario(limits=ROLLING, methods=(MethodEntry("impact_hydraulic", "impact_hydraulic"),
                                                         MethodEntry("vibratory_standard", "vibratory_standard")))


@lru_cache(maxsize=1)
def whole() -> Assessment:
    """Return the site's assessment in one tile."""
    return assess(site(), grids=False)


def different(found: Assessment, wanted: Assessment) -> list[str]:
    """Return in what two assessments differ, to the last bit."""
    mine, other = found.detail, wanted.detail
    alike = {
        "findings": found.findings.equals(wanted.findings), "needs": mine["noise_needs"].equals(other["noise_needs"]),
        "days": mine["days"].tolist() == other["days"].tolist(),
        "daily": set(mine["daily"]) == set(other["daily"]) and all(
            np.array_equal(mine["daily"][key], chances, equal_nan=True) for key, chances in other["daily"].items()),
        "governs": mine["governs"] == other["governs"], "provenance": found.provenance == wanted.provenance,
    }
    return [name for name, holds in alike.items() if not holds]


@pytest.fixture
def of_size(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return what sets the number of receptors of a tile."""
    return lambda size: monkeypatch.setattr(share, "tile_size", lambda _shared, _means: size)


def test_the_size_of_the_tiles_changes_nothing(of_size: Any) -> None:
    of_size(4)
    assert not different(assess(site(), grids=False), whole())


def test_a_receptor_alone_gets_what_it_gets_among_others(of_size: Any) -> None:
    few = replace(site(), receptors=site().receptors.iloc[[0, 3, 7]].reset_index(drop=True))
    together = assess(few, grids=False)
    of_size(1)
    assert not different(assess(few, grids=False), together)


def test_several_processes_give_the_same_and_progress_is_told(of_size: Any) -> None:
    of_size(4)
    told: list[tuple[str, float]] = []
    found = assess(site(), lambda text, done: told.append((text, done)), grids=False, means=Means(workers=2))
    assert not different(found, whole())
    shares = [done for _, done in told]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0


def test_the_memory_sets_the_tile() -> None:
    shared = ready(site(), load_catalogue())
    room = 3.5 * bytes_per_receptor(shared)
    assert tile_size(shared, Means(memory_gb=room / 1e9)) == 3
    assert tile_size(shared, Means(memory_gb=2.0 * room / 1e9, workers=2)) == 3
    assert tile_size(shared, Means(memory_gb=1e-9)) == 1
    assert tile_size(shared, Means(memory_gb=1e6)) == means.MOST_RECEPTORS


def test_means_that_cannot_be_are_told_together() -> None:
    with pytest.raises(InputProblems) as error:
        Means(memory_gb=0.0, workers=0, cluster="tcp://127.0.0.1:1")
    assert len(error.value.problems) == 3


def _count(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    done: list[int] = []
    real = share.tile_result

    def counted(shared: Any, rows: Any, tell: Any = None) -> Any:
        done.append(len(rows))
        return real(shared, rows, tell)

    monkeypatch.setattr(share, "tile_result", counted)
    return done


def test_a_run_that_was_broken_off_computes_only_what_is_missing(tmp_path: Path, of_size: Any,
                                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    of_size(5)
    again = Means(cache=tmp_path / "tiles", resume=True)

    def stop(_text: str, done: float) -> None:
        if done > 0.5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        assess(site(), stop, grids=False, means=again)
    left = sorted((tmp_path / "tiles").rglob("tile_*"))
    pieces = share.cut(len(site().receptors), 5)
    assert 0 < len(left) < len(pieces)
    # one of those that are left is damaged, which its checksum tells
    data = bytearray(left[0].read_bytes())
    data[-40] ^= 1
    left[0].write_bytes(bytes(data))
    done = _count(monkeypatch)
    assert not different(assess(site(), grids=False, means=again), whole())
    assert len(done) == len(pieces) - len(left) + 1
    done.clear()
    assert not different(assess(site(), grids=False, means=again), whole())
    assert done == []
    kept.forget(site(), again)
    assert not (tmp_path / "tiles").exists()


def test_tiles_of_another_version_or_scenario_are_not_used(tmp_path: Path, of_size: Any,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    of_size(9)
    again = Means(cache=tmp_path, resume=True)
    assess(site(), grids=False, means=again)
    done = _count(monkeypatch)
    assess(replace(site(), design_exceedance=0.1), grids=False, means=again)
    assert done
    done.clear()
    monkeypatch.setattr(fingerprint, "program", lambda: "another version")
    assess(site(), grids=False, means=again)
    assert sum(done) == len(site().receptors)


def test_the_mark_follows_whatever_findings_hang_on() -> None:
    plain = fingerprint.fingerprint(site())
    assert fingerprint.fingerprint(replace(site(), title="another title")) == plain
    moved = site().receptors.copy()
    moved.loc[3, "floors"] = 9
    far = site().piles.copy()
    far.geometry = far.geometry.translate(0.0, 0.001)
    changes: list[dict[str, Any]] = [{"receptors": moved}, {"piles": far}, {"choice": {"reflections": False}},
                                     {"programme": replace(site().programme, rigs=2)}]
    marks = {fingerprint.fingerprint(replace(site(), **change)) for change in changes}
    assert len(marks | {plain}) == 1 + len(changes)


def test_two_runs_on_one_folder_of_tiles(tmp_path: Path, of_size: Any) -> None:
    of_size(5)
    again = Means(cache=tmp_path / "tiles", resume=True)

    def another(text: str, _done: float) -> None:
        if text.startswith("receptors 6"):
            assert not different(assess(site(), grids=False, means=again), whole())
            kept.forget(site(), again)

    assert not different(assess(site(), another, grids=False, means=again), whole())


def test_a_full_disk_ends_the_run_with_finished_tiles_left(tmp_path: Path, of_size: Any,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    of_size(5)
    real, wrote = os.fsync, []

    def full(handle: int) -> None:
        wrote.append(handle)
        if len(wrote) > 1:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputFailure, match="No space left") as error:
        assess(site(), grids=False, means=Means(cache=tmp_path / "tiles"))
    assert error.value.exit_code == 3
    assert [path.name for path in (tmp_path / "tiles").rglob("*tile_*")] == ["tile_0_4"]


def test_a_folder_that_cannot_be_used_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputProblems, match="can't be used to keep tiles"):
        assess(site(), grids=False, means=Means(cache=tmp_path / "file", resume=True))


def _killed(_number: int, _rows: Any) -> Any:
    os.kill(os.getpid(), 9)


def test_a_killed_process_is_told(of_size: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    of_size(9)
    monkeypatch.setattr(processes, "_work", _killed)
    with pytest.raises(OutputFailure, match="ended from outside"):
        assess(site(), grids=False, means=Means(workers=2))
