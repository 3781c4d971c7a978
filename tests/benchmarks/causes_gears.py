"""Gears for the study of causes: one fault each, cut by the generating model, with their truth."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from tests.helpers.stated_figures import MeasuringErrors
from tests.helpers.stated_reading import stated_reading

from cogloupe.causes.observed_pattern import Observed, observe
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.planning.machine import Machine, make_machine
from cogloupe.simulation import (
    Camera,
    DriveError,
    Faults,
    GearSpec,
    LostSteps,
    Made,
    Process,
    Scene,
    make,
)
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

Dials = dict[str, object]

SPECS = (
    GearSpec(teeth=30, module_mm=0.5, bore_mm=4.0),
    GearSpec(teeth=21, dp=48, bore_mm=4.0),
    GearSpec(teeth=24, module_mm=1.0, bore_mm=6.0),
    GearSpec(teeth=40, module_mm=0.5, bore_mm=5.0),
    GearSpec(teeth=16, module_mm=0.8, bore_mm=4.0),
    GearSpec(teeth=36, module_mm=0.4, bore_mm=4.0),
)
FORM: Dials = {"kind": "form-cutter", "gashes": 1}
FINE = 38400
"""Steps in a turn of the work that are too fine to be seen."""
ENCODER = 600
FRAME_PX = 1000
LEAST = 0.2
"""Patterns smaller than this, in U of the usual errors, are drawn again: nothing was cut wrong."""

# Sets of machine counts: each turns the work by FINE steps where it has a motor.
HOBBING = {
    "encoder_pulses_per_revolution": ENCODER, "motor_steps_per_revolution": 200,
    "microsteps": 64, "drive_ratio": [72, 24], "belt_teeth": 90,
}  # fmt: skip
STEPPING = {"motor_steps_per_revolution": 200, "microsteps": 64, "drive_ratio": [72, 24]}
BY_HAND = {"worm_wheel_teeth": 40, "dividing_plate_holes": [30, 21, 24, 40, 16, 36]}


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A kind of fault.

    Attributes
    ----------
    name : str
    cause : str
        Code of the cause that a reading should lead to.
    dials : callable
        Process with the fault, drawn by a generator for a gear.
    size : callable
        True size, in the unit of the cause's size of that place; None where it has none.
    place : int
        Which of the cause's sizes it is compared with; from the end where below zero.
    scatter : bool
        The pattern is a scatter.
    machine : mapping or None
        Counts of the machine.
    only : tuple of int
        Tooth counts it is cut with; empty for any.
    also : tuple of str
        Causes that leave the same pattern on one gear, so that its picture cannot part them.
    """

    name: str
    cause: str
    dials: Callable[[np.random.Generator, int], Dials]
    size: Callable[["Cut"], float] | None = None
    place: int = 0
    scatter: bool = False
    machine: Mapping[str, object] | None = None
    only: tuple[int, ...] = ()
    also: tuple[str, ...] = ()

    def rightly(self, code: str) -> bool:
        """Tell whether a cause is the right one.

        Parameters
        ----------
        code : str

        Returns
        -------
        bool
        """
        return code in (self.cause, *self.also)


@dataclass(frozen=True)
class Cut:
    """A gear with one fault, its good twin, and what the fault changed.

    Attributes
    ----------
    fault : str
    spec : GearSpec
    process : Process
    made : Made
    change : ndarray, shape (2 z + 10,)
        What the fault did to the figures of `patterns.Observed`.
    """

    fault: str
    spec: GearSpec
    process: Process
    made: Made
    change: Floats

    @property
    def teeth(self) -> int:
        """Number of teeth."""
        return self.spec.teeth


def _per(name: str) -> Callable[[Cut], float]:
    return lambda cut: float(getattr(cut.process, name))


def _half(name: str) -> Callable[[Cut], float]:
    return lambda cut: float(getattr(cut.process, name)) / 2


def _thinner(cut: Cut) -> float:
    """By how much the teeth came out thinner, µm."""
    return -float(cut.change[2 * cut.teeth])


def _spread(cut: Cut) -> float:
    """Standard deviation of the gaps about their places, µm."""
    flanks = cut.change[: 2 * cut.teeth].reshape(-1, 2)
    return float(np.std((np.roll(flanks[:, 0], -1) + flanks[:, 1]) / 2, ddof=1))


def _lost(cut: Cut) -> float:
    return float(abs(cut.process.lost_steps[0].steps))


def _amplitude(cut: Cut) -> float:
    return cut.process.periodic[0].amplitude_arcmin


def _slope(cut: Cut) -> float:
    return float(cut.change[2 * cut.teeth + 4 : 2 * cut.teeth + 6].mean())


def _signed(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high) * rng.choice([-1, 1]))


def _either(rng: np.random.Generator) -> Dials:
    """Form cutter or hob."""
    return FORM if rng.random() < 0.5 else {}


def _steps(rng: np.random.Generator, low: int, high: int) -> int:
    return int(rng.integers(low, high) * rng.choice([-1, 1]))


def _wave(rng: np.random.Generator, per_turn: float) -> Dials:
    part = DriveError(
        per_turn=per_turn, amplitude_arcmin=rng.uniform(0.8, 3), phase_deg=rng.uniform(0, 360)
    )
    return {"periodic": (part,)}


def _lost_last(rng: np.random.Generator, teeth: int) -> Dials:
    turns = float(rng.choice([3, 4]))
    lost = LostSteps(steps=_steps(rng, 10, 50), turn=turns - rng.uniform(0.15, 0.85))
    return {"steps_per_turn": FINE, "turns": turns, "lost_steps": (lost,)}


def _lost_early(rng: np.random.Generator, teeth: int) -> Dials:
    lost = LostSteps(steps=_steps(rng, 20, 60), turn=2.2)
    return {"steps_per_turn": FINE, "turns": 4.0, "lost_steps": (lost,)}


def _lost_form(rng: np.random.Generator, teeth: int) -> Dials:
    lost = LostSteps(steps=_steps(rng, 8, 40), turn=rng.uniform(0.12, 0.88))
    return FORM | {"steps_per_turn": FINE, "lost_steps": (lost,)}


def _off(name: str, low: float, high: float) -> Callable[[np.random.Generator, int], Dials]:
    def dials(rng: np.random.Generator, teeth: int) -> Dials:
        angle = rng.uniform(-180, 180)
        return _either(rng) | {f"{name}_um": rng.uniform(low, high), f"{name}_direction_deg": angle}

    return dials


def _short(rng: np.random.Generator, teeth: int) -> Dials:
    module = next(spec.module for spec in SPECS if spec.teeth == teeth)
    return {"offset_mm": _signed(rng, 2.1, 2.6) * module, "hob_length_mm": 8.0 * module}


def _noisy(rng: np.random.Generator, teeth: int) -> Dials:
    rate = float(rng.uniform(0.1, 0.8))
    return {
        "steps_per_turn": FINE, "encoder_pulses": ENCODER, "false_pulses": rate,
        "missing_pulses": rate,
    }  # fmt: skip


FAULTS = (
    Fault(name="good", cause="none", dials=lambda r, z: _either(r)),
    Fault(
        name="work off centre",
        cause="eccentric_work",
        dials=_off("eccentricity", 3, 12),
        size=_per("eccentricity_um"),
    ),
    Fault(
        name="blank's outside off centre",
        cause="eccentric_blank",
        dials=_off("blank_eccentricity", 3, 12),
        size=_per("blank_eccentricity_um"),
    ),
    Fault(
        name="steps lost, gap by gap",
        cause="lost_steps",
        dials=_lost_form,
        size=_lost,
        machine=STEPPING,
    ),
    Fault(
        name="steps lost in the last turn",
        cause="lost_steps",
        dials=_lost_last,
        size=_lost,
        machine=HOBBING,
    ),
    Fault(
        name="steps lost turns before the end",
        cause="wide_gaps",
        dials=_lost_early,
        size=_thinner,
        place=2,
        machine=HOBBING,
    ),
    Fault(
        name="wrong ratio, gap by gap",
        cause="wrong_ratio",
        dials=lambda r, z: FORM | {"ratio_error": _signed(r, 1e-4, 6e-4)},
        size=lambda cut: 1e6 * abs(cut.process.ratio_error),
        place=-1,
    ),
    Fault(
        name="wrong ratio, hobbed in 2 or 3 turns",
        cause="wrong_ratio",
        dials=lambda r, z: {
            "ratio_error": _signed(r, 1e-4, 5e-4),
            "turns": float(r.choice([2, 3])),
        },
        size=lambda cut: 1e6 * abs(cut.process.ratio_error),
        place=-1,
    ),
    Fault(
        name="whole steps, gap by gap",
        cause="whole_steps",
        dials=lambda r, z: FORM | {"steps_per_turn": 3200},
        machine=STEPPING | {"microsteps": 16, "drive_ratio": 1},
        only=(21, 24, 30, 36),
    ),
    Fault(
        name="whole steps, hobbed",
        cause="whole_steps",
        dials=lambda r, z: {"steps_per_turn": 2400},
        size=_thinner,
        place=1,
        machine=HOBBING | {"microsteps": 4},
    ),
    Fault(
        name="wave of 1 to 6 a turn, gap by gap",
        cause="drive_wave",
        dials=lambda r, z: FORM | _wave(r, int(r.integers(1, 7))),
        size=_amplitude,
    ),
    Fault(
        name="worm of 40 a turn, gap by gap",
        cause="drive_wave",
        dials=lambda r, z: FORM | _wave(r, 40),
        size=_amplitude,
        machine=BY_HAND,
        only=(30, 21, 24, 36),
    ),
    Fault(
        name="wave of 1 to 4 a turn, hobbed",
        cause="drive_wave",
        dials=lambda r, z: _wave(r, int(r.integers(1, 5))),
        size=_amplitude,
        place=1,
        machine=HOBBING,
    ),
    Fault(
        name="belt of 0.8 a turn, gap by gap",
        cause="drive_wave",
        dials=lambda r, z: FORM | _wave(r, 0.8),
        size=_amplitude,
        place=1,
        machine=STEPPING | {"belt_teeth": 90},
    ),
    Fault(
        name="belt of 0.8 a turn, hobbed",
        cause="wide_gaps",
        dials=lambda r, z: _wave(r, 0.8),
        size=_thinner,
        place=2,
        machine=HOBBING,
    ),
    Fault(
        name="indexing at random",
        cause="index_scatter",
        dials=lambda r, z: FORM | {"jitter_arcmin": r.uniform(0.5, 3)},
        size=_per("jitter_arcmin"),
        scatter=True,
    ),
    Fault(
        name="backlash, gap by gap",
        cause="index_scatter",
        dials=lambda r, z: FORM | {"backlash_arcmin": r.uniform(3, 9)},
        size=_spread,
        place=1,
        scatter=True,
        also=("lost_steps",),
    ),
    Fault(
        name="work shakes while hobbed",
        cause="unsteady_drive",
        dials=lambda r, z: {"jitter_arcmin": r.uniform(1, 4)},
        size=_thinner,
        place=1,
        scatter=True,
    ),
    Fault(
        name="passes beside each other",
        cause="unsteady_drive",
        dials=lambda r, z: FORM | {"jitter_arcmin": r.uniform(1, 4), "depths_mm": (1.0, 1.0, 1.0)},
        size=_thinner,
        place=1,
        scatter=True,
        also=("index_scatter",),
    ),
    Fault(
        name="false and missing pulses",
        cause="pulse_noise",
        dials=_noisy,
        size=_thinner,
        place=2,
        scatter=True,
        machine=HOBBING,
    ),
    Fault(
        name="backlash, hobbed",
        cause="wide_gaps",
        dials=lambda r, z: {"backlash_arcmin": r.uniform(3, 9)},
        size=_thinner,
        place=1,
        also=("unsteady_drive",),
    ),
    Fault(
        name="too deep or shallow",
        cause="depth",
        dials=lambda r, z: _either(r) | {"depth_um": _signed(r, 8, 40)},
        size=_per("depth_um"),
    ),
    Fault(
        name="form cutter runs out",
        cause="depth",
        dials=lambda r, z: {"kind": "form-cutter", "gashes": 12, "runout_um": r.uniform(16, 60)},
        size=_half("runout_um"),
    ),
    Fault(
        name="form cutter wobbles",
        cause="wide_gaps",
        dials=lambda r, z: {"kind": "form-cutter", "gashes": 12, "wobble_um": r.uniform(8, 30)},
        size=_thinner,
        place=1,
    ),
    Fault(
        name="blank too large or small",
        cause="blank_size",
        dials=lambda r, z: _either(r) | {"blank_oversize_um": _signed(r, 15, 60)},
        size=_per("blank_oversize_um"),
    ),
    Fault(
        name="form cutter off centre",
        cause="cutter_off_centre",
        dials=lambda r, z: FORM | {"offset_mm": _signed(r, 0.02, 0.1)},
        size=lambda cut: 1000 * cut.process.offset_mm,
    ),
    Fault(name="hob off centre and short", cause="short_hob", dials=_short),
    Fault(
        name="hob of another flank angle",
        cause="other_profile",
        dials=lambda r, z: {"cutter_angle_error_deg": _signed(r, 0.2, 0.8)},
        size=_slope,
    ),
    Fault(
        name="form cutter for other teeth",
        cause="other_profile",
        dials=lambda r, z: FORM | {"cutter_teeth": int(z * r.choice([0.75, 0.85, 1.3]))},
        size=_slope,
    ),
    Fault(
        name="hob runs out",
        cause="cutter_runs_out",
        dials=lambda r, z: {"runout_um": r.uniform(8, 40)},
        size=_per("runout_um"),
    ),
    Fault(
        name="hob moves along its axis",
        cause="cutter_runs_out",
        dials=lambda r, z: {"wobble_um": r.uniform(8, 30)},
        size=_per("wobble_um"),
    ),
)


def fault_named(name: str) -> Fault:
    """Look a fault up.

    Parameters
    ----------
    name : str

    Returns
    -------
    Fault
    """
    return next(fault for fault in FAULTS if fault.name == name)


def cut_with(fault: Fault, seed: int, pictured: bool = False) -> Cut:
    """Cut a gear with a fault drawn at random, and its good twin.

    Parameters
    ----------
    fault : Fault
    seed : int
    pictured : bool
        Draw its random errors as a scene of that seed does.

    Returns
    -------
    Cut
    """
    rng = np.random.default_rng(seed)
    specs = [spec for spec in SPECS if not fault.only or spec.teeth in fault.only]
    for _ in range(20):
        spec = specs[rng.integers(len(specs))]
        dials = fault.dials(rng, spec.teeth)
        if "depths_mm" in dials:
            gear = spec.gear()
            whole = gear.tip_radius - gear.root_radius
            dials |= {"depths_mm": (whole,) * 3}
        process = Process.model_validate(dials)
        try:
            made = _make(spec, process, seed, pictured)
        except UseError:
            continue
        change = figures(made) - figures(_make(spec, _without_fault(process), seed, pictured))
        cut = Cut(fault.name, spec, process, made, change)
        if fault.cause == "none" or strength(cut, MeasuringErrors()) > LEAST:
            return cut
    raise RuntimeError(f"no gear could be cut with {fault.name}")


def _make(spec: GearSpec, process: Process, seed: int, pictured: bool) -> Made:
    rng = np.random.default_rng(seed)
    # A scene keeps the first of four streams for the cutting.
    return make(spec, Faults(), process, 2.0, rng.spawn(4)[0] if pictured else rng, 1e-5)


def _without_fault(process: Process) -> Process:
    kept = ("kind", "gashes", "turns", "depths_mm")
    return Process.model_validate({name: getattr(process, name) for name in kept})


def figures(made: Made) -> Floats:
    """Figures of a gear read without errors.

    Parameters
    ----------
    made : Made

    Returns
    -------
    ndarray, shape (2 z + 10,)
    """
    return observe(stated_reading(made, MeasuringErrors(), None)).value


def machine_of(fault: Fault, rng: np.random.Generator) -> Machine | None:
    """The machine as its owner tells it; where the fault needs none, half of the time nothing.

    Parameters
    ----------
    fault : Fault
    rng : Generator

    Returns
    -------
    Machine or None
    """
    if fault.machine is not None:
        return make_machine(fault.machine)
    return None if rng.random() < 0.5 else make_machine(BY_HAND)


def strength(cut: Cut, errors: MeasuringErrors) -> float:
    """How large the pattern is, in expanded uncertainties U (k = 2) of its size.

    Parameters
    ----------
    cut : Cut
    errors : MeasuringErrors
        Of the reading.

    Returns
    -------
    float
        For a pattern of known shape, its size over U of that size, were nothing but the size
        unknown: half the square root of its chi-square. For a scatter, its standard deviation
        over U of that: with n deviates of noise, ``u(s) = (s^2 + noise^2) / (s sqrt(2 n))``.
    """
    # Errors are drawn: figures without any would say that neighbours err alike.
    observed = observe(stated_reading(cut.made, errors, np.random.default_rng(0)))
    fault = fault_named(cut.fault)
    if fault.scatter:
        return _scatter_strength(cut, fault, errors.flank_um)
    return pattern_strength(observed, cut.change)


def pattern_strength(observed: Observed, change: Floats) -> float:
    """Size of a change of the figures over its expanded uncertainty.

    Parameters
    ----------
    observed : Observed
    change : ndarray, shape (2 z + 10,)

    Returns
    -------
    float
    """
    seen = observed.seen & np.isfinite(change)
    whole = np.linalg.inv(observed.covariance()[np.ix_(seen[observed.seen], seen[observed.seen])])
    free, here = observed.nuisance[:, seen], change[seen]
    across = whole @ free.T
    inner = np.linalg.pinv(free @ across, hermitian=True)
    taken = float(here @ across @ inner @ across.T @ here)
    return sqrt(max(float(here @ whole @ here) - taken, 0.0)) / 2


def _scatter_strength(cut: Cut, fault: Fault, noise: float) -> float:
    z = cut.teeth
    flanks = cut.change[: 2 * z].reshape(-1, 2)
    flanks = flanks - flanks.mean(axis=0)
    if fault.cause == "index_scatter":
        s, own, n = _spread(cut), noise / sqrt(2), z - 1
    else:
        s, own, n = float(np.sqrt((flanks**2).sum() / (2 * z - 2))), noise, 2 * z - 2
    return s * s * sqrt(2 * n) / (s * s + own * own) / 2


def whitened(observed: Observed, off: Floats) -> Floats:
    """Errors of figures in their uncertainties, what the reading leaves open taken out.

    Parameters
    ----------
    observed : Observed
    off : ndarray, shape (2 z + 10,)

    Returns
    -------
    ndarray, shape (n,)
        Uncorrelated and of unit variance, if the uncertainties are right.
    """
    seen = observed.seen & np.isfinite(off)
    seen[2 * observed.design.teeth + SHARED.index("partial")] = False
    inside = seen[observed.seen]
    root = np.linalg.cholesky(observed.covariance()[np.ix_(inside, inside)])
    white = np.linalg.solve(root, off[seen])
    free = np.linalg.solve(root, observed.nuisance[:, seen].T)
    return np.asarray(white - free @ np.linalg.lstsq(free, white, rcond=None)[0])


def drawn(observed: Observed, rng: np.random.Generator) -> Floats:
    """Errors of figures as their covariance has them.

    Parameters
    ----------
    observed : Observed
    rng : Generator

    Returns
    -------
    ndarray, shape (2 z + 10,)
        NaN where a figure is not seen.
    """
    errors = np.full(len(observed.value), np.nan)
    root = np.linalg.cholesky(observed.covariance())
    errors[observed.seen] = root @ rng.normal(0, 1, len(root))
    return errors


def scene_of(cut: Cut, seed: int) -> Scene:
    """Scene in which a cut gear is pictured.

    Parameters
    ----------
    cut : Cut
    seed : int
        The one it was cut with, so that the picture shows the same gear.

    Returns
    -------
    Scene
    """
    tip = cut.spec.gear().tip_radius
    camera = Camera(
        mm_per_px=2 * tip / (0.8 * FRAME_PX), width_px=FRAME_PX, height_px=FRAME_PX,
        rotation_deg=2.0, blur_px=1.2, noise=0.03,
    )  # fmt: skip
    return Scene(gear=cut.spec, camera=camera, process=cut.process, seed=seed)


def noise_for(cut: Cut, wanted: float, errors: MeasuringErrors) -> float:
    """Factor on the measuring errors at which the pattern has a wanted strength.

    Parameters
    ----------
    cut : Cut
    wanted : float
        In expanded uncertainties.
    errors : MeasuringErrors

    Returns
    -------
    float
    """
    fault = fault_named(cut.fault)
    if fault.cause == "short_hob":
        # Flanks cut short are told by what a reading sets aside, which does not grow with noise.
        return 0.5
    if not fault.scatter:
        return strength(cut, errors) / wanted
    tries = np.geomspace(0.02, 50, 400)
    found = np.array([_scatter_strength(cut, fault, errors.flank_um * f) for f in tries])
    return float(tries[np.argmin(np.abs(found - min(wanted, 0.93 * found.max())))])
