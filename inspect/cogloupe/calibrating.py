"""Make a calibration from a picture of something of known size."""

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA, mix_colours
from cogloupe.fits.disc import find_disc
from cogloupe.fits.measure import measure_gear
from cogloupe.inputs.photo import Photo, read_photo
from cogloupe.inputs.settings import as_option, make_settings
from cogloupe.inputs.stated_scale import camera_of
from cogloupe.optics.outlines import edge_shift
from cogloupe_calibration.calibration import Calibration, Picture
from cogloupe_calibration.circle import CircleScale, measure_circle
from cogloupe_calibration.errors import CalibrationError, UseError
from cogloupe_calibration.grid import U_PITCH_REL, OtherPictureError, measure_grid
from cogloupe_calibration.grid_scale import GridScale, Kind
from cogloupe_calibration.ruled import RuledScale, measure_ruled_scale
from cogloupe_calibration.scale import (
    CALIPER_U_MM,
    Scale,
    calibration_from_scale,
    from_known_diameter,
    from_stated_scale,
)
from cogloupe_calibration.summary import calibration_from
from cogloupe_calibration.units import parse_length

Shown = GridScale | CircleScale | RuledScale
GRIDS = ("checkerboard", "dots")
VIEW_WITHIN = 1.5
"""A person's rough width of the view is within this factor; hidden divisions make it 2 or more."""


@dataclass(frozen=True, kw_only=True)
class CalibrationRequest:
    """What the person says of the picture; exactly one of the first eight is given.

    Lengths are text with a unit; `size` is squares or dots across and down, as 9x7;
    `uncertainty` is expanded (k = 2); `view_width` is roughly what the frame's width shows.
    """

    scale_um_per_px: float | None = None
    known_tip_diameter: str | None = None
    known_bore: str | None = None
    known_pin: str | None = None
    known_ring: str | None = None
    ruled_scale: str | None = None
    checkerboard: str | None = None
    dots: str | None = None
    size: str | None = None
    uncertainty: str | None = None
    view_width: str | None = None
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
            "scale_um_per_px", "known_tip_diameter", "known_bore", "known_pin", "known_ring",
            "ruled_scale", "checkerboard", "dots",
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
    path: Path | None,
    request: CalibrationRequest,
    date: datetime.date,
    others: Sequence[Path] = (),
) -> tuple[Calibration, Shown | None]:
    """Make a calibration as requested.

    Parameters
    ----------
    path : Path or None
        The picture; only a stated scale goes without.
    request : CalibrationRequest
    date : date
    others : sequence of Path, optional
        More pictures of a checkerboard or dot grid through the same lens.

    Returns
    -------
    Calibration
    GridScale, CircleScale, RuledScale or None
        What it was made from, for a picture of its residuals.

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where request or picture cannot serve.
    """
    method = request.method
    if others and method not in GRIDS:
        raise UseError(
            f"{as_option(method)} goes with one picture, {1 + len(others)} were given: several "
            "pictures of a checkerboard or dot grid make one calibration"
        )
    if method == "scale_um_per_px":
        picture = _picture(read_photo(path)) if path is not None else None
        return calibration_from_scale(_stated(request), date, picture, request.note), None
    length = parse_length(getattr(request, method))
    u = _stated_u(request, length)
    if path is None:
        raise UseError(f"{as_option(method)} needs a picture: name one")
    photo = read_photo(path)
    more = [read_photo(other) for other in others]
    made = _measured([photo, *more], request, length, u)(_picture(photo), date, request.note)
    if request.view_width is not None:
        _check_view(made[0], photo.width, request.view_width)
    return made


def _measured(
    photos: list[Photo], request: CalibrationRequest, length: float, u: float | None
) -> Callable[[Picture, datetime.date, str], tuple[Calibration, Shown | None]]:
    """Measure what is on the pictures; gives what makes the calibration of it."""
    photo = photos[0]
    method, known_u = request.method, CALIPER_U_MM if u is None else u
    shown: Shown
    if method == "ruled_scale":
        shown = measure_ruled_scale(_grey(photo), length, *(() if u is None else (u / length,)))
    elif method in GRIDS:
        shown = _grid(photos, request, length, u)
    elif method in ("known_pin", "known_ring"):
        shown = _circle(photo, length, known_u, hollow=method == "known_ring")
    else:
        scale = _with_known_u(_from_gear(photo, method, getattr(request, method)), known_u)
        return lambda picture, date, note: (
            calibration_from_scale(scale, date, picture, note),
            None,
        )
    return lambda *about: (calibration_from(shown.summary, *about), shown)


def seen_in_words(shown: Shown) -> str:
    """Say what was seen, so that a person can hold it against the target.

    Parameters
    ----------
    shown : GridScale, CircleScale or RuledScale

    Returns
    -------
    str
        A sentence.
    """
    if isinstance(shown, RuledScale):
        number = shown.fit.number
        gaps = int(number[-1] - number[0])
        return (
            f"Seen: {len(number)} lines, {gaps * shown.division_mm:.4g} mm from the first to "
            f"the last at {shown.division_mm:g} mm a division. Where blur hides lines altogether "
            "no picture tells it: hold this against the scale itself."
        )
    if isinstance(shown, CircleScale):
        return (
            f"Seen: a circle {2 * shown.radius_px:.1f} px across; scale in x over scale in y "
            f"{shown.ratio:.5f} ± {4 * shown.u_e:.1g} (k = 2)."
        )
    target, points = shown.target, shown.points
    pictures = len(shown.fit.periods_px)
    on = f" on {pictures} pictures" if pictures > 1 else ""
    return (
        f"Seen: {target.columns} x {target.rows} {target.marks}, {int(points.used.sum())} points"
        f"{on}, off an even grid by {points.uncorrected_rms_px:.2g} px RMS before and "
        f"{shown.fit.residual_rms_px:.2g} px after the lens is undone.{_planes_in_words(shown)}"
    )


def _planes_in_words(grid: GridScale) -> str:
    """Which pictures tell scale and lean."""
    periods = grid.fit.periods_px
    if len(periods) == 1:
        return ""
    low, high = (100 * (value / periods[0] - 1) for value in (periods.min(), periods.max()))
    lean = "the lean is that of all" if grid.fit.one_plane else "so is the lean"
    return (
        f" The scale is that of the first picture, {lean}; so it must show the target where the "
        f"gear will lie. The scales on the others differ from it by {low:+.2g} to {high:+.2g} %."
    )


def _stated_u(request: CalibrationRequest, length: float) -> float | None:
    """Standard uncertainty of the known length as stated, mm."""
    if request.uncertainty is None:
        return None
    expanded = parse_length(request.uncertainty)
    if expanded >= length / 2:
        raise UseError(
            f"--uncertainty {request.uncertainty} ({expanded:g} mm) against a known length of "
            f"{getattr(request, request.method)} ({length:g} mm): check the units"
        )
    return expanded / 2


def _check_view(calibration: Calibration, width_px: int, stated: str) -> None:
    """Refuse a scale that shows another width than the person sees."""
    seen, wanted = width_px * calibration.mm_per_px, parse_length(stated)
    if not 1 / VIEW_WITHIN < seen / wanted < VIEW_WITHIN:
        raise CalibrationError(
            f"the frame would be {seen:.3g} mm wide by this picture, stated {wanted:.3g} mm: the "
            "stated length is not that between neighbouring lines or marks (blur may hide the "
            "finer ones), or the units are wrong"
        )


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
    photos: list[Photo], request: CalibrationRequest, pitch_mm: float, u_mm: float | None
) -> GridScale:
    """Grid of squares or dots on its pictures."""
    kind: Kind = "dots" if request.dots is not None else "checkerboard"
    relative = U_PITCH_REL if u_mm is None else u_mm / pitch_mm
    first, *others = map(_grey, photos)
    try:
        return measure_grid(first, pitch_mm, kind, parse_size(request.size), relative, others)
    except OtherPictureError as error:
        raise CalibrationError(f"{photos[error.picture].name}: {error}") from error


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
    found = re.fullmatch(r"\s*([1-9][0-9]{0,2})\s*x\s*([1-9][0-9]{0,2})\s*", text.lower())
    if found is None:
        raise UseError(f"--size '{text}' is not squares or dots across and down: write 9x7")
    return int(found[1]), int(found[2])


def _picture(photo: Photo) -> Picture:
    return Picture(
        file=photo.name, sha256=photo.sha256, width_px=photo.width, height_px=photo.height,
        camera=camera_of(photo),
    )  # fmt: skip


def _circle(photo: Photo, diameter_mm: float, u_mm: float, hollow: bool) -> CircleScale:
    """Pin, disc or ring on a picture."""
    disc = find_disc(photo.pixels, hollow)
    edge = edge_shift(disc.blur, disc.u_level)
    return measure_circle(
        disc.xy, diameter_mm, (photo.width, photo.height), u_diameter_mm=u_mm, u_edge_px=edge,
        method="known_ring" if hollow else "known_pin",
    )  # fmt: skip


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
