"""The log of attempts: what is read, what is added, what stays."""

import datetime
import tomllib
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.comparing.attempts import find_reading, gather
from cogloupe.comparing.trials import (
    append_trials,
    load_trials,
    make_trial,
    parse_trials,
    place_of,
    seen_from,
    trial_text,
)
from cogloupe.reading.files import reading_json
from cogloupe_calibration.errors import UseError

from ..helpers.report_examples import example_reading

DAY = datetime.date(2026, 3, 14)
LINES = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=60).map(str.strip)


@pytest.fixture
def shop(tmp_path):
    """Three readings in folders of their own, and the place of a log."""
    for k in (1, 2, 3):
        folder = tmp_path / f"cut-{k}"
        folder.mkdir()
        made = example_reading(file=f"saturn {k}.jpg")
        (folder / "reading.json").write_text(reading_json(made), "utf-8")
    return tmp_path


def logged(shop, *numbers, changed="", note=""):
    paths = [shop / f"cut-{k}" for k in numbers]
    return gather(paths, shop / "trials.toml", changed, note, DAY)


@given(changed=LINES, note=LINES)
def test_an_entry_reads_back_as_it_was_said(changed, note):
    trial = make_trial(DAY, "cut-1/reading.json", changed, note)
    assert parse_trials(trial_text(trial), "log") == (trial,)


def test_what_stands_in_the_log_stays_when_an_attempt_is_added(tmp_path):
    log = tmp_path / "trials.toml"
    by_hand = '# my notes\n[[trial]]\ndate = 2026-03-01   # Sunday\nreading = "a/reading.json"'
    log.write_text(by_hand, "utf-8")
    append_trials(log, lambda _: [make_trial(DAY, "b/reading.json", "belt tightened")])
    assert log.read_text("utf-8").startswith(by_hand + "\n")
    assert [trial.changed for trial in load_trials(log)] == ["", "belt tightened"]
    assert tomllib.loads(log.read_text("utf-8"))["trial"][1]["date"] == DAY


def test_a_log_that_is_not_there_is_empty(tmp_path):
    assert load_trials(tmp_path / "trials.toml") == ()


def test_lines_end_as_they_did_and_a_link_stays_a_link(tmp_path):
    kept = tmp_path / "kept" / "log.toml"
    kept.parent.mkdir()
    by_hand = b'# mine\r\n[[trial]]\r\ndate = 2026-03-01\r\nreading = "a/reading.json"\r\n'
    kept.write_bytes(by_hand)
    log = tmp_path / "trials.toml"
    log.symlink_to(kept)
    append_trials(log, lambda _: [make_trial(DAY, "b/reading.json", "belt tightened")])
    assert log.is_symlink()
    assert kept.read_bytes().startswith(by_hand)
    assert kept.read_bytes().count(b"\r\n") == kept.read_bytes().count(b"\n")
    assert len(load_trials(log)) == 2


def test_writers_at_once_lose_no_entry(tmp_path):
    log = tmp_path / "trials.toml"

    def write(k):
        append_trials(log, lambda _: [make_trial(DAY, f"{k}/reading.json", f"change {k}")])

    with ThreadPoolExecutor(8) as writers:
        list(writers.map(write, range(24)))
    assert sorted(int(trial.reading.split("/")[0]) for trial in load_trials(log)) == [*range(24)]
    assert {path.name for path in tmp_path.iterdir()} == {"trials.toml", ".trials.toml.lock"}


def test_a_log_of_a_later_program_is_refused_and_left_as_it_is(tmp_path):
    log = tmp_path / "trials.toml"
    log.write_text('schema_version = "2.0"\n')
    with pytest.raises(UseError, match=r"has schema version 2\.0, this program reads 1\.0"):
        append_trials(log, lambda _: [make_trial(DAY, "a", "b")])
    assert log.read_text() == 'schema_version = "2.0"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[trial]]\ndate = 2026-03-14", "trial 1: reading is missing"),
        ("[[trial]]\nreading = 'a'\ndate = 'then'", "trial 1: date = 'then' will not do"),
        ("[[trial]]\nreading = 'a'\ndate = 2026-03-14\nchange = 'x'", "change is not known"),
        ("[trial]\nreading = 'a'", "begin each attempt with"),
        ("attempts = 3", "attempts is not known here"),
        ("[[trial]", "line 1: .* cannot be read"),
    ],
)
def test_a_wrong_log_is_answered_in_one_line(text, says):
    with pytest.raises(UseError, match=says) as caught:
        parse_trials(text, "trials.toml")
    assert "\n" not in str(caught.value)


def test_more_than_one_line_of_change_is_refused():
    with pytest.raises(UseError, match="one line"):
        make_trial(DAY, "a", "belt\ntightened")


@pytest.mark.parametrize(("text", "repeats"), [("Nothing.", True), ("nothing", True), ("", False)])
def test_a_repeat_is_told_by_its_word(text, repeats):
    assert make_trial(DAY, "a", text).repeats is repeats


def test_a_reading_is_named_as_seen_from_the_log(shop):
    log, reading = shop / "notes" / "trials.toml", shop / "cut-1" / "reading.json"
    log.parent.mkdir()
    seen = seen_from(log, reading)
    assert seen == "../cut-1/reading.json"
    assert place_of(log, make_trial(DAY, seen)) == reading.resolve()


def test_what_was_changed_is_logged_for_the_last_reading_only(shop):
    found = logged(shop, 1, 2, changed="pull-ups fitted", note="4.7 kΩ")
    assert [a.trial.changed for a in found] == ["", "pull-ups fitted"]
    assert found[1].trial.note == "4.7 kΩ"
    assert found[1].trial.date == DAY


def test_one_reading_is_put_behind_those_of_the_log(shop):
    logged(shop, 1, 2, changed="pull-ups fitted")
    found = logged(shop, 3, changed="nothing")
    assert [a.label for a in found] == ["saturn 1", "saturn 2", "saturn 3"]
    assert [a.trial.repeats for a in found] == [False, False, True]


def test_saying_the_same_twice_logs_it_once(shop):
    logged(shop, 1, 2, changed="pull-ups fitted")
    logged(shop, 1, 2, changed="pull-ups fitted")
    assert len(load_trials(shop / "trials.toml")) == 2


def test_saying_something_else_of_a_logged_reading_is_refused(shop):
    logged(shop, 1, 2, changed="pull-ups fitted")
    with pytest.raises(UseError, match="pull-ups fitted"):
        logged(shop, 1, 2, changed="belt tightened")


def test_looking_writes_nothing(shop):
    logged(shop, 1, 2)
    assert not (shop / "trials.toml").exists()
    assert not (shop / "cut-1" / "logged.txt").exists()


def test_readings_that_a_log_names_are_marked_so(shop):
    logged(shop, 1, 2, changed="pull-ups fitted")
    marked = [(shop / f"cut-{k}" / "logged.txt").exists() for k in (1, 2, 3)]
    assert marked == [True, True, False]


def test_a_logged_reading_that_was_replaced_by_hand_is_told(shop):
    logged(shop, 1, 2, changed="pull-ups fitted")
    other = reading_json(example_reading(file="another.jpg"))
    (shop / "cut-1" / "reading.json").write_text(other, "utf-8")
    with pytest.raises(UseError, match=r"cut-1/reading.json is not the reading that .* compared"):
        logged(shop, 3)


def test_a_change_without_a_log_is_asked_for_one(shop):
    with pytest.raises(UseError, match="--log"):
        gather([shop / "cut-1"], None, "belt tightened", "", DAY)


def test_a_photograph_is_dated_by_its_camera(shop):
    path = shop / "cut-2" / "reading.json"
    made = example_reading()
    photo = made.photo.model_copy(update={"taken": "2026:02:03 10:11:12"})
    path.write_text(reading_json(made.model_copy(update={"photo": photo})), "utf-8")
    looked_at = gather([shop / "cut-1", shop / "cut-2"], None, "", "", DAY)
    assert [a.date for a in looked_at] == [None, datetime.date(2026, 2, 3)]
    found = logged(shop, 1, 2, changed="belt tightened")
    assert [a.trial.date for a in found] == [DAY, datetime.date(2026, 2, 3)]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("nowhere", "is not there"),
        ("wheel.jpg", "cogloupe inspect wheel.jpg"),
        (".", "holds 3 readings"),
        ("empty", "holds no reading.json"),
    ],
)
def test_what_is_no_reading_is_answered_with_what_to_do(shop, name, says):
    (shop / "wheel.jpg").write_bytes(b"")
    (shop / "empty").mkdir()
    with pytest.raises(UseError, match=says):
        find_reading(shop / name)


def test_photographs_of_one_name_are_told_apart_by_their_folders(shop):
    for k in (1, 2):
        made = example_reading(file="IMG_0001.jpg")
        (shop / f"cut-{k}" / "reading.json").write_text(reading_json(made), "utf-8")
    assert [a.label for a in logged(shop, 1, 2)] == ["cut-1", "cut-2"]
