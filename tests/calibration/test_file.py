"""The calibration file: round trip, refusal of what is not one, and whether it fits a picture."""

import datetime
import json
from importlib.resources import files
from pathlib import Path

import pytest
from pydantic import ValidationError

from cogloupe_calibration.calibration import (
    Calibration,
    Camera,
    Lens,
    Picture,
    calibration_schema,
    check_fits,
    load_calibration,
    save_calibration,
)
from cogloupe_calibration.errors import CalibrationError

OLD = Path(__file__).parent / "old"
"""Files as earlier versions wrote them, named by their schema; none is ever changed."""
DAY = datetime.date(2024, 5, 1)
CAMERA = Camera(make="Maker", model="Four", lens="macro", focal_length_mm=60.0)
LENS = Lens(centre_px=(1, 1), radius_px=9, terms=(0.0,) * 8, covariance=((0.0,) * 8,) * 8)


def calibration(**changes):
    picture = Picture(file="r.png", sha256="ab", width_px=2000, height_px=1500, camera=CAMERA)
    fields = {
        "mm_per_px": 0.005,
        "u_mm_per_px": 2e-6,
        "method": "ruled_scale",
        "date": DAY,
        "picture": picture,
        "verdict": "good",
    }
    return Calibration(**(fields | changes))


def test_file_gives_back_what_was_saved(tmp_path):
    made = calibration(note="zoom 2", residual_rms_px=0.01, details={"lines": 40.0}, lens=LENS)
    save_calibration(made, tmp_path / "c.json")
    assert load_calibration(tmp_path / "c.json") == made


def test_saving_leaves_nothing_else_in_the_folder(tmp_path):
    save_calibration(calibration(), tmp_path / "c.json")
    save_calibration(calibration(note="again"), tmp_path / "c.json")
    assert [path.name for path in tmp_path.iterdir()] == ["c.json"]
    assert load_calibration(tmp_path / "c.json").note == "again"


def test_the_published_schema_is_that_of_the_model():
    published = files("cogloupe_calibration").joinpath("calibration.schema.json").read_text("utf-8")
    # Made by `cogloupe schema calibration`; make it again on change.
    assert json.loads(published) == calibration_schema()


@pytest.mark.parametrize("path", sorted(OLD.glob("*.json")), ids=lambda path: path.stem)
def test_a_calibration_of_an_earlier_version_still_opens(path):
    told = json.loads(path.read_bytes())
    found = json.loads(load_calibration(path).model_dump_json())
    assert {name: found[name] for name in told} == told


def test_failed_saving_keeps_the_old_file(tmp_path, monkeypatch):
    save_calibration(calibration(note="old"), tmp_path / "c.json")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cogloupe_calibration.files.os.replace", full)
    with pytest.raises(CalibrationError, match="No space left"):
        save_calibration(calibration(note="new"), tmp_path / "c.json")
    assert load_calibration(tmp_path / "c.json").note == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["c.json"]


def test_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CalibrationError, match="cannot be written"):
        save_calibration(calibration(), tmp_path / "none" / "c.json")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "not a calibration file"),
        ("{", "not a calibration file"),
        ("[1]", "not a calibration file"),
        ("{}", "mm_per_px"),
        ("\udcff\x00", "not a calibration file"),
    ],
)
def test_what_is_not_a_calibration_is_refused(tmp_path, content, message):
    path = tmp_path / "c.json"
    path.write_bytes(content.encode("utf-8", "surrogateescape"))
    with pytest.raises(CalibrationError, match=message) as caught:
        load_calibration(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("field", "value"),
    [("mm_per_px", -1), ("mm_per_px", 0), ("u_mm_per_px", -1), ("method", "guess"), ("extra", 1)],
)
def test_wrong_fields_are_named(tmp_path, field, value):
    content = json.loads(calibration().model_dump_json()) | {field: value}
    (tmp_path / "c.json").write_text(json.dumps(content))
    with pytest.raises(CalibrationError, match=field):
        load_calibration(tmp_path / "c.json")


def test_missing_file_is_told(tmp_path):
    with pytest.raises(CalibrationError, match="cannot be read: No such file"):
        load_calibration(tmp_path / "c.json")


def test_file_of_another_schema_is_refused_with_both_versions(tmp_path):
    save_calibration(calibration(schema_version="2.0"), tmp_path / "c.json")
    with pytest.raises(CalibrationError, match=r"2\.0, this program reads 1\.0"):
        load_calibration(tmp_path / "c.json")


def test_calibration_cannot_be_changed():
    with pytest.raises(ValidationError):
        calibration().mm_per_px = 1.0


def test_same_frame_and_camera_give_no_warning():
    assert check_fits(calibration(), 2000, 1500, camera=CAMERA, today=DAY) == []


@pytest.mark.parametrize(
    ("width", "height", "what"),
    [(1000, 750, "frame size"), (2000, 1501, "frame size"), (1920, 1080, "aspect")],
)
def test_other_frame_is_refused_with_both_sizes(width, height, what):
    both = f"{what} differs: calibration 2000 x 1500 px, picture {width} x {height} px"
    with pytest.raises(CalibrationError, match=both):
        check_fits(calibration(), width, height)


def test_turned_frame_warns_for_a_bare_scale_and_is_refused_with_a_lens():
    assert "turned" in check_fits(calibration(), 1500, 2000)[0]
    with pytest.raises(CalibrationError, match="1500 x 2000"):
        check_fits(calibration(lens=LENS), 1500, 2000)


def test_calibration_without_a_picture_fits_any_frame():
    assert check_fits(calibration(picture=None), 17, 3, camera=CAMERA) == []


@pytest.mark.parametrize(
    ("change", "both"),
    [
        ({"make": "Other"}, "'Maker', picture 'Other'"),
        ({"model": "Five"}, "'Four', picture 'Five'"),
        ({"lens": "kit"}, "'macro', picture 'kit'"),
        ({"focal_length_mm": 50.0}, "60 mm, picture 50 mm"),
    ],
)
def test_other_camera_warns_with_both(change, both):
    (warning,) = check_fits(calibration(), 2000, 1500, camera=CAMERA.model_copy(update=change))
    assert both in warning


@pytest.mark.parametrize("camera", [None, Camera(), Camera(focal_length_mm=60.3)])
def test_silent_exif_and_rounding_do_not_warn(camera):
    assert check_fits(calibration(), 2000, 1500, camera=camera) == []


@pytest.mark.parametrize(
    ("days", "words"), [(365, []), (366, ["366 days old"]), (-1, ["after the picture"])]
)
def test_age_warns(days, words):
    warnings = check_fits(calibration(), 2000, 1500, today=DAY + datetime.timedelta(days))
    assert len(warnings) == len(words)
    assert all(word in warning for word, warning in zip(words, warnings, strict=True))


def test_own_bad_verdict_is_passed_on():
    poor = calibration(verdict="take it again", reasons=("7 lines seen",))
    assert "7 lines seen" in check_fits(poor, 2000, 1500)[0]
