"""Reading records: stamps, units, column maps, flags; every fault with its file and line, nothing filled or guessed."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from records_folder import LOG, MONDAY, NOISE, VIBRATION, noise_rows, plan, vibration_rows, write

from envpredict.core.errors import EnvpredictError, InputProblems
from envpredict.monitoring.records import flags as flag
from envpredict.monitoring.records.columns import TABLES, UNITS
from envpredict.monitoring.records.context import context
from envpredict.monitoring.records.read import convert, read_records
from envpredict.monitoring.records.stamps import GOOD, MALFORMED, NO_OFFSET, iso, parse_iso

NINE = MONDAY.replace(hour=9)


def problems(folder: Path) -> str:
    with pytest.raises(InputProblems) as found:
        read_records(folder)
    return str(found.value)


@settings(deadline=None)
@given(st.datetimes(datetime(1950, 1, 1), datetime(2150, 1, 1)), st.integers(-14 * 60, 14 * 60))
def test_stamps_are_read_as_the_standard_library_reads_them(moment: datetime, minutes: int) -> None:
    sign = "-" if minutes < 0 else "+"
    text = f"{moment.replace(microsecond=0).isoformat()}{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
    millis, codes = parse_iso([text])
    assert codes[0] == GOOD
    assert millis[0] == round(datetime.fromisoformat(text).timestamp()) * 1000
    assert datetime.fromisoformat(iso(millis[0])) == datetime.fromisoformat(text).astimezone(UTC)


@pytest.mark.parametrize(("text", "code"), [
    ("2027-03-28T01:30:00Z", GOOD), ("2027-03-28 01:30+01:00", GOOD), ("2027-03-28T01:30:00.250+0100", GOOD),
    ("2027-03-28T01:30:00", NO_OFFSET), ("2027-03-28 01:30", NO_OFFSET),
    ("2027-02-29T01:30:00Z", MALFORMED), ("2027-03-28", MALFORMED), ("28.03.2027 01:30", MALFORMED), ("", MALFORMED),
    ("2027-03-28T24:00:00Z", MALFORMED), ("2027-03-28T01:60:00Z", MALFORMED), ("2027-03-28T01:30:00+25:00", MALFORMED),
    ("2027-13-01T01:30:00Z", MALFORMED), ("2027-03-28T01:30:00é", MALFORMED), ("2027-03-28T01:30:00Zulu", MALFORMED)])
def test_what_counts_as_a_stamp(text: str, code: int) -> None:
    assert parse_iso([text])[1][0] == code


def test_sound_records_are_read_row_by_row(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, [61.5, 62.5, 63.0])])
    records = read_records(tmp_path)
    rows = records.rows("noise", "N1")
    assert records.station_ids("noise") == ("N1",)
    assert records.count() == len(rows) == 3
    assert rows.values["laeq_db"].tolist() == [61.5, 62.5, 63.0]
    assert [iso(one) for one in rows.start] == ["2027-03-01T09:00:00Z", "2027-03-01T09:05:00Z", "2027-03-01T09:10:00Z"]
    assert (rows.end - rows.start).tolist() == [300_000] * 3
    assert rows.where(1) == "noise.csv, line 3"
    assert not records.notes
    assert records.extent() == (int(rows.start[0]), int(rows.end[-1]))


def test_raw_files_are_never_altered(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, [61.5, 0, 200.0]), "N1,2027-03-01T09:15:00Z,300,63"], log=[LOG])
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    rows = read_records(tmp_path).rows("noise", "N1")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    # the values stand as they came, flagged, nothing in their place
    assert rows.values["laeq_db"].tolist() == [61.5, 0.0, 200.0, 63.0]
    assert [flag.words(int(one)) for one in rows.flags] == [[], ["filler"], ["implausible"], []]


def test_every_fault_is_named_in_one_pass_with_file_and_line(tmp_path: Path) -> None:
    write(tmp_path, noise=[
        "station_id,t_start,duration_s,laeq_db,overload,status",
        "N1,2027-03-01T09:00:00Z,300,61,0,",
        "N1,2027-03-01T09:05:00,300,61,0,",
        "N1,01/03/2027 09:10,300,61,0,",
        "N1,2027-03-01T09:15:00Z,300,61 dB(A),0,",
        "N1,2027-03-01T09:20:00Z,0,61,0,",
        "N1,2027-03-01T09:25:00Z,300,sixty,0,",
        "N1,2027-03-01T09:30:00Z,300,61,perhaps,",
        "N1,2027-03-01T09:35:00Z,300,61,0,asleep",
        "N1,2027-03-01T09:40:00Z,300",
        ",2027-03-01T09:45:00Z,300,61,0,",
        "N1,2027-03-01T09:50:00Z,300,inf,0,"],
        stations=["station_id,kind", "N1,noise", "N1,noise"])
    text = problems(tmp_path)
    for line, what in ((3, "without an offset from UTC"), (4, "'01/03/2027 09:10' under t_start is no time"),
                       (5, "carries a unit of its own"), (6, "isn't above 0"),
                       (7, "'sixty' under laeq_db is no number"),
                       (8, "'perhaps' under overload is neither yes nor no"), (9, "unknown status 'asleep'"),
                       (10, "3 values instead of 6"), (11, "no station"), (12, "an infinite number")):
        assert any(f"noise.csv, line {line}:" in row and what in row for row in text.splitlines()), (line, what, text)
    assert "stations.csv, lines 2, 3: two stations are called 'N1'" in text


def test_alike_faults_are_one_problem_that_tells_how_many(tmp_path: Path) -> None:
    rows = [row.replace("+00:00", "") for row in noise_rows(NINE, [60.0] * 40)]
    write(tmp_path, noise=[NOISE, *rows])
    assert "noise.csv, lines 2, 3, 4, 5, 6 and 35 more: time stamps under t_start without" in problems(tmp_path)


@pytest.mark.parametrize(("head", "what"), [
    ("station_id,t_start,duration_s,laeq", "did you mean 'laeq_db'?"),
    ("station_id,t_start,duration_s,laeq_db,laeq_db", "heading 'laeq_db' stands twice"),
    ("station_id,t_start,laeq_db", "the length of the intervals isn't stated"),
    ("station_id,t_start,t_end,duration_s,laeq_db", "both t_start and t_end are given"),
    ("t_start,duration_s,laeq_db", "no column station_id"),
    ("station_id,t_start,duration_s,wind_m_s", "no column laeq_db or"),
    ("", "no column station_id")])
def test_headings_that_cant_be_used_are_named(tmp_path: Path, head: str, what: str) -> None:
    write(tmp_path, noise=[head, "a,b,c,d"])
    assert what in problems(tmp_path)


def test_a_last_line_without_an_end_is_left_out_and_named(tmp_path: Path) -> None:
    text = "\n".join([NOISE, *noise_rows(NINE, [61.0, 62.0, 63.5])])
    write(tmp_path, noise=text[:-2])
    records = read_records(tmp_path)
    # 63.5 was cut to 63, which nobody could tell from a whole value
    assert records.rows("noise", "N1").values["laeq_db"].tolist() == [61.0, 62.0]
    assert [str(note).split(" -> ")[0] for note in records.notes] == [
        "noise.csv, line 4: the last line has no end and may be cut: left out"]


def test_notes_name_what_was_flagged(tmp_path: Path) -> None:
    write(tmp_path, vibration=[VIBRATION, *vibration_rows(NINE, [0.3, 250.0, 0.2]),
                               "V1,2027-03-01T09:00:30Z,10,1,1,1,,,,1,", "V1,2027-03-01T09:00:40Z,10,,,,,,,0,",
                               "V1,2027-03-01T09:00:50Z,10,1,1,1,,,,0,under_range"])
    said = [str(note) for note in read_records(tmp_path).notes]
    assert any("line 3: outside what can be a reading" in note for note in said)
    assert any("line 5: clipped" in note for note in said)
    assert any("line 6: no level at all" in note for note in said)
    assert any("line 7: below what the instrument can measure" in note for note in said)


def test_an_export_of_another_form_is_read_by_its_map(tmp_path: Path) -> None:
    # another delimiter, decimal commas, ends of intervals, local time, inches, the logger's own names and words
    write(tmp_path, records="""
        [[vibration]]
        file = "export_*.csv"
        delimiter = ";"
        decimal = ","
        skip_lines = 2
        encoding = "cp1252"
        time_format = "%d.%m.%Y %H:%M:%S"
        time_zone = "Europe/London"
        duration_s = 60
        station = "V1"
        missing = ["---"]
        columns = { t_end = "Zeit", ppv_z_mm_s = "vert", fdom_z_hz = "f vert", status = "Zustand" }
        units = { ppv_z_mm_s = "in/s" }
        status = { "in Ordnung" = "ok", "übersteuert" = "overload" }
        """)
    (tmp_path / "export_a.csv").write_bytes("\r\n".join([
        "Gerät 7", "", "Zeit;vert;f vert;Notiz;Zustand", "01.07.2027 10:01:00;0,10;12,5;x;in Ordnung",
        "01.07.2027 10:02:00;---;---;y;in Ordnung", "01.07.2027 10:03:00;0,20;8,0;;übersteuert", ""]).encode("cp1252"))
    records = read_records(tmp_path)
    rows = records.rows("vibration", "V1")
    assert rows.values["ppv_z_mm_s"].tolist() == pytest.approx([2.54, np.nan, 5.08], nan_ok=True)
    assert [iso(one) for one in rows.start] == ["2027-07-01T09:00:00Z", "2027-07-01T09:01:00Z", "2027-07-01T09:02:00Z"]
    assert [flag.words(int(one)) for one in rows.flags] == [[], ["empty"], ["overload"]]
    assert rows.where(2) == "export_a.csv, line 6"
    assert any("not read: Notiz" in str(note) for note in records.notes)


@pytest.mark.parametrize("table", [name for name in TABLES if TABLES[name].streamed])
def test_every_column_can_be_given_in_its_other_units(table: str) -> None:
    for column in TABLES[table].columns:
        if column.kind == "number":
            assert UNITS.get(column.unit, {column.unit: 1.0})[column.unit] == 1.0


def test_clock_times_that_happen_twice_or_never_are_refused(tmp_path: Path) -> None:
    write(tmp_path, records="""
        [[noise]]
        file = "n.csv"
        station = "N1"
        duration_s = 300
        time_zone = "Europe/London"
        columns = { t_start = "t", laeq_db = "L" }
        """)
    (tmp_path / "n.csv").write_text("t,L\n2027-03-28T01:30:00,60\n2027-10-31T01:30:00,61\n2027-10-31T03:30:00,62\n")
    text = problems(tmp_path)
    assert "n.csv, line 2: 2027-03-28T01:30:00 in Europe/London never happens" in text
    assert "n.csv, line 3: 2027-10-31T01:30:00 in Europe/London happens twice" in text
    assert "line 4" not in text


@pytest.mark.parametrize(("text", "what"), [
    ('[[noise]]\nfile = "n.csv"\ncolumns = { laeq = "L" }\n', "did you mean 'laeq_db'?"),
    ('[[noise]]\nfile = "n.csv"\nunits = { wind_m_s = "furlong" }\n', "'furlong' can't be turned into m/s"),
    ('[[noise]]\nfile = "n.csv"\nstatus = { bad = "broken" }\n', "unknown status 'broken'"),
    ('[[noise]]\nfile = "n.csv"\ntime_zone = "Mars"\n', "unknown time zone 'Mars'"),
    ('[[noise]]\nfile = "n.csv"\noffset = "1h"\n', "is no offset from UTC"),
    ('[[noise]]\nfile = "n.csv"\noffset = "Z"\ntime_zone = "Etc/UTC"\n', "exclude each other"),
    ('[[noise]]\nfile = "nothing_*.csv"\n', "no file 'nothing_*.csv'"),
    ('[[noise]]\nfiles = "n.csv"\n', "did you mean 'file'?"),
    ("[[noise]\n", "can't be read")])
def test_a_map_with_a_fault_is_named(tmp_path: Path, text: str, what: str) -> None:
    write(tmp_path, records=text)
    (tmp_path / "n.csv").write_text(NOISE + "\n")
    assert what in problems(tmp_path)


@pytest.mark.parametrize(("row", "what"), [
    ("2027-03-01T09:00:00Z,restart,V1,,,,,,", "nobody is named"),
    ("2027-03-01T09:00:00Z,restart,,,someone,,,,", "names neither the stop nor its station"),
    ("2027-03-01T09:00:00Z,excluded,N1,,someone,,2027-03-01T09:00:00Z,,why", "without a span and a reason"),
    ("2027-03-01T09:00:00Z,field_check,N1,,someone,,,,", "without its value or station"),
    ("2027-03-01T09:00:00Z,restrat,V1,,someone,,,,", "did you mean 'restart'?"),
    ("2027-03-01T09:00:00,note,V1,,someone,,,,", "has no offset from UTC"),
    ("2027-03-01T09:00:00Z,note,V1,,someone,loud,,,", "'loud' under value is no number")])
def test_a_log_with_a_fault_is_named(tmp_path: Path, row: str, what: str) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, [60.0])], log=[LOG, row])
    text = problems(tmp_path)
    assert "log.csv, line 2" in text
    assert what in text


def test_a_diary_with_a_fault_is_named(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, [60.0])], works=[
        "t_start,t_end,method,depth_to_m", "2027-03-01T10:00:00Z,2027-03-01T09:00:00Z,press,1",
        "2027-03-01T10:00:00Z,,press,1", "2027-03-01T10:00:00Z,2027-03-01T11:00:00Z,press,-1", "a,b"])
    text = problems(tmp_path)
    for line, what in ((2, "t_end lies before t_start"), (3, "start or end is missing"), (4, "can't be"),
                       (5, "2 values instead of 4")):
        assert any(f"works.csv, line {line}" in row and what in row for row in text.splitlines()), text


def test_stations_must_be_the_plans(tmp_path: Path) -> None:
    write(tmp_path, noise=[NOISE, *noise_rows(NINE, [60.0], station="N7"), *noise_rows(NINE, [60.0], station="V1")],
          log=[LOG, "2027-03-01T09:00:00Z,note,V77,,someone,,,,"])
    with pytest.raises(InputProblems) as found:
        context(plan(), read_records(tmp_path))
    text = str(found.value)
    assert "noise, station 'N7': isn't among the plan's stations" in text
    assert "noise, station 'V1': is a vibration station in the plan" in text
    assert "log.csv, line 2: 'V77' isn't among the plan's stations" in text
    with pytest.raises(InputProblems, match="states no time zone"):
        context(plan(clock={"time_zone": None}), read_records(tmp_path))


def test_folders_without_records_are_named(tmp_path: Path) -> None:
    with pytest.raises(EnvpredictError, match="no records at"):
        read_records(tmp_path / "nowhere")
    assert "holds no readings" in problems(tmp_path)
    write(tmp_path, noise=[NOISE])
    (tmp_path / "noise.csv.gz").write_bytes(gzip.compress(b"x"))
    assert "noise.csv, noise.csv.gz hold the same table" in problems(tmp_path)


def test_packed_files_are_read(tmp_path: Path) -> None:
    lines = "\n".join([NOISE, *noise_rows(NINE, [60.0, 61.0])]) + "\n"
    (tmp_path / "noise.csv.gz").write_bytes(gzip.compress(lines.encode()))
    assert read_records(tmp_path).rows("noise", "N1").values["laeq_db"].tolist() == [60.0, 61.0]


def test_quoted_cells_and_blank_lines_are_read(tmp_path: Path) -> None:
    rows = noise_rows(NINE, [60.0, 61.0])
    write(tmp_path, noise=[NOISE + ",status", f'"N1",{rows[0].partition(",")[2]},"ok"', "", rows[1] + ","])
    found = read_records(tmp_path).rows("noise", "N1")
    assert found.values["laeq_db"].tolist() == [60.0, 61.0]
    assert found.line.tolist() == [2, 4]


def test_parquet_holds_the_same_rows(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    write(tmp_path / "raw", noise=[NOISE, *noise_rows(NINE, [60.0, 0, 61.0])], log=[LOG],
          vibration=[VIBRATION, *vibration_rows(NINE, [0.1, 0.4]), *vibration_rows(NINE, [0.2], station="V1f")],
          records='title = "t"\nholidays = [2027-03-05]\n')
    (tmp_path / "store").mkdir()
    assert convert(tmp_path / "raw", tmp_path / "store") == 6
    raw, kept = read_records(tmp_path / "raw"), read_records(tmp_path / "store")
    assert kept.count() == raw.count() == 6
    assert kept.extent() == raw.extent()
    assert kept.settings == raw.settings
    for table, station in (("noise", "N1"), ("vibration", "V1"), ("vibration", "V1f")):
        mine, theirs = raw.rows(table, station), kept.rows(table, station)
        for name in ("start", "end", "flags", "line"):
            assert getattr(mine, name).tolist() == getattr(theirs, name).tolist()
        assert set(mine.values) == set(theirs.values)
        for name, values in mine.values.items():
            np.testing.assert_array_equal(values, theirs.values[name])
        assert mine.where(0) == theirs.where(0)


def test_a_parquet_file_of_the_users_own_is_read_and_checked(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    times = pd.date_range("2027-03-01T09:00", periods=3, freq="5min", tz="Europe/London")
    frame = pd.DataFrame({"station_id": "N1", "t_start": times, "duration_s": 300, "laeq_db": [60.0, None, 62.0]})
    frame.to_parquet(tmp_path / "noise.parquet")
    rows = read_records(tmp_path).rows("noise", "N1")
    assert rows.values["laeq_db"].tolist() == pytest.approx([60.0, np.nan, 62.0], nan_ok=True)
    assert iso(rows.start[0]) == "2027-03-01T09:00:00Z"
    frame.assign(t_start=times.tz_localize(None)).to_parquet(tmp_path / "noise.parquet")
    assert "without an offset from UTC" in problems(tmp_path)
    frame.assign(laeq_db="loud").to_parquet(tmp_path / "noise.parquet")
    assert "column laeq_db has type" in problems(tmp_path)
    (tmp_path / "noise.parquet").write_bytes(b"PAR1 no parquet")
    assert "can't be read" in problems(tmp_path)


def test_a_conversion_with_a_fault_leaves_nothing_usable(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    write(tmp_path / "raw", noise=[NOISE, *noise_rows(NINE, [60.0]), "N1,yesterday,300,60"])
    (tmp_path / "store").mkdir()
    with pytest.raises(InputProblems, match="yesterday"):
        convert(tmp_path / "raw", tmp_path / "store")
    with pytest.raises(InputProblems, match="holds no readings"):
        read_records(tmp_path / "store")
