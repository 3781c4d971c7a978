"""The page of a folder of readings: its data, its files, and in a browser."""

import json
import time

import cv2
import numpy as np
import pytest

from cogloupe.reading.files import reading_json
from cogloupe.report.folder_files import READING_FILE, FolderPage, passed_over
from cogloupe.report.folder_page import (
    DATA_FILE,
    INDEX_FILE,
    Entry,
    entries_in,
    entry_of,
    index_data,
    index_html,
)
from cogloupe.report.markup import shared_script
from cogloupe.report.write import write_shared

from ..helpers.browser import browser, opened, serious, sideways, work_s
from ..helpers.report_examples import VERDICT, example_reading, nothing_seen

WHEN = "2026-11-30T08:00:00+00:00"


def entry(k, **changed):
    figures = {"f_p": (float(k * 7 % 101), 2.0), "F_p": (30.0 + k % 9, 5.0), "F_r": (None, None)}
    about = {
        "photo": f"wheel {k}.jpg", "status": "read", "folder": f"wheel {k}", "figures": figures,
        "when": f"2026-11-{1 + k % 28:02d}T08:00:{k % 60:02d}Z", "reached": f"{6 + k % 4}",
        "gear": f"{20 + k % 5} teeth, 48 DP, 20°", "verdict": "The teeth run out.",
    }  # fmt: skip
    return Entry(**{**about, **changed})


def test_a_reading_is_listed_with_verdict_class_and_figures():
    made = entry_of(example_reading(verdict=VERDICT), "wheel", WHEN)
    assert made.verdict == VERDICT.dominant.text
    assert (made.meets, made.reached) == ("no", "9")
    assert made.figures["f_p"][1] == pytest.approx(3.0)  # twice the example's 1.5 µm
    assert set(made.figures) == {"f_p", "F_p", "F_r"}


def test_a_reading_without_figures_is_listed_as_well():
    made = entry_of(nothing_seen(), "wheel", WHEN)
    assert made.figures == dict.fromkeys(("f_p", "F_p", "F_r"), (None, None))
    assert made.reached == ""


def test_entries_come_back_from_the_page():
    entries = [
        entry(1),
        Entry(photo="x </script>.jpg", status="not_read", when=WHEN, reason="dark"),
    ]
    assert entries_in(index_data(entries, WHEN)) == entries
    assert entries_in("nonsense") == entries_in("") == []


def test_a_folder_is_listed_from_its_readings_where_there_is_no_page_yet(tmp_path):
    (tmp_path / "wheel").mkdir()
    (tmp_path / "wheel" / READING_FILE).write_text(reading_json(example_reading()), "utf-8")
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / READING_FILE).write_text("{}")
    FolderPage(tmp_path).write()
    found = entries_in((tmp_path / DATA_FILE).read_text("utf-8"))
    assert [one.folder for one in found] == ["wheel"]
    assert (tmp_path / INDEX_FILE).exists()
    assert (tmp_path / shared_script()[0]).exists()


def test_what_is_read_at_last_is_no_longer_said_to_be_unread(tmp_path):
    (tmp_path / "wheel 1").mkdir()
    (tmp_path / "wheel 1" / READING_FILE).touch()
    page = FolderPage(tmp_path)
    page.note([Entry(photo="wheel 1.jpg", status="not_read", when=WHEN, reason="dark")])
    page.note([entry(1)])
    assert [e.status for e in entries_in((tmp_path / DATA_FILE).read_text("utf-8"))] == ["read"]


def test_a_reading_that_was_taken_away_is_no_longer_listed(tmp_path):
    FolderPage(tmp_path).note([entry(1)])
    assert entries_in((tmp_path / DATA_FILE).read_text("utf-8")) == []


def test_files_of_other_kinds_are_named_with_the_reason(tmp_path):
    for name in ("film.MOV", "wheel.jpg", "gear.toml", ".hidden", "raw.cr2"):
        (tmp_path / name).touch()
    found = {one.photo: one.reason for one in passed_over(tmp_path)}
    assert set(found) == {"film.MOV", "raw.cr2"}
    assert "movie" in found["film.MOV"]
    assert ".cr2" in found["raw.cr2"]


def test_a_page_that_cannot_be_written_costs_nothing(tmp_path):
    (tmp_path / "file").touch()
    FolderPage(tmp_path / "file" / "out").note([entry(1)])


@pytest.fixture(scope="module")
def chromium():
    with browser() as started:
        yield started


def laid_out(folder, entries, **state):
    write_shared(folder)
    for one in entries:
        with_thumbnail(folder, one)
    (folder / INDEX_FILE).write_text(index_html("gears"), "utf-8")
    (folder / DATA_FILE).write_text(index_data(entries, WHEN, **state), "utf-8")
    return (folder / INDEX_FILE).as_uri()


def with_thumbnail(folder, one):
    if one.folder:
        (folder / one.folder).mkdir()
        (folder / one.folder / READING_FILE).touch()
        grey = cv2.imencode(".jpg", np.full((8, 8), 128, np.uint8))[1]
        (folder / one.folder / "thumbnail.jpg").write_bytes(grey.tobytes())


def names(page):
    return page.evaluate(
        "[...document.querySelectorAll('.readings tbody tr')].map(row => row.cells[1].textContent)"
    )


def test_a_thousand_readings_sort_and_filter_within_a_second(chromium, tmp_path):
    address = laid_out(tmp_path, [entry(k) for k in range(1000)])
    with opened(chromium, address) as page:
        sort = work_s(page, "document.querySelector('[data-by=f_p]').click()")
        assert names(page)[0] == "wheel 72.jpg"  # 72 x 7 is 504, 100 over four times 101
        typed = "{ const find = document.getElementById('find'); find.value = '24 teeth'; "
        filtered = work_s(page, typed + "find.dispatchEvent(new Event('input')); }")
        assert len(names(page)) == 200
        assert max(sort, filtered) < 1.0


def test_newest_stands_first_and_what_was_not_read_says_why(chromium, tmp_path):
    dark = Entry(
        photo="<b>dark</b>.jpg", status="not_read", when="2026-12-01T08:00:00Z", reason="too dark"
    )
    film = Entry(photo="film.mov", status="not_looked_at", when=WHEN, reason="a movie: save …")
    address = laid_out(tmp_path, [entry(3), dark, film, entry(9)])
    with opened(chromium, address) as page:
        assert names(page) == ["<b>dark</b>.jpg", "wheel 9.jpg", "wheel 3.jpg"]
        assert "Not read: too dark" in page.inner_text(".readings")
        assert "film.mov" in page.inner_text("#others")
        page.select_option("#show", "not_read")
        assert names(page) == ["<b>dark</b>.jpg"]


def test_the_page_follows_a_folder_that_is_watched(chromium, tmp_path):
    for k in (1, 2):
        with_thumbnail(tmp_path, entry(k))
    kept = FolderPage(tmp_path, watching=True)
    kept.note([entry(1)])
    with opened(chromium, (tmp_path / INDEX_FILE).as_uri()) as page:
        page.fill("#find", "wheel")
        kept.begin(tmp_path / "wheel 2.jpg")
        page.wait_for_function(
            "document.getElementById('state').textContent === 'Reading wheel 2.jpg …'"
        )
        kept.note([entry(2)])
        page.wait_for_function("document.querySelectorAll('.readings tbody tr').length === 2")
        assert page.input_value("#find") == "wheel"  # the page was not loaded anew
        kept.end()
        page.wait_for_function("document.getElementById('state').textContent === ''")
        asked = "performance.getEntriesByType('resource').length"
        before = page.evaluate(asked)
        time.sleep(2)
        assert page.evaluate(asked) == before


@pytest.mark.parametrize("width", [400, 1200])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, tmp_path, width, scheme):
    unread = Entry(photo="x.jpg", status="not_read", when=WHEN, reason="too dark")
    listed = [entry(k, meets=("yes", "no", "cannot_tell")[k % 3]) for k in range(6)]
    address = laid_out(tmp_path, [*listed, unread], watching=True, now="y.jpg")
    with opened(chromium, address, width, color_scheme=scheme) as page:
        assert sideways(page) == 0
        assert serious(page) == []


def test_data_holds_nothing_but_what_there_is():
    held = json.loads(index_data([entry(1)], WHEN).partition("(")[2].rpartition(")")[0])
    assert "reason" not in held["entries"][0]
