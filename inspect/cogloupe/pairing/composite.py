"""How evenly a pair runs: single-flank and double-flank rolling over its common period.

Single-flank: how far B runs ahead of where even turning would have it, as an arc on its reference
circle. Double-flank: the centre distance at which both flanks touch, as a spring-loaded rolling
fixture shows it. Total deviations are the range over the period, tooth-to-tooth ones the largest
range within one pitch (ISO 1328, composite deviations). Lengths mm unless named otherwise.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from cogloupe.evaluation.deviations import first_harmonic
from cogloupe.numerics.missing import mean_seen
from cogloupe.pairing.known import Known
from cogloupe.pairing.rolling import Mesh, Rolled
from cogloupe.pairing.running_gear import RunningGear
from cogloupe_calibration.arrays import Floats

ORDERS_SHOWN = 24
"""Lines of a spectrum that are kept: the largest."""


@dataclass(frozen=True)
class Composite:
    """Total and tooth-to-tooth deviation of a curve over the period; NaN where nothing is known."""

    total: float
    tooth: float


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What a single-flank curve is made of, each as its range, µm on B's reference circle.

    Attributes
    ----------
    run_out_a, run_out_b : Known
        Once in a turn of either gear, from its own flanks.
    together : float
        Both, where they come round alike (equal tooth numbers); NaN where they do not.
    tooth : Known
        What comes again with every tooth.
    rest : Known
        What is left: tooth spacing that strays, and everything else.
    """

    run_out_a: Known
    run_out_b: Known
    together: float
    tooth: Known
    rest: Known


@dataclass(frozen=True)
class Line:
    """One line of a spectrum: how often in the common period, and its amplitude, µm."""

    times: int
    amplitude_um: float


def composite(curve: Floats) -> Composite:
    """Total and tooth-to-tooth deviation of a curve.

    Parameters
    ----------
    curve : ndarray, shape (steps, phases)
        NaN where not known.
    """
    flat, phases = curve.ravel(), curve.shape[1]
    known = np.isfinite(flat)
    if not known.any():
        return Composite(float("nan"), float("nan"))
    high = maximum_filter1d(np.where(known, flat, -np.inf), phases + 1, mode="wrap")
    low = minimum_filter1d(np.where(known, flat, np.inf), phases + 1, mode="wrap")
    within = high[known] - low[known]
    return Composite(float(np.ptp(flat[known])), float(within.max()))


def lead_um(mesh: Mesh, rolled: Rolled, side: int) -> Floats:
    """How far B runs ahead, as an arc on its reference circle.

    Parameters
    ----------
    side : {0, 1}
        Flanks that drive.

    Returns
    -------
    ndarray, shape (steps, phases)
        µm, about its mean; in the order in which A turns clockwise, ahead meaning ahead in the
        sense that B is driven.
    """
    arc = 1000 * mesh.b.wheel.reference_radius * rolled.lead[side]
    return np.asarray(arc - mean_seen(arc))


def spectrum(curve: Floats) -> tuple[Line, ...]:
    """The largest lines of a curve's spectrum; by how often they come.

    Parameters
    ----------
    curve : ndarray, shape (steps, phases)
        Where it is not known, straight lines are put between what is.
    """
    flat = curve.ravel()
    known = np.isfinite(flat)
    if not known.any():
        return ()
    place = np.arange(len(flat))
    whole = np.interp(place, place[known], flat[known], period=len(flat))
    size = 2 * np.abs(np.fft.rfft(whole - whole.mean())) / len(flat)
    largest = np.sort(np.argsort(size)[::-1][:ORDERS_SHOWN])
    return tuple(Line(int(k), float(size[k])) for k in largest if k > 0)


def parts(mesh: Mesh, curve: Floats, side: int, u: tuple[float, float]) -> Parts:
    """Part a single-flank curve by what it comes from.

    Parameters
    ----------
    curve : ndarray, shape (steps, phases)
        µm, as `lead_um` gives it.
    side : {0, 1}
        Flanks that drove.
    u : (float, float)
        Standard uncertainties of what comes with every tooth, and of the rest.

    Notes
    -----
    A run-out's part is the first harmonic of the gear's own flanks half-way up the path of
    contact.
    """
    per_arm = 2000 * mesh.b.wheel.reference_radius / mesh.b.arm
    own = [run_out(gear, side) for gear in (mesh.a, mesh.b)]
    tooth, rest, together = parted(curve, mesh.a.teeth, mesh.b.teeth)
    return Parts(
        run_out_a=Known(own[0].value * per_arm, own[0].u * per_arm),
        run_out_b=Known(own[1].value * per_arm, own[1].u * per_arm),
        together=together,
        tooth=Known(tooth, u[0]),
        rest=Known(rest, u[1]),
    )


def parted(curve: Floats, teeth_a: int, teeth_b: int) -> tuple[float, float, float]:
    """Part a curve over the period: what comes with every tooth, the rest, and equal turns.

    Parameters
    ----------
    curve : ndarray, shape (steps, phases)

    Returns
    -------
    tooth : float
        Range of the mean over all pitches.
    rest : float
        Range of what that leaves, once in a turn of either gear taken out.
    together : float
        Range of once in a turn where both turn alike; else NaN. All NaN where nothing is known.
    """
    flat, known = curve.ravel(), np.isfinite(curve.ravel())
    if not known.any():
        return np.nan, np.nan, np.nan
    steps = np.arange(curve.size) / curve.shape[1]
    waves = [f(2 * np.pi * steps / z) for z in {teeth_a, teeth_b} for f in (np.cos, np.sin)]
    design = np.stack([np.ones_like(steps), *waves], axis=1)
    found = np.linalg.lstsq(design[known], flat[known], rcond=None)[0]
    left = (flat - design @ found).reshape(curve.shape)
    seen = np.isfinite(left)
    tooth = np.where(seen, left, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1)
    together = 2 * float(np.hypot(found[1], found[2])) if teeth_a == teeth_b else np.nan
    return float(np.ptp(tooth)), float(np.ptp((left - tooth)[seen])), together


def run_out(gear: RunningGear, side: int) -> Known:
    """First harmonic over the teeth of a side's flanks, half-way along them.

    Its amplitude along the normal, mm; NaN where it is not determined. What common sources move
    turns up by its own first harmonic, half of whose variance lies along the gear's.

    Parameters
    ----------
    side : {0, 1}
    """
    middle = int(np.argmin(np.abs(gear.radius - gear.wheel.reference_radius)))
    turn = np.asarray(gear.pitch * np.arange(gear.teeth), np.float64)
    found, leverage = first_harmonic(gear.off[:, side, middle] * gear.arm, turn)
    if gear.doubts is None:
        return Known(abs(found), 0.0)
    own = mean_seen(gear.doubts.place[:, side] ** 2)
    common = [abs(first_harmonic(source[:, side], turn)[0]) for source in gear.doubts.places]
    return Known(abs(found), sqrt(own * leverage + sum(v**2 for v in common) / 2))


def double_flank(distance: Floats, free: Floats) -> Floats:
    """Centre distance at which both flanks touch, all round.

    Parameters
    ----------
    distance : ndarray, shape (3,)
        Centre distances about tight mesh.
    free : ndarray, shape (3, steps, places)
        Backlash at each, from one start.

    Returns
    -------
    ndarray, shape (steps, places)
        Mm: the distance as a parabola of the backlash (Lagrange), where that is zero.
    """
    found = np.zeros(free.shape[1:])
    for k in range(3):
        i, j = (n for n in range(3) if n != k)
        found += distance[k] * free[i] * free[j] / ((free[k] - free[i]) * (free[k] - free[j]))
    return found
