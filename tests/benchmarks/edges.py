"""Edge and flank accuracy, time and memory beside those of general library calls.

Run: ``python -m tests.benchmarks.edges`` (about five minutes on two cores).
``python -m tests.benchmarks.edges GEARS`` reads so many gears a row and writes nothing.
"""

import os
import sys
from dataclasses import dataclass
from math import hypot, pi, sqrt

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.clean_set import BLURS_PX, NOISES, SIDE_PX, TEETH, TIP_PX, clean_scene, noisy
from tests.benchmarks.common import bound, flank_errors, report, rms, table
from tests.benchmarks.edge_costs import COST, cost_rows
from tests.benchmarks.extractors import LIBRARY, OURS

from cogloupe.finding.segmentation import find_gears
from cogloupe.finding.tooth_map import map_teeth
from cogloupe.fits.flanks import FlankFits, fit_flanks
from cogloupe.forms.involute import involute_curve
from cogloupe.forms.tooth_form import FlankCurve
from cogloupe.optics.contour_following import normals
from cogloupe.optics.edges import find_edges
from cogloupe.optics.sampling import EdgePoints
from cogloupe.simulation import Scene, render_scene
from cogloupe.simulation.truth import Truth
from cogloupe_calibration.arrays import Floats, Ints

SIGN = np.array([-1.0, 1.0])
"""Out of the material for left and right flanks, along growing angle."""


def our_edges(pixels: NDArray[np.uint8]) -> EdgePoints:
    """Edge points as the program finds them.

    Parameters
    ----------
    pixels : ndarray, shape (h, w)

    Returns
    -------
    EdgePoints
    """
    return find_edges(pixels, find_gears(pixels)[0]).outer


def as_edges(xy: Floats, blur: float) -> EdgePoints:
    """Give a library's contour what the flank fit needs of it.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
    blur : float
        Blur of the picture with the pixel's box, px: known here, so that a contour's curvature
        is corrected as well as it can be.

    Returns
    -------
    EdgePoints
        Clockwise on the picture.

    Notes
    -----
    A level line moves by s^2 / 2R whichever way it runs, while the fit corrects for samples along
    rows and columns, which move more where they run obliquely; the blur is stated smaller there,
    so that each kind of point gets its own correction.
    """
    x, y = xy.T
    if np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) < 0:
        xy = xy[::-1]
    normal = normals(xy)
    oblique = 1 + (1 / np.abs(normal).max(axis=1) ** 2 - 1) / 2
    every = np.ones(len(xy))
    return EdgePoints(xy=xy, normal=normal, u=every, blur=blur / np.sqrt(oblique), good=every > 0)


def edges_by(method: str, pixels: NDArray[np.uint8], blur: float) -> EdgePoints:
    """Edge points of the toothed outline by one method.

    Parameters
    ----------
    method : str
    pixels : ndarray, shape (h, w)
    blur : float
        Blur of the picture's light, px.

    Returns
    -------
    EdgePoints
    """
    if method == OURS:
        return our_edges(pixels)
    own = 1.0 if "blurred" in method else 0.0
    return as_edges(LIBRARY[method](pixels), sqrt(blur**2 + 1 / 12 + own**2))


def true_involute(scene: Scene, truth: Truth) -> FlankCurve:
    """Involute of a drawn gear over the range in which neither corner's blur is felt, px.

    Parameters
    ----------
    scene : Scene
    truth : Truth

    Returns
    -------
    FlankCurve
    """
    gear, px, blur = scene.gear.gear(), scene.camera.mm_per_px, scene.camera.blur_px
    base = gear.base_radius / px
    low = max(gear.form_radius / px + 1.5 * blur, hypot(base, 3 + blur))
    off = hypot(*np.subtract(truth.picture.teeth_xy_px, truth.picture.bore_xy_px))
    high = truth.gear.tip_diameter_mm / 2 / px - off - max(2.5 * blur, 0.05 / px)
    return involute_curve(base, truth.gear.measuring_diameter_mm / 2 / px, low, high)


@dataclass(frozen=True)
class Found:
    """Errors of one method on one picture, px along the normal, positive out of the material.

    Attributes
    ----------
    flank : ndarray, shape (z, 2)
    point : ndarray, shape (n,)
        Of the good points within the evaluation range.
    direction, phase : ndarray, shape (n,)
        Direction of each point's normal in its quarter turn, degrees 0 to 90, and where between
        two pixels the edge crosses its row or column, 0 to 1.
    limit : float
        Information bound of one flank, px.
    """

    flank: Floats
    point: Floats
    direction: Floats
    phase: Floats
    limit: float


def compare(edges: EdgePoints, scene: Scene, truth: Truth, noise: float) -> Found:
    """Fit the flanks through edge points, alike for every method, and compare with the truth.

    Parameters
    ----------
    edges : EdgePoints
    scene : Scene
    truth : Truth
    noise : float

    Returns
    -------
    Found
    """
    axis = np.array(truth.picture.teeth_xy_px)
    curve = true_involute(scene, truth)
    depth = truth.about_teeth.gaps[0].root_diameter_mm / 2 / truth.picture.mm_per_px
    tip = truth.gear.tip_diameter_mm / 2 / truth.picture.mm_per_px
    teeth = map_teeth(edges.xy, axis, (depth, tip), truth.gear.teeth)
    fits = fit_flanks(edges, teeth, axis, curve)
    flank, order = flank_errors(fits, truth)
    point = _point_errors(fits, truth, order)
    good = fits.points.good
    xy, normal = fits.points.xy[good], fits.points.normal[good]
    along = np.where(np.abs(normal[:, 0]) > np.abs(normal[:, 1]), xy[:, 0], xy[:, 1])
    direction = np.degrees(np.arctan2(normal[:, 1], normal[:, 0])) % 90
    low, high = curve.roll_range
    length = (high**2 - low**2) / (2 * curve.measuring_arm[0])
    limit = bound(noise, scene.camera.blur_px) / sqrt(length)
    return Found(flank, point[good], direction, along % 1, limit)


def _point_errors(fits: FlankFits, truth: Truth, order: Ints) -> Floats:
    """Distance of every unwound point from its true flank, px out of the material."""
    teeth = truth.about_teeth.teeth
    position = np.radians([[t.left.position_deg, t.right.position_deg] for t in teeth])
    true = np.empty_like(position)
    true[order] = position + SIGN * fits.curve.measuring_turn
    off = fits.points.unwound + (fits.nominal - true).ravel()[fits.points.flank]
    wrapped = np.mod(off + pi, 2 * pi) - pi
    return np.asarray(wrapped * fits.curve.measuring_arm[0] * fits.points.sign)


Results = dict[tuple[float, float, str], list[Found]]


def read_all(gears: int) -> Results:
    """Read every picture by every method.

    Parameters
    ----------
    gears : int
        Gears a row.

    Returns
    -------
    dict
        Blur, noise and method to what was found on each gear.
    """
    found: Results = {}
    rng = np.random.default_rng(11)
    for blur in BLURS_PX:
        for seed, teeth in enumerate(TEETH[:gears], start=1):
            scene = clean_scene(teeth, seed, blur)
            made = render_scene(scene)
            for noise in NOISES:
                pixels = noisy(made.image, noise, rng)
                for method in (OURS, *LIBRARY):
                    edges = edges_by(method, pixels, blur)
                    result = compare(edges, scene, made.truth, noise)
                    found.setdefault((blur, noise, method), []).append(result)
    return found


ACCURACY = (
    "blur, px", "noise", "method", "points a flank", "point bias, px", "point RMS, px",
    "flank bias, px", "flank SD, px", "flank RMS, px", "bound, px", "SD / bound", "RMS / bound",
)  # fmt: skip


def accuracy_row(found: list[Found]) -> list[object]:
    """Figures of one row.

    Parameters
    ----------
    found : list of Found

    Returns
    -------
    list
        Cells from "points a flank" on.
    """
    flank = np.concatenate([f.flank.ravel() for f in found])
    flank = flank[np.isfinite(flank)]
    point = np.concatenate([f.point for f in found])
    limit = sqrt(np.mean([f.limit**2 for f in found]))
    spread, whole = float(flank.std()), rms(flank)
    return [
        round(len(point) / len(flank)), _signed(point.mean()), f"{rms(point):.4f}",
        _signed(flank.mean()), f"{spread:.5f}", f"{whole:.5f}", f"{limit:.5f}",
        f"{spread / limit:.3f}", f"{whole / limit:.3f}",
    ]  # fmt: skip


def _signed(value: float) -> str:
    return f"{value:+.4f}"


def pooled(found: Results, method: str) -> list[object]:
    """Figures of one method over all rows, as ratios to each row's bound.

    Parameters
    ----------
    found : dict
    method : str

    Returns
    -------
    list
        Cells of the row.
    """
    rows = [row for (_, _, name), row in found.items() if name == method]
    flank = [np.concatenate([f.flank.ravel() / f.limit for f in row]) for row in rows]
    about = np.concatenate([f - np.nanmean(f) for f in flank])
    bias = [float(np.nanmean(np.concatenate([f.flank.ravel() for f in row]))) for row in rows]
    worst = max(bias, key=abs)
    seen, missed = np.isfinite(about).sum(), int(np.isnan(about).sum())
    error = 1 / sqrt(2 * seen)
    return [
        method, f"{rms(about):.3f} ± {rms(about) * error:.3f}",
        f"{rms(np.concatenate(flank)):.3f}", _signed(worst), missed,
    ]  # fmt: skip


BIAS = (
    "blur, px", "noise", "left, right flanks", "worst gear", "worst direction (12 of 7.5°)",
    "worst phase (8 of 1/8 px)", "chance alone: direction", "phase", "gear",
)  # fmt: skip


def bias_row(found: list[Found]) -> list[object]:
    """Bias of our points by direction and phase, and of our flanks by side and gear, px.

    Parameters
    ----------
    found : list of Found

    Returns
    -------
    list
        Cells from "left, right flanks" on.
    """
    sides = np.nanmean(np.concatenate([f.flank for f in found]), axis=0)
    gears = np.array([np.nanmean(f.flank) for f in found])
    by_direction, by_chance = _worst_bin(found, [f.direction / 90 for f in found], 12)
    by_phase, by_phase_chance = _worst_bin(found, [f.phase for f in found], 8)
    own = float(np.mean([np.nanstd(f.flank) / sqrt(f.flank.size) for f in found]))
    return [
        f"{sides[0]:+.4f}, {sides[1]:+.4f}", _signed(gears[np.argmax(np.abs(gears))]),
        _signed(by_direction), _signed(by_phase), f"± {by_chance:.4f}", f"± {by_phase_chance:.4f}",
        f"± {own:.4f}",
    ]  # fmt: skip


def _worst_bin(found: list[Found], share: list[Floats], bins: int) -> tuple[float, float]:
    """Mean point error in the bin where it is largest, and a mean's standard error."""
    point = np.concatenate([f.point for f in found])
    cell = np.minimum((np.concatenate(share) * bins).astype(int), bins - 1)
    count = np.bincount(cell, minlength=bins)
    mean = np.bincount(cell, point, bins) / np.maximum(count, 1)
    return float(mean[np.argmax(np.abs(mean))]), float(point.std() / sqrt(count.mean()))


def main() -> None:
    """Read every picture by every method, measure the costs, and write the tables."""
    gears = int(sys.argv[1]) if len(sys.argv) > 1 else len(TEETH)
    load = os.getloadavg()[0]
    costs = table(COST, list(cost_rows()))
    found = read_all(gears)
    methods = (OURS, *LIBRARY)
    rows = [
        [blur, f"{100 * noise:.0f} %", method, *accuracy_row(row)]
        for (blur, noise, method), row in found.items()
    ]
    ours = [
        [blur, f"{100 * noise:.0f} %", *bias_row(row)]
        for (blur, noise, method), row in found.items()
        if method == OURS
    ]
    per_row = 2 * sum(TEETH[:gears])
    parts = [
        f"{gears} clean gears a row, {SIDE_PX} px square, 8 bits, tip circle {TIP_PX} px, "
        f"{per_row} flanks: a row's ratios are uncertain by {100 / sqrt(2 * per_row):.1f} %. Every "
        "method's points go through the same share-out among the flanks, the same involute fit "
        "over the same range about the true axis, and a curvature correction of their own kind. "
        "The bound of a flank is that of one sample, (noise / contrast) sqrt(2 sqrt(pi) s) with "
        "s² = blur² + 1/12, over the root of the flank's length in px within the range; that of "
        "rounding to 8 bits is left out (1.6 % of the bound at 1 % noise). Errors are positive "
        "out of the material.\n",
        table(("method", "SD / bound, all rows", "RMS / bound", "worst row's flank bias, px",
               "flanks not fitted"), [pooled(found, m) for m in methods]),
        table(ACCURACY, rows),
        "## Bias of ours\n\nMeans of points or flanks; beside them the standard error that noise "
        "alone gives one such mean (the worst of a dozen lies at 1.5 to 2 times that).\n",
        table(BIAS, ours),
        "## Time and memory\n\nEdge extraction with the picture in memory, in a process of its "
        "own; median and least of seven runs after the first, parts of ours separately; the last "
        f"row of each size is all that follows decoding. Load of the machine {load:.1f}.\n",
        costs,
    ]  # fmt: skip
    if gears < len(TEETH):
        print(*parts, sep="\n")
        return
    report("edges", "Edges and flanks beside general library calls", parts)


if __name__ == "__main__":
    main()
