"""Photographs in folders: which there are, and which is which."""

import os

import pytest

from cogloupe.folders.photos import PhotoFile, find_photos, passed_over
from cogloupe.reading.provenance import Mark
from cogloupe_calibration.errors import UseError


def names(paths):
    return [path.name for path in paths]


def test_a_folder_gives_its_photographs_by_name_and_nothing_else(tmp_path):
    for name in ("b.jpg", "A.PNG", "c.tiff", "notes.txt", ".hidden.jpg", "~lock.png", "gear.toml"):
        (tmp_path / name).touch()
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
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


def mark_of(photo, sha256="other"):
    return Mark(sha256, photo.stamp, "", {})


def test_a_file_that_stands_as_it_was_is_known_without_being_read(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"one")
    mark = mark_of(PhotoFile(path))
    photo = PhotoFile(path)
    assert photo.is_of(mark)
    assert "sha256" not in vars(photo)  # it was never hashed


def test_a_file_that_was_moved_is_known_by_its_bytes(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"one")
    photo = PhotoFile(path)
    mark = mark_of(photo, photo.sha256)
    path.rename(tmp_path / "b.jpg")
    assert PhotoFile(tmp_path / "b.jpg").is_of(mark)
    (tmp_path / "c.jpg").write_bytes(b"two")
    assert not PhotoFile(tmp_path / "c.jpg").is_of(mark)


def test_what_cannot_be_read_is_no_picture_s_own(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    pipe = PhotoFile(tmp_path / "pipe.jpg")
    assert not pipe.is_of(Mark("", None, "", {}))


def test_files_of_other_kinds_are_named_with_the_reason(tmp_path):
    for name in ("film.MOV", "wheel.jpg", "gear.toml", ".hidden", "raw.cr2", "phone.heic"):
        (tmp_path / name).touch()
    found = passed_over([tmp_path, tmp_path / "wheel.jpg"])
    assert set(found) == {"film.MOV", "raw.cr2"}
    assert "movie" in found["film.MOV"]
    assert "raw format" in found["raw.cr2"]
