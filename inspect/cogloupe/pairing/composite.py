"""How evenly a pair runs: single-flank and double-flank rolling over its common period.

Single-flank: how far B runs ahead of where even turning would have it, as an arc on its reference
circle. Double-flank: the centre distance at which both flanks touch, as a spring-loaded rolling
fixture shows it. Total deviations are the range over the period, tooth-to-tooth ones the largest
range within one pitch (ISO 1328, composite deviations). Lengths mm unless named otherwise.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from cogloupe.numerics.missing import mean_seen
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
    run_out_a, run_out_b : float
        Once in a turn of either gear, from its own flanks.
    together : float
        Both, where they come round alike (equal tooth numbers); NaN where they do not.
    tooth : float
        What comes again with every tooth.
    rest : float
        What is left: tooth spacing that strays, and everything else.
    """

    run_out_a: float
    run_out_b: float
    together: float
    tooth: float
    rest: float


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

    Returns
    -------
    Composite
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
    mesh : Mesh
    rolled : Rolled
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
    """The largest lines of a curve's spectrum.

    Parameters
    ----------
    curve : ndarray, shape (steps, phases)
        Where it is not known, straight lines are put between what is.

    Returns
    -------
    tuple of Line
        By how often they come.
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


def parts(mesh: Mesh, curve: Floats, side: int) -> Parts:
    """Part a single-flank curve by what it comes from.

    Parameters
    ----------
    mesh : Mesh
    curve : ndarray, shape (steps, phases)
        µm, as `lead_um` gives it.
    side : {0, 1}
        Flanks that drove.

    Returns
    -------
    Parts

    Notes
    -----
    A run-out's part is the first harmonic of the gear's own flanks half-way up the path of
    contact. What comes again with every tooth is the mean over all pitches; the rest is the
    range of what those leave, once in a turn of either gear taken out.
    """
    a, b = mesh.a, mesh.b
    per_arm = 1000 * b.wheel.reference_radius / b.arm
    first = [abs(first_harmonic(gear, side)) * per_arm for gear in (a, b)]
    steps = np.arange(curve.size) / curve.shape[1]
    known = np.isfinite(curve.ravel())
    if not known.any():
        return Parts(
            run_out_a=2 * first[0], run_out_b=2 * first[1], together=np.nan, tooth=np.nan,
            rest=np.nan,
        )  # fmt: skip
    waves = [f(2 * np.pi * steps / z) for z in {a.teeth, b.teeth} for f in (np.cos, np.sin)]
    design = np.stack([np.ones_like(steps), *waves], axis=1)
    found = np.linalg.lstsq(design[known], curve.ravel()[known], rcond=None)[0]
    left = curve - (design @ found).reshape(curve.shape)
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(left)
        tooth = np.where(seen, left, 0.0).sum(axis=0) / np.maximum(seen.sum(axis=0), 1)
    rest = (left - tooth)[seen]
    alike = float(np.hypot(found[1], found[2])) if a.teeth == b.teeth else np.nan
    return Parts(
        run_out_a=2 * first[0], run_out_b=2 * first[1], together=2 * alike,
        tooth=float(np.ptp(tooth)), rest=float(np.ptp(rest)),
    )  # fmt: skip


def first_harmonic(gear: RunningGear, side: int) -> complex:
    """First harmonic over the teeth of a side's flanks, half-way along them.

    Parameters
    ----------
    gear : RunningGear
    side : {0, 1}

    Returns
    -------
    complex
        Along the normal, mm; its argument is the angle from tooth 1 at which flanks stand out
        furthest, clockwise on the picture. 0 where fewer than four are seen.
    """
    middle = int(np.argmin(np.abs(gear.radius - gear.wheel.reference_radius)))
    out = gear.off[:, side, middle] * gear.arm
    seen = np.isfinite(out)
    if seen.sum() < 4:
        return 0j
    turn = gear.pitch * np.arange(gear.teeth)[seen]
    design = np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn)], axis=1)
    _, cosine, sine = np.linalg.lstsq(design, out[seen], rcond=None)[0]
    return complex(cosine, sine)


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
