"""Make a calibration from a picture of something of known size."""

import datetime
from dataclasses import dataclass
from math import hypot
from pathlib import Path
from typing import Any, Literal

from numpy.typing import NDArray

from cogloupe.datum import Disc, find_disc
from cogloupe.inspection import camera_of
from cogloupe.measure import measure_gear
from cogloupe.photo import Photo, read_photo
from cogloupe.segment import LUMA, mix_colours
from cogloupe.settings import as_option, make_settings
from cogloupe.uncertainty import edge_shift
from cogloupe_calibration.calibration import Calibration, Picture
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.grid import (
    U_PITCH_REL,
    GridScale,
    calibration_from_grid,
    measure_grid,
)
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
    """What the person says of the picture; exactly one of the first seven is given.

    Lengths are text with a unit; `size` is squares or dots across and down, as 9x7;
    `uncertainty` is expanded (k = 2).
    """

    scale_um_per_px: float | None = None
    known_tip_diameter: str | None = None
    known_bore: str | None = None
    known_pin: str | None = None
    ruled_scale: str | None = None
    checkerboard: str | None = None
    dots: str | None = None
    size: str | None = None
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
            "checkerboard", "dots",
        )  # fmt: skip
        given = [name for name in names if getattr(self, name) is not None]
        if len(given) == 1:
            return given[0]
        *others, last = map(as_option, names)
        options = f"{', '.join(others)} or {last}"
        if not given:
            raise UseError(f"nothing sets the scale: give one of {options}")
        both = " and ".join(as_option(name) for name in given)
        raise UseError(f"{both} both set the scale: give one of {options}")


def make_calibration(
    path: Path | None, request: CalibrationRequest, date: datetime.date
) -> tuple[Calibration, GridScale | None]:
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
    GridScale or None
        The grid it was made from, for a picture of its residuals.

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where request or picture cannot serve.
    """
    method = request.method
    if method == "scale_um_per_px":
        picture = _picture(read_photo(path)) if path is not None else None
        return calibration_from_scale(_stated(request), date, picture, request.note), None
    length = parse_length(getattr(request, method))
    u = parse_length(request.uncertainty) / 2 if request.uncertainty else None
    if path is None:
        raise UseError(f"{as_option(method)} needs a picture: name one")
    photo = read_photo(path)
    if method == "ruled_scale":
        ruled = measure_ruled_scale(_grey(photo), length, *(() if u is None else (u / length,)))
        return calibration_from_ruled(ruled, _picture(photo), date, request.note), None
    if method in ("checkerboard", "dots"):
        grid = _grid(photo, request, length, u)
        return calibration_from_grid(grid, _picture(photo), date, request.note), grid
    known_u = CALIPER_U_MM if u is None else u
    if method == "known_pin":
        scale = _from_disc(find_disc(photo.pixels), length, known_u)
    else:
        scale = _with_known_u(_from_gear(photo, method, getattr(request, method)), known_u)
    return calibration_from_scale(scale, date, _picture(photo), request.note), None


def _stated(request: CalibrationRequest) -> Scale:
    """Scale that the person states."""
    settings = make_settings({"scale_um_per_px": request.scale_um_per_px})
    assert settings.scale_um_per_px is not None  # it is the method that was asked for
    if request.uncertainty is not None:
        raise UseError("--uncertainty is that of a known length: leave it out with --scale")
    return from_stated_scale(settings.scale_um_per_px)


def _grey(photo: Photo) -> NDArray[Any]:
    return mix_colours(photo.pixels, LUMA if photo.pixels.ndim == 3 else None)


def _grid(
    photo: Photo, request: CalibrationRequest, pitch_mm: float, u_mm: float | None
) -> GridScale:
    """Grid of squares or dots on a picture."""
    kind: Literal["checkerboard", "dots"] = "dots" if request.dots is not None else "checkerboard"
    relative = U_PITCH_REL if u_mm is None else u_mm / pitch_mm
    return measure_grid(_grey(photo), pitch_mm, kind, parse_size(request.size), relative)


def parse_size(text: str | None) -> tuple[int, int] | None:
    """Read how many squares or dots a target has.

    Parameters
    ----------
    text : str or None
        Across and down, as ``9x7``.

    Returns
    -------
    (int, int) or None

    Raises
    ------
    UseError
        Where it is not two whole numbers above zero.
    """
    if text is None:
        return None
    across, _, down = text.lower().partition("x")
    if not (across.strip().isdigit() and down.strip().isdigit() and int(across) and int(down)):
        raise UseError(f"--size '{text}' is not squares or dots across and down: write 9x7")
    return int(across), int(down)


def _picture(photo: Photo) -> Picture:
    return Picture(
        file=photo.name, sha256=photo.sha256, width_px=photo.width, height_px=photo.height,
        camera=camera_of(photo),
    )  # fmt: skip


def _from_disc(disc: Disc, diameter_mm: float, u_mm: float) -> Scale:
    """Scale from a disc; how far it is out of round may be in the diameter that was gauged."""
    edge = hypot(edge_shift(disc.blur), disc.u_level)
    u = 2 * hypot(disc.circle.u_radius, disc.circle.rms, edge)
    return from_known_diameter(2 * disc.circle.radius, u, diameter_mm, u_mm, method="known_pin")


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
