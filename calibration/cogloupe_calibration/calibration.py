"""The calibration file: the scale of a picture, how it was found, and what it may be used for."""

import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.file_model import FileModel
from cogloupe_calibration.files import write_whole
from cogloupe_calibration.json_files import LaterSchemaError, load_json, what_is_wrong
from cogloupe_calibration.verdict import Verdict

SCHEMA_VERSION = "1.0"
CALIBRATION_MOST_BYTES = 2**20
"""Two hundred times what the largest has."""
MOST_AGE_DAYS = 365
"""A year, as workshops have their gauges checked (common practice, no source)."""
FOCAL_LENGTH_AGREES_REL = 0.01
"""Above what cameras round the length that they state to, and below what a turned zoom changes (our
own judgement)."""
LENS_TERMS = ("k1", "k2", "p1", "p2", "e1", "e2", "g1", "g2")
MORE_LENS_TERMS = ("k3", "q1", "q2", "k4", "k5", "k6")
"""Of these as many follow, in this order, as the lens calls for."""

Method = Literal[
    "stated",
    "known_tip_diameter",
    "known_bore",
    "known_pin",
    "known_ring",
    "known_span",
    "known_over_pins",
    "ruled_scale",
    "grid",
    "from_module",
]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Pixels = Annotated[int, Field(gt=0)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class Camera(FileModel):
    """What EXIF tells of the camera; None where it is silent."""

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    focal_length_mm: Positive | None = None


class Picture(FileModel):
    """The picture a calibration was made from."""

    file: str
    sha256: str
    width_px: Pixels
    height_px: Pixels
    camera: Camera = Camera()


class Lens(FileModel):
    """Distortion, unequal scales and tilt, as `cogloupe_calibration.lens` uses them.

    `terms` are the values named by `lens.TERMS`, and some of `lens.MORE_TERMS` where a wide-angle
    lens calls for them, dimensionless; `covariance` is their covariance matrix, row by row.
    """

    centre_px: tuple[Finite, Finite]
    radius_px: Positive
    terms: tuple[Finite, ...]
    covariance: tuple[tuple[Finite, ...], ...]

    @model_validator(mode="after")
    def _sizes(self) -> "Lens":
        sizes = (len(self.terms), len(self.covariance), *(len(row) for row in self.covariance))
        least, most = len(LENS_TERMS), len(LENS_TERMS + MORE_LENS_TERMS)
        if len(set(sizes)) != 1 or not least <= sizes[0] <= most:
            raise ValueError(f"terms and covariance must have {least} rows and columns, or more")
        return self


class Calibration(FileModel):
    """Scale of a picture with its standard uncertainty (k = 1), and where it came from.

    `valid_region_px` is (left, top, right, bottom) of what the target covered; None is the whole
    frame.
    """

    schema_version: str = SCHEMA_VERSION
    mm_per_px: Positive
    u_mm_per_px: NotNegative
    method: Method
    date: datetime.date
    picture: Picture | None = None
    note: str = ""
    residual_rms_px: NotNegative | None = None
    details: dict[str, float | str] = Field(default_factory=dict)
    valid_region_px: tuple[Finite, Finite, Finite, Finite] | None = None
    lens: Lens | None = None
    verdict: Verdict
    reasons: tuple[str, ...] = ()


def save_calibration(calibration: Calibration, path: Path) -> None:
    """Write a calibration file; the old one stays whole until the new one is.

    Raises
    ------
    CalibrationError
        Where the file cannot be written.
    """
    try:
        write_whole(path, (calibration.model_dump_json(indent=1) + "\n").encode())
    except OSError as error:
        raise CalibrationError(
            f"calibration cannot be written to {path}: {error.strerror}; choose another place"
        ) from error


def load_calibration(path: Path) -> Calibration:
    """Read a calibration file.

    Raises
    ------
    CalibrationError
        Where the file is not there, is not a calibration, or is of another schema.
    """
    try:
        data = load_json(path, CALIBRATION_MOST_BYTES, SCHEMA_VERSION)
        return Calibration.model_validate(data)
    except OSError as error:
        raise CalibrationError(
            f"calibration {path} cannot be read: {error.strerror}; check the name"
        ) from error
    except LaterSchemaError as error:
        raise CalibrationError(f"{path} {error}: make it again") from error
    except ValueError as error:
        raise CalibrationError(
            f"{path} is not a calibration file: {what_is_wrong(error)}; make it again with "
            "'cogloupe calibrate'"
        ) from error


def calibration_schema() -> dict[str, Any]:
    """JSON Schema of calibration files, as published in the package (`calibration.schema.json`)."""
    return Calibration.model_json_schema(mode="serialization")


def check_fits(
    calibration: Calibration,
    width_px: int,
    height_px: int,
    *,
    camera: Camera | None = None,
    today: datetime.date | None = None,
) -> list[str]:
    """Check that a calibration can serve a picture.

    Warnings, empty where nothing speaks against it.

    Parameters
    ----------
    width_px, height_px : int
        Frame of the upright picture it is to serve.
    camera : Camera, optional
        What is known of the camera that took it.
    today : date, optional
        When the picture was taken, or today; without it the age is not checked.

    Raises
    ------
    CalibrationError
        Where the frame differs, so the scale cannot be the same.
    """
    warnings: list[str] = []
    if calibration.picture is not None:
        warnings += _frame_warnings(calibration, width_px, height_px)
        warnings += _camera_warnings(calibration.picture.camera, camera or Camera())
    if today is not None:
        warnings += _age_warnings(calibration.date, today)
    if calibration.verdict == "take it again":
        reasons = "; ".join(calibration.reasons)
        warnings.append(f"the calibration's own verdict is 'take it again': {reasons}")
    return warnings


def _frame_warnings(calibration: Calibration, width_px: int, height_px: int) -> list[str]:
    assert calibration.picture is not None
    made = (calibration.picture.width_px, calibration.picture.height_px)
    if made == (width_px, height_px):
        return []
    both = f"calibration {made[0]} x {made[1]} px, picture {width_px} x {height_px} px"
    # A bare scale is the same both ways up; a lens belongs to the frame as it was.
    if made == (height_px, width_px) and calibration.lens is None:
        return [f"the picture is turned against the calibration: {both}"]
    what = "aspect" if _aspect_differs(made, (width_px, height_px)) else "frame size"
    raise CalibrationError(f"{what} differs: {both}; calibrate at the picture's own frame size")


def _aspect_differs(a: tuple[int, int], b: tuple[int, int]) -> bool:
    # Half a pixel of rounding on either side is what resizing leaves.
    return abs(a[0] * b[1] - b[0] * a[1]) > 0.5 * (a[0] + a[1] + b[0] + b[1])


def _camera_warnings(made: Camera, seen: Camera) -> list[str]:
    names = (("make", "camera make"), ("model", "camera model"), ("lens", "lens"))
    pairs = [(what, getattr(made, name), getattr(seen, name)) for name, what in names]
    warnings = [
        f"{what} differs: calibration '{old}', picture '{new}'"
        for what, old, new in pairs
        if None not in (old, new) and old != new
    ]
    old, new = made.focal_length_mm, seen.focal_length_mm
    if old is not None and new is not None and abs(old - new) > FOCAL_LENGTH_AGREES_REL * old:
        warnings.append(f"focal length differs: calibration {old:g} mm, picture {new:g} mm")
    return warnings


def _age_warnings(made: datetime.date, today: datetime.date) -> list[str]:
    age = (today - made).days
    if age > MOST_AGE_DAYS:
        return [f"the calibration is {age} days old (more than {MOST_AGE_DAYS})"]
    if age < 0:
        return [f"the calibration is dated {made}, after the picture ({today})"]
    return []
