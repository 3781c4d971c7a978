"""A whole series of attempts: each step, the way from first to last, trends and repeats."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import sqrt

import numpy as np
from scipy.special import ndtr, stdtr

from cogloupe.comparing.change_tests import LEVEL, NO_PLAY, Play, holm
from cogloupe.comparing.compare import NULL_PAIRS, Comparison, compare_pair
from cogloupe.comparing.compared_figures import KINDS, Kind, Value, figure_value, in_arc, why_not
from cogloupe.reading.models import Reading
from cogloupe_calibration.errors import UseError

LEAST_FOR_TREND = 3
"""Two points lie on a line whatever they are."""


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A figure over a series of readings.

    `start` and `slope` per attempt are of a line, None with fewer than three; `p` is the chance of
    such a slope without a trend, which is `clear` beyond chance, after Holm over all figures.
    """

    kind: Kind
    values: tuple[Value, ...]
    start: float | None = None
    slope: float | None = None
    u_slope: float | None = None
    p: float | None = None
    clear: bool = False


@dataclass(frozen=True)
class Series:
    """Readings one after the other.

    `steps` are each reading with the one before, `asked` the one that is the question: the last
    before which something was changed; `whole` is first and last, where there are more than two.
    """

    steps: tuple[Comparison, ...]
    asked: int
    whole: Comparison | None
    trends: tuple[Trend, ...]


def compare_series(
    readings: Sequence[Reading],
    *,
    same_gear: bool,
    rng: np.random.Generator,
    marks: Sequence[int] | None = None,
    unchanged: Sequence[bool] = (),
    null_pairs: int = NULL_PAIRS,
) -> Series:
    """Compare a series of readings, each with the one before, and the last with the first.

    Parameters
    ----------
    readings : sequence of Reading
        Two or more, in the order of the attempts.
    marks : sequence of int, optional
        Number of one and the same tooth in each reading.
    unchanged : sequence of bool
        For each reading, whether nothing was changed before it.

    Raises
    ------
    UseError
        With fewer than two readings, or marks that do not fit.
    """
    if len(readings) < 2:
        raise UseError(f"{len(readings)} reading was given: comparing takes two or more")
    shifts = _shifts(readings, marks)
    play = NO_PLAY if same_gear else play_of(readings, unchanged)

    def held(a: int, b: int) -> Comparison:
        shift = None if shifts is None else shifts[b] - shifts[a]
        return compare_pair(
            readings[a], readings[b], same_gear=same_gear, rng=rng, shift=shift, play=play,
            null_pairs=null_pairs,
        )  # fmt: skip

    last = len(readings) - 1
    steps = tuple(held(a, b) for a, b in pairwise(range(last + 1)))
    changed = [k for k in range(last) if not any(unchanged[k + 1 : k + 2])]
    asked = changed[-1] if changed else last - 1
    return Series(steps, asked, held(0, last) if last > 1 else None, _trends(readings))


def _shifts(readings: Sequence[Reading], marks: Sequence[int] | None) -> list[int] | None:
    if not marks:
        return None
    if len(marks) != len(readings):
        raise UseError(
            f"{len(marks)} marked teeth for {len(readings)} readings: give --mark once for each, "
            "in the same order"
        )
    for mark, reading in zip(marks, readings, strict=True):
        if not 1 <= mark <= reading.gear.teeth:
            raise UseError(
                f"tooth {mark} was marked on a gear of {reading.gear.teeth} teeth: give a number "
                "from the report's table"
            )
    return [mark - 1 for mark in marks]


def play_of(readings: Sequence[Reading], unchanged: Sequence[bool]) -> Play:
    """What gears cut without a change between them differ by.

    Standard deviations within the runs without a change, pooled. Of each reading `unchanged` tells
    whether nothing was changed before it.
    """
    runs: list[list[Reading]] = []
    for reading, same in zip(readings, unchanged, strict=False):
        if same and runs and not in_arc(runs[-1][-1], reading):
            runs[-1].append(reading)
        else:
            runs.append([reading])
    repeated = [run for run in runs if len(run) > 1]
    freedom = sum(len(run) - 1 for run in repeated)
    sizes = {k.key: _pooled(repeated, k, freedom) for k in KINDS} if freedom else {}
    return Play({key: size for key, size in sizes.items() if size is not None}, freedom)


def _pooled(runs: Sequence[Sequence[Reading]], kind: Kind, freedom: int) -> float | None:
    """Standard deviation within runs; None where a figure was not comparable throughout."""
    squares = 0.0
    for run in runs:
        values = [figure_value(reading, kind.key).value for reading in run]
        if None in values or any(why_not(run[0], r, kind) for r in run):
            return None
        squares += float(np.var(np.array(values, dtype=float))) * len(run)
    return sqrt(squares / freedom)


def _trends(readings: Sequence[Reading]) -> tuple[Trend, ...]:
    found = []
    for kind in KINDS:
        if any(why_not(readings[0], r, kind) or in_arc(readings[0], r) for r in readings[1:]):
            continue
        values = tuple(figure_value(reading, kind.key) for reading in readings)
        if any(v.value is not None for v in values):
            found.append(_trend(kind, values))
    lines = [k for k, trend in enumerate(found) if trend.p is not None]
    chances = np.array([found[k].p for k in lines], dtype=float)
    raised = holm(chances, np.full(len(lines), 1 / max(len(lines), 1)))
    for k, p_all in zip(lines, raised, strict=True):
        found[k] = replace(found[k], clear=bool(p_all <= LEVEL))
    return tuple(found)


def _trend(kind: Kind, values: tuple[Value, ...]) -> Trend:
    """Line by weighted least squares.

    Where the figures scatter more than their uncertainties say, the slope's is raised by as much
    (Birge's ratio) and held against Student's distribution.
    """
    known = [(k, v.value, v.u) for k, v in enumerate(values) if v.value is not None and v.u]
    if len(known) < LEAST_FOR_TREND:
        return Trend(kind=kind, values=values)
    x, y, u = np.array(known, dtype=float).T
    basis = np.stack([np.ones_like(x), x], axis=1) / u[:, None]
    inverse = np.linalg.inv(basis.T @ basis)
    start, slope = inverse @ basis.T @ (y / u)
    freedom = len(x) - 2
    birge = float(np.sum(((y - start - slope * x) / u) ** 2)) / freedom
    u_slope = sqrt(inverse[1, 1] * max(birge, 1.0))
    ratio = -abs(slope) / u_slope
    p = 2 * float(stdtr(freedom, ratio) if birge > 1 else ndtr(ratio))
    return Trend(
        kind=kind, values=values, start=float(start), slope=float(slope), u_slope=u_slope, p=p
    )
