"""Folders that are written whole: what a full disk, a kill or a second writer leaves."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from cogloupe.reading import atomic_folder
from cogloupe.reading.atomic_folder import scratch, settle, write_folder
from cogloupe.reading.provenance import Mark, mark_bytes

OLD = {"reading.json": b"old", "gaps.png": b"old"}
NEW = {"reading.json": b"new", "chart.png": b"new"}


def contents(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


@pytest.fixture
def folder(tmp_path):
    """A folder as an older writing left it, with a note of the person's."""
    place = tmp_path / "wheel"
    write_folder(place, OLD)
    (place / "my notes.txt").write_bytes(b"mine")
    return place


def test_the_new_one_takes_the_old_one_s_place_and_what_is_not_ours_stays(folder):
    write_folder(folder, NEW)
    assert contents(folder) == {**NEW, "my notes.txt": b"mine"}
    assert [p.name for p in folder.parent.iterdir()] == ["wheel"]


def test_folders_above_it_are_made(tmp_path):
    write_folder(tmp_path / "one" / "two" / "wheel", NEW)
    assert contents(tmp_path / "one" / "two" / "wheel") == NEW


def test_a_full_disk_leaves_the_old_one_and_nothing_else(folder, monkeypatch):
    def full(path, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic_folder.Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space left"):
        write_folder(folder, NEW)
    assert contents(folder) == {**OLD, "my notes.txt": b"mine"}
    assert [p.name for p in folder.parent.iterdir()] == ["wheel"]


def test_a_new_one_that_cannot_be_put_there_leaves_the_old_one(folder, monkeypatch):
    rename = os.replace

    def fail_on_new(source, target):
        if Path(source).parent.name == "new":
            raise OSError(13, "Permission denied")
        rename(source, target)

    monkeypatch.setattr(atomic_folder.os, "replace", fail_on_new)
    with pytest.raises(OSError, match="Permission denied"):
        write_folder(folder, NEW)
    assert contents(folder) == {**OLD, "my notes.txt": b"mine"}


def test_a_file_of_that_name_is_not_taken_away(tmp_path):
    (tmp_path / "wheel").write_text("a file")
    with pytest.raises(NotADirectoryError):
        write_folder(tmp_path / "wheel", NEW)
    assert (tmp_path / "wheel").read_text() == "a file"


def test_a_link_to_a_folder_stays_a_link(folder, tmp_path):
    link = tmp_path / "linked"
    link.symlink_to(folder)
    write_folder(link, NEW)
    assert link.is_symlink()
    assert contents(folder) == {**NEW, "my notes.txt": b"mine"}


KILLED = """
import os, sys
from pathlib import Path
from cogloupe.reading import atomic_folder
count, rename = [0], os.replace
def replace(source, target):
    if count[0] == int(sys.argv[2]):
        os._exit(9)
    count[0] += 1
    rename(source, target)
os.replace = replace
files = {"reading.json": b"new", "chart.png": b"new"}
atomic_folder.write_folder(Path(sys.argv[1]), files)
"""


@pytest.mark.parametrize("renames", [0, 1, 2])
def test_a_killed_writer_leaves_the_old_or_the_new_one_whole(folder, renames):
    """Killed before the old one is moved away, between the renames, and before notes follow."""
    subprocess.run([sys.executable, "-c", KILLED, str(folder), str(renames)], check=False)
    settle(folder.parent)
    assert contents(folder) == {**(NEW if renames == 2 else OLD), "my notes.txt": b"mine"}
    assert [p.name for p in folder.parent.iterdir()] == ["wheel"]


def test_what_somebody_is_at_work_on_is_left_alone(tmp_path):
    with scratch(tmp_path) as work:
        (work / "half").write_text("half")
        settle(tmp_path)
        assert (work / "half").exists()
    assert list(tmp_path.iterdir()) == []


def test_a_lock_that_nobody_keeps_goes(tmp_path):
    (tmp_path / ".cogloupe-x.lock").touch()
    settle(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_files_that_only_the_old_reading_s_mark_names_go_with_it(tmp_path):
    place = tmp_path / "wheel"
    mark = mark_bytes(Mark("1", None, "", {"thumbnail.jpg": 3}))
    write_folder(place, {"thumbnail.jpg": b"old", ".cogloupe.json": mark})
    write_folder(place, NEW)
    assert contents(place) == NEW
