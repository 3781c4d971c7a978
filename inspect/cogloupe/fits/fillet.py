"""The rounding between flank and floor of clock teeth: nobody states it, so it is found."""

from dataclasses import replace

import numpy as np

from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.gap_outline import off_outline
from cogloupe.forms.gap_theory import theoretical_gap
from cogloupe.forms.tooth_form import Wheel
from cogloupe_calibration.arrays import Floats

HEIGHT_MODULES = 0.6
"""Points up to so far above the floor tell the rounding."""
FAR_MODULES = 0.1
"""A point further off counts no more than this: swarf and nicks."""
MOST_POINTS = 3000
"""Points are thinned to so many; more tell the rounding no better than a hundredth of a module."""
ROUNDINGS = (0.02, 0.5)
"""Roundings that are tried, in modules."""


def with_rounding(
    wheel: Wheel, thickness_mm: float, floor_mm: float, tip_mm: float, blur_mm: float, xy: Floats
) -> Wheel:
    """The wheel with the rounding that its gaps show, where it is one whose rounding is unknown.

    Parameters
    ----------
    thickness_mm : float
        Mean thickness that was found on the pitch circle.
    floor_mm, tip_mm : float
        Mean radii that were found.
    blur_mm : float
        Blur of the picture's edges.
    xy : ndarray, shape (n, 2)
        Edge points of all gaps laid over one another, mm.

    Notes
    -----
    The rounding whose blurred outline the points near the floor follow best; dirt in single gaps
    counts no more than `FAR_MODULES`.
    """
    low = np.hypot(*xy.T) < floor_mm + HEIGHT_MODULES * wheel.module_mm
    if not isinstance(wheel, CycloidalWheel) or wheel.fillet_mm is not None or low.sum() < 20:
        return wheel
    from scipy.optimize import minimize_scalar  # slow to import, and only clock teeth need it

    points = xy[low][:: max(1, int(low.sum()) // MOST_POINTS)]
    cut = replace(wheel, thickness_mm=thickness_mm, root_radius=floor_mm)
    half_floor = floor_mm * (np.pi / wheel.teeth - thickness_mm / (2 * wheel.reference_radius))

    def missed(rounding: float) -> float:
        theory = theoretical_gap(replace(cut, fillet_mm=rounding), floor_mm, tip_mm, blur_mm)
        assert theory is not None  # only straight-sided teeth have none
        off = off_outline(theory.shown, points)[0]
        return float(np.mean(np.minimum(np.abs(off), FAR_MODULES * wheel.module_mm)))

    most = min(ROUNDINGS[1] * wheel.module_mm, 0.9 * half_floor)
    tries = np.geomspace(ROUNDINGS[0] * wheel.module_mm, most, 10)
    best = int(np.argmin([missed(rounding) for rounding in tries]))
    around = (tries[max(best - 1, 0)], tries[min(best + 1, len(tries) - 1)])
    found = minimize_scalar(missed, bounds=around, method="bounded", options={"maxiter": 12})
    return replace(wheel, fillet_mm=float(found.x))
