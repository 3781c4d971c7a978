"""What the drawings need, out of what was measured."""

from math import pi

import numpy as np

from cogloupe.evaluation.details import Details
from cogloupe.evaluation.drawing_data import DrawingData, Outlines
from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.forms.tooth_form import BOTH_SIDES
from cogloupe.inputs.photo import Photo
from cogloupe.numerics.angles import wrapped
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import (
    Lens,
)
from cogloupe_calibration.lens import observed_points


def build_drawing_data(
    photo: Photo,
    measured: Measured,
    figures: Figures,
    lens: Lens | None,
    details: Details | None = None,
) -> DrawingData:
    """Arrays for the drawings: theory laid where the teeth are, points with their deviations.

    Parameters
    ----------
    measured, figures
        What was worked out on this very photograph.
    lens : Lens or None
        Measured lens, if any.
    details : Details, optional
        For the pictures of profiles and gaps, which are left out without it.
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
    theory_mm = gear_outline(design, start, flank_points=24)
    theory, outer = theory_mm / px + fits.centre, measured.outlines.outer.xy
    points = fits.points
    tooth = np.mod(points.flank // 2 - figures.first, z)
    side = points.flank % 2
    circle = np.full(2, design.reference_radius)
    half = design.half_angles(design.reference_radius) + design.flank.turn(circle, BOTH_SIDES)
    wanted = start + ideal[tooth] + np.where(side == 0, -half[0], half[1])
    absolute = points.unwound + fits.nominal.ravel()[points.flank]
    off_angle = wrapped(absolute - wanted)
    arm = points.arm * fits.curve.measuring_arm[side]
    deviation = points.sign * off_angle * arm * px * 1000

    def on_picture(xy: Floats) -> Floats:
        return xy if lens is None else observed_points(lens, xy)

    return DrawingData(
        picture=photo.pixels,
        theory_xy=on_picture(theory),
        contour_xy=on_picture(outer),
        flank_xy=on_picture(points.xy),
        flank_normal=points.normal,
        deviation_um=deviation,
        tooth=tooth,
        side=side,
        used=fits.used,
        profiles=None if details is None or straight else details.sheet,
        gaps=None if details is None else details.shapes.traces,
        outlines=Outlines((outer - fits.centre) * px, theory_mm),
    )
