"""Make a calibration from a picture of something of known size."""

import datetime
from dataclasses import dataclass
from math import hypot
from pathlib import Path

import numpy as np

from cogloupe.datum import Bore, find_round_objects
from cogloupe.inspection import camera_of
from cogloupe.measure import measure_gear
from cogloupe.photo import Photo, read_photo
from cogloupe.segment import LUMA, mix_colours
from cogloupe.settings import make_settings
from cogloupe.uncertainty import edge_shift
from cogloupe_calibration.calibration import Calibration, Picture
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.ruled import calibration_from_ruled, measure_ruled_scale
from cogloupe_calibration.scale import (
    CALIPER_U_MM,
    Scale,
    calibration_from_scale,
    from_known_diameter,
    from_stated_scale,
)
from cogloupe_calibration.units import parse_length


@dataclass(frozen=True)
class CalibrationRequest:
    """What the person says of the picture; exactly one of the first five is given.

    Lengths are text with a unit; `uncertainty` is expanded (k = 2).
    """

    scale_um_per_px: float | None = None
    known_tip_diameter: str | None = None
    known_bore: str | None = None
    known_pin: str | None = None
    ruled_scale: str | None = None
    uncertainty: str | None = None
    note: str = ""

    @property
    def method(self) -> str:
        """Name of the one that was given.

        Raises
        ------
        UseError
            Where none or several were given.
        """
        names = (
            "scale_um_per_px", "known_tip_diameter", "known_bore", "known_pin", "ruled_scale",
        )  # fmt: skip
        given = [name for name in names if getattr(self, name) is not None]
        if len(given) != 1:
            options = "--scale, --known-tip-diameter, --known-bore, --known-pin or --ruled-scale"
            raise UseError(f"{len(given)} ways to set the scale were given: give one of {options}")
        return given[0]


def make_calibration(
    path: Path | None, request: CalibrationRequest, date: datetime.date
) -> Calibration:
    """Make a calibration as requested.

    Parameters
    ----------
    path : Path or None
        The picture; only a stated scale goes without.
    request : CalibrationRequest
    date : date

    Returns
    -------
    Calibration

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where request or picture cannot serve.
    """
    method = request.method
    photo = read_photo(path) if path is not None else None
    picture = _picture(photo) if photo is not None else None
    if method == "scale_um_per_px":
        assert request.scale_um_per_px is not None
        scale = from_stated_scale(request.scale_um_per_px)
        return calibration_from_scale(scale, date, picture, request.note)
    if photo is None or picture is None:
        raise UseError(f"--{method.replace('_', '-')} needs a picture: name one")
    length = parse_length(getattr(request, method))
    u = parse_length(request.uncertainty) / 2 if request.uncertainty else None
    if method == "ruled_scale":
        grey = mix_colours(photo.pixels, LUMA if photo.pixels.ndim == 3 else None)
        ruled = measure_ruled_scale(grey, length, *(() if u is None else (u / length,)))
        return calibration_from_ruled(ruled, picture, date, request.note)
    known_u = CALIPER_U_MM if u is None else u
    if method == "known_pin":
        disc = find_round_objects(photo.pixels)
        scale = _from_circle(disc, disc.blur, length, known_u)
    else:
        scale = _from_gear(photo, method, getattr(request, method))
        scale = _with_known_u(scale, known_u)
    return calibration_from_scale(scale, date, picture, request.note)


def _picture(photo: Photo) -> Picture:
    return Picture(
        file=photo.name, sha256=photo.sha256, width_px=photo.width, height_px=photo.height,
        camera=camera_of(photo),
    )  # fmt: skip


def _from_circle(circle: Bore, blur: float, diameter_mm: float, u_mm: float) -> Scale:
    u = hypot(2 * circle.u_radius, 2 * edge_shift(blur))
    return from_known_diameter(2 * circle.radius, u, diameter_mm, u_mm, method="known_pin")


def _from_gear(photo: Photo, method: str, length: str) -> Scale:
    """Scale from the tip circle or the bore of a gear on the picture."""
    return measure_gear(photo.pixels, make_settings({method: length}), None).scale


def _with_known_u(scale: Scale, u_mm: float) -> Scale:
    """The same scale with another uncertainty of the known diameter."""
    details = {name: float(value) for name, value in scale.details.items()}
    return from_known_diameter(
        details["diameter_px"], details["u_diameter_px"], details["diameter_mm"], u_mm,
        scale.method,
    )  # fmt: skip


