"""The axis of the teeth, and where fitted flanks stand about an axis. Lengths px, angles rad."""

from math import pi, sqrt

import numpy as np

from cogloupe.finding.tooth_map import ToothMap, half_tip
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.radii import tip_radii
from cogloupe.forms.tooth_form import BOTH_SIDES, OUT
from cogloupe.numerics.angles import wrapped
from cogloupe.optics.outlines import Outlines
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.robust import scatter

TIPS_COUNT = 1.0
"""Weight of a tip against a flank when both tell the axis of an arc."""
FAR_OFF = 4.0
"""Slopes further off than so many robust standard deviations do not tell the axis."""
FURTHEST_AXIS = 0.4
"""Furthest that the teeth's axis may lie from the centre of the tips, in modules."""
WHOLE_TURN = 0.75
"""Share of the teeth that must be seen for flanks alone to tell the axis; on an arc of less the way
to its middle is told poorly, and the tips help (our own judgement)."""


def teeth_axis_shift(
    fits: FlankFits, tip_radius: Floats | None = None, drive: bool = False
) -> Floats:
    """How far the axis must move to take the first harmonic out of both flank sides.

    Parameters
    ----------
    fits : FlankFits
        Flanks fitted about some centre.
    tip_radius : ndarray, shape (z,), optional
        Tip radii about that centre, px; NaN where not seen. On an arc the flanks alone hardly
        tell a shift along its middle from thicker teeth; equal tip radii settle it.
    drive : bool
        Leave an index error of one wave a turn to the drive instead of putting it into the axis:
        what the two sides share is then the drive's, what they show against each other the axis.
        The slopes of the flanks help then: whatever the drive did, flanks lean once a turn only
        about a wrong axis. On gears of few teeth that were ill divided they tell more.

    Returns
    -------
    ndarray, shape (2,)
        Shift to add to that centre, px.

    Notes
    -----
    A shift e moves a flank along its normal by ``e . n``, that is ``e . n`` over the arm (an
    involute's base radius) of unwound angle. Both sides are fitted together by least squares with
    one turn of the whole and one mean thickness; the normal is that at the measuring circle.
    """
    design, wanted = _place_rows(fits, drive)
    if tip_radius is not None and np.isfinite(tip_radius).any():
        middle = flank_angles(fits).mean(axis=1)
        rows = [np.cos(middle), np.sin(middle), 0 * middle, 0 * middle, 1 + 0 * middle]
        rows += [0 * middle] * (design.shape[1] - len(rows))
        design = np.concatenate([design, np.stack(rows, axis=1) * TIPS_COUNT])
        wanted = np.concatenate([wanted, (tip_radius - np.nanmean(tip_radius)) * TIPS_COUNT])
    design, wanted = _seen(design, wanted)
    if len(wanted) < 8:
        return np.zeros(2)
    if not drive:
        return np.asarray(np.linalg.lstsq(design, wanted, rcond=None)[0][:2])
    return _with_slopes((design, wanted), fits)[0]


def teeth_axis_covariance(fits: FlankFits) -> Floats:
    """Covariance of the axis that places and slopes of the flanks tell.

    Parameters
    ----------
    fits : FlankFits
        Flanks fitted about it.

    Returns
    -------
    ndarray, shape (2, 2)
        Px squared; what the teeth stray from even places by counts as if it were noise, since it
        stands in the axis's way as noise does.
    """
    places = _seen(*_place_rows(fits, drive=True))
    return _with_slopes(places, fits)[1] if len(places[1]) >= 8 else np.zeros((2, 2))


Rows = tuple[Floats, Floats]
"""Design, shape (n, k), the axis's x and y first, and what is wanted of each row."""


def _seen(design: Floats, wanted: Floats) -> Rows:
    seen = np.isfinite(design).all(axis=1) & np.isfinite(wanted)
    return design[seen], wanted[seen]


def _along_frame(fits: FlankFits, parts: Floats) -> Floats:
    """Vectors (2, z, 2) from parts along each flank's tangent, towards its side, and radius."""
    angle = flank_angles(fits)
    tangent = OUT * np.stack([-np.sin(angle), np.cos(angle)])
    radial = np.stack([np.cos(angle), np.sin(angle)])
    return np.asarray(parts[:, 0] * tangent + parts[:, 1] * radial)


def _place_rows(fits: FlankFits, drive: bool) -> Rows:
    """What the flanks' places say of the axis, px out of the material."""
    z = len(fits.unwound)
    east, south = _along_frame(fits, fits.curve.shifted()[0])
    ideal = 2 * pi / z * np.arange(z)[:, None]
    error = fits.unwound - ideal
    error = wrapped(error - np.nanmedian(error))
    out = OUT * error * fits.curve.measuring_arm
    columns = [east, south, OUT + 0 * out, 1 + 0 * out, 0 * out]
    if drive:
        columns += [OUT * np.cos(ideal) + 0 * out, OUT * np.sin(ideal) + 0 * out]
    return np.stack([c.ravel() for c in columns], axis=1), out.ravel()


def slope_per_shift(fits: FlankFits) -> Floats:
    """How a shift of the axis makes the flanks lean.

    Returns
    -------
    ndarray, shape (2, z, 2)
        Growth of the deviation out of the material for each unit of roll, by px of shift along x
        and along y. Along a flank the normal turns by the roll over the arm, against the flank's
        own side, and a shift moves the flank by its part along the normal.
    """
    return _along_frame(fits, fits.curve.shifted()[1])


def _slope_rows(fits: FlankFits) -> Rows:
    """What the flanks' slopes say of the axis; each side has a slope of its own."""
    per_shift = slope_per_shift(fits)
    slope = OUT * fits.slope * fits.curve.measuring_arm
    side = np.broadcast_to(np.eye(2)[:, None, :], per_shift.shape)
    return np.concatenate([per_shift, side]).reshape(4, -1).T, slope.ravel()


def _telling(design: Floats, wanted: Floats) -> Rows:
    """The rows that were seen and are not far off."""
    design, wanted = _seen(design, wanted)
    if len(wanted) < 8:
        return design[:0], wanted[:0]
    off = wanted - design @ np.linalg.lstsq(design, wanted, rcond=None)[0]
    kept = np.abs(off) <= FAR_OFF * scatter(off) + 1e-12
    return design[kept], wanted[kept]


def strays(fits: FlankFits) -> Floats:
    """How far flanks are from those of one cutter about one axis, evenly divided or by a wave.

    Returns
    -------
    ndarray, shape (2, z, 2)
        Places, and how unlike they lean (root mean square along the flank), px out of the
        material; NaN where not seen.
    """
    places, slopes = (
        (wanted - design @ np.linalg.lstsq(*_telling(design, wanted), rcond=None)[0]).reshape(-1, 2)
        for design, wanted in (_place_rows(fits, drive=True), _slope_rows(fits))
    )
    return np.stack([places, slopes * _root_mean_square_roll(fits)])


def lean_noise(fits: FlankFits) -> Floats:
    """What noise leaves of how unlike flanks lean, px, shape (z, 2)."""
    return np.asarray(fits.u_slope * fits.curve.measuring_arm * _root_mean_square_roll(fits))


def _root_mean_square_roll(fits: FlankFits) -> float:
    low, high = fits.curve.roll_range
    return float(high - low) / sqrt(12)


def _with_slopes(places: Rows, fits: FlankFits) -> tuple[Floats, Floats]:
    """Axis that places and the slopes of the flanks tell together, and its covariance."""
    return _weighed(places, _telling(*_slope_rows(fits)))


def _weighed(*groups: Rows) -> tuple[Floats, Floats]:
    """Axis from several kinds of rows, each weighted by how well a fit explains it alone.

    Beside the axis each kind has its own unknowns. Returns the axis and its covariance.
    """
    precision, pull = np.zeros((2, 2)), np.zeros(2)
    for design, wanted in groups:
        free = len(wanted) - np.linalg.matrix_rank(design) if len(wanted) else 0
        if free < 1:
            continue
        solution = np.linalg.lstsq(design, wanted, rcond=None)[0]
        variance = float(np.sum((wanted - design @ solution) ** 2)) / free
        covariance = np.linalg.pinv(design.T @ design)[:2, :2] * max(variance, 1e-20)
        weight = np.linalg.inv(covariance + 1e-18 * np.eye(2))
        precision, pull = precision + weight, pull + weight @ solution[:2]
    if not precision.any():
        return np.zeros(2), np.zeros((2, 2))
    covariance = np.linalg.inv(precision)
    return np.asarray(covariance @ pull), np.asarray(covariance)


def flank_angles(fits: FlankFits) -> Floats:
    """Polar angle of each fitted flank on the measuring circle about the fits' own centre.

    Returns
    -------
    ndarray, shape (z, 2)
        Angles, rad, unwrapped; NaN where not seen.
    """
    return np.asarray(fits.unwound - OUT * fits.curve.measuring_turn)


def gap_middles(fits: FlankFits) -> Floats:
    """Polar angle of the middle of every gap on the measuring circle about the fits' own centre.

    Returns
    -------
    ndarray, shape (z,)
        Rad, gap k after tooth k; NaN where a flank beside it was not seen.
    """
    right, left = flank_angles(fits)[:, 1], np.roll(flank_angles(fits)[:, 0], -1)
    return np.asarray(right + np.mod(left - right, 2 * pi) / 2)


def flank_angles_about(fits: FlankFits, datum: Floats) -> Floats:
    """Polar angle about another axis at which each fitted flank crosses its measuring circle.

    Parameters
    ----------
    datum : ndarray, shape (2,)
        Axis, px.

    Returns
    -------
    ndarray, shape (z, 2)
        Angles about the datum, rad, within pi of those about the fits' centre.
    """
    curve, form = fits.curve, fits.curve.form
    side = np.broadcast_to(BOTH_SIDES, fits.unwound.shape)
    radius = np.full(fits.unwound.shape, curve.measuring_radius)
    about = flank_angles(fits)
    for _ in range(8):
        arm = form.arm(radius, side) / curve.measuring_arm
        tilted = fits.slope * (form.along(radius) - curve.measuring_roll) / arm
        about = fits.unwound + tilted - OUT * form.turn(radius, side)
        x = fits.centre[0] + radius * np.cos(about) - datum[0]
        y = fits.centre[1] + radius * np.sin(about) - datum[1]
        radius = radius + curve.measuring_radius - np.hypot(x, y)
    angle = np.arctan2(y, x)
    return about + wrapped(angle - about)


def thickness(position: Floats, radius: float) -> Floats:
    """Tooth thickness on the measuring circle, as an arc.

    Parameters
    ----------
    position : ndarray, shape (z, 2)

    Returns
    -------
    ndarray, shape (z,)
    """
    return wrapped(position[:, 1] - position[:, 0]) * radius


def nearer_axis(outlines: Outlines, teeth: ToothMap, anchor: Floats, fits: FlankFits) -> Floats:
    """The axis of the teeth, kept within reach of the tips' centre.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    anchor : ndarray, shape (2,)
        Centre of the tips, px.
    fits : FlankFits
        Flanks fitted about some centre.

    Returns
    -------
    ndarray, shape (2,)
        Px.

    Notes
    -----
    No blank is turned further off than that; where the flanks say so, the gear leans or its lower
    edge is seen past the upper one, and the tips are the better witness.
    """
    tips, whole = None, bool(teeth.seen.mean() > WHOLE_TURN)
    if not whole:
        tips = tip_radii(outlines.outer, teeth, fits.centre, half_tip(teeth))[0].value
    module = (teeth.tip_radius - teeth.root_radius) / 2.25
    # On straight sides that stand along the radius an axis and a drive error look alike.
    apart = whole and fits.curve.form.name != "straight"
    wanted = fits.centre + teeth_axis_shift(fits, tips, drive=apart)
    return np.asarray(anchor + _bounded(wanted - anchor, FURTHEST_AXIS * module))


def _bounded(shift: Floats, most: float) -> Floats:
    length = float(np.hypot(*shift))
    return shift * min(1.0, most / max(length, 1e-12))
