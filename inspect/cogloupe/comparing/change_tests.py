"""Tests of single figures before and after a change, and the verdict over all of them.

Three rules make a verdict honest. The difference must exceed the expanded uncertainty of the
difference. Between different gears it must also exceed what two gears of one unchanged machine
differ by (`null_simulation`; repeats, where there are any). And because many figures are looked at,
Holm's procedure keeps the chance that even one of them is called changed without cause at 5 %;
half of that is kept for the one figure named beforehand as the question, so that the others do not
drown it (S. Holm, "A simple sequentially rejective multiple test procedure", 1979, from memory).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import erfc, hypot, sqrt, tanh
from typing import Literal

import numpy as np
from scipy.special import stdtr, stdtrit

from cogloupe.comparing.compared_figures import MOSTLY_TEETH, Kind, Value
from cogloupe.comparing.tooth_pattern import (
    SMOOTH_WAVES,
    Pattern,
    amplitudes,
    scatter,
    single_pitches,
    spread,
)
from cogloupe_calibration.arrays import Floats

Verdict = Literal["better", "worse", "changed", "not_resolved", "not_compared"]
NullPairs = tuple[Floats, Floats]

LEVEL = 0.05
"""Chance that two gears without a change are called changed in any figure (usual in statistics)."""
MAIN_SHARE = 0.5
"""Part of that chance that the figure which a person asked about gets for itself."""
COVERAGE = 2.0
"""Factor k of an expanded uncertainty (JCGM 100:2008)."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One figure of two readings.

    Attributes
    ----------
    difference : float or None
        After less before.
    u_difference : float or None
        Its standard uncertainty from measuring alone.
    by_chance : float or None
        What 95 in 100 pairs with no change stay below, measuring included.
    p, p_all : float or None
        Chance of a difference as large with no change: of this figure by itself, and after Holm
        over all that were looked at.
    verdict : {'better', 'worse', 'changed', 'not_resolved', 'not_compared'}
    """

    kind: Kind
    before: Value
    after: Value
    difference: float | None = None
    u_difference: float | None = None
    by_chance: float | None = None
    p: float | None = None
    p_all: float | None = None
    verdict: Verdict = "not_compared"
    why: str = ""

    @property
    def resolved(self) -> bool:
        """A verdict was given."""
        return self.verdict in ("better", "worse", "changed")

    @property
    def hint(self) -> bool:
        """Beyond the play of this figure, but not of all that were looked at."""
        return self.verdict == "not_resolved" and self.p is not None and self.p < LEVEL


@dataclass(frozen=True)
class Play:
    """What gears cut one after the other without a change differed by.

    `size` is the standard deviation of each figure from gear to gear, `freedom` its degrees of
    freedom, 0 where there were no repeats.
    """

    size: dict[str, float]
    freedom: int


NO_PLAY = Play({}, 0)
"""Where no gears were cut one after the other: nothing is known of it."""


def plain_change(
    kind: Kind, before: Value, after: Value, *, shared_scale: bool, one_gear: bool, play: Play
) -> Change:
    """Hold two figures against the uncertainty of their difference; not judged yet.

    A scale's error that both share cancels as far as the figures are alike; of two gears the
    standard errors of means over teeth, and repeats, are added.
    """
    if before.value is None or after.value is None or before.u is None or after.u is None:
        return Change(kind=kind, before=before, after=after, why="not measured in both")
    shared = before.u_scale * after.u_scale if shared_scale else 0.0
    u = sqrt(max(before.u**2 + after.u**2 - 2 * shared, 0.0))
    difference = after.value - before.value
    by_teeth = 0.0 if one_gear else hypot(before.by_tooth, after.by_tooth)
    p, by_chance = _normal_chance(difference, hypot(u, by_teeth))
    # What the machine does to the teeth is held against their own scatter, which many teeth tell
    # better than a few repeats; of what each blank can change, only repeats tell.
    by_blank = kind.each_blank and kind.key not in MOSTLY_TEETH
    if play.freedom and by_blank and not one_gear and kind.key in play.size:
        spread = sqrt(2) * play.size[kind.key]
        p_play = 2 * float(stdtr(play.freedom, -abs(difference) / spread)) if spread > 0 else 0.0
        p = max(p, p_play)
        by_chance = max(by_chance, float(stdtrit(play.freedom, 1 - LEVEL / 2)) * spread)
    return Change(
        kind=kind,
        before=before,
        after=after,
        difference=difference,
        u_difference=u,
        by_chance=by_chance,
        p=p,
    )


def _normal_chance(difference: float, u: float) -> tuple[float, float]:
    p = erfc(abs(difference) / u / sqrt(2)) if u > 0 else float(difference == 0)
    return p, COVERAGE * u


def against_null(change: Change, seen: Floats, null_pairs: NullPairs) -> Change:
    """Hold a figure of the pattern also against pairs drawn without a change.

    With the larger of both chances. The ratio is tested, because the size of the scatter itself is
    known only from the same two gears.

    The figure is given as in both patterns that were measured (2,), and in both of each pair (n,).
    """
    if change.p is None or change.by_chance is None or not (seen > 0).all():
        return change
    drawn = np.log(null_pairs[1] / null_pairs[0])
    ratio = float(np.log(seen[1] / seen[0]))
    beyond = min((drawn >= ratio).sum(), (drawn <= ratio).sum())
    p = min(1.0, 2 * (int(beyond) + 1) / (len(drawn) + 1))
    reach = float(np.quantile(np.abs(drawn - np.median(drawn)), 1 - LEVEL))
    # Values with the ratio exp(q) and the mean m differ by 2 m tanh(q / 2).
    by_chance = float(seen.sum()) * tanh(reach / 2)
    return replace(change, p=max(change.p, p), by_chance=max(change.by_chance, by_chance))


def largest_single(place: Floats) -> Floats:
    """Largest single pitch deviation of patterns, shape (..., z, 2) to (...)."""
    return np.asarray(np.nanmax(np.abs(single_pitches(place)), axis=(-2, -1)))


def total_range(place: Floats) -> Floats:
    """Total cumulative pitch deviation of patterns, shape (..., z, 2) to (...)."""
    return np.asarray((np.nanmax(place, axis=-2) - np.nanmin(place, axis=-2)).max(axis=-1))


PATTERN_STATISTICS: dict[str, Callable[[Floats], Floats]] = {
    "scatter": scatter,
    "spread_left": lambda place: np.asarray(spread(place)[..., 0]),
    "spread_right": lambda place: np.asarray(spread(place)[..., 1]),
    "single": largest_single,
    "total": total_range,
}
"""Figures of a pattern, computed for the drawn pairs as the reading computes them."""


def wave_changes(
    patterns: tuple[Pattern, Pattern], null_pairs: NullPairs, harmonics: tuple[int, ...], unit: str
) -> list[Change]:
    """Compare the amplitudes of waves above the scatter, in pairs (n, z, 2) without a change too.

    One a harmonic; not judged yet.
    """
    if not harmonics:
        return []
    size = [amplitudes(p.place, harmonics) for p in patterns]
    drawn = [amplitudes(s, harmonics) for s in null_pairs]
    found = []
    for k, h in enumerate(harmonics):
        kind = Kind(
            key=f"wave_{h}",
            name=_wave_name(h),
            unit=unit,
            needs="pitch",
            aim="small",
            each_blank=h == 1,
        )
        values = [Value(float(s[k]), _u_wave(p, h)) for s, p in zip(size, patterns, strict=True)]
        change = plain_change(
            kind, values[0], values[1], shared_scale=False, one_gear=True, play=NO_PLAY
        )
        seen = np.array([s[k] for s in size])
        found.append(against_null(change, seen, (drawn[0][:, k], drawn[1][:, k])))
    return found


def _u_wave(pattern: Pattern, harmonic: int) -> float:
    own = pattern.u_own * sqrt(2 / len(pattern.place))
    return hypot(own, dict(zip(SMOOTH_WAVES, pattern.u_smooth, strict=True)).get(harmonic, 0.0))


def _wave_name(harmonic: int) -> str:
    times = {1: "once", 2: "twice"}.get(harmonic, f"{harmonic} times")
    return f"wave {times} a turn, amplitude"


def judged(changes: Sequence[Change]) -> tuple[Change, ...]:
    """Give each figure its verdict, all of them taken together; the first is the question."""
    tested = [c for c in changes if c.p is not None]
    if not tested:
        return tuple(changes)
    main = tested[0] is changes[0] and len(tested) > 1
    rest = (1 - MAIN_SHARE * main) / (len(tested) - main)
    weight = np.array([MAIN_SHARE if main and k == 0 else rest for k in range(len(tested))])
    chances = iter(holm(np.array([c.p for c in tested], dtype=float), weight))
    return tuple(c if c.p is None else _with_verdict(c, float(next(chances))) for c in changes)


def holm(p: Floats, weight: Floats) -> Floats:
    """Chances (n,) after Holm's procedure, from those by themselves and weights (n,) that sum to 1.

    What is at or below the level is called changed; the chance that any of these has not changed is
    at most the level, however the figures depend on each other.
    """
    order = np.argsort(p / weight, kind="stable")
    left = np.cumsum(weight[order][::-1])[::-1]
    raised = np.maximum.accumulate(p[order] / weight[order] * left)
    out = np.empty_like(p)
    out[order] = np.minimum(raised, 1.0)
    return out


def _with_verdict(change: Change, p_all: float) -> Change:
    difference, u = change.difference, change.u_difference
    if difference is None or u is None:
        return change
    if p_all > LEVEL or abs(difference) <= COVERAGE * u:
        return replace(change, p_all=p_all, verdict="not_resolved")
    return replace(change, p_all=p_all, verdict=_direction(change, COVERAGE * u))


def _direction(change: Change, limit: float) -> Verdict:
    """Better or worse by the distance from what is right, where that changed beyond U too."""
    if change.kind.aim == "none":
        return "changed"
    aim = 1.0 if change.kind.aim == "one" else 0.0
    nearer = abs((change.before.value or 0.0) - aim) - abs((change.after.value or 0.0) - aim)
    if abs(nearer) <= limit:
        return "changed"
    return "better" if nearer > 0 else "worse"
