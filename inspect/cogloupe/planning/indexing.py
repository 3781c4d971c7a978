"""How a set-up divides a gear: pulses to a step, steps to a tooth, in exact fractions.

A hobbing controller counts pulses of an encoder on the hob spindle and steps a motor that turns
the work; a dividing set-up steps the motor from tooth to tooth. Ratios are `fractions.Fraction`,
so "does it close" has an answer and not a tolerance. All arithmetic is counting; common practice,
no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import floor, inf, pi
from typing import Literal

import numpy as np

from cogloupe_calibration.arrays import Floats

StepRule = Literal["accumulator", "nearest", "fixed"]
STEP_RULES: tuple[StepRule, ...] = ("accumulator", "nearest", "fixed")

_HALF = Fraction(1, 2)
"""Exact, as all counts of the drive are."""


@dataclass(frozen=True)
class DriveTrain:
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

    def pulses_per_turn(self, teeth: int) -> Fraction:
        """Encoder pulses to one turn of a work of so many teeth; ValueError without an encoder."""
        if self.pulses_per_hob_turn is None:
            raise ValueError("a set-up without an encoder has no pulses")
        return Fraction(self.pulses_per_hob_turn * teeth, self.hob_starts)

    def step_arc_um(self, diameter_mm: float) -> float:
        """Arc, µm, that one motor step turns a circle of the work by."""
        return 1000 * pi * diameter_mm / float(self.steps_per_turn)

    def pulse_arc_um(self, teeth: int, diameter_mm: float) -> float:
        """Arc, µm, that one encoder pulse turns a circle by: what a missed one leaves."""
        return 1000 * pi * diameter_mm / float(self.pulses_per_turn(teeth))


@dataclass(frozen=True)
class Spacing:
    """Where whole steps put the teeth.

    Attributes
    ----------
    cumulative_um : ndarray, shape (z,)
        Error of place of each tooth on the reference circle, µm, 0 at tooth 1; positive: the
        work has turned too far.
    single_um : ndarray, shape (z,)
        Error of the pitch before each tooth, µm; tooth 1 closes the turn, so they sum to 0.
    """

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


@dataclass(frozen=True)
class Division:
    """A drive train dividing a gear.

    Attributes
    ----------
    rule : {'accumulator', 'nearest', 'fixed'}
        How the controller makes whole steps: 'accumulator' steps when a step is fully due
        (Bresenham), 'nearest' when it is nearest to its place, and both carry the remainder;
        'fixed' rounds once and repeats.
    """

    train: DriveTrain
    teeth: int
    rule: StepRule = "accumulator"

    @property
    def hobbed(self) -> bool:
        """True where pulses of a hob spindle are counted."""
        return self.train.pulses_per_hob_turn is not None

    @property
    def steps_per_tooth(self) -> Fraction:
        """Motor steps from one tooth to the next, whole or not."""
        return self.train.steps_per_turn / self.teeth

    @property
    def pulses_per_step(self) -> Fraction:
        """Pulses to each step, ``P z / (z0 S)`` for P pulses a hob turn, z0 starts, S steps."""
        return self.train.pulses_per_turn(self.teeth) / self.train.steps_per_turn

    @cached_property
    def kept(self) -> Fraction:
        """Pulses to a step (hob) or steps to a tooth (form cutter) that the controller keeps.

        The exact ratio, or for 'fixed' the rounded one: whole pulses to a step, whole steps to a
        pulse where more than one falls due, whole steps to a tooth.
        """
        exact = self.pulses_per_step if self.hobbed else self.steps_per_tooth
        if self.rule != "fixed":
            return exact
        if self.hobbed and exact < 1:
            return Fraction(1, nearest_whole(1 / exact))
        return Fraction(nearest_whole(exact))

    @property
    def drift_steps(self) -> Fraction:
        """Steps too many (below zero: too few) in each turn of the work, over many turns."""
        if not self.hobbed:
            return self.kept * self.teeth - self.train.steps_per_turn
        return self.train.pulses_per_turn(self.teeth) / self.kept - self.train.steps_per_turn

    @property
    def closes(self) -> bool:
        """No error is carried from one turn of the work to the next."""
        return self.drift_steps == 0

    @property
    def teeth_cut(self) -> Fraction:
        """Number of teeth that the kept ratio would really close at."""
        made = self.train.steps_per_turn + self.drift_steps
        return self.train.steps_per_turn / made * self.teeth if made else Fraction(0)

    @property
    def repeats(self) -> bool:
        """Whether each turn of the work meets the teeth at the same steps.

        Where steps or pulses to a turn are no whole number, later turns cut up to a step beside
        the first.
        """
        whole = self.train.steps_per_turn.denominator == 1
        return whole and (
            not self.hobbed or self.train.pulses_per_turn(self.teeth).denominator == 1
        )

    @cached_property
    def steps_made(self) -> tuple[int, ...]:
        """Whole steps made when each tooth of the first turn comes to the cutter, length z + 1.

        From 0 at tooth 1 on; the last is tooth 1 again, one turn later.
        """
        teeth = range(self.teeth + 1)
        if not self.hobbed:
            return tuple(floor(k * self.kept + self._early) for k in teeth)
        # The controller sees only whole pulses, and k teeth pass in k / z0 turns of the hob.
        pulses = self.train.pulses_per_hob_turn or 0
        seen = (k * pulses // self.train.hob_starts for k in teeth)
        return tuple(floor(each / self.kept + self._early) for each in seen)

    @property
    def _early(self) -> Fraction:
        """Share of a step by which steps are made before they are fully due."""
        return _HALF if self.rule == "nearest" else Fraction(0)

    @property
    def largest_single_steps(self) -> Fraction:
        """Largest error of one pitch, steps.

        Tooth 1 closes the turn: its pitch runs from the last tooth's place to a full turn.
        """
        places = [*map(Fraction, self.steps_made[:-1]), self.train.steps_per_turn]
        return max(abs(after - before - self.steps_per_tooth) for before, after in pairwise(places))

    @property
    def exact(self) -> bool:
        """Every tooth gets the same whole number of steps, turn after turn."""
        return self.largest_single_steps == 0 and self.closes and self.repeats

    @property
    def pulse_pattern(self) -> tuple[int, ...]:
        """Whole pulses between one step and the next, over one repeat of the pattern.

        As many as the kept ratio's denominator ('fixed': one). 0 means that a step falls due in
        the same pulse as the one before.
        """
        # Step k is made at the first whole pulse p with p / ratio + early >= k.
        ratio = self.kept
        due = [-floor(-(k - self._early) * ratio) for k in range(ratio.denominator + 1)]
        return tuple(int(b - a) for a, b in pairwise(due))

    def spacing(self, diameter_mm: float) -> Spacing:
        """Tooth spacing error that whole steps leave on the circle of a diameter, mm.

        Notes
        -----
        The place of a tooth is taken at the pulse at which its middle meets the cutter; the rotor
        of a turning motor evens steps out, so a gear can come out better. Where the remainder is
        carried and whole pulses come to a tooth, the largest single error is the same wherever
        the count starts: every pitch gets one or the other of two whole numbers of steps. With a
        hob, the teeth cut in one turn of the work are meant.
        """
        due = self.steps_per_tooth
        off = np.array([float(made - k * due) for k, made in enumerate(self.steps_made[:-1])])
        cumulative = off * self.train.step_arc_um(diameter_mm)
        return Spacing(cumulative, cumulative - np.roll(cumulative, 1))

    def rates(self, spindle_rpm: float) -> Rates:
        """Pulse and step rates at a hob spindle speed.

        Raises
        ------
        ValueError
            Where the set-up has no encoder.
        """
        pulses = self.train.pulses_per_turn(1) * self.train.hob_starts
        pulse_hz = float(pulses) * spindle_rpm / 60
        step_hz = pulse_hz / float(self.kept)
        shortest = min(self.pulse_pattern)
        return Rates(
            spindle_rpm=spindle_rpm,
            work_rpm=60 * step_hz / float(self.train.steps_per_turn),
            pulse_hz=pulse_hz,
            step_hz=step_hz,
            peak_step_hz=pulse_hz / shortest if shortest else inf,
        )


def nearest_whole(value: Fraction) -> int:
    """Whole number nearest to a fraction, halves going up."""
    return floor(value + _HALF)


def undivided(train: DriveTrain, counts: Iterable[int], rule: StepRule) -> tuple[Division, ...]:
    """Tooth counts that a set-up cannot divide exactly.

    Those that are not exact, in the order given.
    """
    divisions = (Division(train, teeth, rule) for teeth in counts)
    return tuple(each for each in divisions if not each.exact)
