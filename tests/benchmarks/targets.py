"""Calibration targets as people photograph them: what is found, how well, and whether U holds.

Run: ``python -m tests.benchmarks.targets [CASES [ROW ...]]`` (some ten minutes on one core). With a
number of cases nothing is written. Boards, lenses and leans are drawn at random and rendered
exactly through the lens; what a camera does to the picture is done to the picture. Beside it stands
how often the general-purpose library's detector, which is told the board's size, finds it.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from math import cos, radians, sin, tan
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import report, rms, table
from tests.helpers.grid_pictures import grid_picture, lens_for, seen_through

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.grid import measure_grid
from cogloupe_calibration.grid_scale import GridScale
from cogloupe_calibration.lens import ideal_points
from cogloupe_calibration.ruled import measure_ruled_scale

CASES = 20
SHAPE = (360, 480)
Spoil = Callable[[NDArray[Any], np.random.Generator], NDArray[Any]]


@dataclass(frozen=True, kw_only=True)
class Row:
    """One kind of picture: ranges that are drawn from, and what is done to it afterwards."""

    pitch: tuple[float, float] = (16.0, 40.0)
    blur: tuple[float, float] = (0.7, 1.4)
    lean_deg: float = 3.0
    noise: float = 0.01
    spoil: Spoil = lambda picture, _: picture
    pictures: int = 1


@dataclass(frozen=True)
class Outcome:
    """Errors of one case: of the scale, relative and over u; of corrected places, px and over u."""

    scale: float
    scale_u: float
    left: float
    left_u: float
    seen: float


def sharpened(picture: NDArray[Any], rng: np.random.Generator) -> NDArray[Any]:
    """An unsharp mask, as cameras have it, halos clipped at black and white."""
    amount, radius = rng.uniform(0.8, 2.5), rng.uniform(1.0, 2.0)
    soft = cv2.GaussianBlur(picture, (0, 0), radius).astype(float)
    return _bytes(picture + amount * (picture - soft))


def compressed(picture: NDArray[Any], rng: np.random.Generator) -> NDArray[Any]:
    """JPEG of quality 30 to 60."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, int(rng.uniform(30, 60))])
    assert done
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE))


def vignetted(picture: NDArray[Any], rng: np.random.Generator) -> NDArray[Any]:
    """Light that falls to a third or so in the corners, brightest off the middle."""
    height, width = picture.shape
    y, x = np.mgrid[0:height, 0:width]
    middle = np.array([width, height]) * rng.uniform(0.35, 0.65, 2)
    far = np.hypot(x - middle[0], y - middle[1]) / np.hypot(width, height) * 2
    return _bytes(picture * (1 - rng.uniform(0.4, 0.7) * far**2))


def all_of_it(picture: NDArray[Any], rng: np.random.Generator) -> NDArray[Any]:
    """Vignetting, sharpening, then JPEG."""
    return compressed(sharpened(vignetted(picture, rng), rng), rng)


ROWS = {
    "clean": Row(),
    "small squares, 6 to 9 px": Row(pitch=(6.0, 9.0), blur=(0.6, 0.9)),
    "blurred, up to a fifth of a square": Row(blur=(2.5, 3.2)),
    "leaning 30 to 45 degrees": Row(pitch=(20.0, 32.0), lean_deg=45.0),
    "sharpened": Row(spoil=sharpened),
    "JPEG 30 to 60": Row(spoil=compressed),
    "noise 6 %": Row(noise=0.06),
    "vignetting": Row(spoil=vignetted),
    "all of these, leaning": Row(lean_deg=30.0, noise=0.02, spoil=all_of_it),
    "three pictures, one plane": Row(pictures=3, lean_deg=1.0),
    "four pictures, leaning anyhow": Row(pictures=4, lean_deg=30.0),
}


def leaning(lean_deg: float, direction: float, distance: float) -> dict[str, float]:
    """Lens terms of a plane that leans, seen by a pinhole some half diagonals away.

    With t = tan(lean / 2) in the lean's direction, as a complex number, e = t^2 and
    g = 2 t / (distance (1 - |t|^4)); by projecting the plane, exact.
    """
    t = tan(radians(lean_deg) / 2)
    g = 2 * t / (distance * (1 - t**4))
    return {
        "e1": t**2 * cos(2 * direction),
        "e2": t**2 * sin(2 * direction),
        "g1": g * cos(direction),
        "g2": g * sin(direction),
    }


def measure_case(row: Row, seed: int) -> tuple[Outcome | None, bool]:
    """Draw and measure one case.

    Parameters
    ----------
    row : Row
    seed : int

    Returns
    -------
    Outcome or None
        None where the board was refused.
    bool
        Whether the library's detector found every corner of the first picture.
    """
    rng = np.random.default_rng([22, seed])
    pitch = rng.uniform(*row.pitch)
    bend = {"k1": rng.uniform(-0.03, 0.03), "k2": rng.uniform(-0.004, 0.004)}
    least = 2 * row.lean_deg / 3 if row.lean_deg > 20 else 0.0
    greys, lenses = [], []
    distance = rng.uniform(3.0, 8.0)
    for _ in range(row.pictures):
        way = rng.uniform(-np.pi, np.pi)
        lean = leaning(rng.uniform(least, row.lean_deg), way, distance)
        if row.pictures > 1 and row.lean_deg <= 1 and lenses:
            lean = {name: lenses[0].terms[4 + k] for k, name in enumerate(("e1", "e2", "g1", "g2"))}
        lenses.append(lens_for(SHAPE, **bend, **lean))
        greys.append(_picture(row, rng, pitch, seen_through(lenses[-1])))
    found, _ = cv2.findChessboardCorners(greys[0][0], tuple(n - 1 for n in greys[0][1]))
    try:
        grid = measure_grid(greys[0][0], 1.0, u_pitch_rel=0.0, others=[g for g, _ in greys[1:]])
    except CalibrationError:
        return None, bool(found)
    return _compared(grid, lenses[0], pitch, greys[0][1]), bool(found)


def _picture(
    row: Row, rng: np.random.Generator, pitch: float, seen: Callable[[Floats], Floats]
) -> tuple[NDArray[Any], tuple[int, int]]:
    # A board that the frame holds whole, however it is turned.
    size = tuple(int(side * rng.uniform(0.6, 0.72) / pitch) for side in SHAPE[::-1])
    picture = grid_picture(
        rng, size=size, pitch=pitch, shape=SHAPE, angle_deg=rng.uniform(-12, 12),
        offset=tuple(rng.uniform(-6, 6, 2)), seen=seen, blur=rng.uniform(*row.blur),
        noise=row.noise, gradient=rng.uniform(-0.3, 0.3), gamma=rng.choice([1.0, 2.2]),
    )  # fmt: skip
    return row.spoil(picture, rng), size


def _compared(grid: GridScale, true: Any, pitch: float, size: tuple[int, int]) -> Outcome:
    left, top, right, bottom = grid.summary.valid_region_px
    x, y = np.meshgrid(np.linspace(left, right, 9), np.linspace(top, bottom, 7))
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    places = [ideal_points(lens, xy) for lens in (true, grid.summary.lens)]
    flat, found = (v[:, 0] + 1j * v[:, 1] for v in places)
    basis = np.stack([flat, np.ones_like(flat)], axis=1)
    beside = found - basis @ np.linalg.lstsq(basis, found, rcond=None)[0]
    error = grid.fit.period_px / pitch - 1
    return Outcome(
        scale=error,
        scale_u=error / (grid.fit.u_period_px / pitch),
        left=rms(np.abs(beside)),
        left_u=rms(np.abs(beside)) / max(grid.correction_u_px, 1e-9),
        seen=int((grid.points.picture == 0).sum()) / ((size[0] - 1) * (size[1] - 1)),
    )


def board_table(cases: int, names: list[str]) -> str:
    """Boards, a row a spoiler."""
    rows = []
    for name in names:
        results = [measure_case(ROWS[name], seed) for seed in range(cases)]
        seen = [outcome for outcome, _ in results if outcome is not None]
        rows.append([
            name, f"{len(seen)} / {cases}", f"{sum(found for _, found in results)} / {cases}",
            f"{100 * np.mean([o.seen for o in seen]):.1f}",
            f"{1e6 * rms(np.array([o.scale for o in seen])):.1f}",
            f"{100 * np.mean([abs(o.scale_u) <= 2 for o in seen]):.0f}",
            f"{rms(np.array([o.left for o in seen])):.4f}",
            f"{100 * np.mean([o.left_u <= 2 for o in seen]):.0f}",
        ])  # fmt: skip
        print(rows[-1], flush=True)
    head = [
        "boards", "measured", "library's detector", "corners, %", "scale error, ppm RMS",
        "scale within U, %", "places left off, px RMS", "places within U, %",
    ]  # fmt: skip
    return table(head, rows)


def ruler_table(cases: int) -> str:
    """Rules of few pixels a division; scales that are wrong without a warning are counted."""
    rows = []
    for low, high, blur in ((4.5, 6.0, 0.8), (4.5, 6.0, 1.2), (4.5, 6.0, 1.8), (6.0, 10.0, 1.2)):
        errors, refused, silent = [], 0, 0
        for seed in range(cases):
            rng = np.random.default_rng([23, seed])
            period = rng.uniform(low, high)
            try:
                ruled = measure_ruled_scale(_rule(rng, period, blur), 1.0)
            except CalibrationError:
                refused += 1
                continue
            error = ruled.fit.period / period - 1
            if abs(error) > 0.01:
                told = ruled.summary.verdict == "take it again"
                refused, silent = refused + told, silent + (not told)
            else:
                errors.append((error, error * period / ruled.fit.u_period))
        inside = [abs(e) <= 2 for _, e in errors]
        rows.append([
            f"{low:g} to {high:g} px a division, blur {blur:g} px", f"{len(errors)} / {cases}",
            f"{refused}", f"{silent}",
            f"{1e6 * rms(np.array([e for e, _ in errors])):.0f}" if errors else "-",
            f"{100 * np.mean(inside):.0f}" if errors else "-",
        ])  # fmt: skip
        print(rows[-1], flush=True)
    head = [
        "rules", "right", "refused, or told to take it again", "wrong and not told",
        "scale error, ppm RMS", "within U, %",
    ]  # fmt: skip
    return table(head, rows)


def _rule(rng: np.random.Generator, period: float, blur: float) -> NDArray[Any]:
    """Steel rule: brushed grain, fifths and tenths longer, numerals, uneven light."""
    height, width = 240, 600
    y, x = np.mgrid[0:height, 0:width] - np.array([height, width])[:, None, None] / 2
    a = rng.uniform(-0.3, 0.3)
    u, t = x * cos(a) + y * sin(a), -x * sin(a) + y * cos(a)
    start = rng.uniform(0, period)
    number = np.round((u - start) / period)
    end = np.where(number % 10 == 0, 60.0, np.where(number % 5 == 0, 40.0, 20.0))
    off = np.abs(u - start - number * period)
    line = np.clip(0.1 * period + 0.5 - off, 0, 1) * ((t > -60) & (t < end))
    grain = cv2.GaussianBlur(rng.normal(0, 8, (height, width)), (0, 0), 1.2)
    light = 1 + rng.uniform(-0.3, 0.3) * x / width
    grey = (200 + grain) * light * (1 - 0.75 * line)
    ink = _bytes(grey)
    for tenth in range(-6, 7):
        place = start + 10 * tenth * period
        at = (place * cos(a) - 75 * sin(a) + width / 2, place * sin(a) + 75 * cos(a) + height / 2)
        cv2.putText(ink, f"{abs(tenth)}", (int(at[0]) - 4, int(at[1])), 0, 0.5, 60, 1, cv2.LINE_AA)
    soft = cv2.GaussianBlur(ink.astype(float), (0, 0), blur)
    return _bytes(soft + rng.normal(0, 2.5, soft.shape))


def _bytes(picture: NDArray[Any]) -> NDArray[Any]:
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def main() -> None:
    """Run all rows; write the tables unless fewer cases or some rows were asked for."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    names = sys.argv[2:] or list(ROWS)
    parts = [
        "Checkerboards of random size, whole in a frame of 480 x 360 px, 8 bits, linear or gamma "
        "2.2, light gradient to 30 %, lens with k1 to 0.03 and k2 to 0.004 at the corner. Places "
        "are what the correction leaves over the covered part beside scale, turn and shift.\n",
        board_table(cases, names),
    ]
    if len(sys.argv) <= 2:
        rules = "Steel rules of 600 x 240 px, 1 mm a division: grain, numerals, uneven light."
        parts += [f"\n{rules}\n", ruler_table(cases)]
    if len(sys.argv) > 1:
        print("\n".join(parts))
    else:
        report("targets", "Calibration targets", parts)


if __name__ == "__main__":
    main()
