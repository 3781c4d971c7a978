"""The page of a folder of readings: its data, its files, and in a browser."""

import json
import time

import cv2
import numpy as np
import pytest

from cogloupe.folders.index import Bookkeeper, write_index
from cogloupe.reading.catalogue_entry import Entry, entry_of
from cogloupe.reading.files import reading_json
from cogloupe.report.folder_page import (
    DATA_FILE,
    INDEX_FILE,
    News,
    index_data,
    index_html,
    shown_entry,
)
from cogloupe.report.markup import shared_script
from cogloupe.report.write import write_shared

from ..helpers.browser import opened, serious, sideways, work_s
from ..helpers.report_examples import VERDICT, example_reading, nothing_seen

WHEN = "2026-11-30T08:00:00"


def entry(k, **changed):
    about = {
        "photo": f"wheel {k}.jpg", "status": "read", "folder": f"wheel {k}",
        "read_at": f"2026-11-{1 + k % 28:02d}T08:00:{k % 60:02d}",
        "reached_low": 6 + k % 4, "reached_high": 6 + k % 4, "teeth": 20 + k % 5,
        "module_mm": 25.4 / 48, "diametral_pitch": 48.0, "form": "involute",
        "verdict_text": "The teeth run out.", "single_pitch_max_um": float(k * 7 % 101),
        "u_single_pitch_max_um": 1.0, "cumulative_pitch_total_um": 30.0 + k % 9,
        "u_cumulative_pitch_total_um": 2.5,
    }  # fmt: skip
    return Entry(**{**about, **changed})


def unread(photo="x.jpg", **changed):
    return Entry(**{
        "folder": photo, "status": "not_read", "photo": photo, "read_at": WHEN,
        "reason": "too dark", **changed,
    })  # fmt: skip


def data_in(text):
    return json.loads(text.partition("(")[2].rpartition(")")[0])


def listed(reading):
    return shown_entry(entry_of("wheel", json.loads(reading_json(reading)), WHEN))


def test_a_reading_is_listed_with_verdict_class_and_figures():
    made = listed(example_reading(verdict=VERDICT))
    assert made["verdict"] == VERDICT.dominant.text
    assert (made["meets"], made["reached"]) == ("no", "10 to 11")
    assert made["gear"].endswith("teeth, module 1 mm")
    assert made["figures"]["f_p"][1] == pytest.approx(3.0)  # twice the example's 1.5 µm
    assert set(made["figures"]) == {"f_p", "F_p", "F_r"}


def test_a_reading_without_figures_is_listed_as_well():
    made = listed(nothing_seen())
    assert made["figures"] == dict.fromkeys(("f_p", "F_p", "F_r"), (None, None))
    assert "reached" not in made


def test_what_is_of_another_kind_in_a_reading_is_left_out():
    summary = {"runout_um": "../../x", "single_pitch_max_um": 3}
    made = entry_of("wheel", {"gear": {"teeth": "12"}, "summary": summary}, WHEN)
    assert (made.teeth, made.runout_um, made.single_pitch_max_um) == (None, None, 3)


def test_a_page_that_cannot_be_written_costs_nothing(tmp_path):
    (tmp_path / "file").touch()
    write_index(tmp_path / "file" / "out", [entry(1)], News(stamp=WHEN))


def test_a_folder_is_listed_from_its_readings(tmp_path):
    keep(tmp_path, example_reading(), "wheel")
    Bookkeeper(tmp_path).bring_up_to_date()
    found = data_in((tmp_path / DATA_FILE).read_text("utf-8"))
    assert [one["folder"] for one in found["entries"]] == ["wheel"]
    assert (tmp_path / INDEX_FILE).exists()
    assert (tmp_path / shared_script()[0]).exists()


def keep(out, reading, name):
    (out / name).mkdir()
    (out / name / "reading.json").write_text(reading_json(reading), "utf-8")
    with_thumbnail(out, name)


def laid_out(folder, entries, **state):
    write_shared(folder)
    for one in entries:
        if one.status == "read":
            (folder / one.folder).mkdir()
            with_thumbnail(folder, one.folder)
    (folder / INDEX_FILE).write_text(index_html("gears"), "utf-8")
    (folder / DATA_FILE).write_text(index_data(entries, News(stamp=WHEN, **state)), "utf-8")
    return (folder / INDEX_FILE).as_uri()


def with_thumbnail(folder, name):
    grey = cv2.imencode(".jpg", np.full((8, 8), 128, np.uint8))[1]
    (folder / name / "thumbnail.jpg").write_bytes(grey.tobytes())


def names(page):
    return page.evaluate(
        "[...document.querySelectorAll('.readings tbody tr')].map(row => row.cells[1].textContent)"
    )


def test_a_thousand_readings_sort_and_filter_within_a_second(chromium, tmp_path):
    address = laid_out(tmp_path, [entry(k) for k in range(1000)])
    with opened(chromium, address) as page:
        sort = work_s(page, "document.querySelector('[data-by=f_p]').click()")
        first = int(names(page)[0].removeprefix("wheel ").removesuffix(".jpg"))
        assert first * 7 % 101 == 100  # the largest there is
        typed = "{ const find = document.getElementById('find'); find.value = '24 teeth'; "
        filtered = work_s(page, typed + "find.dispatchEvent(new Event('input')); }")
        assert len(names(page)) == 200
        assert max(sort, filtered) < 1.0


def test_newest_stands_first_and_what_was_not_read_says_why(chromium, tmp_path):
    dark = unread("<b>dark</b>.jpg", read_at="2026-12-01T08:00:00")
    film = {"film.mov": "a movie: save …"}
    address = laid_out(tmp_path, [entry(3), dark, entry(9)], passed_over=film)
    with opened(chromium, address) as page:
        assert names(page) == ["<b>dark</b>.jpg", "wheel 9.jpg", "wheel 3.jpg"]
        assert "Not read: too dark" in page.inner_text(".readings")
        assert "film.mov" in page.inner_text("#others")
        page.select_option("#show", "not_read")
        assert names(page) == ["<b>dark</b>.jpg"]


def test_the_page_follows_a_folder_that_is_watched(chromium, tmp_path):
    keep(tmp_path, example_reading(), "wheel 1")
    books = Bookkeeper(tmp_path, watching=True)
    books.bring_up_to_date()
    with opened(chromium, (tmp_path / INDEX_FILE).as_uri()) as page:
        page.fill("#find", "teeth")
        books.begin(tmp_path / "wheel 2.jpg")
        page.wait_for_function(
            "document.getElementById('state').textContent === 'Reading wheel 2.jpg …'"
        )
        keep(tmp_path, example_reading(), "wheel 2")
        books.bring_up_to_date()
        page.wait_for_function("document.querySelectorAll('.readings tbody tr').length === 2")
        assert page.input_value("#find") == "teeth"  # the page was not loaded anew
        books.end()
        page.wait_for_function("document.getElementById('state').textContent === ''")
        asked = "performance.getEntriesByType('resource').length"
        before = page.evaluate(asked)
        time.sleep(2)
        assert page.evaluate(asked) == before


@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1200, "light")])
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, tmp_path, width, scheme):
    listed = [entry(k, meets=("yes", "no", "cannot_tell")[k % 3]) for k in range(6)]
    address = laid_out(tmp_path, [*listed, unread()], watching=True, now="y.jpg")
    with opened(chromium, address, width, color_scheme=scheme) as page:
        assert sideways(page) == 0
        assert serious(page) == []


def test_data_holds_nothing_but_what_there_is():
    assert "reason" not in data_in(index_data([entry(1)], News(stamp=WHEN)))["entries"][0]
