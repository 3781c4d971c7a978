"""Text and values from files: what a terminal would obey, and numbers beyond use."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe_calibration.plain_text import (
    check_letters,
    check_numbers,
    printable,
    shown_name,
)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Sätürn [1] 50 % 齿轮 ⚙️.jpg", "Sätürn [1] 50 % 齿轮 ⚙️.jpg"),
        ("a\x1b]0;title\x07.jpg", r"a\x1b]0;title\x07.jpg"),
        ("a\nb\rc\td", r"a\x0ab\x0dc\x09d"),
        ("gpj\u202egnp", r"gpj\u202egnp"),
        ("c1 \x9b31m", r"c1 \x9b31m"),
        ("not text \udcff", r"not text \xff"),
        ("half \ud83d", r"half \ud83d"),
    ],
)
def test_what_a_terminal_would_obey_is_spelt_out(text, shown):
    assert printable(text) == shown
    assert shown_name(Path("/folder") / text) == shown


@given(st.text())
def test_what_is_shown_can_be_written_and_obeys_nothing(text):
    shown = printable(text)
    shown.encode()
    assert printable(shown) == shown
    assert not any(c < " " or "\x7f" <= c < "\xa0" for c in shown)


@pytest.mark.parametrize(
    "data", [{"a": [{"b": "x\x1b[31m"}]}, {"a\x07": 1}, ["\udcff"], {"a": {"b\x00": 1}}]
)
def test_control_characters_are_refused(data):
    with pytest.raises(ValueError, match="control character"):
        check_letters(data)


@pytest.mark.parametrize("number", [1e300, -1e10, math.inf, math.nan, 10**400])
def test_numbers_beyond_use_are_refused(number):
    with pytest.raises(ValueError, match="b is beyond use"):
        check_numbers({"a": [1, {"b": number}]})


def test_what_honest_files_hold_is_let_through():
    data = {"a": [1, -2.5, None, True, "two\nlines\tÄ"], "b": {"c": 999_999_999}}
    check_letters(data)
    check_numbers(data)
