"""Notes beside a reading: what they say comes back, and what is not theirs is no note."""

import pytest

from cogloupe.reading.provenance import (
    Mark,
    Refused,
    Stamp,
    is_logged,
    is_whole,
    load_mark,
    load_refused,
    mark_bytes,
    note_logged,
    note_refused,
)

MARK = Mark("1" * 64, Stamp("/pictures/a \udcff.jpg", 5, 6), "0.1 {}", {"reading.json": 3})


def test_a_mark_comes_back_as_it_was(tmp_path):
    (tmp_path / ".cogloupe.json").write_bytes(mark_bytes(MARK))
    assert load_mark(tmp_path) == MARK


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "null", '{"stamp": 3}', '{"stamp": {"a": 1}}', "[" * 90_000]
)
def test_what_is_no_mark_is_none(tmp_path, text):
    (tmp_path / ".cogloupe.json").write_text(text)
    assert load_mark(tmp_path) is None


def test_a_reading_is_whole_while_every_file_has_its_size(tmp_path):
    assert not is_whole(tmp_path, MARK)
    (tmp_path / "reading.json").write_text("abc")
    assert is_whole(tmp_path, MARK)
    (tmp_path / "reading.json").write_text("ab")
    assert not is_whole(tmp_path, MARK)


def test_a_refusal_comes_back_in_one_line_each(tmp_path):
    note_refused(tmp_path / "new", Refused("a\nb.jpg", "1", "{}", "no\ngear", "Traceback\n  x"))
    assert load_refused(tmp_path / "new") == Refused(r"a\x0ab.jpg", "1", "{}", r"no\x0agear")
    assert (tmp_path / "new" / "not-read.txt").read_text().endswith("Traceback\n  x")


def test_logs_are_noted_each_once(tmp_path):
    assert not is_logged(tmp_path)
    for log in ("a.toml", "b.toml", "a.toml"):
        note_logged(tmp_path, [tmp_path / log])
    assert is_logged(tmp_path)
    lines = (tmp_path / "logged.txt").read_text().splitlines()
    assert lines[1:] == [str(tmp_path / "a.toml"), str(tmp_path / "b.toml")]
