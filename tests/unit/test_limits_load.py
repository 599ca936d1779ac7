"""Reading limit sets: every problem of a file in one pass, each with its key and a remedy; nothing half accepted."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envpredict.core.errors import InputProblems, Problem, UnknownName
from envpredict.limits.load import load_limit_sets, parse_limit_set
from envpredict.limits.schema import LimitSet

GOOD = """
id = "own_2027"
title = "Condition of an invented consent"
document = "Consent (invented)"
body = "invented authority"
edition = "2027"
country = "INT"
status = "consent"

[sources.consent]
document = "Consent (invented)"
place = "condition 4"
basis = "read"

[classes]
home = "dwellings"

[[class_map]]
when = { use = "dwelling" }
class = "home"

[[rules]]
id = "ppv"
title = "vibration"
clause = "condition 4"
effect = "damage"
quantity = "ppv_component"
unit = "mm/s"
place = "foundation"
source = "consent"
[rules.value]
kind = "fixed"
shape = { between = "linear" }
rows = [{ class = "home", points = [[4, 5], [20, 13]] }]

[[rules]]
id = "noise"
title = "noise"
clause = "condition 5"
effect = "noise"
quantity = "laeq_db"
unit = "dB"
place = "facade"
source = "consent"
periods = [
  { id = "day", label = "day", from = "07:00", to = "19:00", averaging_s = 43200 },
  { id = "evening", label = "evening", from = "19:00", to = "23:00", averaging_s = 14400 },
]
[rules.value]
kind = "fixed"
rows = [{ class = "home", period = "day", level = 65 }, { class = "home", period = "evening", level = 55 }]
"""


def problems(text: str) -> list[Problem]:
    found = parse_limit_set(text, "own.toml")
    assert isinstance(found, list), "accepted"
    assert all(problem.where.startswith("own.toml") for problem in found)
    return found


def test_a_good_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(GOOD, encoding="utf-8")
    sets = load_limit_sets([path])
    assert sets["own_2027"].rule("noise").periods[1].end_s == 82_800
    assert len(sets) == len(load_limit_sets()) + 1
    assert "own_2027" not in load_limit_sets(), "a user's set must not stay in the shipped registry"


def test_several_faults_are_reported_in_one_pass() -> None:
    text = (
        GOOD.replace('title = "vibration"\n', "")
        .replace("[[4, 5], [20, 13]]", "[[20, 13], [4, 5]]")
        .replace('from = "19:00", to = "23:00"', 'from = "18:00", to = "23:00"')
        .replace('class = "home", period = "day"', 'class = "hme", period = "day"')
        .replace('unit = "dB"', 'unit = "mm/s"')
        .replace('country = "INT"', 'country = "Nowhere"')
        .replace('status = "consent"', 'status = "consent"\ncolour = "red"')
    )
    found = {problem.where: problem for problem in problems(text)}
    expected = {
        "rules[ppv].title": "missing",
        "rules[ppv].value.rows[1].points": "frequencies don't increase",
        "rules[noise].periods": "overlap on mon",
        "rules[noise].value.rows[1].class": "unknown class 'hme'",
        "rules[noise].unit": "doesn't belong to laeq_db",
        "country": "pattern",
        "colour": "unknown key",
    }
    for key, what in expected.items():
        assert f"own.toml: {key}" in found, (key, sorted(found))
        assert what in found[f"own.toml: {key}"].what
    assert len(found) == len(expected)
    assert "did you mean 'home'" in found["own.toml: rules[noise].value.rows[1].class"].hint
    assert "write 'dB'" in found["own.toml: rules[noise].unit"].hint


# one fault each: what is changed, where it is reported, and what is said
CASES: list[tuple[str, Callable[[str], str], str, str]] = [
    ("gap", lambda t: t.replace('from = "19:00", to = "23:00"', 'from = "19:30", to = "23:00"'), "rules[noise].periods",
     "nothing covers 19:00 to 19:30"),
    ("period twice", lambda t: t.replace('id = "evening"', 'id = "day"'), "rules[noise].periods", "given twice"),
    ("clock", lambda t: t.replace('to = "23:00"', 'to = "23 Uhr"'), "rules[noise].periods[evening].to",
     "no clock time"),
    ("day", lambda t: t.replace('label = "day",', 'label = "day", days = ["monday"],'),
     "rules[noise].periods[day].days[1]", "'monday'"),
    ("unknown period", lambda t: t.replace('period = "evening"', 'period = "night"'), "rules[noise].value",
     "unknown period 'night'"),
    ("quantity", lambda t: t.replace('"laeq_db"', '"laeq"'), "rules[noise].quantity", "unknown quantity 'laeq'"),
    ("place", lambda t: t.replace('place = "facade"', 'place = "outdoors"'), "rules[noise].place", "unknown place"),
    ("source", lambda t: t.replace('place = "facade"\nsource = "consent"', 'place = "facade"\nsource = "consnt"'),
     "rules[noise].source", "unknown source 'consnt'"),
    ("no source", lambda t: t.replace('place = "facade"\nsource = "consent"', 'place = "facade"'),
     "rules[noise].source", "missing"),
    ("basis", lambda t: t.replace('basis = "read"', 'basis = "seen"'), "sources.consent.basis", "'seen'"),
    ("kind", lambda t: t.replace('kind = "fixed"\nshape', 'kind = "fix"\nshape'), "rules[ppv].value", "'fix'"),
    ("level and points", lambda t: t.replace("points = [[4, 5], [20, 13]]", "level = 5, points = [[4, 5], [20, 13]]"),
     "rules[ppv].value.rows[1]", "either a level or points"),
    ("no shape", lambda t: t.replace("shape = { between = \"linear\" }\n", ""), "rules[ppv].value", "need a shape"),
    ("negative", lambda t: t.replace("[4, 5]", "[4, -5]"), "rules[ppv].value.rows[1].points[1][2]", "greater than 0"),
    ("not a number", lambda t: t.replace("[4, 5]", "[4, nan]"), "rules[ppv].value.rows[1].points[1][2]", "finite"),
    ("text for number", lambda t: t.replace("level = 65", 'level = "65"'), "rules[noise].value.rows[1].level",
     "valid number"),
    ("two answers", lambda t: t.replace('period = "evening", level', 'period = "day", level'),
     "rules[noise].value.rows", "two rows answer"),
    ("two rules", lambda t: t.replace('id = "noise"', 'id = "ppv"'), "rules", "two rules are called 'ppv'"),
    ("fact", lambda t: t.replace("use = \"dwelling\"", 'usage = "dwelling"'), "class_map[1].when",
     "unknown fact 'usage'"),
    ("word", lambda t: t.replace("use = \"dwelling\"", 'use = "house"'), "class_map[1].when",
     "unknown word for use 'house'"),
    ("class of a row", lambda t: t.replace('class = "home"\n\n[[rules]]', 'class = "house"\n\n[[rules]]', 1),
     "class_map[1].class", "unknown class 'house'"),
    ("reason", lambda t: t.replace('class = "home"\n\n[[rules]]', 'class = "none"\n\n[[rules]]', 1),
     "class_map[1].reason", "needs a reason"),
    ("no classes", lambda t: t.replace('[classes]\nhome = "dwellings"\n', "").replace('"home"', '"any"').replace(
        'class = "any"\n', 'class = "none"\nreason = "x"\n'), "set", "needs classes"),
    ("endless step", lambda t: t.replace('between = "linear"', 'between = "stepped"'), "rules[ppv].value",
     "has no end"),
    ("log from zero", lambda t: t.replace('between = "linear"', 'between = "loglog"').replace("[4, 5]", "[0, 5]"),
     "rules[ppv].value", "can't start at 0 Hz"),
    ("displacement", lambda t: t.replace('between = "linear"', 'between = "linear", below = "displacement"'),
     "rules[ppv].value.shape", "need each other"),
    ("days", lambda t: t.replace('period = "day", level', 'period = "day", over_days = 9, to_days = 9, level'),
     "rules[noise].value.rows[1].to_days", "does not lie above"),
    ("effect", lambda t: t.replace('effect = "noise"', 'effect = "sound"'), "rules[noise].effect", "'sound'"),
]


@pytest.mark.parametrize(("change", "key", "what"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_one_fault_is_named_with_its_key(change: Callable[[str], str], key: str, what: str) -> None:
    text = change(GOOD)
    assert text != GOOD
    found = problems(text)
    assert [problem.where for problem in found] == [f"own.toml: {key}"], found
    assert what in found[0].what


@pytest.mark.parametrize(("text", "what"), [
    ("id = ", "not valid TOML"), ("sources = 3\n" + GOOD.replace("[sources.consent]", "[other.consent]"), "tables"),
    ("", "missing"),
])
def test_files_that_are_no_limit_set(text: str, what: str) -> None:
    assert any(what in problem.what for problem in problems(text))


def test_a_factor_needs_a_value_for_every_class_of_its_axis() -> None:
    text = resources.files("envpredict.limits").joinpath("sets/ss_025211_1999.toml").read_text(encoding="utf-8")
    short = parse_limit_set(text.replace("{ soil = 9, till = 12, rock = 15 }", "{ soil = 9, till = 12 }"), "own.toml")
    assert isinstance(short, list)
    assert [problem.where for problem in short] == ["own.toml: rules[piling].value.factors[1].values"]
    assert "no value for class 'rock'" in short[0].what
    wrong = parse_limit_set(text.replace('axis = "material"', 'axis = "stuff"'), "own.toml")
    assert isinstance(wrong, list)
    assert "unknown axis 'stuff'" in wrong[0].what


def test_user_files_are_reported_together(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(GOOD.replace('country = "INT"', ""), encoding="utf-8")
    (tmp_path / "b.toml").write_text(GOOD.replace("own_2027", "bs_7385_2_1993"), encoding="utf-8")
    (tmp_path / "c.toml").write_bytes(b"\xff\xfe\x00")
    names = [tmp_path / name for name in ("a.toml", "b.toml", "c.toml", "missing.toml")]
    with pytest.raises(InputProblems) as caught:
        load_limit_sets(names)
    said = [str(problem) for problem in caught.value.problems]
    assert len(said) == 4
    assert said[0].startswith("a.toml: country: missing")
    assert "exists already" in said[1]
    assert "UTF-8" in said[2]
    assert "can't be read" in said[3]
    assert caught.value.exit_code == 2


def test_an_unknown_set_offers_the_nearest() -> None:
    with pytest.raises(UnknownName, match="did you mean 'din_4150_3_1999'"):
        load_limit_sets()["din_4150_3_1989"]


def _places(node: Any, place: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    found = [place] if place else []
    for key, child in items:
        found += _places(child, (*place, key))
    return found


def _toml(node: Any) -> str:
    if isinstance(node, dict):
        return "{" + ", ".join(f'"{key}" = {_toml(value)}' for key, value in node.items()) + "}"
    if isinstance(node, list):
        return "[" + ", ".join(map(_toml, node)) + "]"
    if isinstance(node, bool):
        return str(node).lower()
    if isinstance(node, str):
        return '"' + node.encode("unicode_escape").decode().replace('"', '\\"').replace("\\x", "\\u00") + '"'
    return repr(node)


SHIPPED = resources.files("envpredict.limits").joinpath("sets")
RAW = {name: tomllib.loads(SHIPPED.joinpath(f"{name}.toml").read_text(encoding="utf-8"))
       for name in ("bs_5228_1_2009", "din_4150_3_1999", "ss_025211_1999", "hk_piling_noise", "nl_bouwbesluit_2012",
                    "de_avv_baulaerm_1970")}


@settings(max_examples=250, deadline=None)
@given(st.data())
def test_any_single_change_is_read_or_reported_and_never_raises(data: st.DataObject) -> None:
    raw = tomllib.loads("\n".join(f'"{key}" = {_toml(value)}' for key, value in
                                  RAW[data.draw(st.sampled_from(sorted(RAW)))].items()))
    place = data.draw(st.sampled_from(_places(raw)))
    node = raw
    for key in place[:-1]:
        node = node[key]
    node[place[-1]] = data.draw(st.sampled_from([0, -1, 1.5, "", "x", True, [], {}, [[1]], {"a": 1}, ["none"], [{}]]))
    found = parse_limit_set("\n".join(f'"{key}" = {_toml(value)}' for key, value in raw.items()), "own.toml")
    if isinstance(found, list):
        assert found
        assert all(problem.where and problem.what for problem in found)
    else:
        assert isinstance(found, LimitSet)
