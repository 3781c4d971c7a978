"""The shapes that faults of the machine leave on the teeth, as families for ranking.

Each function gives what one kind of fault does to the vector of `observed_pattern.Observed`, by the
geometry of cutting: a fault that moves the work while a gap is cut moves both flanks of that gap;
one that cuts the gap again beside its place moves one flank and makes the gap wider. What is alike
in all gaps is in `cutter_patterns`.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import pi

import numpy as np

from cogloupe.causes.model import Family, Scatter, plain
from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.pattern_layout import SHARED, Design, eccentric_shapes
from cogloupe.causes.pattern_parts import (
    common_to_all,
    gap_shift,
    gap_widening,
    widened,
    with_shared,
)
from cogloupe.planning.indexing import Division
from cogloupe.planning.machine import Machine
from cogloupe_calibration.arrays import Bools, Floats, Ints

STEP_SHARES = (0.5, 0.58, 0.66, 0.74)
"""Widening of hobbed gaps by whole motor steps, as shares of one step (from simulated gears)."""
FLOOR_SHARES = (1.0, 0.75, 0.6, 0.45)
"""How much of a widening reaches the floor (from simulated gears): all of it with a form cutter,
less with a hob, the less the more quickly the work moves."""
MOST_EDGES = 120
"""Gaps at which a step may begin or end are tried up to so many; of more, those with the largest
change of place over five gaps."""
FEWEST_MOVED = 2
"""Gaps that must have moved together to be called a step and not one gap set wrong."""


def nothing(scatter: tuple[Scatter, ...] = ("none",), weight: float = 1.0) -> Family:
    """No shape but scatter."""
    none = np.zeros((1, 0), np.int64)
    return Family(basis=np.zeros((0, 0)), plus=none, minus=none, scatter=scatter, weight=weight)


def off_bore(observed: Observed) -> list[Family]:
    """Teeth about another axis than the bore's, the tips with them or about the bore.

    Empty where the bore is not the datum: then it cannot be seen.
    """
    if not observed.bore:
        return []
    along = eccentric_shapes(observed.design, observed.angle)
    alone = along.copy()
    alone[:, -2:] = 0.0
    return [
        plain(alone, 2, name="tips about the bore"), plain(along, 2, name="tips with the teeth"),
    ]  # fmt: skip


def off_tips(observed: Observed) -> list[Family]:
    """Tips about another axis than the datum."""
    flanks = np.zeros((2, 2 * observed.design.teeth))
    return [plain(with_shared(flanks, tip_x=np.array([1, 0]), tip_y=np.array([0, 1])), 2)]


def steps(observed: Observed) -> list[Family]:
    """Gaps from one on stand displaced, up to where the cutting began.

    Sharp (gap by gap) or over a few gaps (hob); both flanks, or one flank where the gaps had been
    cut in their right place before.
    """
    z = observed.design.teeth
    tried = _likely_edges(observed)
    found = []
    for name, each in (("sharp", np.eye(z)), ("spread", _spread(np.eye(z)))):
        whole = np.concatenate([np.zeros((1, z)), np.cumsum(np.tile(each, (2, 1)), axis=0)[:-1]])
        wide = _wider(observed.design, 1.0)
        both = np.concatenate([with_shared(gap_shift(whole)), wide])
        found += _between(both, _pairs(z, tried, wrapped=False), f"{name} both", (False,))
        share, still = whole.sum(axis=1) / z, np.zeros_like(whole)
        sides = {"left": gap_widening(whole, still), "right": gap_widening(still, -whole)}
        for side, flanks in sides.items():
            basis = np.concatenate([_behind(observed.design, flanks, share), wide])
            found += _between(basis, _pairs(z, tried, wrapped=True), f"{name} {side}", (True,))
    return found


def _likely_edges(observed: Observed) -> Bools:
    """Gaps at which a step is tried: all, or of very many the likeliest."""
    z = observed.design.teeth
    if z <= MOST_EDGES:
        return np.ones(z, bool)
    flanks = np.nan_to_num(observed.value[: 2 * z].reshape(-1, 2))
    gap = np.roll(flanks[:, 0], -1) + flanks[:, 1]
    five = sum(np.roll(gap, -k) for k in range(5))
    jump = np.abs(five - np.roll(five, 5))
    return np.asarray(jump >= np.sort(jump)[-MOST_EDGES])


def _spread(each: Floats) -> Floats:
    """A change over three gaps in place of one."""
    return np.asarray((np.roll(each, 1, axis=1) + 2 * each + np.roll(each, -1, axis=1)) / 4)


def _pairs(teeth: int, tried: Bools, wrapped: bool) -> tuple[Ints, Ints, int]:
    """First gap that has moved, first after it that has not, and how many there are untried too."""
    start, length = np.meshgrid(np.arange(teeth), np.arange(FEWEST_MOVED, teeth - 1), indexing="ij")
    end = start + length
    keep = np.full(start.shape, wrapped) | (end < teeth)
    chosen = keep & tried[start] & tried[end % teeth]
    return start[chosen], end[chosen], int(keep.sum())


def _wider(design: Design, size: float, floor_share: float = FLOOR_SHARES[1]) -> Floats:
    """All gaps wider by a size, µm."""
    return size * common_to_all(design, **widened(design, floor_share))


def _behind(design: Design, flanks: Floats, share: Floats) -> Floats:
    """Flank places with the mean widening that goes with them."""
    wide = widened(design, FLOOR_SHARES[1])
    return with_shared(flanks, **{name: change * share for name, change in wide.items()})


def _between(
    basis: Floats, pairs: tuple[Ints, Ints, int], name: str, positive: tuple[bool, ...]
) -> list[Family]:
    """Families of differences of running sums, alone and with a common widening.

    The widening is the last row of the basis.
    """
    start, end, count = pairs
    used, places = np.unique(np.concatenate([start, end]), return_inverse=True)
    basis = basis[[*used, len(basis) - 1]]
    minus, plus = places.reshape(2, -1, 1)
    last = np.full_like(plus, len(basis) - 1)
    alone = Family(
        basis=basis,
        plus=plus,
        minus=minus,
        positive=positive,
        name=name,
        stands_for=count,
        marks=used,
    )
    wider = replace(
        alone, plus=np.hstack([plus, last]), minus=np.hstack([minus, np.full_like(minus, -1)]),
        positive=(*positive, True), companions=1,
    )  # fmt: skip
    return [alone, wider]


def one_gap(observed: Observed) -> list[Family]:
    """One gap out of place."""
    return [plain(with_shared(gap_shift(np.eye(observed.design.teeth))))]


def one_flank(observed: Observed) -> list[Family]:
    """One flank out of place."""
    return [plain(with_shared(np.eye(2 * observed.design.teeth)))]


def drift(observed: Observed) -> list[Family]:
    """Every pitch off by the same, and one that closes the turn.

    The size is the closing error, µm; over several turns of the work gaps get wider too.
    """
    z = observed.design.teeth
    sharp = (np.arange(z) - np.arange(z)[:, None]) % z / z
    wider = _wider(observed.design, 1.0)
    first = np.arange(z)[:, None]
    none, wide = np.full_like(first, -1), np.full_like(first, z)
    found = [plain(with_shared(gap_shift(sharp)), name="one turn")]
    for ramp in (sharp, _spread(sharp)):
        found.append(
            Family(
                basis=np.concatenate([with_shared(gap_shift(ramp)), wider]),
                plus=np.hstack([first, wide]),
                minus=np.hstack([none, none]),
                positive=(False, True),
                companions=1,
                name="several turns",
                weight=0.5,
            )
        )
    return found


def waves(observed: Observed, periods: Sequence[Fraction]) -> list[Family]:
    """The work ahead and behind in turn, so many times in a turn.

    Every whole number up to half the teeth, those to which a part of the machine leads once more by
    themselves, and parts that do not come round a whole number of times. Member n - 1 is n times a
    turn.

    Parameters
    ----------
    periods : sequence of Fraction
        Times in a turn of the work that parts of the machine come round; may be empty.
    """
    z = observed.design.teeth
    turns = np.arange(1, z // 2 + 1)
    found = []
    for name, basis in (("gap by gap", _by_gap(z, turns)), ("hobbed", _by_flank(z, turns))):
        every = plain(basis, 2, name=name)
        known = sorted({alias(p, z) for p in periods if p.denominator == 1} - {0})
        found.append(every)
        if known:
            rows = np.array(known) - 1
            found.append(
                Family(basis=basis, plus=every.plus[rows], minus=every.minus[rows], name=name)
            )
    # A part that does not come round whole leaves a jump where the cutting began.
    for period in sorted({p for p in periods if p.denominator > 1 and p < z / 2}):
        found.append(plain(_open_wave(z, float(period)), 2, name=f"open {period}", weight=0.5))
    return found


def _by_gap(teeth: int, turns: Ints) -> Floats:
    turn = 2 * pi * turns[:, None] * (np.arange(teeth) + 0.5) / teeth
    return with_shared(gap_shift(_phases(turn)))


def _by_flank(teeth: int, turns: Ints) -> Floats:
    """A hob passes the pitch point of a gap's two flanks half a pitch of the rack apart."""
    at = np.stack([np.arange(teeth) - 0.25, np.arange(teeth) + 0.25], axis=1).ravel()
    return with_shared(_phases(2 * pi * turns[:, None] * at / teeth))


def _open_wave(teeth: int, per_turn: float) -> Floats:
    since = (np.arange(teeth) - np.arange(teeth)[:, None]) % teeth
    return with_shared(gap_shift(_phases(2 * pi * per_turn * since / teeth)))


def _phases(turn: Floats) -> Floats:
    """Cosine and sine of every row, one below the other."""
    return np.stack([np.cos(turn), np.sin(turn)], axis=1).reshape(-1, turn.shape[1])


def alias(per_turn: Fraction | int, teeth: int) -> int:
    """Times in a turn that a period looks like, seen once a tooth.

    From 0 (all teeth alike) to half the teeth.

    Parameters
    ----------
    per_turn : Fraction or int
        A whole number of times in a turn of the work.
    """
    rest = int(per_turn) % teeth
    return min(rest, teeth - rest)


def whole_steps(observed: Observed, machine: Machine | None) -> list[Family]:
    """What the motor's whole steps leave, its size known.

    Empty without a motor. Gap by gap: each gap at a whole step. Hobbing: every gap wider by part of
    a step.
    """
    train = machine.dividing_train() if machine is not None else None
    if machine is None or train is None:
        return []
    z, found = observed.design.teeth, []
    diameter = 2e-3 * observed.design.radius_um
    error = Division(train, z, machine.step_rule).spacing(diameter).cumulative_um
    if np.ptp(error) > 1e-9:
        turned = np.stack([np.roll(error, k) for k in range(z)])
        both = with_shared(gap_shift(np.concatenate([turned, -turned[:, ::-1]])))
        found.append(plain(both, fixed=True, name="gap by gap"))
    if machine.encoder_pulses_per_revolution is not None:
        arc = train.step_arc_um(diameter)
        wide = [_wider(observed.design, arc * share) for share in STEP_SHARES]
        found.append(plain(np.concatenate(wide), fixed=True, name="hobbed"))
    return found


def evenly_widened(observed: Observed) -> list[Family]:
    """Every gap wider by the same, from tip to floor."""
    return [plain(_widenings(observed.design), positive=(True,))]


def _widenings(design: Design) -> Floats:
    """Gaps wider by 1 µm, with each of `FLOOR_SHARES`."""
    return np.concatenate([_wider(design, 1.0, share) for share in FLOOR_SHARES])


def scattered(observed: Observed, *kinds: Scatter) -> list[Family]:
    """Flanks out of place at random, gaps wider with them.

    Parameters
    ----------
    kinds : str
        Kinds of scatter.
    """
    wide = plain(_widenings(observed.design), scatter=kinds, positive=(True,), name="widened")
    return [wide, nothing(kinds, weight=0.5)]


def camera(observed: Observed) -> list[Family]:
    """The picture stretched, leaning or bent beyond what the reading allows for."""
    bent, stretch, lean = np.split(observed.camera, [1, 3])
    found = [plain(stretch, 2, name="stretch"), plain(lean, 2, name="lean")]
    # A gear in the middle of the frame is only scaled by radial distortion.
    if np.abs(bent[:, : -len(SHARED)]).max() > 1e-3:
        found.append(plain(bent, name="distortion"))
    return found
