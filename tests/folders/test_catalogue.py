"""The catalogue: found by what they came to, and made again from the folders."""

import datetime
import json
import os
import shutil

import pytest

from cogloupe.folders.catalogue import Asked, catalogue_of
from cogloupe.folders.index import Bookkeeper
from cogloupe.reading.files import reading_json
from cogloupe.reading.provenance import Refused, note_refused
from cogloupe_calibration.errors import UseError

from ..helpers.report_examples import example_reading


@pytest.fixture(scope="module")
def reading():
    return json.loads(reading_json(example_reading(file="wheel.jpg")))


@pytest.fixture
def put(tmp_path, reading):
    """Lay a reading into a folder, with what differs from the example."""

    def make(name, teeth=21, module=0.5, taken=None, verdict=None):
        folder = tmp_path / name
        folder.mkdir(parents=True, exist_ok=True)
        photo = {**reading["photo"], "file": f"{folder.name}.jpg", "taken": taken}
        gear = {**reading["gear"], "teeth": teeth, "module_mm": module}
        made = {**reading, "photo": photo, "gear": gear, "verdict": verdict}
        (folder / "reading.json").write_text(json.dumps(made))
        return folder

    return make


def asked(out, **what):
    with catalogue_of(out) as catalogue:
        catalogue.bring_up_to_date()
        return catalogue.entries(Asked(**what))


def folders(entries):
    return [entry.folder for entry in entries]


def test_all_wheels_of_a_size_since_a_day_are_found_oldest_first(tmp_path, put):
    put("late", taken="2026:05:20 10:00:00")
    put("early", taken="2026:05:03 10:00:00")
    put("before", taken="2026:04:30 23:59:59")
    put("other teeth", teeth=30, taken="2026:05:04 10:00:00")
    put("other module", module=1.0, taken="2026:05:05 10:00:00")
    may = datetime.date(2026, 5, 1)
    assert folders(asked(tmp_path, teeth=21, since=may)) == ["early", "other module", "late"]
    assert folders(asked(tmp_path, teeth=21, module_mm=0.501, since=may)) == ["early", "late"]
    assert folders(asked(tmp_path, until=may)) == ["before"]


def test_an_entry_has_the_figures_of_its_reading(tmp_path, put, reading):
    put(
        "wheel", taken="2026:05:03 10:11:12",
        verdict={
            "dominant": {"kind": "eccentricity", "text": "The bore is off."}, "wanted_class": 8,
            "meets": "no", "reached_class": [9, 10], "next_step": "Bore it anew.",
        },
    )  # fmt: skip
    (entry,) = asked(tmp_path)
    summary = reading["summary"]
    assert (entry.photo, entry.date, entry.page) == (
        "wheel.jpg", "2026-05-03", "wheel/report.html",
    )  # fmt: skip
    assert entry.runout_um == summary["runout_um"]
    assert entry.u_single_pitch_max_um == summary["u_single_pitch_max_um"]
    assert (entry.verdict_kind, entry.reached_low, entry.reached_high) == ("eccentricity", 9, 10)
    assert (entry.meets, entry.next_step) == ("no", "Bore it anew.")


def test_what_could_not_be_read_stands_there_with_its_reason(tmp_path):
    note_refused(tmp_path / "bad", Refused("bad.jpg", "1", "{}", "bad.jpg is not a picture"))
    (entry,) = asked(tmp_path)
    assert (entry.status, entry.photo, entry.page) == ("not_read", "bad.jpg", "")
    assert entry.reason == "bad.jpg is not a picture"
    assert asked(tmp_path, status="read") == []


@pytest.mark.parametrize("text", ["half a fi", "[]", "[" * 100_000, '{"photo": 3, "gear": []}'])
def test_what_is_no_reading_does_not_end_it(tmp_path, put, text):
    put("good")
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "reading.json").write_text(text)
    assert set(folders(asked(tmp_path))) == {"good", "bad"}


def test_only_what_is_new_or_changed_is_read_again(tmp_path, put):
    put("one")
    put("two/gear-1")
    with catalogue_of(tmp_path) as catalogue:
        assert catalogue.bring_up_to_date() == 2
        assert catalogue.bring_up_to_date() == 0
        put("one", teeth=30)
        os.utime(tmp_path / "one" / "reading.json", (0, 0))
        assert catalogue.bring_up_to_date() == 1
        shutil.rmtree(tmp_path / "two")
        assert catalogue.bring_up_to_date() == 1
        assert folders(catalogue.entries()) == ["one"]


@pytest.mark.parametrize("spoilt", [None, b"this is no catalogue" * 100, b""])
def test_lost_or_spoilt_it_is_made_again(tmp_path, put, spoilt):
    put("wheel")
    before = asked(tmp_path)
    path = tmp_path / "catalogue.sqlite"
    path.unlink() if spoilt is None else path.write_bytes(spoilt)
    assert asked(tmp_path) == before


def test_where_it_cannot_be_kept_that_is_told(tmp_path):
    (tmp_path / "catalogue.sqlite").mkdir()
    with pytest.raises(UseError, match=r"catalogue\.sqlite cannot be kept"):
        asked(tmp_path)


def test_the_index_is_shown_all_entries(tmp_path, put, monkeypatch):
    shown = []
    monkeypatch.setattr(
        "cogloupe.folders.index.write_index", lambda out, entries, news: shown.append(len(entries))
    )
    books = Bookkeeper(tmp_path)
    put("one")
    books.after_outcome()  # too soon after it began
    put("two")
    books.bring_up_to_date()
    assert shown == [2]
