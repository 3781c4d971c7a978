"""What each picture of a set says of one gear's teeth, made ready to be adjusted together."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, pi, sqrt

import numpy as np

from cogloupe.fits.datum import Axes
from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import flank_angles_about, thickness
from cogloupe.forms.tooth_form import OUT
from cogloupe.numerics.angles import wrapped
from cogloupe.optics.outlines import BEVEL_DOUBT
from cogloupe.sets.adjust import View
from cogloupe.uncertainty.flank_uncertainty import datum_points, flank_doubt
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import observed_points, term_effects

SWELL_ALLOWANCE = 0.0002
"""Standard uncertainty that the scale changes by from picture to picture of one set-up that is not
touched: 0.02 mm of height under a lens 100 mm away; common practice, no source."""
EDGE_VARIES = 0.25
"""Share of the doubt about the edges' level that differs between pictures in one light; common
practice, no source."""
AXIS_ALLOWANCE = 0.02
"""The same of the place of an axis that the teeth themselves must tell, as a share of the
radius: wide enough to bind nothing."""


@dataclass(frozen=True)
class Nominal:
    """The perfect gear that the marks of all pictures are compared with, px and rad.

    Attributes
    ----------
    half : float
        Half the thickness of a tooth on the measuring circle, as an angle.
    """

    half: float
    tip_radius: float


@dataclass(frozen=True)
class Sight:
    """A measured picture of a set.

    Attributes
    ----------
    order : ndarray, shape (z,), int
        Index in the measured arrays of each tooth of the gear, as the set numbers them.
    """

    measured: Measured
    axes: Axes
    order: Ints


def nominal_of(measured: Measured) -> Nominal:
    """Perfect gear about as large as a measured one."""
    angles = flank_angles_about(measured.fits, measured.fits.centre)
    half = float(np.nanmedian(thickness(angles, 1.0))) / 2
    return Nominal(half, float(np.nanmedian(measured.tips.value)))


def start_of(sight: Sight, nominal: Nominal) -> float:
    """Polar angle at which the set's first tooth stands in a picture.

    Rad, the mean over all flanks.
    """
    error = _flank_angles(sight) - ideal_angles(sight, nominal)
    first = error[np.isfinite(error)][0]
    return float(first + np.nanmean(wrapped(error - first)))


def _flank_angles(sight: Sight) -> Floats:
    return flank_angles_about(sight.measured.fits, sight.axes.datum)[sight.order]


def ideal_angles(sight: Sight, nominal: Nominal) -> Floats:
    """Angles of the perfect gear's flanks from the set's first tooth on.

    Returns
    -------
    ndarray, shape (z, 2)
        Rad.
    """
    z = len(sight.order)
    return 2 * pi / z * np.arange(z)[:, None] + nominal.half * OUT


def view_of(sight: Sight, nominal: Nominal, lens: Lens) -> View:
    """What a picture says of the marks.

    Parameters
    ----------
    lens : Lens
        Lens with which the picture was measured.
    """
    measured, order = sight.measured, sight.order
    fits, datum = measured.fits, sight.axes.datum
    reach = fits.curve.measuring_arm
    start = start_of(sight, nominal)
    error = wrapped(_flank_angles(sight) - ideal_angles(sight, nominal) - start)
    angle = start + 2 * pi / len(order) * np.arange(len(order))
    radial = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    radius = measured.tips.value[order] + radial @ (fits.centre - datum)
    out = np.column_stack([OUT * error * reach, radius - nominal.tip_radius])
    doubt = flank_doubt(measured)
    u = np.column_stack([np.hypot(fits.u_unwound[order] * reach, doubt),
                         np.hypot(measured.tips.u[order], doubt)])  # fmt: skip
    out[:, :2] = np.where(flank_status(fits)[order] == "obstructed", np.nan, out[:, :2])
    arm, normal = _places(sight, nominal, start)
    xy, pose = datum + arm, _pose_effects(arm, normal, reach)
    return View(out, u, pose, _lens_effects(sight, xy, normal, lens), _known_pose(sight, nominal))


def _places(sight: Sight, nominal: Nominal, start: float) -> tuple[Floats, Floats]:
    """Where every mark lies from the datum, seen or not, and its normal, shape (z, 3, 2)."""
    curve = sight.measured.fits.curve
    ideal = ideal_angles(sight, nominal)
    flank, tooth = start + ideal, start + ideal.mean(axis=1)
    angle = np.column_stack([flank, tooth])
    facing = np.column_stack([flank + OUT * (pi / 2 - curve.measuring_lean), tooth])
    radius = np.array([curve.measuring_radius, curve.measuring_radius, nominal.tip_radius])
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return radius[:, None] * way, np.stack([np.cos(facing), np.sin(facing)], axis=-1)


def flank_doubt_of(sights: Sequence[Sight]) -> float:
    """What the scatter of points does not show of a flank, over the pictures of a set.

    Px, root mean square.
    """
    return float(np.sqrt(np.mean([flank_doubt(sight.measured) ** 2 for sight in sights])))


def _pose_effects(arm: Floats, normal: Floats, reach: Floats) -> Floats:
    """Effects of turn, x, y, swell and edge on the marks, shape (z, 3, 5)."""
    turn = np.broadcast_to(np.array([-reach[0], reach[1], 0.0]), arm.shape[:2])
    swell = (arm * normal).sum(axis=-1)
    return np.stack([turn, normal[..., 0], normal[..., 1], swell, np.ones_like(swell)], axis=-1)


def _lens_effects(sight: Sight, xy: Floats, normal: Floats, lens: Lens) -> Floats:
    """Movement of the marks out of the material, as seen from the datum, by each lens term."""

    def movement(points: Floats) -> Floats:
        seen = observed_points(lens, points)
        return term_effects(np.array(lens.terms), lens.centre_px, lens.radius_px, seen)

    moved = movement(xy)
    carried = datum_points(sight.measured, sight.axes)
    if carried is not None:
        moved = moved - movement(carried).mean(axis=0)
    return np.asarray(np.einsum("kmxt,kmx->kmt", moved, normal))


def _known_pose(sight: Sight, nominal: Nominal) -> Floats:
    """What is known of a picture's pose before it is compared with the others."""
    measured = sight.measured
    shift = AXIS_ALLOWANCE * nominal.tip_radius
    if measured.bore is not None and sight.axes.kind == "bore":
        bevel = BEVEL_DOUBT * measured.outlines.bevel_px
        shift = hypot(measured.bore.u_place, bevel)
    elif sight.axes.kind == "tips":
        shift = float(np.nanmedian(measured.tips.u)) * sqrt(2 / len(sight.order))
    edge = EDGE_VARIES * measured.outlines.u_edge_px
    return np.array([2 * pi / len(sight.order), shift, shift, SWELL_ALLOWANCE, edge])
