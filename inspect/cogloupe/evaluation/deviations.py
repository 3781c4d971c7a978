"""Pitch, thickness, runout and profile deviations from fitted flanks.

Arrays run over tooth index and side, ``[k, 0]`` the left flank of tooth k + 1 and ``[k, 1]`` the
right; NaN stands for a flank that was not seen. Angles rad, lengths in the unit of the radius
given. Definitions of ISO 1328-1 as this project writes them down.
"""

from math import pi

import numpy as np

from cogloupe.forms.involute import InvoluteForm
from cogloupe.numerics.angles import wrapped
from cogloupe_calibration.arrays import Floats


def first_tooth(centre_angle: Floats, tolerance: float) -> int:
    """Index of tooth 1: the first whose centre line lies at or after twelve o'clock.

    Parameters
    ----------
    centre_angle : ndarray, shape (z,)
        Polar angle of each tooth's centre line, rad.
    tolerance : float
        A centre line this little before twelve o'clock counts as at it, rad; what the picture
        cannot tell apart must not decide the numbering.
    """
    after = np.mod(centre_angle + pi / 2 + tolerance, 2 * pi)
    return int(np.nanargmin(after))


def single_pitch(position: Floats, radius: float) -> Floats:
    """Individual single pitch deviation f_pi of every flank.

    Parameters
    ----------
    position : ndarray, shape (z, 2)
        Polar angles on the measuring circle, rad.
    radius : float
        Measuring radius; the result has its unit.

    Returns
    -------
    ndarray, shape (z, 2)
        (position - position of the tooth before - 2 pi / z) x radius; positive: too long.
    """
    step = position - np.roll(position, 1, axis=0)
    return wrapped(step - 2 * pi / len(position)) * radius


def cumulative_pitch(position: Floats, radius: float) -> Floats:
    """Individual cumulative pitch deviation F_pi of every flank.

    Parameters
    ----------
    position : ndarray, shape (z, 2)
        Polar angles on the measuring circle, rad, tooth 1 first.
    radius : float
        Measuring radius.

    Returns
    -------
    ndarray, shape (z, 2)
        Running sum of f_pi from tooth 1, which is 0; where tooth 1 was not seen, from the first
        tooth that was.

    Notes
    -----
    Taken from the positions themselves, which equals the running sum and stands where a flank in
    between was not seen.
    """
    ideal = 2 * pi / len(position) * np.arange(len(position))[:, None]
    error = position - ideal
    reference = [_first_seen(column) for column in error.T]
    return wrapped(error - np.array(reference)) * radius


def _first_seen(column: Floats) -> float:
    seen = column[np.isfinite(column)]
    return float(seen[0]) if len(seen) else float("nan")


def gap_width(position: Floats, radius: float) -> Floats:
    """Width of the gap after each tooth on the measuring circle, as an arc.

    Parameters
    ----------
    position : ndarray, shape (z, 2)

    Returns
    -------
    ndarray, shape (z,)
    """
    following = np.roll(position[:, 0], -1)
    return wrapped(following - position[:, 1]) * radius


def pin_radius(position: Floats, base_radius: float, measuring_radius: float, pin: float) -> Floats:
    """Radial position of a pin seated on the involutes of the gap after each tooth.

    Parameters
    ----------
    position : ndarray, shape (z, 2)
        Polar angles on the measuring circle about the datum, rad.
    base_radius, measuring_radius, pin : float
        Radii and pin diameter, in one unit.

    Returns
    -------
    ndarray, shape (z,)
        Distance of the pin's centre from the datum.
    """
    form = InvoluteForm(base_radius)
    return form.pin_radius(gap_width(position, 0.5), measuring_radius, pin)[0]


def first_harmonic(values: Floats, angle: Floats) -> tuple[complex, float]:
    """First harmonic of values seen at angles round the turn.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN where not seen.
    angle : ndarray, shape (n,)
        Rad.

    Returns
    -------
    harmonic : complex
        ``a + i b`` of ``mean + a cos + b sin``: its modulus is the amplitude, its argument the
        angle where the values are largest. NaN with fewer than 4 values.
    leverage : float
        Variance of each of a and b per unit variance of one value.
    """
    seen = np.isfinite(values)
    if seen.sum() < 4:
        return complex("nan"), float("nan")
    design = np.stack([np.ones(seen.sum()), np.cos(angle[seen]), np.sin(angle[seen])], axis=1)
    inverse = np.linalg.pinv(design.T @ design)
    _, a, b = inverse @ design.T @ values[seen]
    return complex(a, b), float((inverse[1, 1] + inverse[2, 2]) / 2)


def eccentricity(pin_radii: Floats, gap_angle: Floats) -> tuple[complex, float]:
    """Eccentricity of the teeth about the datum from the run of a seated pin.

    Parameters
    ----------
    pin_radii : ndarray, shape (z,)
    gap_angle : ndarray, shape (z,)
        Polar angle of each gap's middle about the datum, rad.

    Returns
    -------
    vector : complex
        Teeth axis as seen from the datum, x + i y in the picture's axes.
    leverage : float
        Variance of a component per unit variance of one pin radius.
    """
    return first_harmonic(pin_radii, gap_angle)
