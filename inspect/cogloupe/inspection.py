"""One photograph from file to reading: the whole job in the order of its steps."""

import datetime
from collections.abc import Callable
from math import inf, pi

import numpy as np
from numpy.typing import NDArray

from cogloupe import __version__
from cogloupe.assemble import (
    build_datum,
    build_gear,
    build_notices,
    build_teeth,
)
from cogloupe.assemble_shapes import (
    build_gap_mean,
    build_gap_theory,
    build_gaps,
    build_profile,
    build_sizes,
    size_notices,
)
from cogloupe.cutting.gap_findings import gap_findings, settings_by_sight
from cogloupe.evidence import Evidence
from cogloupe.figures.budget import budget_lines, judge_figures
from cogloupe.figures.details import Details, work_out_details
from cogloupe.figures.pitch import Figures, work_out
from cogloupe.fits.datum_axis import Axes, choose_datum
from cogloupe.fits.size import CirclesSeen, compare_scales
from cogloupe.flags import flag
from cogloupe.flank_sources import at_the_gear
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.forms.tooth_form import BOTH_SIDES
from cogloupe.measure import Measured, measure_gear
from cogloupe.photo import Photo
from cogloupe.reading import CalibrationInfo, Notice, PhotoInfo, Reading
from cogloupe.settings import GearSettings
from cogloupe.summary import build_summary, build_tolerance
from cogloupe.uncertainty import pitch_uncertainty
from cogloupe_calibration.calibration import (
    Calibration,
    Camera,
    Lens,
    check_fits,
    load_calibration,
)
from cogloupe_calibration.lens import is_measured, observed_points, unmeasured_lens
from cogloupe_calibration.scale import Scale, from_stated_scale

Floats = NDArray[np.float64]

OUTSIDE_WARNS = 0.05
"""Share of its tip radius by which a gear may reach outside the calibrated part of the frame."""


def inspect_photo(
    photo: Photo, settings: GearSettings, figured: Callable[[Reading], object] | None = None
) -> tuple[Reading, Evidence]:
    """Read the gear on a photograph.

    Parameters
    ----------
    photo : Photo
        Upright photograph.
    settings : GearSettings
        What is known of gear and picture.
    figured : callable, optional
        Given the reading as soon as all its figures are there, so that charts can be begun: what
        cut the gear is worked out after that, and takes a third of the time.

    Returns
    -------
    Reading
    Evidence
        What the drawings need beside the figures.

    Raises
    ------
    PhotoError, CalibrationError, UseError
        Where photograph, calibration or settings cannot serve, in one line.
    """
    stated, calibration, notices = stated_scale(photo, settings)
    lens = calibration.lens if calibration is not None else None
    frame = (photo.width, photo.height)
    if settings.unknown:
        settings = settings_by_sight(photo.pixels, settings, stated, lens)
    measured = at_the_gear(measure_gear(photo.pixels, settings, stated, lens), frame, lens)
    circles = CirclesSeen(measured.teeth, measured.outlines, measured.bore)
    notices += compare_scales(settings, measured.scale, circles)
    notices += _outside(measured, calibration)
    axes = choose_datum(measured, settings.datum)
    figures = work_out(measured, axes, settings, frame, lens)
    details = work_out_details(measured, axes, figures, frame, lens, settings)
    reading = build_reading(photo, measured, axes, figures, notices, lens, details)
    if figured is not None:
        figured(reading)
    told = gap_findings(measured, figures, settings, lens or unmeasured_lens(*frame))
    reading = reading.model_copy(update={"cutting": told[0], "identity": told[1]})
    if settings.calibration is not None and calibration is not None:
        info = reading.calibration.model_copy(update={"file": str(settings.calibration)})
        reading = reading.model_copy(update={"calibration": info})
    return reading, build_evidence(photo, measured, figures, lens, details)


def stated_scale(
    photo: Photo, settings: GearSettings
) -> tuple[Scale | None, Calibration | None, tuple[Notice, ...]]:
    """Scale that the settings bring along, if any.

    Parameters
    ----------
    photo : Photo
    settings : GearSettings

    Returns
    -------
    Scale or None
    Calibration or None
    tuple of Notice
        Warnings of the calibration file.

    Raises
    ------
    CalibrationError
        Where the calibration file is wrong or cannot fit the photograph.
    """
    if settings.scale_um_per_px is not None:
        return from_stated_scale(settings.scale_um_per_px), None, ()
    if settings.calibration is None:
        return None, None, ()
    calibration = load_calibration(settings.calibration)
    warnings = check_fits(
        calibration, photo.width, photo.height, camera=camera_of(photo), today=datetime.date.today()
    )
    scale = Scale(calibration.mm_per_px, calibration.u_mm_per_px, calibration.method)
    return scale, calibration, tuple(flag("calibration", what=text) for text in warnings)


def _outside(measured: Measured, calibration: Calibration | None) -> tuple[Notice, ...]:
    """Say so where the gear lies outside what the calibration's target covered."""
    if calibration is None or calibration.valid_region_px is None:
        return ()
    left, top, right, bottom = calibration.valid_region_px
    seen = measured.region
    beyond = seen.tip_radius + max(
        left - seen.x, seen.x - right, top - seen.y, seen.y - bottom, -seen.tip_radius
    )
    if beyond < OUTSIDE_WARNS * seen.tip_radius:
        return ()
    what = f"the gear reaches {beyond:.0f} px outside the part of the frame that its target covered"
    return (flag("calibration", what=what),)


def camera_of(photo: Photo) -> Camera:
    """What EXIF tells of the camera.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Camera
    """
    exif = photo.exif
    try:
        length = float(exif.get("FocalLength", ""))
    except ValueError:
        length = 0.0
    # Microscopes and phones write 0, or 0/0, for what they do not know.
    return Camera(
        make=exif.get("Make"), model=exif.get("Model"), lens=exif.get("LensModel"),
        focal_length_mm=length if 0 < length < inf else None,
    )  # fmt: skip


def build_reading(
    photo: Photo,
    measured: Measured,
    axes: Axes,
    figures: Figures,
    notices: tuple[Notice, ...],
    lens: Lens | None,
    details: Details | None = None,
) -> Reading:
    """Put what was measured and worked out into a reading.

    Parameters
    ----------
    photo : Photo
    measured, axes, figures
        What was worked out.
    notices : tuple of Notice
        What is to be said beside what the figures themselves give rise to.
    lens : Lens or None
        Measured lens, if any.
    details : Details, optional
        What was worked out beside the figures; without it that is done here.

    Returns
    -------
    Reading
    """
    radius_um = 1000 * figures.measuring_radius
    pitch_u = pitch_uncertainty(figures.noise, figures.modes, radius_um)
    if details is None:
        details = work_out_details(measured, axes, figures, (photo.width, photo.height), lens)
    profiles, shapes = details.profiles, details.shapes
    teeth = build_teeth(measured, figures, profiles, pitch_u, shapes)
    judged = judge_figures(measured, figures)
    summary = build_summary(measured, axes, figures, profiles, judged, shapes)
    scale, straight = measured.scale, measured.wheel.flank.name == "straight"
    sizes = build_sizes(details.sizes)
    return Reading(
        software_version=__version__,
        photo=_photo_info(photo),
        gear=build_gear(measured),
        calibration=CalibrationInfo(
            mm_per_px=scale.mm_per_px, u_mm_per_px=scale.u_mm_per_px, method=scale.method, file=None
        ),
        datum=build_datum(measured, axes, lens),
        teeth=teeth,
        gaps=build_gaps(measured, figures, shapes),
        summary=summary,
        tolerance=build_tolerance(measured, summary, teeth, details.edition),
        budget=budget_lines(judged),
        profile=None if straight else build_profile(measured, profiles),
        gap_mean=build_gap_mean(measured, figures, shapes),
        gap_theory=build_gap_theory(measured, figures, shapes),
        sizes=sizes,
        warnings=(
            *notices,
            *_pin_notices(measured, figures),
            *size_notices(sizes),
            *build_notices(measured, axes, teeth, lens is not None and is_measured(lens)),
        ),
    )


def _photo_info(photo: Photo) -> PhotoInfo:
    return PhotoInfo(
        file=photo.name,
        sha256=photo.sha256,
        width_px=photo.width,
        height_px=photo.height,
        camera=" ".join(v for k in ("Make", "Model") if (v := photo.exif.get(k))) or None,
        taken=photo.exif.get("DateTime"),
    )


def _pin_notices(measured: Measured, figures: Figures) -> tuple[Notice, ...]:
    """Say why a pin tells no runout in the wide gaps between radial flanks."""
    if measured.wheel.flank.name != "cycloidal" or np.isfinite(figures.pin_radius).any():
        return ()
    return (flag("pin_on_floor", pin=figures.pin),)


def build_evidence(
    photo: Photo,
    measured: Measured,
    figures: Figures,
    lens: Lens | None,
    details: Details | None = None,
) -> Evidence:
    """Arrays for the drawings: theory laid where the teeth are, points with their deviations.

    Parameters
    ----------
    photo : Photo
    measured, figures
        What was worked out on this very photograph.
    lens : Lens or None
        Measured lens, if any.
    details : Details, optional
        For the pictures of profiles and gaps, which are left out without it.

    Returns
    -------
    Evidence
    """
    fits, z, px = measured.fits, measured.wheel.teeth, measured.scale.mm_per_px
    straight = measured.wheel.flank.name == "straight"
    design = measured.wheel
    if isinstance(design, Gear):
        design = Gear(z, design.module_mm, design.rack)
    ideal = 2 * pi / z * np.arange(z)
    off = np.unwrap(np.nan_to_num(figures.position.mean(axis=1) - ideal))
    seen = np.isfinite(figures.position.mean(axis=1))
    start = float(off[seen].mean()) if seen.any() else -pi / 2
    theory = gear_outline(design, start, flank_points=24) / px + fits.centre
    points = fits.points
    tooth = np.mod(points.flank // 2 - figures.first, z)
    side = points.flank % 2
    circle = np.full(2, design.reference_radius)
    half = design.half_angles(design.reference_radius) + design.flank.turn(circle, BOTH_SIDES)
    wanted = start + ideal[tooth] + np.where(side == 0, -half[0], half[1])
    absolute = points.unwound + fits.nominal.ravel()[points.flank]
    off_angle = np.mod(absolute - wanted + pi, 2 * pi) - pi
    arm = points.arm * fits.curve.measuring_arm[side]
    deviation = points.sign * off_angle * arm * px * 1000

    def on_picture(xy: Floats) -> Floats:
        return xy if lens is None else observed_points(lens, xy)

    return Evidence(
        photo.pixels, on_picture(theory), on_picture(measured.outlines.outer.xy),
        on_picture(points.xy),
        points.normal, deviation, tooth, side, fits.used,
        None if details is None or straight else details.sheet,
        None if details is None else details.shapes.traces,
    )  # fmt: skip
