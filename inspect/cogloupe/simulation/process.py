"""How a gear is cut, as the `[process]` table of a scene says: cutter, passes, drive and faults.

Sizes are in the machine's own terms: motor steps, encoder pulses, minutes of arc of the work,
micrometres on the dial. The gaps are cut in the order of the tooth numbers, clockwise on the
picture, beginning with the gap after the first tooth; a moment is counted in turns of the work
since then, through all passes, because spindle and work stay in step between them.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cogloupe_calibration.file_model import FileModel

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class LostSteps(FileModel):
    """Motor steps lost (negative) or made too many (positive) at a moment, and not regained."""

    steps: int
    turn: NotNegative


class DriveError(FileModel):
    """Error of a worm, belt or dividing wheel that repeats `per_turn` times in a turn of the work.

    A count that is not whole (a belt, or a wheel further up the drive) comes back displaced at
    each turn of the work.
    """

    part: str = "worm"
    per_turn: Positive
    amplitude_arcmin: float
    phase_deg: float = 0.0


class Process(FileModel):
    """Hobbing with a rack-shaped hob, or cutting gap by gap with a form cutter.

    Attributes
    ----------
    kind : {'hob', 'form-cutter'}
        Process.
    depths_mm : tuple of float
        Depth of each pass from where the cutter touches the blank; empty for one pass at the
        drawn gear's whole depth.
    turns : float
        Turns of the work in each pass while the hob is near the photographed face. A form cutter
        goes round once in each pass.
    feed_mm : float
        Axial feed of the hob in each turn of the work; 0 for a hob that is only fed inwards.
    face_turn : float or None
        Turn of each pass at which the hob's axis passes the photographed face; None for half way.
    hob_starts, gashes : int
        Threads of the hob, and cutting edges round it (or round the form cutter).
    first_gash : float
        By what share of a gash's spacing the gashes miss standing symmetrically to the first gap.
    cutter_diameter_mm : float
        Outside diameter of the cutter.
    hob_length_mm : float or None
        Length of thread along the hob's axis; None for one long enough.
    cutter_teeth : int or None
        Tooth number a form cutter was shaped for; None for the gear's own.
    steps_per_turn : int or None
        Motor steps, as commanded, in a turn of the work; None for a drive without steps.
    encoder_pulses : int or None
        Pulses in a turn of the hob from which the steps are made; None for a drive geared exactly.
    eccentricity_um, eccentricity_direction_deg : float
        Where the work's axis of rotation lies from the bore's: blank off the arbor's centre, or
        arbor off the spindle's. The direction is a polar angle on the picture.
    blank_eccentricity_um, blank_eccentricity_direction_deg : float
        Where the axis of the blank's outside lies from the bore's.
    blank_oversize_um : float
        By how much the blank's diameter is too large. Depth is counted from touching the blank,
        so the teeth move outwards with it.
    depth_um : float
        By how much every pass is too deep (negative: too shallow).
    lost_steps : tuple of LostSteps
        Steps lost or made too many.
    ratio_error : float
        Work turns per commanded turn, less one: 0.001 turns the work 0.36 degrees too far.
    false_pulses, missing_pulses : float
        Mean number of each in a turn of the hob, at random moments.
    periodic : tuple of DriveError
        Periodic errors of the drive.
    jitter_arcmin : float
        Standard deviation of unsteady running (of each setting, for a form cutter).
    backlash_arcmin : float
        Play of the work in its drive.
    lag_steps : float
        Steps by which the motor's rotor hangs back in a full cut of the whole depth.
    runout_um : float
        Radial runout of the cutter, as a dial shows it: twice its eccentricity.
    wobble_um : float
        Axial movement of the cutting edges once in a turn of the cutter, from one end to the
        other: lead error of a hob, or a form cutter that is not square on its arbor.
    offset_mm : float
        How far the cutter's middle stands off the work's centre line, towards higher tooth
        numbers. A hob that is long enough does not show it.
    cutter_angle_error_deg : float
        Error of the hob's flank angle.
    """

    kind: Literal["hob", "form-cutter"] = "hob"
    depths_mm: tuple[Positive, ...] = ()
    turns: Annotated[float, Field(gt=0, le=200)] = 6.0
    feed_mm: NotNegative = 0.1
    face_turn: NotNegative | None = None
    hob_starts: Annotated[int, Field(ge=1, le=8)] = 1
    gashes: Annotated[int, Field(ge=1, le=400)] = 12
    first_gash: Annotated[float, Field(ge=0, lt=1)] = 0.0
    cutter_diameter_mm: Positive = 25.0
    hob_length_mm: Positive | None = None
    cutter_teeth: Annotated[int, Field(ge=5)] | None = None
    steps_per_turn: Annotated[int, Field(ge=1)] | None = None
    encoder_pulses: Annotated[int, Field(ge=1)] | None = None
    eccentricity_um: NotNegative = 0.0
    eccentricity_direction_deg: float = 0.0
    blank_eccentricity_um: NotNegative = 0.0
    blank_eccentricity_direction_deg: float = 0.0
    blank_oversize_um: float = 0.0
    depth_um: float = 0.0
    lost_steps: tuple[LostSteps, ...] = ()
    ratio_error: Annotated[float, Field(gt=-0.1, lt=0.1)] = 0.0
    false_pulses: NotNegative = 0.0
    missing_pulses: NotNegative = 0.0
    periodic: tuple[DriveError, ...] = ()
    jitter_arcmin: NotNegative = 0.0
    backlash_arcmin: NotNegative = 0.0
    lag_steps: NotNegative = 0.0
    runout_um: NotNegative = 0.0
    wobble_um: NotNegative = 0.0
    offset_mm: float = 0.0
    cutter_angle_error_deg: float = 0.0

    @model_validator(mode="after")
    def _drive_is_whole(self) -> Self:
        if (self.lost_steps or self.lag_steps) and self.steps_per_turn is None:
            raise ValueError("lost_steps and lag_steps need steps_per_turn")
        if (self.false_pulses or self.missing_pulses) and self.encoder_pulses is None:
            raise ValueError("false_pulses and missing_pulses need encoder_pulses")
        if self.encoder_pulses is not None and self.steps_per_turn is None:
            raise ValueError("encoder_pulses needs steps_per_turn")
        return self

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        hob_only = ("hob_length_mm", "encoder_pulses", "cutter_angle_error_deg")
        stray = ("cutter_teeth",) if self.kind == "hob" else hob_only
        for name in stray:
            if getattr(self, name):
                raise ValueError(f"{name} does not go with a {self.kind}")
        return self
