"""Everything measured on one photograph as a reading."""

import numpy as np

from cogloupe import __version__
from cogloupe.assembling.flank_curves import build_flank_curves
from cogloupe.assembling.gear_and_teeth import (
    build_common,
    build_datum,
    build_gear,
    build_notices,
    build_teeth,
)
from cogloupe.assembling.shapes_and_sizes import (
    build_gap_mean,
    build_gap_theory,
    build_gaps,
    build_profile,
    build_sizes,
    size_notices,
)
from cogloupe.assembling.summary import build_summary, build_tolerance
from cogloupe.evaluation.budget import budget_lines, judge_figures
from cogloupe.evaluation.details import Details, compute_details
from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.fits.datum import Axes
from cogloupe.fits.measured_gear import Measured
from cogloupe.inputs.photo import Photo
from cogloupe.reading.models import CalibrationInfo, PhotoInfo, Reading
from cogloupe.uncertainty.combination import pitch_uncertainty
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.calibration import (
    Lens,
)
from cogloupe_calibration.lens import is_measured


def build_reading(
    photo: Photo,
    measured: Measured,
    axes: Axes,
    figures: Figures,
    notices: tuple[Notice, ...],
    lens: Lens | None,
    details: Details | None = None,
    calibration_file: str | None = None,
    doubted: Lens | None = None,
) -> Reading:
    """Put what was measured and worked out into a reading.

    Parameters
    ----------
    measured, axes, figures
        What was worked out.
    notices : tuple of Notice
        What is to be said beside what the figures themselves give rise to.
    lens : Lens or None
        Measured lens, if any.
    details : Details, optional
        What was worked out beside the figures; without it that is done here.
    calibration_file : str, optional
        Where the scale came from, if from a file.
    doubted : Lens, optional
        The lens whose covariance the figures' uncertainties hold; None where several pictures
        settled them.
    """
    radius_um = 1000 * figures.measuring_radius
    pitch_u = pitch_uncertainty(figures.noise, figures.modes, radius_um)
    if details is None:
        details = compute_details(measured, axes, figures, (photo.width, photo.height), lens)
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
            mm_per_px=scale.mm_per_px,
            u_mm_per_px=scale.u_mm_per_px,
            method=scale.method,
            file=calibration_file,
        ),
        datum=build_datum(measured, axes, lens),
        teeth=teeth,
        gaps=build_gaps(measured, figures, shapes),
        summary=summary,
        tolerance=build_tolerance(measured, summary, teeth, details.edition),
        budget=budget_lines(judged),
        profile=None if straight else build_profile(measured, profiles),
        flank_curves=build_flank_curves(measured, axes, figures, profiles, shapes),
        gap_mean=build_gap_mean(measured, figures, shapes),
        gap_theory=build_gap_theory(measured, figures, shapes),
        sizes=sizes,
        common=build_common(measured, axes, figures.edge, doubted) if doubted else None,
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
