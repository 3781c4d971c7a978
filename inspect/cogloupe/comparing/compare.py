"""Did the change help? Two readings held against each other."""

from dataclasses import dataclass, replace
from math import erfc, sqrt

import numpy as np

from cogloupe.comparing.change_tests import (
    LEVEL,
    NO_PLAY,
    PATTERN_STATISTICS,
    Change,
    NullPairs,
    Play,
    against_null,
    holm,
    judged,
    plain_change,
    wave_changes,
)
from cogloupe.comparing.compared_figures import (
    KINDS,
    Kind,
    Value,
    figure_value,
    in_arc,
    same_calibration,
    why_not,
)
from cogloupe.comparing.null_simulation import (
    null_pair_count,
    null_pairs_of_gear,
    null_pairs_of_machine,
    waves_above_scatter,
)
from cogloupe.comparing.tooth_pattern import (
    Alignment,
    Pattern,
    align,
    arc_per_um,
    chance_correlation,
    pattern_of,
    single_pitches,
    turned,
)
from cogloupe.reading.models import SIDES, Reading, Side
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

NULL_PAIRS = 4999
"""Pairs drawn without a change: a chance of 5 in 100 is then told to 0.3 in 100."""
SECONDS_OF_ARC = "″"
TEETH = Kind(
    key="teeth",
    name="pitch changes, tooth by tooth (RMS)",
    unit="µm",
    needs="pitch",
    aim="none",
    each_blank=False,
)


@dataclass(frozen=True)
class FlankChange:
    """A flank whose single pitch changed beyond its U, numbered as in the first reading."""

    tooth: int
    side: Side


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Two readings held against each other.

    Attributes
    ----------
    alignment : Alignment or None
        None where tooth counts differ.
    changes : tuple of Change
        In the order they are shown; the first is the question.
    flanks : tuple of FlankChange
        Of one gear: what changed tooth by tooth.
    common_scale : bool
        Both have one calibration, whose error cancels as far as the figures are alike.
    arc : bool
        Pitch figures are in seconds of arc.
    match : bool or None
        The patterns match beyond chance; None where either has too little pattern to tell.
    """

    before: Reading
    after: Reading
    same_gear: bool
    alignment: Alignment | None
    changes: tuple[Change, ...]
    flanks: tuple[FlankChange, ...]
    common_scale: bool
    arc: bool
    play: Play
    match: bool | None

    @property
    def resolved(self) -> tuple[Change, ...]:
        """Figures that changed."""
        return tuple(c for c in self.changes if c.resolved)

    @property
    def leading(self) -> Change:
        """The largest change that is resolved, by what chance leaves of its figure; else the first.

        Of one gear the question is whether its teeth are as they were, whatever else changed.
        """
        told = [c for c in self.resolved if c.difference is not None and c.by_chance]
        if self.same_gear or not told:
            return self.changes[0]
        return max(told, key=lambda c: abs(c.difference or 0.0) / (c.by_chance or 1.0))


@dataclass(frozen=True, kw_only=True)
class _Pair:
    """Two readings and their patterns, with what they share."""

    readings: tuple[Reading, Reading]
    patterns: tuple[Pattern, Pattern]
    alignment: Alignment | None
    same_gear: bool
    scale: bool
    arc: bool

    @property
    def pitch_unit(self) -> str:
        """Of places and pitches."""
        return SECONDS_OF_ARC if self.arc else "µm"


def compare_pair(
    before: Reading,
    after: Reading,
    *,
    same_gear: bool,
    rng: np.random.Generator,
    shift: int | None = None,
    play: Play = NO_PLAY,
    null_pairs: int = NULL_PAIRS,
) -> Comparison:
    """Compare two readings.

    Parameters
    ----------
    same_gear : bool
        One gear photographed twice; else gears cut before and after a change.
    rng : Generator
        For the pairs drawn without a change.
    shift : int, optional
        Tooth of index k of the first is ``k + shift`` in the second; found in the patterns
        without it.

    Raises
    ------
    UseError
        Where one gear would have two tooth counts.

    Examples
    --------
    >>> found = compare_pair(reading, reading, same_gear=True, rng=np.random.default_rng(1))
    >>> {change.verdict for change in found.changes}
    {'not_resolved'}
    """
    pair = _pair(before, after, same_gear, shift)
    drawn = _draw(pair, null_pairs, rng)
    changes = judged(
        [
            *_teeth_changes(pair, drawn),
            *(_figure_change(pair, kind, drawn, play) for kind in KINDS),
            *_waves(pair, drawn),
        ]
    )
    return Comparison(
        before=before,
        after=after,
        same_gear=same_gear,
        alignment=pair.alignment,
        changes=changes,
        flanks=_changed_flanks(pair),
        common_scale=pair.scale,
        arc=pair.arc,
        play=play,
        match=_match(pair),
    )


def _pair(before: Reading, after: Reading, same_gear: bool, shift: int | None) -> _Pair:
    z = (before.gear.teeth, after.gear.teeth)
    if same_gear and z[0] != z[1]:
        raise UseError(
            f"one gear cannot have {z[0]} and {z[1]} teeth: leave --same-gear out, or read the "
            "photographs again with --teeth"
        )
    arc = in_arc(before, after)
    patterns = (pattern_of(before, arc), pattern_of(after, arc))
    alignment = align(*patterns, shift) if z[0] == z[1] else None
    return _Pair(
        readings=(before, after), patterns=patterns, alignment=alignment, same_gear=same_gear,
        scale=same_calibration(before, after), arc=arc,
    )  # fmt: skip


def _draw(pair: _Pair, wanted: int, rng: np.random.Generator) -> NullPairs:
    first, second = pair.patterns
    count = null_pair_count(max(len(first.place), len(second.place)), wanted)
    if pair.same_gear and pair.alignment is not None:
        return null_pairs_of_gear(first, second, pair.alignment.shift, count, rng)
    return null_pairs_of_machine(first, second, count, rng)


def _figure_change(pair: _Pair, kind: Kind, drawn: NullPairs, play: Play) -> Change:
    values = [figure_value(reading, kind.key) for reading in pair.readings]
    why = why_not(*pair.readings, kind)
    if pair.arc and kind.key in PATTERN_STATISTICS:
        kind = replace(kind, unit=pair.pitch_unit)
        values = [_in_arc(v, r) for v, r in zip(values, pair.readings, strict=True)]
    if why:
        return Change(kind=kind, before=values[0], after=values[1], why=why)
    change = plain_change(
        kind, values[0], values[1], shared_scale=pair.scale, one_gear=pair.same_gear, play=play
    )
    statistic = PATTERN_STATISTICS.get(kind.key)
    if statistic is None or change.p is None:
        return change
    seen = np.array([float(statistic(p.place)) for p in pair.patterns])
    return against_null(change, seen, (statistic(drawn[0]), statistic(drawn[1])))


def _in_arc(value: Value, reading: Reading) -> Value:
    if value.value is None or value.u is None:
        return value
    per_um = arc_per_um(reading)
    return Value(value.value * per_um, value.u * per_um)


def _waves(pair: _Pair, drawn: NullPairs) -> list[Change]:
    first, second = pair.patterns
    before, after = pair.readings
    if first.seen == 0 or second.seen == 0 or before.datum.kind != after.datum.kind:
        return []
    return wave_changes(pair.patterns, drawn, waves_above_scatter(first, second), pair.pitch_unit)


def _paired(pair: _Pair) -> Floats:
    """Change of every single pitch, in the first reading's numbers."""
    assert pair.alignment is not None
    first, second = pair.patterns
    return np.asarray(turned(second.single, pair.alignment.shift) - first.single)


def _teeth_changes(pair: _Pair, drawn: NullPairs) -> list[Change]:
    """Of one gear: how much the pitches changed, each with itself, beyond what measuring does."""
    if not pair.same_gear or pair.alignment is None:
        return []
    step = _paired(pair)
    if not np.isfinite(step).any():
        nothing = Value(None, None)
        return [Change(kind=TEETH, before=nothing, after=nothing, why="not measured in both")]
    place = np.roll(drawn[1], -pair.alignment.shift, axis=-2) - drawn[0]
    by_measuring = _rms(single_pitches(place))
    size = float(_rms(step))
    usual = float(np.quantile(by_measuring, 1 - LEVEL))
    p = (int((by_measuring >= size).sum()) + 1) / (len(by_measuring) + 1)
    u = float(np.sqrt(np.mean(by_measuring**2))) / 2
    zero, found = Value(0.0, 0.0), Value(size, u)
    kind = replace(TEETH, unit=pair.pitch_unit)
    return [
        Change(
            kind=kind,
            before=zero,
            after=found,
            difference=size,
            u_difference=u,
            by_chance=usual,
            p=p,
        )
    ]


def _rms(values: Floats) -> Floats:
    return np.asarray(np.sqrt(np.nanmean(values**2, axis=(-2, -1))))


def _changed_flanks(pair: _Pair) -> tuple[FlankChange, ...]:
    """Flanks whose pitch changed, Holm over all of them."""
    if not pair.same_gear or pair.alignment is None:
        return ()
    first, second = pair.patterns
    step = _paired(pair)
    u = np.hypot(first.u_single, turned(second.u_single, pair.alignment.shift))
    seen = np.argwhere(np.isfinite(step) & (u > 0))
    if not len(seen):
        return ()
    p = np.array([erfc(abs(step[k, s]) / u[k, s] / sqrt(2)) for k, s in seen])
    chance = holm(p, np.full(len(p), 1 / len(p)))
    return tuple(
        FlankChange(int(k) + 1, SIDES[s])
        for (k, s), c in zip(seen, chance, strict=True)
        if c <= LEVEL
    )


def _match(pair: _Pair) -> bool | None:
    """Whether the patterns are of one kind: None where noise could hide it."""
    if pair.alignment is None:
        return None
    for pattern in pair.patterns:
        noise = sqrt(2) * pattern.u_own
        if not np.isfinite(pattern.single).any() or np.nanstd(pattern.single) < 2 * noise:
            return None
    return pair.alignment.correlation > chance_correlation(len(pair.patterns[0].place))
