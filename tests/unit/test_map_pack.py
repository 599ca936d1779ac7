"""Numbers packed for the page come out as they went in, and no word can leave the script it stands in."""

from __future__ import annotations

import base64
import json
import math
import zlib
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from browser.synthetic import HOSTILE
from hypothesis import given
from hypothesis import strategies as st

from envpredict.outputs.map.pack import Block, script_json, small_steps, steps, three_digits, varints


def unfolded(data: bytes) -> list[int]:
    """Read numbers written seven bits a byte, written down apart from the code under test."""
    found, value, shift = [], 0, 0
    for byte in data:
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            found.append(value // 2 if value % 2 == 0 else -(value + 1) // 2)
            value, shift = 0, 0
    return found


@given(st.lists(st.integers(-2**31, 2**31 - 1), max_size=40))
def test_whole_numbers_survive(numbers: list[int]) -> None:
    assert unfolded(varints(numbers)) == numbers


def test_small_numbers_take_one_byte() -> None:
    assert len(varints([0, 63, -64])) == 3
    assert len(varints([64])) == 2


@given(st.floats(1e-8, 1e8))
def test_three_digits_are_those_that_python_prints(number: float) -> None:
    code = int(three_digits(number))
    shown = (code % 1000) * 10.0 ** (code // 1000 - 9 - 2)
    printed = float(f"{number:.2e}")    # three significant digits, by the language's own formatting
    # at an exact tie the two may round to neighbours
    tie = abs(shown - number) == pytest.approx(abs(printed - number), rel=1e-6)
    assert shown == pytest.approx(printed, rel=1e-9) or tie


def test_no_number_zero_and_what_is_no_level() -> None:
    assert three_digits([math.nan, 0.0, 1e-12, 9.996]).tolist() == [0, 1, 1, 10 * 1000 + 100]
    for bad in (-1.0, math.inf):
        with pytest.raises(ValueError, match="finite and not negative"):
            three_digits([bad])


def test_steps_round_and_mark_what_is_missing() -> None:
    assert steps([1.26, -1.24, math.nan, 1e9, -math.inf], 10).tolist() == [13, -12, -32768, 32767, -32767]
    assert small_steps([0.0496, 1.0, math.nan], 1000).tolist() == [50, 1000, 65535]


def test_a_block_gives_its_columns_back() -> None:
    block = Block()
    block.add("small", [1, 255], "u8")
    block.add("signed", [-300, 5], "i16")
    block.add_codes("codes", [0, 70_000])
    block.add_words("words", pd.Series(["b", None, "a", "b"]))
    raw = zlib.decompress(base64.b64decode(block.text()))
    kind, offset, count = block.index["signed"]
    assert (kind, offset % 4) == ("i16", 0)
    assert np.frombuffer(raw, "<i2", count, offset).tolist() == [-300, 5]
    kind, offset, count = block.index["codes"]
    assert kind == "u32"
    assert np.frombuffer(raw, "<u4", count, offset).tolist() == [0, 70_000]
    _, offset, count = block.index["words.words"]
    words = json.loads(raw[offset:offset + count])
    kind, offset, count = block.index["words"]
    assert [words[code] for code in np.frombuffer(raw, "u1", count, offset)] == ["b", "", "a", "b"]


def test_a_value_that_does_not_fit_is_refused() -> None:
    block = Block()
    with pytest.raises(ValueError, match="doesn't fit u8"):
        block.add("small", [256], "u8")
    block.add("small", [1], "u8")
    with pytest.raises(ValueError, match="there already"):
        block.add("small", [1], "u8")


class Scripts(HTMLParser):
    """What a browser's parser takes for elements and for the text of scripts."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("word", [*HOSTILE, "<!--<script>", "]]>", "\u2029"])
def test_no_word_leaves_its_script(word: str) -> None:
    written = script_json({"name": word, word: 1})
    assert not set("<>&\u2028\u2029") & set(written)
    assert json.loads(written) == {"name": word, word: 1}
    parser = Scripts()
    parser.feed(f'<script type="application/json">{written}</script>')
    assert parser.tags == ["script"]
    assert json.loads(parser.text) == {"name": word, word: 1}


def test_what_is_no_number_is_no_json() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        script_json({"x": math.nan})
