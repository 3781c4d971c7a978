"""The watch: what is dropped into a folder is read once, when it is whole."""

import threading
import time
from types import SimpleNamespace

import pytest

from cogloupe import inspection
from cogloupe.folders import watch as watching
from cogloupe.folders.watch import watch_folder
from cogloupe.inputs.settings import settings_for
from cogloupe_calibration.errors import UseError

from ..helpers.pictures import grow


@pytest.fixture
def watched(tmp_path, monkeypatch, quick):
    """A watch of an empty folder, run in a thread; figures stand in for the real reading."""
    monkeypatch.setattr(watching, "QUIET_SECONDS", 0.06)
    monkeypatch.setattr(watching, "PATIENCE_SECONDS", 0.8)
    place = SimpleNamespace(
        folder=tmp_path / "in", out=tmp_path / "out", outcomes=[], read=quick,
        stop=threading.Event(),
    )  # fmt: skip
    place.folder.mkdir()
    place.out.mkdir()

    def run(given):
        settings_of = lambda photo: settings_for(photo, given)  # noqa: E731
        for outcome in watch_folder(place.folder, place.out, settings_of, place.stop):
            place.outcomes.append(outcome)

    def start(**given):
        place.stop.clear()
        place.thread = threading.Thread(target=run, args=(given,), daemon=True)
        place.thread.start()

    def end():
        place.stop.set()
        place.thread.join(5)
        assert not place.thread.is_alive()

    def wait(outcomes, seconds=6.0):
        until = time.monotonic() + seconds
        while len(place.outcomes) < outcomes and time.monotonic() < until:
            time.sleep(0.02)
        # And a few turns more, in which nothing further may come.
        time.sleep(0.15)
        return [(o.photo.name, None if o.error is None else str(o.error)) for o in place.outcomes]

    place.start, place.end, place.wait = start, end, wait
    start()
    yield place
    if place.thread.is_alive():
        end()


def test_the_watch_reads_what_is_there_and_what_comes(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    assert watched.wait(1) == [("a.png", None)]
    (watched.folder / "b.png").write_bytes(wheel_png)
    (watched.folder / "notes.txt").write_text("not a photograph")
    assert watched.wait(2) == [("a.png", None), ("b.png", None)]


def test_what_comes_while_another_is_being_read_is_not_missed(watched, monkeypatch, wheel_png):
    quick = inspection.inspect_photo
    begun, go_on = threading.Event(), threading.Event()

    def slow(*given):
        begun.set()
        assert go_on.wait(5)
        return quick(*given)

    monkeypatch.setattr(inspection, "inspect_photo", slow)
    (watched.folder / "a.png").write_bytes(wheel_png)
    assert begun.wait(5)
    (watched.folder / "b.png").write_bytes(wheel_png)
    time.sleep(0.2)
    go_on.set()
    assert watched.wait(2) == [("a.png", None), ("b.png", None)]


def test_a_file_that_grows_slowly_is_read_once_and_only_when_whole(watched, wheel_png):
    grow(watched.folder / "a.png", wheel_png, parts=8, pause=lambda: time.sleep(0.04))
    assert watched.wait(1) == [("a.png", None)]
    assert watched.read == [("a.png", None)]


def test_a_copy_that_stalls_is_waited_for(watched, wheel_png):
    # Three stalls, each much longer than the quiet time: the half file is not called bad.
    grow(watched.folder / "a.png", wheel_png, parts=4, pause=lambda: time.sleep(0.3))
    assert watched.wait(1) == [("a.png", None)]


def test_a_copy_that_never_ends_is_told_and_read_when_it_does(watched, wheel_png):
    path = watched.folder / "a.png"
    path.write_bytes(wheel_png[:5000])
    assert watched.wait(1) == [("a.png", "a.png is cut short or damaged: copy it again")]
    path.write_bytes(wheel_png)
    assert watched.wait(2)[1:] == [("a.png", None)]
    assert not (watched.out / "a" / "not-read.txt").exists()


def test_a_bad_file_does_not_end_the_watch(watched, wheel_png):
    (watched.folder / "bad.jpg").write_text("this is no picture")
    assert [name for name, _ in watched.wait(1)] == ["bad.jpg"]
    (watched.folder / "good.png").write_bytes(wheel_png)
    assert watched.wait(2)[1:] == [("good.png", None)]
    assert "not a picture" in (watched.out / "bad" / "not-read.txt").read_text()


def test_a_fault_of_ours_does_not_end_the_watch(watched, monkeypatch, wheel_png):
    quick = inspection.inspect_photo

    def stumble(photo, *given):
        if photo.name == "a.png":
            raise IndexError("out of bounds")
        return quick(photo, *given)

    monkeypatch.setattr(inspection, "inspect_photo", stumble)
    for name in ("a.png", "b.png"):
        (watched.folder / name).write_bytes(wheel_png)
    outcomes = dict(watched.wait(2))
    assert "IndexError: out of bounds" in outcomes["a.png"]
    assert outcomes["b.png"] is None


def test_after_a_restart_nothing_is_read_twice(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    (watched.folder / "bad.jpg").write_text("this is no picture")
    watched.wait(2)
    watched.end()
    (watched.folder / "b.png").write_bytes(wheel_png)
    watched.start()
    assert watched.wait(3)[2:] == [("b.png", None)]


def test_touching_a_file_does_not_make_it_new(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    (watched.folder / "a.png").touch()
    assert watched.wait(2, seconds=0.4) == [("a.png", None)]


def test_a_better_picture_of_the_same_name_is_read_beside_the_first(watched, wheel_png, wheel_jpg):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    before = (watched.out / "a" / "reading.json").read_bytes()
    (watched.folder / "a.png").write_bytes(wheel_jpg)
    assert watched.wait(2) == [("a.png", None), ("a.png", None)]
    assert (watched.out / "a" / "reading.json").read_bytes() == before
    assert (watched.out / "a.png" / "reading.json").exists()


def test_a_bad_picture_of_the_same_name_leaves_the_good_one_s_reading(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    before = (watched.out / "a" / "reading.json").read_bytes()
    (watched.folder / "a.png").write_text("now it is none")
    assert watched.wait(2)[1][1] is not None
    assert (watched.out / "a" / "reading.json").read_bytes() == before


def test_a_file_of_a_reading_that_is_lost_is_made_again(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    watched.end()
    (watched.out / "a" / "chart.png").unlink()
    watched.start()
    assert watched.wait(2) == [("a.png", None), ("a.png", None)]
    assert (watched.out / "a" / "chart.png").exists()


def test_other_settings_are_read_by_anew_in_the_same_folder(watched, wheel_png):
    (watched.folder / "gear.toml").write_text("teeth = 24\n")
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    (watched.folder / "gear.toml").write_text("teeth = 24\nmodule_mm = 1\n")
    assert watched.wait(2) == [("a.png", None), ("a.png", None)]
    assert [path.name for path in watched.out.iterdir() if path.is_dir()] == ["a"]


def test_a_changed_gear_toml_tries_what_failed_again_and_only_that(watched, wheel_png):
    (watched.folder / "gear.toml").write_text('teeth = 25\n[photo."a.png"]\nteeth = 24\n')
    for name in ("a.png", "b.png"):
        (watched.folder / name).write_bytes(wheel_png)
    outcomes = dict(watched.wait(2))
    assert outcomes["a.png"] is None
    assert outcomes["b.png"].startswith("24 teeth are seen, not 25")
    (watched.folder / "gear.toml").write_text("teeth = 24\n")
    assert watched.wait(3)[2:] == [("b.png", None)]


def test_a_broken_gear_toml_is_told_and_its_mending_noticed(watched, wheel_png):
    (watched.folder / "gear.toml").write_text("teeth = ")
    (watched.folder / "a.png").write_bytes(wheel_png)
    assert "line 1: 'teeth =' cannot be read" in watched.wait(1)[0][1]
    (watched.folder / "gear.toml").write_text("teeth = 24")
    assert watched.wait(2)[1:] == [("a.png", None)]


def test_other_options_after_a_restart_try_what_failed_again(watched, wheel_png):
    watched.end()
    watched.start(teeth=25)
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    watched.end()
    watched.start(teeth=24)
    assert watched.wait(2)[1:] == [("a.png", None)]


def test_a_file_taken_away_before_it_is_read_is_forgotten(watched, wheel_png):
    path = watched.folder / "a.png"
    path.write_bytes(wheel_png)
    path.unlink()
    assert watched.wait(1, seconds=0.3) == []


def test_a_folder_taken_away_ends_the_watch_with_a_message(tmp_path):
    with pytest.raises(UseError, match=r"gone cannot be looked into: No such file"):
        next(watch_folder(tmp_path / "gone", tmp_path, lambda p: settings_for(p, {})))
