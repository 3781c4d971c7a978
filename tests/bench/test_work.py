"""What the page asks for, without a browser."""

import pytest

from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.bench.work import Work
from cogloupe_calibration.errors import UseError

KNOWN = {"teeth": 24, "module_mm": 1.0, "known_tip_diameter": "26mm"}


@pytest.fixture
def folder(tmp_path, wheel_png):
    (tmp_path / "gears").mkdir()
    (tmp_path / "gears" / "wheel.png").write_bytes(wheel_png)
    return GearsFolder(tmp_path / "gears")


def test_files_that_cannot_be_written_are_told_where_they_are_asked_for(folder):
    folder.readings.write_text("a file lies where the readings should go")
    work = Work(folder)
    assert work.read("wheel.png", KNOWN)["figures"]  # the figures do not wait for the files
    with pytest.raises(UseError, match="cannot be written"):
        work.settle()
    work.settle()  # told once, so that what was read before can still be opened


def test_a_calibration_that_the_page_names_is_looked_for_in_its_folder_only(folder):
    made = folder.settings(folder.path / "wheel.png", {"calibration": "../calibration.json"})
    assert made.calibration == folder.calibration


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("clip.mov", "a movie"), ("IMG_0042.HEIC", "set its camera to JPEG"),
        ("wheel.dng", "raw"), ("notes.xyz", "ending in .xyz"), ("wheel", "without an ending"),
    ],
)  # fmt: skip
def test_what_is_no_picture_to_be_read_is_told_what_to_do(folder, name, why):
    with pytest.raises(UseError, match=why):
        folder.keep(name, b"x")
