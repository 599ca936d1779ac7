"""Reading raw traces from CSV: units, headings, spacing; and the demo's trace against its record."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from records_folder import RIVER_WALL

from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.monitoring.records.read import read_records
from envpredict.monitoring.signals.measures import row_of
from envpredict.monitoring.signals.read import read_trace_csv


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def lines(count: int = 50, head: str = "t_s,x_mm_s,z_mm_s") -> list[str]:
    return [head, *(f"{n / 500:.4f},{np.sin(n / 5):.4f},{np.cos(n / 5):.4f}" for n in range(count))]


def test_a_trace_is_read_with_its_units(tmp_path: Path) -> None:
    trace = read_trace_csv(write(tmp_path / "a.csv", "\n".join(lines())), "V1")
    assert trace.sampling_hz == pytest.approx(500.0)
    assert trace.measured.tolist() == [True, False, True]
    inches = read_trace_csv(write(tmp_path / "b.csv", "\n".join(lines(head="t_s,x_in_s,z_in_s"))))
    np.testing.assert_allclose(inches.velocity_mm_s[2], 25.4 * trace.velocity_mm_s[2])
    said = read_trace_csv(tmp_path / "a.csv", unit="um/s")
    np.testing.assert_allclose(said.velocity_mm_s[2], trace.velocity_mm_s[2] / 1000.0)


@pytest.mark.parametrize(("change", "where", "what"), [
    ((5, "0.0080,1.0"), "line 6", "2 values instead of 3"), ((5, "0.0080,,1.0"), "line 6", "is no number"),
    ((5, "0.0300,1.0,1.0"), "lines 6, 7", "aren't evenly spaced"),
    ((0, "t_s,x_m_s2,z_mm_s"), "line 1", "unknown heading"),
    ((0, "time,x_mm_s,z_mm_s"), "line 1", "unknown heading 'time'")])
def test_a_fault_is_named_with_its_line(tmp_path: Path, change: tuple[int, str], where: str, what: str) -> None:
    rows = lines()
    rows[change[0]] = change[1]
    with pytest.raises(InputProblems) as found:
        read_trace_csv(write(tmp_path / "a.csv", "\n".join(rows)))
    assert any(where in str(one) and what in str(one) for one in found.value.problems), str(found.value)


def test_what_cant_be_a_trace_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputProblems, match="can't be read"):
        read_trace_csv(tmp_path / "nothing.csv")
    with pytest.raises(InputProblems, match="fewer than two samples"):
        read_trace_csv(write(tmp_path / "a.csv", "t_s,z_mm_s\n0,1\n"))
    with pytest.raises(EnvpredictError, match="no unit of velocity"):
        read_trace_csv(tmp_path / "a.csv", unit="furlong")


def test_the_demos_trace_is_that_of_its_record() -> None:
    found = row_of(read_trace_csv(RIVER_WALL / "records" / "waveforms" / "V2_2027-11-01.csv", "V2"))
    rows = read_records(RIVER_WALL / "records").rows("vibration", "V2")
    strongest = int(np.argmax(rows.values["ppv_z_mm_s"]))
    for axis in "xyz":
        assert found[f"ppv_{axis}_mm_s"] == pytest.approx(rows.values[f"ppv_{axis}_mm_s"][strongest], abs=0.011)
    assert found["fdom_z_hz"] == pytest.approx(rows.values["fdom_z_hz"][strongest], abs=0.2)
