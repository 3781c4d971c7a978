"""What on the machine leaves which error on the teeth: one row a cause.

A row names the shapes its cause can leave (`fault_patterns`), reads its size off the best of them
in the machine's own units (`machine_units`), words the pattern (`pattern_text`), and says what
would look alike, which cheap test tells them apart and what to mind. To add a cause, add its shape
and a row; `diagnosis` does the rest, and what it costs and how the report says it lie in `judging`.
What each test shows is common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cogloupe.causes import cutter_patterns, fault_patterns
from cogloupe.causes import machine_units as sizes
from cogloupe.causes import pattern_text as words
from cogloupe.causes.machine_units import Case, Size
from cogloupe.causes.model import Family
from cogloupe.causes.ranking import Fit
from cogloupe.wording.cautions import CautionCode

MACHINE: tuple[CautionCode, ...] = ("isolate", "cutter", "eyes")


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A row of the table.

    Attributes
    ----------
    code, name : str
        For files; for people.
    families : callable
        Shapes the cause can leave on this gear, cut on this machine; none where it cannot be told.
    sizes : callable
        Sizes of a fit in the machine's units, the leading one first.
    pattern : callable
        The pattern in words.
    alike : str
        What else would look alike.
    test : str
        The next cheap test that tells them apart.
    cautions : tuple of str
        Codes of `cautions`, for the hand that makes the test.
    prior : float
        How often the cause is met, against the others.
    """

    code: str
    name: str
    families: Callable[[Case], Sequence[Family]]
    sizes: Callable[[Fit, Case], list[Size]]
    pattern: Callable[[Fit, Case], str]
    alike: str
    test: str
    cautions: tuple[CautionCode, ...] = MACHINE
    prior: float = 1.0


def _periods(case: Case) -> list[Family]:
    return fault_patterns.waves(
        case.observed, [p.per_turn for p in sizes.drive_periods(case.machine)]
    )


def _pulses(case: Case) -> list[Family]:
    machine = case.machine
    if machine is not None and machine.encoder_pulses_per_revolution is None:
        return []
    return fault_patterns.scattered(case.observed, "wander")


def _starts(case: Case) -> int:
    return case.machine.hob_starts if case.machine is not None else 1


NONE = Cause(
    code="none", name="no cause: the gear is good within the uncertainty",
    families=lambda case: [fault_patterns.nothing()],
    sizes=sizes.no_size, pattern=words.say_nothing,
    alike="Any fault smaller than the uncertainty of this picture.",
    test="If finer figures are wanted: a sharper picture, a grid calibration, or the same gear "
    "turned on the stage and read again.",
    cautions=(), prior=15.0,
)  # fmt: skip
"""No cause, likelier beforehand than any single one: most gears that are read are good (our own
judgement)."""

CAUSES: tuple[Cause, ...] = (
    NONE,
    Cause(
        code="eccentric_work",
        name="teeth off the bore: blank off the arbor's centre, or arbor off the spindle's",
        families=lambda case: fault_patterns.off_bore(case.observed),
        sizes=sizes.off_bore,
        pattern=words.say_eccentric,
        alike="A bore that was opened off centre afterwards; a picture that leans, above all where "
        "the bore goes through a boss.",
        test="Put a dial on the arbor and turn the work by hand: it swings by twice the size if "
        "the arbor is off. If it stands still, the blank sits off on the arbor: turn it half a "
        "turn on the arbor and dial the bore again.",
    ),
    Cause(
        code="eccentric_blank",
        name="outside of the blank off centre",
        families=lambda case: fault_patterns.off_tips(case.observed),
        sizes=sizes.vector_size,
        pattern=words.say_tips_off,
        alike="Teeth off the bore, where the camera may lean: tips and teeth then show that they "
        "are apart, and not which of them is off the bore (a grid calibration tells); tips dressed "
        "on one side.",
        test="Put a dial on the tips and turn the gear on its bore; turn the next blank's outside "
        "on the arbor it will be cut on.",
    ),
    Cause(
        code="lost_steps",
        name="steps lost or made too many once, near the end of the cut",
        families=lambda case: fault_patterns.steps(case.observed),
        sizes=sizes.arc_of_first,
        pattern=words.say_step,
        alike="A dog or clamp that slipped once; a burst of false encoder pulses; a dividing head "
        "whose sector was set wrong from there on; play that was taken up the other way for a "
        "stretch of teeth.",
        test="Mark work spindle and motor pulley with a pen, run the same number of turns without "
        "cutting, and look whether the marks meet again. If they do, cut slower or with a "
        "lighter last pass; if not, mend grub screws, current, or step rate.",
        cautions=(*MACHINE, "current"),
    ),
    Cause(
        code="one_gap",
        name="one gap set wrong",
        families=lambda case: fault_patterns.one_gap(case.observed),
        sizes=sizes.arc_of_first,
        pattern=words.say_one_gap,
        alike="Swarf under the index pin; dirt on both flanks of the gap.",
        test="Brush the gap and photograph again; then count the plate's holes or the steps for "
        "that gap once more with the cutter away.",
        prior=0.5,
    ),
    Cause(
        code="one_flank",
        name="one flank dirty, burred or nicked",
        families=lambda case: fault_patterns.one_flank(case.observed),
        sizes=sizes.signed_um,
        pattern=words.say_one_flank,
        alike="A chip that lay on the flank while it was cut.",
        test="Look at the flank under the glass, brush the gear in spirit and photograph again.",
        cautions=(),
        prior=0.5,
    ),
    Cause(
        code="wrong_ratio",
        name="indexing does not close: the ratio is not what the teeth need",
        families=lambda case: fault_patterns.drift(case.observed),
        sizes=sizes.drift_sizes,
        pattern=words.say_drift,
        alike="A drive that slips steadily (belt, friction, grub screw); a ratio rounded in the "
        "program.",
        test="Command one whole turn of the work from a pen mark, ten times over: a wrong ratio is "
        "ten closing errors off every time, a slip is not the same twice. 'cogloupe plan' tells "
        "whether the division closes.",
    ),
    Cause(
        code="whole_steps",
        name="whole motor steps are too coarse for this gear",
        families=lambda case: fault_patterns.whole_steps(case.observed, case.machine),
        sizes=sizes.step_sizes,
        pattern=words.say_whole_steps,
        alike="Backlash of the same size; steps lost early in the cut.",
        test="Set the driver one microstep finer and cut the same gear: the error halves if this "
        "is it.",
        cautions=(*MACHINE, "current"),
    ),
    Cause(
        code="drive_wave",
        name="error of the drive that comes round",
        families=_periods,
        sizes=sizes.wave_sizes,
        pattern=words.say_wave,
        alike="Any part that comes round so many times, or one tooth count more or less; once a "
        "turn also a dividing plate or wheel off its centre; twice a turn also a camera that "
        "leans.",
        test="Put a dial on a long arm of the work spindle and turn the part by hand through one "
        "of its turns; or cut a gear with one tooth more: a wave that stays the same number of "
        "times comes from the work spindle's side, one that moves was an alias.",
    ),
    Cause(
        code="index_scatter",
        name="each gap is set a little off at random",
        families=lambda case: [
            fault_patterns.nothing(("gap", "mixed")),
            fault_patterns.nothing(("gap-wander",), 0.3),
        ],
        sizes=sizes.scatter_sizes,
        pattern=words.say_gap_scatter,
        alike="Play in the dividing head taken up now this way, now that; a work spindle that was "
        "not locked for each gap; whole steps of a motor that was not told.",
        test="Come to each gap from the same side, lock the spindle, and cut again; if the scatter "
        "stays, dial the spindle while the index pin is set ten times into one hole.",
    ),
    Cause(
        code="unsteady_drive",
        name="the work shakes or hangs in its play while it is hobbed, or passes fall "
        "beside each other",
        families=lambda case: fault_patterns.scattered(case.observed, "flank", "passes", "hobbed"),
        sizes=sizes.widening_sizes,
        pattern=words.say_flank_scatter,
        alike="Encoder noise that is gone again at once; a torn surface.",
        test="Stop, and rock the work by hand against a dial: the swing is the play. Take it up "
        "with a little drag on the work spindle and cut again.",
        cautions=(*MACHINE, "current"),
    ),
    Cause(
        code="pulse_noise",
        name="false or missing encoder pulses: the work wanders",
        families=_pulses,
        sizes=sizes.widening_sizes,
        pattern=words.say_flank_scatter,
        alike="A belt or coupling that creeps under load.",
        test="Turn the spindle by hand ten turns to a mark and read the count; then run it ten "
        "turns with the cutter away. A count that is off only while running is noise: pull-up "
        "resistors, a screened cable, another way for the motor's wires.",
        cautions=(*MACHINE, "mains"),
    ),
    Cause(
        code="wide_gaps",
        name="every gap was cut again beside its place",
        families=lambda case: fault_patterns.evenly_widened(case.observed),
        sizes=sizes.arc_of_first,
        pattern=words.say_widened,
        alike="Backlash while hobbing; steps lost early in the cut; a drive error that does not "
        "come round whole in a turn; a ratio off by little over many turns; whole motor steps; a "
        "form cutter that wobbles; teeth thinned on purpose for backlash.",
        test="Hob the next one in a single turn of the work at the last pass: if the teeth come "
        "out thicker, the turns do not fall on each other (mark spindle and pulley to see why); "
        "if not, dial the cutter's side for wobble.",
    ),
    Cause(
        code="depth",
        name="cut too deep or not deep enough",
        families=lambda case: cutter_patterns.depth(case.observed),
        sizes=sizes.signed_um,
        pattern=words.say_depth,
        alike="A hob or form cutter that runs out cuts deeper by half its runout; another basic "
        "rack than the one stated; deeper on purpose for backlash.",
        test="Dial the cutter's teeth (runout), then touch the blank again and read the dial of "
        "the infeed; measure over pins before the last pass.",
    ),
    Cause(
        code="blank_size",
        name="blank too large or too small, depth counted from its outside",
        families=lambda case: cutter_patterns.blank(case.observed),
        sizes=sizes.on_diameter,
        pattern=words.say_blank,
        alike="A wrong scale of the picture; a profile-shifted gear.",
        test="Measure the tips with a micrometer and compare with the picture's tip diameter: if "
        "they differ, it is the scale.",
        cautions=(),
    ),
    Cause(
        code="cutter_off_centre",
        name="form cutter off the work's centre line, or leaning",
        families=lambda case: cutter_patterns.beside_centre(case.observed),
        sizes=sizes.signed_um,
        pattern=words.say_lean,
        alike="A form cutter ground lopsided.",
        test="Touch a test rod in the spindle on both sides with the cutter's flank and halve the "
        "difference; or turn a cut gear over on the arbor and lower the cutter into a gap.",
    ),
    Cause(
        code="short_hob",
        name="hob off the centre line and too short on one side",
        families=lambda case: cutter_patterns.short_flank(case.observed),
        sizes=sizes.share_cut_short,
        pattern=words.say_short,
        alike="Burrs or dirt along one side of the gaps; light from one side.",
        test="Photograph the gear turned over: if the other side of the picture is short then, it "
        "is the gear. Shift the hob along its axis so that full teeth stand both sides of the "
        "centre.",
    ),
    Cause(
        code="other_profile",
        name="cutter of another flank angle, or a form cutter for other tooth numbers",
        families=lambda case: cutter_patterns.other_profile(case.observed),
        sizes=sizes.signed_um,
        pattern=words.say_profile,
        alike="A wrong scale of the picture; edges rounded by a soft focus or burrs.",
        test="Read the number on the cutter and compare with the tooth count; lay the cutter or a "
        "cut gap on the picture of the drawn one.",
    ),
    Cause(
        code="other_corner",
        name="another corner or rack than the one stated",
        families=lambda case: cutter_patterns.other_corner(case.observed),
        sizes=sizes.signed_um,
        pattern=words.say_corner,
        alike="A worn or a reground cutter; a hob that runs out; floors that a form cutter with a "
        "flat end left.",
        test="Look the cutter's rack up, or lay its tooth under the same lens; state it as rack "
        "in gear.toml. Flanks and running are no worse for it as long as the mate's tips clear the "
        "floor.",
        cautions=(),
    ),
    Cause(
        code="cutter_runs_out",
        name="hob runs out or moves along its axis",
        families=lambda case: cutter_patterns.running_out(case.observed, _starts(case)),
        sizes=sizes.dial_swing,
        pattern=words.say_running_out,
        alike="Depth wrong and another flank angle together; a hob sharpened with a lead error.",
        test="Dial the hob's hubs and its side: both should stand within a few micrometres.",
        prior=0.5,
    ),
    Cause(
        code="camera",
        name="the picture, not the gear",
        families=lambda case: fault_patterns.camera(case.observed),
        sizes=sizes.vector_size,
        pattern=words.say_camera,
        alike="A blank squeezed oval in a chuck.",
        test="Turn the gear a quarter turn on the stage and read it again: what stays on the "
        "picture is the camera's. Calibrate with a grid.",
        cautions=(),
        prior=0.3,
    ),
)
