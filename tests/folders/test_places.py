"""Whose folder is which: no picture's reading is lost by another's."""

import json

import pytest

from cogloupe.folders.photos import PhotoFile, SetOfPhotos
from cogloupe.folders.places import check_writable, folder_name, one_at_a_time, reading_folder
from cogloupe.reading.provenance import Mark, Refused, mark_bytes, note_logged, note_refused
from cogloupe_calibration.errors import UseError


@pytest.fixture
def photo(tmp_path):
    """Make a photograph's file of a name, with what stands for its bytes."""

    def make(name, data=b"one"):
        path = tmp_path / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return PhotoFile(path)

    return make


def put(folder, photo, known="", marked=True, stamp=...):
    """Lay down what a reading of a photograph leaves."""
    folder.mkdir(parents=True)
    told = {"photo": {"file": photo.path.name, "sha256": photo.sha256}}
    (folder / "reading.json").write_text(json.dumps(told))
    if marked:
        size = (folder / "reading.json").stat().st_size
        mark = Mark(
            photo.sha256, photo.stamp if stamp is ... else stamp, known, {"reading.json": size}
        )
        (folder / ".cogloupe.json").write_bytes(mark_bytes(mark))
    return folder


def test_readings_of_like_named_photographs_do_not_meet(tmp_path, photo):
    taken = set()
    for name, expected in (("a.jpg", "a"), ("a.png", "a.png"), ("sub/a.jpg", "a.jpg")):
        where = reading_folder(photo(name), tmp_path / "out", taken)
        assert where == tmp_path / "out" / expected
        taken.add(where)
    assert reading_folder(photo("x/a.jpg"), tmp_path / "out", taken).name == "a.jpg-2"


@pytest.mark.parametrize("marked", [True, False])
def test_another_picture_of_the_same_name_gets_a_folder_of_its_own(tmp_path, photo, marked):
    first, second = photo("one/wheel.jpg", b"one"), photo("two/wheel.jpg", b"two")
    put(tmp_path / "out" / "wheel", first, marked=marked)
    assert reading_folder(second, tmp_path / "out").name == "wheel.jpg"
    assert reading_folder(first, tmp_path / "out").name == "wheel"


@pytest.mark.parametrize("marked", [True, False])
def test_the_same_picture_gets_its_own_folder_again(tmp_path, photo, marked):
    out = tmp_path / "out"
    for k, name in enumerate(("wheel", "wheel.jpg", "wheel.jpg-2")):
        put(out / name, photo(f"{k}/wheel.jpg", str(k).encode()), marked=marked)
    again = photo("elsewhere/wheel.jpg", b"2")
    assert reading_folder(again, out).name == "wheel.jpg-2"


def test_a_reading_that_a_log_names_is_never_replaced(tmp_path, photo):
    wheel = photo("wheel.jpg")
    folder = put(tmp_path / "out" / "wheel", wheel, known="by these settings")
    note_logged(folder, [tmp_path / "trials.toml"])
    assert reading_folder(wheel, tmp_path / "out").name == "wheel.jpg"
    # Where it would come out just the same, it need not be read again.
    found = reading_folder(wheel, tmp_path / "out", known="by these settings")
    assert found.name == "wheel"


def test_the_gears_of_a_picture_belong_to_it(tmp_path, photo):
    put(tmp_path / "out" / "wheels" / "gear-1", photo("a/wheels.jpg"))
    assert reading_folder(photo("a/wheels.jpg"), tmp_path / "out").name == "wheels"
    assert reading_folder(photo("b/wheels.jpg", b"two"), tmp_path / "out").name == "wheels.jpg"


def test_a_set_gets_its_own_folder_again_and_no_other_s(tmp_path, photo):
    first = photo("wheel.jpg")
    sets = [SetOfPhotos.of(first.path, "turned", hashes) for hashes in (["1", "2"], ["1", "3"])]
    put(tmp_path / "out" / "wheel-turned", sets[0], stamp=None)
    assert reading_folder(sets[0], tmp_path / "out").name == "wheel-turned"
    assert reading_folder(sets[1], tmp_path / "out").name == "wheel-turned.jpg"


def test_an_older_set_without_a_mark_is_known_by_its_pictures(tmp_path, photo):
    folder = tmp_path / "out" / "wheel-turned"
    folder.mkdir(parents=True)
    told = {"photo_set": {"pictures": [{"sha256": "1"}, {"sha256": "2"}]}}
    (folder / "reading.json").write_text(json.dumps(told))
    first = photo("wheel.jpg").path
    assert reading_folder(SetOfPhotos.of(first, "turned", ["1", "2"]), tmp_path / "out") == folder
    other = reading_folder(SetOfPhotos.of(first, "turned", ["1", "3"]), tmp_path / "out")
    assert other.name == "wheel-turned.jpg"


def test_what_could_not_be_read_keeps_no_better_picture_of_its_name_out(tmp_path, photo):
    out = tmp_path / "out"
    note_refused(out / "b", Refused("b.png", "2", "{}", "why"))
    assert reading_folder(photo("b.png", b"better"), out).name == "b"
    assert reading_folder(photo("b.jpg"), out).name == "b.jpg"


def test_a_folder_with_something_strange_in_it_is_used(tmp_path, photo):
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "reading.json").write_text("half a fi")
    assert reading_folder(photo("c.jpg"), tmp_path).name == "c"


@pytest.mark.parametrize(
    ("stem", "name"),
    [
        ("räd [a] 50%", "räd [a] 50%"),
        ("..", "picture"),
        (".hidden", "hidden"),
        ("tab\there", "tab_x09here"),
        ("\x1b[31mred", "_x1b[31mred"),
        ("not text \udcff", "not text _xff"),
        ("\u202egnp", "_u202egnp"),
        ("end. .", "end"),
        ("é" * 100, "é" * 75),
    ],
)
def test_a_folder_is_named_after_what_can_be_shown(stem, name):
    assert folder_name(stem) == name


@pytest.mark.parametrize("blocked", ["taken", "taken/deeper"])
def test_a_folder_that_cannot_be_made_is_told_before_any_work(tmp_path, blocked):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(UseError, match=r"taken.* cannot be written \(.*--out"):
        check_writable(tmp_path / blocked)


def test_checking_leaves_nothing_behind(tmp_path):
    check_writable(tmp_path / "new" / "deeper")
    assert list((tmp_path / "new" / "deeper").iterdir()) == []


def test_a_folder_kept_by_another_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("cogloupe.folders.places.LOCK_SECONDS", 0.05)
    with (
        one_at_a_time(tmp_path),
        pytest.raises(UseError, match="kept by another program"),
        one_at_a_time(tmp_path),
    ):
        pass
