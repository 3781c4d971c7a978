"""How many true values lie within ± U: random gears through random lenses, with and without a grid.

Run: ``python tests/benchmarks/coverage.py [CASES [FIRST_SEED]]`` (about fifteen minutes on one
core). With a number of cases only those are read, and nothing is written.
"""

import datetime
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import sqrt
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from common import Case, report, rms, table
from coverage_set import Drawn, draw, photograph_grid
from numpy.typing import NDArray

from cogloupe.inspection import inspect_photo
from cogloupe.reading import Reading
from cogloupe.settings import make_settings
from cogloupe.simulation.truth import TrueTable
from cogloupe_calibration.calibration import Calibration, Picture, save_calibration
from cogloupe_calibration.errors import CogloupeError
from cogloupe_calibration.grid import U_PITCH_REL, calibration_from_grid
from cogloupe_calibration.lens import frame_middle, make_lens

Floats = NDArray[np.float64]

CASES = 240
EXACT = 1e-5
"""Relative uncertainty of a target as good as exact (an engraved glass plate)."""
FLANKS = ("single_pitch_um", "cumulative_pitch_um")
SUMS = (
    "runout_um", "single_pitch_max_um", "cumulative_pitch_total_um", "thickness_mean_mm",
    "eccentricity_um", "tip_diameter_mean_mm",
)  # fmt: skip
MAIN = ("single_pitch_um", "cumulative_pitch_um", "thickness_mm", "runout_um")


@dataclass(frozen=True)
class Compared:
    """Errors of one figure of one reading, px of the picture, and their standard uncertainties."""

    error: Floats
    u: Floats


Row = dict[str, Compared]


def compare(case: Case, reading: Reading) -> Row:
    """Compare a reading with its truth, figure by figure.

    Parameters
    ----------
    case : Case
    reading : Reading

    Returns
    -------
    dict
        Figures by their names.
    """
    truth = case.truth.about_bore if reading.datum.kind == "bore" else case.truth.about_teeth
    found = {name: _flanks(reading, truth, name) for name in FLANKS}
    teeth = [(t.thickness_mm, s.thickness_mm, t.u_thickness_mm) for t, s in _pairs(reading, truth)]
    found["thickness_mm"] = _compared(teeth)
    single, total = reading.summary, truth.summary
    for name in SUMS:
        values = (getattr(single, name), getattr(total, name), getattr(single, "u_" + name))
        found[name] = _compared([values])
    px = case.truth.picture.mm_per_px
    scale = {name: px * (1000 if name.endswith("um") else 1) for name in found}
    return {n: Compared(c.error / scale[n], c.u / scale[n]) for n, c in found.items()}


def _pairs(reading: Reading, truth: TrueTable) -> Iterator[tuple]:  # type: ignore[type-arg]
    return zip(reading.teeth, truth.teeth, strict=True)


def _flanks(reading: Reading, truth: TrueTable, name: str) -> Compared:
    rows = [
        tuple(getattr(flank, n) for flank, n in ((seen, name), (true, name), (seen, "u_" + name)))
        for tooth, other in _pairs(reading, truth)
        for seen, true in ((tooth.left, other.left), (tooth.right, other.right))
    ]
    kept = rows[2:] if name == "cumulative_pitch_um" else rows  # tooth 1 is 0 by definition
    return _compared(kept)


def _compared(rows: list[tuple]) -> Compared:  # type: ignore[type-arg]
    values = np.array([[np.nan if v is None else v for v in row] for row in rows], float)
    return Compared(values[:, 0] - values[:, 1], values[:, 2])


def without_calibration(seed: int) -> tuple[Drawn, Reading]:
    """Read a case as a person without any calibration does.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Drawn
    Reading
    """
    drawn = draw(seed)
    return drawn, inspect_photo(drawn.case.photo, drawn.case.settings)[0]


def with_grid(u_pitch_rel: float) -> Callable[[int], tuple[Drawn, Reading]]:
    """Reader of cases whose lens was measured on a target.

    Parameters
    ----------
    u_pitch_rel : float
        How well the target is known.

    Returns
    -------
    callable
        From the seed to the case and its reading.
    """

    def read(seed: int) -> tuple[Drawn, Reading]:
        drawn = draw(seed)
        grid = photograph_grid(drawn, seed, u_pitch_rel)
        calibration = calibration_from_grid(grid, _picture(drawn), datetime.date.today())
        return drawn, _calibrated(drawn, calibration)

    return read


def straight(seed: int) -> tuple[Drawn, Reading]:
    """Read a case through a perfect lens that is known to be perfect: edge noise alone.

    Parameters
    ----------
    seed : int

    Returns
    -------
    Drawn
    Reading
    """
    drawn = draw(seed, straight=True)
    photo = drawn.case.photo
    calibration = Calibration(
        mm_per_px=drawn.case.truth.picture.mm_per_px, u_mm_per_px=0.0, method="grid",
        date=datetime.date.today(), picture=_picture(drawn), verdict="good",
        lens=make_lens(*frame_middle(photo.width, photo.height), np.zeros(8), np.zeros((8, 8))),
    )  # fmt: skip
    return drawn, _calibrated(drawn, calibration)


def _picture(drawn: Drawn) -> Picture:
    photo = drawn.case.photo
    return Picture(
        file="grid.png", sha256=photo.sha256, width_px=photo.width, height_px=photo.height
    )


def _calibrated(drawn: Drawn, calibration: Calibration) -> Reading:
    """Read a case with a calibration file."""
    gear = drawn.case.truth.gear
    with TemporaryDirectory() as folder:
        path = Path(folder) / "calibration.json"
        save_calibration(calibration, path)
        given = {"teeth": gear.teeth, "module_mm": gear.module_mm, "calibration": path}
        return inspect_photo(drawn.case.photo, make_settings(given))[0]


WAYS = {
    "no calibration": without_calibration,
    "printed grid": with_grid(U_PITCH_REL),
    "exact grid": with_grid(EXACT),
    "perfect lens, edges alone": straight,
}


def study(way: str, seeds: range) -> list[Row]:
    """Read the cases one way.

    Parameters
    ----------
    way : str
        A key of `WAYS`.
    seeds : range

    Returns
    -------
    list of dict
        One for each case that was read.
    """
    rows = []
    for seed in seeds:
        try:
            drawn, reading = WAYS[way](seed)
        except CogloupeError as error:
            print(f"{way}, case {seed}: {error}", file=sys.stderr)
            continue
        rows.append(compare(drawn.case, reading))
    return rows


HEAD = (
    "figure", "values", "within ±U, %", "from case to case, %", "RMS error, px", "RMS u, px",
    "u over error",
)  # fmt: skip


def summed_up(rows: list[Row]) -> str:
    """Table of one way's coverage.

    Parameters
    ----------
    rows : list of dict

    Returns
    -------
    str
    """
    return table(HEAD, [_line(name, [row[name] for row in rows]) for name in rows[0]])


def _line(name: str, cases: list[Compared]) -> list[object]:
    error, u = (np.concatenate([getattr(c, n) for c in cases]) for n in ("error", "u"))
    seen = np.isfinite(error) & np.isfinite(u)
    inside = 100 * np.mean(np.abs(error[seen]) <= 2 * u[seen])
    shares = [np.mean(np.abs(c.error) <= 2 * c.u) for c in cases]
    spread = 100 * float(np.std(shares)) / sqrt(len(cases))
    mark = "**" if name in MAIN else ""
    label = f"{mark}{name.rsplit('_', 1)[0].replace('_', ' ')}{mark}"
    wide, known = rms(error), rms(u)
    return [label, int(seen.sum()), f"{inside:.1f}", f"± {spread:.1f}", wide, known, known / wide]


def main() -> None:
    """Read all cases every way and write the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    parts = []
    for way in WAYS:
        rows = study(way, range(first, first + count))
        parts += [f"## {way} ({len(rows)} of {count} cases read)\n", summed_up(rows)]
    if len(sys.argv) > 1:
        print("\n".join(parts))
        return
    report("coverage", "Coverage", parts)


if __name__ == "__main__":
    main()
