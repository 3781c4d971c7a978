"""What the page asks for, without a browser."""

import pytest

from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.bench.work import Work
from cogloupe_calibration.calibration import load_calibration
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


def test_a_known_size_on_a_picture_becomes_the_folders_calibration(folder):
    work = Work(folder)
    told = work.calibrate("wheel.png", {"known_tip_diameter": "26mm", "size": "", "odd": "1"})
    assert "40" in told["calibration"]  # µm a pixel, as the picture was drawn
    assert load_calibration(folder.calibration).mm_per_px == pytest.approx(0.04, rel=2e-3)


def test_a_machine_is_changed_field_by_field_and_never_into_one_that_cannot_be(folder):
    folder.machine.write_text(
        "# counted by hand\nbelt_teeth = 90\nmotor_steps_per_revolution = 200\n"
    )
    folder.keep_machine({"belt_teeth": "", "drive_ratio": [72, 24]})
    assert "# counted by hand" in folder.machine.read_text()
    steps = {"motor_steps_per_revolution": "200"}
    assert folder.machine_as_typed() == {**steps, "drive_ratio": "72/24"}
    with pytest.raises(UseError, match="hob_starts"):
        folder.keep_machine({"hob_starts": "many"})
    assert "hob_starts" not in folder.machine_as_typed()


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("clip.mov", "a movie"),
        ("wheel.dng", "raw"), ("notes.xyz", "ending in .xyz"), ("wheel", "without an ending"),
    ],
)  # fmt: skip
def test_what_is_no_picture_to_be_read_is_told_what_to_do(folder, name, why):
    with pytest.raises(UseError, match=why):
        folder.keep(name, b"x")
