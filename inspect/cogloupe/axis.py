"""The axis of the teeth, and where fitted flanks stand about an axis. Lengths px, angles rad."""

from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.flanks import FlankFits

Floats = NDArray[np.float64]

TIPS_COUNT = 1.0
"""Weight of a tip against a flank when both tell the axis of an arc."""


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
    z = len(fits.unwound)
    position = flank_angles(fits)
    sign = np.array([-1.0, 1.0])
    # The normal of a right flank points forward of the radius by a right angle less its lean.
    direction = position + sign * (pi / 2 - fits.curve.measuring_lean)
    ideal = 2 * pi / z * np.arange(z)[:, None]
    error = fits.unwound - ideal
    error = np.mod(error - np.nanmedian(error) + pi, 2 * pi) - pi
    out = sign * error * fits.curve.measuring_arm
    columns = [np.cos(direction), np.sin(direction), sign + 0 * out, 1 + 0 * out, 0 * out]
    if drive:
        columns += [sign * np.cos(ideal) + 0 * out, sign * np.sin(ideal) + 0 * out]
    design = np.stack([c.ravel() for c in columns], axis=1)
    wanted = out.ravel()
    if tip_radius is not None and np.isfinite(tip_radius).any():
        middle = position.mean(axis=1)
        rows = [np.cos(middle), np.sin(middle), 0 * middle, 0 * middle, 1 + 0 * middle]
        rows += [0 * middle] * (len(columns) - len(rows))
        design = np.concatenate([design, np.stack(rows, axis=1) * TIPS_COUNT])
        wanted = np.concatenate([wanted, (tip_radius - np.nanmean(tip_radius)) * TIPS_COUNT])
    seen = np.isfinite(design).all(axis=1) & np.isfinite(wanted)
    if seen.sum() < 8:
        return np.zeros(2)
    solution = np.linalg.lstsq(design[seen], wanted[seen], rcond=None)[0]
    return np.asarray(solution[:2])


def flank_angles(fits: FlankFits) -> Floats:
    """Polar angle of each fitted flank on the measuring circle about the fits' own centre.

    Parameters
    ----------
    fits : FlankFits

    Returns
    -------
    ndarray, shape (z, 2)
        Angles, rad, unwrapped; NaN where not seen.
    """
    return np.asarray(fits.unwound - np.array([-1.0, 1.0]) * fits.curve.measuring_turn)


def flank_angles_about(fits: FlankFits, datum: Floats) -> Floats:
    """Polar angle about another axis at which each fitted flank crosses its measuring circle.

    Parameters
    ----------
    fits : FlankFits
    datum : ndarray, shape (2,)
        Axis, px.

    Returns
    -------
    ndarray, shape (z, 2)
        Angles about the datum, rad, within pi of those about the fits' centre.
    """
    curve, form = fits.curve, fits.curve.form
    sign = np.array([-1.0, 1.0])
    side = np.broadcast_to(np.arange(2), fits.unwound.shape)
    radius = np.full(fits.unwound.shape, curve.measuring_radius)
    about = flank_angles(fits)
    for _ in range(8):
        arm = form.arm(radius, side) / curve.measuring_arm
        tilted = fits.slope * (form.along(radius) - curve.measuring_roll) / arm
        about = fits.unwound + tilted - sign * form.turn(radius, side)
        x = fits.centre[0] + radius * np.cos(about) - datum[0]
        y = fits.centre[1] + radius * np.sin(about) - datum[1]
        radius = radius + curve.measuring_radius - np.hypot(x, y)
    angle = np.arctan2(y, x)
    return np.asarray(about + np.mod(angle - about + pi, 2 * pi) - pi)
