"""How a set-up divides a gear: pulses to a step, steps to a tooth, in exact fractions.

A hobbing controller counts pulses of an encoder on the hob spindle and steps a motor that turns
the work; a dividing set-up steps the motor from tooth to tooth. Ratios are `fractions.Fraction`,
so "does it close" has an answer and not a tolerance. All arithmetic is counting; common practice,
no source.
"""

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import floor, pi
from typing import Literal

import numpy as np

from cogloupe_calibration.arrays import Floats

StepRule = Literal["accumulator", "nearest", "fixed"]
STEP_RULES: tuple[StepRule, ...] = ("accumulator", "nearest", "fixed")

_HALF = Fraction(1, 2)


@dataclass(frozen=True)
class Train:
    """What turns the work, as counts.

    Attributes
    ----------
    steps_per_turn : Fraction
        Motor steps (with microsteps) to one turn of the work.
    pulses_per_hob_turn : int or None
        Encoder pulses to one turn of the hob spindle; None for a set-up that steps from tooth
        to tooth with the cutter's turning left out (form cutter).
    hob_starts : int
        Threads of the hob: teeth that pass in one turn of it.
    """

    steps_per_turn: Fraction
    pulses_per_hob_turn: int | None = None
    hob_starts: int = 1


@dataclass(frozen=True)
class Spacing:
    """Where whole steps put the teeth.

    Attributes
    ----------
    steps_made : tuple of int, length z
        Whole steps made when each tooth comes to the cutter, counted from tooth 1.
    cumulative_um : ndarray, shape (z,)
        Error of place of each tooth on the reference circle, µm, 0 at tooth 1; positive: the
        work has turned too far.
    single_um : ndarray, shape (z,)
        Error of the pitch before each tooth, µm; tooth 1 closes the turn, so they sum to 0.
    """

    steps_made: tuple[int, ...]
    cumulative_um: Floats
    single_um: Floats

    @property
    def largest_single_um(self) -> float:
        """Largest single pitch error, whichever its sign, µm."""
        return float(np.abs(self.single_um).max())

    @property
    def total_um(self) -> float:
        """Total cumulative pitch error (highest less lowest), µm."""
        return float(np.ptp(self.cumulative_um))


@dataclass(frozen=True)
class Rates:
    """How fast pulses and steps come.

    Attributes
    ----------
    spindle_rpm, work_rpm : float
        Turns a minute.
    pulse_hz : float
        Encoder pulses a second.
    step_hz : float
        Motor steps a second, on average.
    peak_step_hz : float
        Steps a second over the shortest interval between two steps, where steps wait for whole
        pulses; infinite where one pulse asks for more than one step.
    """

    spindle_rpm: float
    work_rpm: float
    pulse_hz: float
    step_hz: float
    peak_step_hz: float


def steps_per_tooth(train: Train, teeth: int) -> Fraction:
    """Motor steps from one tooth to the next.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.

    Returns
    -------
    Fraction
    """
    return train.steps_per_turn / teeth


def pulses_per_step(train: Train, teeth: int) -> Fraction:
    """Encoder pulses to each motor step, while a hob cuts a number of teeth.

    Parameters
    ----------
    train : Train
        The set-up, with an encoder.
    teeth : int
        Number of teeth, z.

    Returns
    -------
    Fraction
        ``P z / (z0 S)`` for P pulses a hob turn, z0 starts and S steps to a turn of the work.

    Raises
    ------
    ValueError
        Where the set-up has no encoder.
    """
    return _pulses_per_turn(train, teeth) / train.steps_per_turn


def _pulses_per_turn(train: Train, teeth: int) -> Fraction:
    """Pulses to one turn of the work."""
    if train.pulses_per_hob_turn is None:
        raise ValueError("a set-up without an encoder has no pulses")
    return Fraction(train.pulses_per_hob_turn * teeth, train.hob_starts)


def nearest_whole(value: Fraction) -> int:
    """Whole number nearest to a fraction, halves going up.

    Parameters
    ----------
    value : Fraction

    Returns
    -------
    int
    """
    return floor(value + _HALF)


def cut_ratio(train: Train, teeth: int, rule: StepRule) -> Fraction:
    """Pulses to a step (hob) or steps to a tooth (form cutter) that the controller really keeps.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.
    rule : {'accumulator', 'nearest', 'fixed'}
        'accumulator' steps when a step is fully due (Bresenham), 'nearest' when it is nearest
        to its place, and both carry the remainder; 'fixed' rounds once and repeats.

    Returns
    -------
    Fraction
        The exact ratio, or for 'fixed' the rounded one: whole pulses to a step, whole steps to a
        pulse where more than one falls due, whole steps to a tooth.
    """
    if train.pulses_per_hob_turn is None:
        exact = steps_per_tooth(train, teeth)
        return exact if rule != "fixed" else Fraction(nearest_whole(exact))
    exact = pulses_per_step(train, teeth)
    if rule != "fixed":
        return exact
    return Fraction(nearest_whole(exact)) if exact >= 1 else Fraction(1, nearest_whole(1 / exact))


def drift_steps(train: Train, teeth: int, rule: StepRule) -> Fraction:
    """Steps too many in each turn of the work, on average over many turns.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.

    Returns
    -------
    Fraction
        0 where the division closes; below zero: too few steps.
    """
    kept = cut_ratio(train, teeth, rule)
    if train.pulses_per_hob_turn is None:
        return kept * teeth - train.steps_per_turn
    return _pulses_per_turn(train, teeth) / kept - train.steps_per_turn


def teeth_cut(train: Train, teeth: int, rule: StepRule) -> Fraction:
    """Number of teeth the kept ratio would really close at.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth asked for.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.

    Returns
    -------
    Fraction
        Equal to `teeth` where the division closes.
    """
    made = train.steps_per_turn + drift_steps(train, teeth, rule)
    return train.steps_per_turn / made * teeth if made else Fraction(0)


def repeats(train: Train, teeth: int) -> bool:
    """Tell whether each turn of the work meets the teeth at the same steps.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.

    Returns
    -------
    bool
        False where steps or pulses to a turn are no whole number: later turns of the work then
        cut up to a step beside the first.
    """
    whole = train.steps_per_turn.denominator == 1
    if train.pulses_per_hob_turn is None:
        return whole
    return whole and _pulses_per_turn(train, teeth).denominator == 1


def steps_at_teeth(train: Train, teeth: int, rule: StepRule) -> tuple[int, ...]:
    """Whole steps made when each tooth of the first turn comes to the cutter.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.

    Returns
    -------
    tuple of int, length z + 1
        From 0 at tooth 1 on; the last is tooth 1 again, one turn later.
    """
    kept = cut_ratio(train, teeth, rule)
    early = _HALF if rule == "nearest" else Fraction(0)
    if train.pulses_per_hob_turn is None:
        return tuple(floor(k * kept + early) for k in range(teeth + 1))
    # The controller sees only whole pulses, and k teeth pass in k / z0 turns of the hob.
    seen = (k * train.pulses_per_hob_turn // train.hob_starts for k in range(teeth + 1))
    return tuple(floor(pulses / kept + early) for pulses in seen)


def spacing(train: Train, teeth: int, rule: StepRule, reference_diameter_mm: float) -> Spacing:
    """Tooth spacing error that whole steps leave.

    Parameters
    ----------
    train : Train
        The set-up.
    teeth : int
        Number of teeth, z.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.
    reference_diameter_mm : float
        Diameter of the pitch circle, mm.

    Returns
    -------
    Spacing

    Notes
    -----
    The place of a tooth is taken at the pulse at which its middle meets the cutter; the rotor of
    a turning motor evens steps out, so a gear can come out better. Where the remainder is carried
    and whole pulses come to a tooth, the largest single error is the same wherever the count
    starts: every pitch gets one or the other of two whole numbers of steps. With a
    hob, the teeth cut in one turn of the work are meant.
    """
    made = steps_at_teeth(train, teeth, rule)[:-1]
    due = steps_per_tooth(train, teeth)
    off = np.array([float(count - k * due) for k, count in enumerate(made)])
    cumulative = off * step_arc_um(train, reference_diameter_mm)
    return Spacing(made, cumulative, cumulative - np.roll(cumulative, 1))


def step_arc_um(train: Train, reference_diameter_mm: float) -> float:
    """Arc that one motor step turns the pitch circle by.

    Parameters
    ----------
    train : Train
        The set-up.
    reference_diameter_mm : float
        Diameter of the pitch circle, mm.

    Returns
    -------
    float
        Arc, µm.
    """
    return 1000 * pi * reference_diameter_mm / float(train.steps_per_turn)


def pulse_arc_um(train: Train, teeth: int, reference_diameter_mm: float) -> float:
    """Arc that the pitch circle turns by in one encoder pulse.

    Parameters
    ----------
    train : Train
        The set-up, with an encoder.
    teeth : int
        Number of teeth.
    reference_diameter_mm : float
        Diameter of the pitch circle, mm.

    Returns
    -------
    float
        Arc, µm: what one missed or false pulse leaves.
    """
    return 1000 * pi * reference_diameter_mm / float(_pulses_per_turn(train, teeth))


def pulse_pattern(ratio: Fraction, rule: StepRule) -> tuple[int, ...]:
    """Whole pulses between one step and the next, over one repeat of the pattern.

    Parameters
    ----------
    ratio : Fraction
        Pulses to a step, as kept by the controller (`cut_ratio`).
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds; 'fixed' gives one interval.

    Returns
    -------
    tuple of int
        As many as the ratio's denominator. 0 means that a step falls due in the same pulse as
        the one before.
    """
    early = _HALF if rule == "nearest" else Fraction(0)
    # Step k is made at the first whole pulse p with p / ratio + early >= k.
    due = [-floor(-(k - early) * ratio) for k in range(ratio.denominator + 1)]
    return tuple(int(b - a) for a, b in pairwise(due))


def rates(train: Train, teeth: int, rule: StepRule, spindle_rpm: float) -> Rates:
    """Pulse and step rates at a spindle speed.

    Parameters
    ----------
    train : Train
        The set-up, with an encoder.
    teeth : int
        Number of teeth.
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller rounds.
    spindle_rpm : float
        Hob spindle speed, turns a minute.

    Returns
    -------
    Rates
    """
    kept = cut_ratio(train, teeth, rule)
    if train.pulses_per_hob_turn is None:
        raise ValueError("a set-up without an encoder has no pulses")
    pulse_hz = train.pulses_per_hob_turn * spindle_rpm / 60
    step_hz = pulse_hz / float(kept)
    shortest = min(pulse_pattern(kept, rule))
    peak = pulse_hz / shortest if shortest else float("inf")
    work_rpm = 60 * step_hz / float(train.steps_per_turn)
    return Rates(spindle_rpm, work_rpm, pulse_hz, step_hz, peak)
