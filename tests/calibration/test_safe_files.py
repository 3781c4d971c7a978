"""Files of every kind: none hangs or floods what reads it, none is left half written."""

import os
import threading
import time
from pathlib import Path

import pytest

from cogloupe_calibration.files import read_file, write_whole


@pytest.fixture
def pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    return tmp_path / "pipe"


def test_a_file_is_read_up_to_the_size_allowed(tmp_path):
    (tmp_path / "a").write_bytes(b"12345")
    assert read_file(tmp_path / "a", 5) == b"12345"
    with pytest.raises(OSError, match="larger than 4e-06 MB"):
        read_file(tmp_path / "a", 4)


@pytest.mark.parametrize("path", ["/dev/zero", "/dev/null", "/"])
def test_devices_and_folders_are_not_opened(path):
    with pytest.raises(OSError, match="no ordinary file"):
        read_file(Path(path), 100)


def test_a_pipe_is_not_waited_for(pipe):
    with pytest.raises(OSError, match="no ordinary file"):
        read_file(pipe, 100)


def test_a_full_disk_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    write_whole(tmp_path / "a", b"old")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cogloupe_calibration.files.os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "a", b"new")
    assert (tmp_path / "a").read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a"]


def test_a_link_stays_a_link_and_rights_stay_rights(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "a").chmod(0o600)
    (tmp_path / "link").symlink_to("a")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "a").read_bytes() == b"new"
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o600


def test_what_is_no_ordinary_file_is_not_replaced(pipe):
    with pytest.raises(OSError, match="no ordinary file"):
        write_whole(pipe, b"new")
    assert pipe.is_fifo()


def test_what_a_killed_writer_left_is_taken_away_in_time(tmp_path):
    for name, age in ((".a.x.part", 7200), (".a.y.part", 10), (".b.x.part", 7200)):
        (tmp_path / name).touch()
        os.utime(tmp_path / name, (time.time() - age,) * 2)
    write_whole(tmp_path / "a", b"new")
    assert sorted(os.listdir(tmp_path)) == [".a.y.part", ".b.x.part", "a"]


def test_many_writers_at_once_leave_one_whole_file(tmp_path):
    texts = [str(k).encode() * 50_000 for k in range(8)]
    writers = [threading.Thread(target=write_whole, args=(tmp_path / "a", t)) for t in texts]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert (tmp_path / "a").read_bytes() in texts
    assert os.listdir(tmp_path) == ["a"]
