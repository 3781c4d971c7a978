"""The machine as its maker counts it: `machine.toml`.

Pulses, steps, teeth and holes; ratios stay exact fractions, because a decimal such as 3.333 never
closes a division.
"""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from cogloupe.inputs.toml_file import read_toml
from cogloupe.planning.indexing import DriveTrain, StepRule
from cogloupe.wording.wrong_fields import wrong_field
from cogloupe_calibration.errors import UseError

_MOST_IN_RATIO = 1_000_000
"""Turns or teeth in a ratio: beyond any gearing, and small enough that fractions stay quick."""
_RATIO_FORM = 'turns of the motor to one of what it drives, as 3, "72/24" or [72, 24]'
_STEP_RULES: dict[str, StepRule] = {
    "carries the remainder": "accumulator",
    "nearest step": "nearest",
    "rounded count": "fixed",
}
_CIRCLE_FORM = "a list of whole numbers from 2 to 1000"


def _teeth_pair(value: object) -> tuple[int, int]:
    """Driven and driving count of a ratio written as a whole number, a fraction or a pair."""
    if isinstance(value, str):
        parts: list[object] = [_whole(part) for part in value.split("/")]
    else:
        parts = list(value) if isinstance(value, list | tuple) else [value]
    driven, driver = [*parts, 1][:2] if len(parts) in (1, 2) else (None, None)
    if not (_in_range(driven) and _in_range(driver)):
        raise ValueError(f"{value!r} is not an exact ratio")
    return driven, driver  # type: ignore[return-value]  # both were found to be int just above


def _step_rule(value: object) -> object:
    """Rule by what it does; the short names of earlier files are taken as well."""
    return _STEP_RULES.get(value.strip().lower(), value) if isinstance(value, str) else value


def _whole(text: str) -> int | None:
    return int(text) if text.strip().isascii() and text.strip().isdigit() else None


def _in_range(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= _MOST_IN_RATIO


def _count(least: int, most: int, what: str) -> Any:
    """Field of a whole number; the description ends the sentence a wrong one is answered with."""
    says = f"{what}, a whole number from {least} to {most}"
    return Field(default=None, strict=True, ge=least, le=most, description=says)


def _rate(what: str) -> Any:
    says = f"{what}, a number above 0"
    return Field(default=None, gt=0, le=1e9, allow_inf_nan=False, strict=True, description=says)


Circle = Annotated[int, Field(strict=True, ge=2, le=1000)]
TeethPair = Annotated[tuple[int, int], BeforeValidator(_teeth_pair)]


class Machine(BaseModel):
    """What `machine.toml` says of a hobbing or dividing set-up.

    Counts only; what is left out is not there. The description of each field is also the end of
    the sentence with which a wrong value is answered.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Annotated[str, Field(max_length=80, description="what the machine is called, a text")] = (
        ""
    )
    encoder_pulses_per_revolution: int | None = _count(
        1, 1_000_000, "pulses the controller counts in one turn of the hob spindle"
    )
    hob_starts: int = Field(
        default=1, strict=True, ge=1, le=12,
        description="threads of the hob, a whole number from 1 to 12",
    )  # fmt: skip
    motor_steps_per_revolution: int | None = _count(
        3, 100_000, "full steps in one turn of the motor"
    )
    microsteps: int = Field(
        default=1, strict=True, ge=1, le=1024,
        description="driver's step setting, microsteps to a full step, a whole number from 1 "
        "to 1024",
    )  # fmt: skip
    drive_ratio: TeethPair = Field(default=(1, 1), description=_RATIO_FORM)
    belt_teeth: int | None = _count(5, 10_000, "teeth of the belt between the pulleys")
    worm_wheel_teeth: int | None = _count(2, 1000, "teeth of the worm wheel on the work spindle")
    worm_starts: int = Field(
        default=1, strict=True, ge=1, le=12,
        description="threads of the worm, a whole number from 1 to 12",
    )  # fmt: skip
    dividing_plate_holes: tuple[Circle, ...] = Field(
        default=(),
        description=f"holes in each circle of the worm's dividing plates, {_CIRCLE_FORM}",
    )
    dividing_wheel_counts: tuple[Circle, ...] = Field(
        default=(),
        description=f"teeth or notches of each dividing wheel on the work spindle, {_CIRCLE_FORM}",
    )
    step_rule: Annotated[StepRule, BeforeValidator(_step_rule)] = Field(
        default="accumulator",
        description='how the controller makes whole steps: "carries the remainder" (a step when it '
        'is fully due), "nearest step" (the same, half a step earlier) or "rounded count" (one '
        "rounded count, repeated)",
    )
    max_pulse_rate_hz: float | None = _rate("pulses a second the controller can count")
    max_step_rate_hz: float | None = _rate("steps a second the motor follows under load")

    @model_validator(mode="after")
    def _check_consistency(self) -> Self:
        if self.belt_teeth is not None and self.drive_ratio[1] == 1:
            raise ValueError(
                "belt_teeth is given, so drive_ratio must be the pulleys' teeth: write "
                "[driven, driving], such as [72, 24]"
            )
        if self.worm_wheel_teeth is None and (self.dividing_plate_holes or self.worm_starts > 1):
            raise ValueError(
                "a dividing plate or worm needs worm_wheel_teeth: count the worm wheel's teeth"
            )
        if self.worm_wheel_teeth is not None and self.worm_starts >= self.worm_wheel_teeth:
            raise ValueError(
                f"a worm of {self.worm_starts} starts cannot drive a wheel of "
                f"{self.worm_wheel_teeth} teeth: check worm_starts and worm_wheel_teeth"
            )
        if not self._divides:
            raise ValueError(
                "nothing here turns the work: give motor_steps_per_revolution, or "
                "worm_wheel_teeth with dividing_plate_holes, or dividing_wheel_counts"
            )
        return self

    @property
    def _divides(self) -> bool:
        by_hand = self.dividing_plate_holes or self.dividing_wheel_counts
        return self.motor_steps_per_revolution is not None or bool(by_hand)

    @property
    def worm_turns_per_work_turn(self) -> Fraction:
        """Turns of the worm to one of the work; 1 where there is no worm."""
        return Fraction(self.worm_wheel_teeth or 1, self.worm_starts)

    @property
    def motor_turns_per_work_turn(self) -> Fraction:
        """Turns of the motor to one of the work."""
        return Fraction(*self.drive_ratio) * self.worm_turns_per_work_turn

    @property
    def belt_turns_per_work_turn(self) -> Fraction | None:
        """Rounds of the belt to one turn of the work; None where no belt was stated."""
        if self.belt_teeth is None:
            return None
        return Fraction(self.drive_ratio[0], self.belt_teeth) * self.worm_turns_per_work_turn

    @property
    def steps_per_work_turn(self) -> Fraction | None:
        """Motor steps, with microsteps, to one turn of the work; None without a motor."""
        if self.motor_steps_per_revolution is None:
            return None
        return self.motor_steps_per_revolution * self.microsteps * self.motor_turns_per_work_turn

    def hobbing_train(self) -> DriveTrain:
        """Counts of the set-up while a hob cuts.

        Raises
        ------
        UseError
            Where encoder or motor are not stated.
        """
        if self.encoder_pulses_per_revolution is None or self.steps_per_work_turn is None:
            raise UseError(
                "hobbing needs encoder_pulses_per_revolution and motor_steps_per_revolution in the "
                "machine file: add what is missing, or plan for a form cutter"
            )
        return DriveTrain(
            self.steps_per_work_turn, self.encoder_pulses_per_revolution, self.hob_starts
        )

    def dividing_train(self) -> DriveTrain | None:
        """Counts of the set-up while the motor divides tooth by tooth.

        None where no motor is stated.
        """
        steps = self.steps_per_work_turn
        return None if steps is None else DriveTrain(steps)


def load_machine(path: Path) -> Machine:
    """Read a machine file.

    Raises
    ------
    UseError
        One line: what is wrong in the file, what was seen, what to write.
    """
    return make_machine(read_toml(path), str(path))


def make_machine(given: Mapping[str, object], where: str = "") -> Machine:
    """Check what was said of a machine, in the file that a message would name.

    Raises
    ------
    UseError
        One line in the machine's terms.
    """
    try:
        return Machine.model_validate(given)
    except ValidationError as error:
        raise UseError(wrong_field(error, Machine, where)) from error
