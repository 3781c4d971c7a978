"""Sizes of causes in the machine's own units.

A function takes the best fit of a cause and the case, and gives its sizes, the leading one first.
Arcs are µm on the measuring circle.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import hypot, pi

import numpy as np

from cogloupe.causes.fault_patterns import STEP_SHARES
from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.pattern_parts import minutes
from cogloupe.causes.ranking import Fit
from cogloupe.planning.machine import Machine


@dataclass(frozen=True)
class Case:
    """A reading's figures, and the machine where it was told."""

    observed: Observed
    machine: Machine | None

    @property
    def teeth(self) -> int:
        """Number of teeth."""
        return self.observed.design.teeth

    @property
    def diameter_mm(self) -> float:
        """Measuring circle."""
        return 2e-3 * self.observed.design.radius_um


@dataclass(frozen=True)
class Size:
    """A size with its standard uncertainty (k = 1)."""

    value: float
    u: float
    unit: str


@dataclass(frozen=True)
class Period:
    """Something in the drive that comes round so many times in a turn of the work."""

    name: str
    per_turn: Fraction


def drive_periods(machine: Machine | None) -> tuple[Period, ...]:
    """What comes round how often in a turn of the work, by the machine's counts.

    Only the work spindle itself where no machine was told.
    """
    return (Period("the work spindle itself", Fraction(1)), *_told(machine))


def _told(machine: Machine | None) -> Iterator[Period]:
    if machine is None:
        return
    worm = machine.worm_turns_per_work_turn
    if machine.worm_wheel_teeth is not None:
        yield Period("the worm", worm)
    if machine.belt_turns_per_work_turn is not None:
        yield Period("the belt", machine.belt_turns_per_work_turn)
    if machine.drive_ratio[0] > machine.drive_ratio[1] > 1:
        teeth = "the belt's teeth on their pulleys" if machine.belt_teeth else "the drive's teeth"
        yield Period(teeth, machine.drive_ratio[0] * worm)
    if machine.motor_steps_per_revolution is not None:
        turns = machine.motor_turns_per_work_turn
        yield Period("the motor", turns)
        # The two phases of a stepping motor come round once in four full steps.
        cycles = turns * Fraction(machine.motor_steps_per_revolution, 4)
        yield Period("the motor's cycle of four full steps", cycles)
    for count in machine.dividing_wheel_counts:
        yield Period(f"the notches of the dividing wheel of {count}", Fraction(count))


def arc_sizes(arc_um: float, u_um: float, case: Case) -> list[Size]:
    """An arc as a person would turn it: steps, pulses, minutes of arc, µm.

    Minutes and µm; before them steps and behind them pulses, where the machine has them.
    """
    design, machine = case.observed.design, case.machine
    found = [
        Size(minutes(arc_um, design), minutes(u_um, design), "′"), Size(arc_um, u_um, "µm"),
    ]  # fmt: skip
    train = machine.dividing_train() if machine is not None else None
    if machine is None or train is None:
        return found
    step = train.step_arc_um(case.diameter_mm)
    found.insert(0, Size(arc_um / step, u_um / step, "motor steps"))
    if machine.encoder_pulses_per_revolution is not None:
        pulse = machine.hobbing_train().pulse_arc_um(case.teeth, case.diameter_mm)
        found.append(Size(arc_um / pulse, u_um / pulse, "encoder pulses"))
    return found


def arc_of_first(fit: Fit, case: Case) -> list[Size]:
    """The fit's first size as an arc without its sign."""
    return arc_sizes(abs(float(fit.size[0])), float(fit.u[0]), case)


def vector_size(fit: Fit, case: Case) -> list[Size]:
    """Length of a fitted vector, µm."""
    return [Size(*length_of(fit), "µm")]


def off_bore(fit: Fit, case: Case) -> list[Size]:
    """How far the teeth lie off the bore, µm; what lens and lean leave open of it is in its u."""
    value, u = length_of(fit)
    return [Size(value, max(u, case.observed.u_axis_um), "µm")]


def length_of(fit: Fit) -> tuple[float, float]:
    """Length of the vector of a fit's first two sizes, and its standard uncertainty."""
    length = hypot(*fit.size[:2])
    share = fit.size[:2] / max(length, 1e-12)
    return length, float(np.sqrt((share * fit.u[:2]) @ (share * fit.u[:2])))


def signed_um(fit: Fit, case: Case) -> list[Size]:
    """The fit's first size, µm."""
    return [Size(float(fit.size[0]), float(fit.u[0]), "µm")]


def on_diameter(fit: Fit, case: Case) -> list[Size]:
    """The fit's first size, of a radius, on the diameter."""
    return [Size(2 * float(fit.size[0]), 2 * float(fit.u[0]), "µm on diameter")]


def dial_swing(fit: Fit, case: Case) -> list[Size]:
    """What a dial would show: twice the fit's first size."""
    return [Size(2 * abs(float(fit.size[0])), 2 * float(fit.u[0]), "µm on the dial")]


def drift_sizes(fit: Fit, case: Case) -> list[Size]:
    """Closing error of a turn as arcs, and as a share of the turn."""
    arcs = arc_of_first(fit, case)
    around = 2 * pi * case.observed.design.radius_um
    share = Size(1e6 * abs(float(fit.size[0])) / around, 1e6 * float(fit.u[0]) / around, "ppm")
    return [*arcs, share]


def wave_sizes(fit: Fit, case: Case) -> list[Size]:
    """Amplitude of a wave as arcs."""
    return arc_sizes(*length_of(fit), case)


def scatter_sizes(fit: Fit, case: Case) -> list[Size]:
    """Standard deviation of a scatter as arcs."""
    return arc_sizes(fit.scatter, fit.u_scatter, case)


def widening_sizes(fit: Fit, case: Case) -> list[Size]:
    """How much wider the gaps are, as an arc; the scatter where they are no wider."""
    if not len(fit.size):
        return scatter_sizes(fit, case)
    return arc_of_first(fit, case)


def step_sizes(fit: Fit, case: Case) -> list[Size]:
    """The known size of a step."""
    machine = case.machine
    train = machine.dividing_train() if machine is not None else None
    if train is None:
        return []
    arc = train.step_arc_um(case.diameter_mm)
    if fit.family.name == "hobbed":
        share = STEP_SHARES[fit.member]
        return arc_sizes(share * arc, 0.1 * arc, case)[1:]
    return arc_sizes(arc, 0.0, case)[1:]


def share_cut_short(fit: Fit, case: Case) -> list[Size]:
    """Share of flanks of one side that are short."""
    return [Size(100 * abs(float(fit.size[0])), 100 * float(fit.u[0]), "% of one side's flanks")]


def no_size(fit: Fit, case: Case) -> list[Size]:
    """Nothing."""
    return []
