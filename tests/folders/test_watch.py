"""Folders of photographs: which there are, where readings go, and the watch."""

import json
import threading
import time
from types import SimpleNamespace

import pytest

from cogloupe import folder as folders
from cogloupe import inspection
from cogloupe.folder import check_writable, find_photos, read_one, reading_folder, watch_folder
from cogloupe.inputs.settings import settings_for
from cogloupe.report import write
from cogloupe_calibration.errors import PhotoError, UseError

from .helpers.pictures import grow

KNOWN = "teeth = 24\nmodule_mm = 1.0\nscale_um_per_px = 40\n"
FILES = {
    "reading.json", "teeth.csv", "overlay.png", "chart.png", "profiles.png", "gaps.png",
    "report.html",
}  # fmt: skip


def names(paths):
    return [path.name for path in paths]


def test_a_folder_gives_its_photographs_by_name_and_nothing_else(tmp_path):
    for name in ("b.jpg", "A.PNG", "c.tiff", "notes.txt", ".hidden.jpg", "~lock.png", "gear.toml"):
        (tmp_path / name).touch()
    (tmp_path / "folder.jpg").mkdir()
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "d.jpg").touch()
    assert names(find_photos([tmp_path])) == ["A.PNG", "b.jpg", "c.tiff"]


def test_files_are_taken_as_named_and_each_once(tmp_path):
    for name in ("b.jpg", "a.jpg", "odd.dat"):
        (tmp_path / name).touch()
    given = [tmp_path / "odd.dat", tmp_path / "b.jpg", tmp_path]
    assert names(find_photos(given)) == ["odd.dat", "b.jpg", "a.jpg"]


@pytest.mark.parametrize(
    ("name", "message"),
    [("gone.jpg", "gone.jpg is not there: check the name"), (".", "no photographs in .*: looked")],
)
def test_nothing_to_read_is_wrong_use(tmp_path, name, message):
    with pytest.raises(UseError, match=message):
        find_photos([tmp_path / name])


def test_readings_of_like_named_photographs_do_not_meet(tmp_path):
    taken = set()
    for photo, expected in (("a.jpg", "a"), ("a.png", "a.png"), ("sub/a.jpg", "a.jpg")):
        where = reading_folder(tmp_path / photo, tmp_path / "out", taken)
        assert where == tmp_path / "out" / expected
        taken.add(where)
    assert reading_folder(tmp_path / "x/a.jpg", tmp_path / "out", taken).name == "a.jpg-2"


def test_a_folder_that_holds_another_photograph_s_outcome_is_left_alone(tmp_path):
    done, failed, strange = (tmp_path / name for name in ("a", "b", "c"))
    for where in (done, failed, strange):
        where.mkdir()
    (done / "reading.json").write_text(json.dumps({"photo": {"file": "a.png", "sha256": "1"}}))
    (failed / "not-read.txt").write_text("b.png\n2\n{}\nwhy\n")
    (strange / "reading.json").write_text("half a fi")
    assert reading_folder(tmp_path / "a.jpg", tmp_path).name == "a.jpg"
    assert reading_folder(tmp_path / "b.jpg", tmp_path).name == "b.jpg"
    assert reading_folder(tmp_path / "a.png", tmp_path).name == "a"
    assert reading_folder(tmp_path / "c.jpg", tmp_path).name == "c"


def test_reading_one_writes_its_files_and_leaves_nothing_else(tmp_path, wheel_png):
    photo = tmp_path / "Zähne [1] 50%.png"
    photo.write_bytes(wheel_png)
    (tmp_path / "gear.toml").write_text(KNOWN)
    outcome = read_one(photo, lambda p: settings_for(p, {}), tmp_path / "out" / "deep")
    assert outcome.error is None
    assert outcome.reading.gear.teeth == 24
    assert set(names((tmp_path / "out" / "deep").iterdir())) == FILES
    assert json.loads((tmp_path / "out/deep/reading.json").read_bytes())["photo"]["file"] == (
        "Zähne [1] 50%.png"
    )


def test_a_fault_of_ours_is_told_with_the_photograph_s_name(tmp_path, monkeypatch):
    def stumble(photo):
        raise ZeroDivisionError("by accident")

    monkeypatch.setattr(folders, "read_photo", stumble)
    outcome = read_one(tmp_path / "a.jpg", lambda p: settings_for(p, {}), tmp_path)
    assert isinstance(outcome.error, PhotoError)
    assert str(outcome.error).startswith("a.jpg could not be read (ZeroDivisionError: by accident)")


@pytest.mark.parametrize("blocked", ["taken", "taken/deeper"])
def test_a_folder_that_cannot_be_made_is_told_before_any_work(tmp_path, blocked):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(UseError, match=r"taken.* cannot be written \(.*--out"):
        check_writable(tmp_path / blocked)


def test_checking_leaves_nothing_behind(tmp_path):
    check_writable(tmp_path / "new" / "deeper")
    assert list((tmp_path / "new" / "deeper").iterdir()) == []


# The watch.


@pytest.fixture
def watched(tmp_path, monkeypatch):
    """A watch of an empty folder, run in a thread; figures stand in for the real reading."""
    monkeypatch.setattr(folders, "QUIET_SECONDS", 0.06)
    monkeypatch.setattr(folders, "PATIENCE_SECONDS", 0.8)
    place = SimpleNamespace(
        folder=tmp_path / "in", out=tmp_path / "out", outcomes=[], read=[], stop=threading.Event()
    )
    place.folder.mkdir()

    def short_work(photo, settings, figured):
        place.read.append((photo.name, settings.teeth))
        if settings.teeth == 25:
            raise PhotoError("24 teeth are seen, not 25: check --teeth")
        return SimpleNamespace(photo=photo), None

    def short_report(reading, drawing, where, draw):
        where.mkdir(parents=True, exist_ok=True)
        photo = {"file": reading.photo.name, "sha256": reading.photo.sha256}
        (where / "reading.json").write_text(json.dumps({"photo": photo}))

    monkeypatch.setattr(inspection, "inspect_photo", short_work)
    monkeypatch.setattr(write, "write_report", short_report)

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


def test_a_better_picture_of_the_same_name_is_read(watched, wheel_png, wheel_jpg):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    (watched.folder / "a.png").write_bytes(wheel_jpg)
    assert watched.wait(2) == [("a.png", None), ("a.png", None)]


def test_a_bad_picture_of_the_same_name_leaves_the_good_one_s_reading(watched, wheel_png):
    (watched.folder / "a.png").write_bytes(wheel_png)
    watched.wait(1)
    before = (watched.out / "a" / "reading.json").read_bytes()
    (watched.folder / "a.png").write_text("now it is none")
    assert watched.wait(2)[1][1] is not None
    assert (watched.out / "a" / "reading.json").read_bytes() == before


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
    assert "cannot be read as TOML" in watched.wait(1)[0][1]
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


def test_a_reading_appears_whole_or_not_at_all(tmp_path, monkeypatch, wheel_png):
    """With the last file failing to be written, no reading.json tells of a report."""
    photo = tmp_path / "a.png"
    photo.write_bytes(wheel_png)
    (tmp_path / "gear.toml").write_text(KNOWN)
    real = write.os.replace
    written = []

    def full_disk(source, target):
        if len(written) == 3:
            raise OSError(28, "No space left on device")
        written.append(target)
        real(source, target)

    monkeypatch.setattr(write.os, "replace", full_disk)
    outcome = read_one(photo, lambda p: settings_for(p, {}), tmp_path / "out")
    assert "No space left on device" in str(outcome.error)
    left = set(names((tmp_path / "out").iterdir()))
    assert "reading.json" not in left
    assert left < FILES  # and nothing half written under another name
