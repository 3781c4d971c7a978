"""Sizes that gauges would find on fitted flanks: spans, pins in gaps, base pitches.

Every flank is used where the gauge would touch it: the involute that the flanks follow, whatever
their pressure angle, and the form that all flanks of its side share, at the length of roll of the
contact, so that a hollow flank comes into the size as it comes into the micrometer. Parallel anvils
and pins touch an involute on a normal, and all normals touch the base circle; a flank that deviates
by ``d`` along its normal moves the contact by ``d`` (ISO 21771, geometry). Lengths are px of the
picture, angles rad; arrays run over the teeth in the order of the fits.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.fits.flanks import FORM_BINS, FlankFits
from cogloupe.forms.involute import angle_at_radius, involute, pin_centre_radius, roll_length
from cogloupe.forms.tooth_form import OUT
from cogloupe_calibration.arrays import Floats

_TURNS = 4
"""Turns of finding size and contact from one another; each is some hundred times nearer."""


@dataclass(frozen=True)
class GaugedFlanks:
    """Fitted flanks as involutes of the base circle that they follow themselves.

    Attributes
    ----------
    unwound : ndarray, shape (z, 2)
        Unwound angle of each flank; NaN where not seen.
    roll : ndarray, shape (n,)
        Lengths of roll, rising.
    off : ndarray, shape (2, n)
        Deviation of each side's mean flank there, out of the material.
    roll_range : (float, float)
        Evaluation range, lengths of roll.
    """

    base_radius: float
    unwound: Floats
    roll: Floats
    off: Floats
    roll_range: tuple[float, float]

    def out(self, side: int, roll: Floats) -> Floats:
        """Deviation of a side's mean flank out of the material, at lengths of roll."""
        return np.asarray(np.interp(roll, self.roll, self.off[side]))

    def touches(self, roll: Floats) -> NDArray[np.bool_]:
        """Tell which contacts lie within the evaluation range."""
        low, high = self.roll_range
        return np.asarray((roll >= low) & (roll <= high))


def gauged_flanks(fits: FlankFits) -> GaugedFlanks:
    """Make fitted flanks ready to be gauged.

    Parameters
    ----------
    fits : FlankFits
        Fitted against an involute.

    Notes
    -----
    Flanks of another base circle than the one they were fitted against are unwound anew from
    their own, so that gauges touch them where they would, however wrong the stated pressure
    angle. The slope is the side's median: flanks cut by one tool share it, and the noise of each
    flank's own would be carried from mid-flank to the contact.
    """
    curve, base = fits.curve, float(fits.curve.measuring_arm[0])
    low, high = curve.roll_range
    roll = low + (np.arange(FORM_BINS) + 0.5) / FORM_BINS * (high - low)
    slope = np.array([_median(side) for side in fits.slope.T])
    line = slope[:, None] * (roll - curve.measuring_roll) + OUT[:, None] * fits.form / base
    radius, own = np.hypot(base, roll), base
    angle = line - OUT[:, None] * involute(np.arctan2(roll, base))
    ends = np.hypot(base, np.array([low, high]))
    for _ in range(_TURNS):
        lean = angle_at_radius(own, radius)
        off = OUT[:, None] * (angle + OUT[:, None] * involute(lean)) * own
        along = own * np.tan(lean)
        own *= 1 + float(np.polyfit(along, off.mean(axis=0), 1)[0])
    lean = angle_at_radius(own, radius)
    unwound = angle + OUT[:, None] * involute(lean)
    middle = unwound.mean(axis=1)
    first, last = roll_length(own, ends)
    return GaugedFlanks(
        own, fits.unwound + middle, own * np.tan(lean),
        OUT[:, None] * (unwound - middle[:, None]) * own, (float(first), float(last)),
    )  # fmt: skip


def _median(values: Floats) -> float:
    return float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0


def _shifted(unwound: Floats, teeth: int) -> Floats:
    """Angles of the flank so many teeth further round, shape (z,)."""
    z = len(unwound)
    index = np.arange(z) + teeth
    return np.asarray(unwound[index % z] + 2 * pi * (index // z))


def spans(flanks: GaugedFlanks, teeth_spanned: int) -> tuple[Floats, Floats]:
    """Size between parallel anvils over some teeth, beginning at each tooth.

    Parameters
    ----------
    teeth_spanned : int
        Teeth between the anvils.

    Returns
    -------
    size : ndarray, shape (z,)
        From the left flank of tooth k to the right flank of the last tooth spanned.
    roll : ndarray, shape (z,)
        Length of roll of both contacts, the anvils standing evenly.
    """
    right = _shifted(flanks.unwound[:, 1], teeth_spanned - 1)
    plain = flanks.base_radius * (right - flanks.unwound[:, 0])
    size = plain
    for _ in range(_TURNS):
        size = plain + flanks.out(0, size / 2) + flanks.out(1, size / 2)
    return size, size / 2


def seated_pins(flanks: GaugedFlanks, pin: float) -> tuple[Floats, Floats, Floats]:
    """Centres of a pin seated in every gap.

    Parameters
    ----------
    pin : float
        Pin diameter, px.

    Returns
    -------
    radius : ndarray, shape (z,)
        Distance of the pin's centre from the axis of the teeth; gap k follows tooth k.
    angle : ndarray, shape (z,)
        Its polar angle.
    roll : ndarray, shape (z,)
        Length of roll at which it touches the flanks.
    """
    following = _shifted(flanks.unwound[:, 0], 1)
    half = (following - flanks.unwound[:, 1]) / 2
    turn = np.zeros(2)
    roll = np.full(len(half), sum(flanks.roll_range) / 2)
    radius = np.full(len(half), np.nan)
    for _ in range(_TURNS):
        out = np.stack([flanks.out(0, roll), flanks.out(1, roll)])
        half_gap = half - out.mean(axis=0) / flanks.base_radius
        radius = pin_centre_radius(flanks.base_radius, half_gap, pin)
        roll = np.sqrt(np.maximum(radius**2 - flanks.base_radius**2, 0.0)) - pin / 2
        turn = (out[1] - out[0]) / 2 / flanks.base_radius
    return radius, (following + flanks.unwound[:, 1]) / 2 + turn, roll


def over_pins(radius: Floats, angle: Floats, pin: float) -> Floats:
    """Size over two pins in gaps as nearly opposite as there are.

    Parameters
    ----------
    radius, angle : ndarray, shape (z,)
        Pins' centres, as `seated_pins` gives them.
    pin : float
        Pin diameter.

    Returns
    -------
    ndarray, shape (z // 2,) for even z, else (z,)
        Each pair once, beginning with the pair of gap 1.
    """
    z = len(radius)
    xy = radius * np.exp(1j * angle)
    across = np.abs(xy - np.roll(xy, -(z // 2))) + pin
    return np.asarray(across[: z // 2] if z % 2 == 0 else across)


def base_pitches(flanks: GaugedFlanks) -> Floats:
    """Distance from each flank to the same flank of the tooth before, along the common normal.

    Returns
    -------
    ndarray, shape (z, 2)
        Base pitches, taken evenly about the middle of the evaluation range.
    """
    low, high = flanks.roll_range
    before = np.stack([_shifted(side, -1) for side in flanks.unwound.T], axis=1)
    plain = flanks.base_radius * (flanks.unwound - before)
    # The normal crosses one flank half a pitch further out than the middle, the other as much in.
    middle, half = (low + high) / 2, flanks.base_radius * pi / len(plain)
    ends = np.array([middle - half, middle + half])
    grown = [float(np.diff(flanks.out(side, ends))[0]) for side in (0, 1)]
    return np.asarray(plain + np.array(grown))


def nearest_span(flanks: GaugedFlanks, size: float) -> int:
    """Teeth over which a stated span was taken: the count whose size comes nearest.

    Counts differ by a base pitch, so there is no doubt between them.

    Parameters
    ----------
    size : float
        Stated span in the unit of the flanks.
    """
    counts = range(2, len(flanks.unwound) // 2 + 2)
    return min(counts, key=lambda k: abs(float(np.nanmean(spans(flanks, k)[0])) - size))


def scale_for_over_pins(flanks: GaugedFlanks, pin_mm: float, size_mm: float) -> float:
    """Scale at which a size over pins comes out as measured.

    Mm per px; NaN where no pin rests in the gaps.

    Parameters
    ----------
    flanks : GaugedFlanks
        In px.
    pin_mm, size_mm : float
        Pin diameter and size over two pins, mm.

    Notes
    -----
    The pin's size in px hangs on the scale; secant steps from the size of a pin as large as the
    tooth is thick close in to the last digit in a few turns.
    """
    base = flanks.base_radius

    def size_at(px: float) -> float:
        radius, angle, _ = seated_pins(flanks, pin_mm / px)
        return float(np.nanmean(over_pins(radius, angle, pin_mm / px))) * px - size_mm

    first = size_mm / (2.6 * base)
    second = first * 1.01
    at_first, at_second = size_at(first), size_at(second)
    for _ in range(12):
        if not np.isfinite(at_second) or abs(at_second - at_first) < 1e-15:
            break
        first, second = second, second - at_second * (second - first) / (at_second - at_first)
        at_first, at_second = at_second, size_at(second)
    return second if np.isfinite(at_second) and second > 0 else float("nan")
