"""Flank tolerance classes of ISO 1328-1, the 2013 and the 1995 edition.

Both editions' formulas, size ranges and rounding are from memory, not read off the standards.
Lengths are millimetres, tolerances and deviations micrometres.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import floor, hypot, isfinite, sqrt

from cogloupe.reading.models import Tolerance
from cogloupe_calibration.errors import UseError

_ONE_FACE = (
    "One picture shows one face of the gear: the helix is not graded, and whether the face is as "
    "wide as the standard asks (4 mm or more) is not seen."
)
_FROM_MEMORY = "Tolerance formulas are from memory of the standard."

# Limits belong to their range: a gear of exactly 20 mm is in "up to 20", whatever its last bit.
_EDGE = 1e-9

_DIAMETERS_1995, _MODULES_1995 = (5.0, 20.0, 50.0, 125.0, 280.0), (0.5, 2.0, 3.5, 6.0)
"""Limits of ranges, mm (from memory). ISO 1328-1:1995 goes on to larger gears; only these are
remembered, and only small gears are read from photographs."""


@dataclass(frozen=True, kw_only=True)
class FlankTolerances:
    """Tolerances of one class, µm, rounded as the standard rounds them.

    Attributes
    ----------
    single_pitch_um : float
        On f_p, the largest single pitch deviation.
    cumulative_pitch_um : float
        On F_p, the total cumulative pitch deviation.
    profile_total_um, profile_form_um, profile_slope_um : float
        On F_a, f_fa and f_Ha; for the slope, either way.
    runout_um : float
        On F_r. Informative in the 2013 edition.
    """

    single_pitch_um: float
    cumulative_pitch_um: float
    profile_total_um: float
    profile_form_um: float
    profile_slope_um: float
    runout_um: float


@dataclass(frozen=True)
class Graded:
    """A figure and its expanded uncertainty; None where it was not measured.

    Attributes
    ----------
    value_um : float or None
        The figure, µm; its sign does not matter.
    expanded_um : float or None
        U = 2u, µm.
    """

    value_um: float | None = None
    expanded_um: float | None = None


@dataclass(frozen=True, kw_only=True)
class FlankFigures:
    """The worst figures of a gear that a class can be read from.

    Attributes
    ----------
    single_pitch, cumulative_pitch : Graded
        f_p and F_p.
    profile_total, profile_form, profile_slope : Graded
        F_a, f_fa and f_Ha of the worst flank.
    runout : Graded
        F_r.
    """

    single_pitch: Graded = Graded()
    cumulative_pitch: Graded = Graded()
    profile_total: Graded = Graded()
    profile_form: Graded = Graded()
    profile_slope: Graded = Graded()
    runout: Graded = Graded()


def rounded_tolerance(value_um: float) -> float:
    """Round a tolerance as ISO 1328-1 does (from memory; the same in both editions).

    To a whole micrometre above 10, to 0.5 from 5 to 10, to 0.1 below 5; halves go up.

    Parameters
    ----------
    value_um : float
        Tolerance from the formula, µm.
    """
    steps_per_um = 1 if value_um > 10 else 2 if value_um >= 5 else 10
    return floor(value_um * steps_per_um + 0.5) / steps_per_um


def refusal_2013(module_mm: float, teeth: int) -> str | None:
    """Why the 2013 edition does not cover a gear, if it does not.

    What is outside 5 to 1000 teeth, 0.5 to 70 mm module or 5 to 15000 mm reference diameter (scope
    of ISO 1328-1:2013 as its catalogue record gives it).

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.
    """
    return (
        _outside("number of teeth", teeth, 5, 1000, "")
        or _outside("module", module_mm, 0.5, 70, " mm")
        or _outside("reference diameter", module_mm * teeth, 5, 15000, " mm")
    )


def refusal_1995(module_mm: float, teeth: int) -> str | None:
    """Why the 1995 edition does not cover a gear, or its ranges are not known here.

    What is outside 0.5 to 6 mm module or 5 to 280 mm reference diameter.

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.

    Notes
    -----
    The lower limits are the standard's. It goes on above the upper ones, where the size ranges
    are not known here.
    """
    return _outside("module", module_mm, _MODULES_1995[0], _MODULES_1995[-1], " mm") or _outside(
        "reference diameter", module_mm * teeth, _DIAMETERS_1995[0], _DIAMETERS_1995[-1], " mm"
    )


def tolerances_2013(module_mm: float, teeth: int, flank_class: int) -> FlankTolerances:
    """Flank tolerances of ISO 1328-1:2013 (formulas from memory).

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.
    flank_class : int
        Flank tolerance class, 1 (finest) to 11.

    Raises
    ------
    UseError
        Where the standard does not cover the gear or the class.

    Notes
    -----
    With ``g = sqrt(2)^(A - 5)``, d and m in mm: f_p ``(0.001 d + 0.4 m + 5) g``; F_p
    ``(0.002 d + 0.55 sqrt d + 0.7 m + 12) g``; f_Ha ``(0.4 m + 0.001 d + 4) g``; f_fa
    ``(0.55 m + 5) g``; F_a the root of the sum of squares of the last two; F_r ``0.9 F_p``.
    """
    _refuse(EDITION_2013, module_mm, teeth, flank_class)
    return continued_2013(module_mm, teeth, flank_class)


def continued_2013(module_mm: float, teeth: int, flank_class: int) -> FlankTolerances:
    """The formulas of `tolerances_2013` for any gear, where only a measure of size is wanted.

    Outside the standard's scope these are no tolerances of the standard.

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.
    flank_class : int
        Flank tolerance class.
    """
    m, d, g = module_mm, module_mm * teeth, sqrt(2) ** (flank_class - 5)
    cumulative = (0.002 * d + 0.55 * sqrt(d) + 0.7 * m + 12) * g
    slope = (0.4 * m + 0.001 * d + 4) * g
    form = (0.55 * m + 5) * g
    return FlankTolerances(
        single_pitch_um=rounded_tolerance((0.001 * d + 0.4 * m + 5) * g),
        cumulative_pitch_um=rounded_tolerance(cumulative),
        profile_total_um=rounded_tolerance(hypot(slope, form)),
        profile_form_um=rounded_tolerance(form),
        profile_slope_um=rounded_tolerance(slope),
        runout_um=rounded_tolerance(0.9 * cumulative),
    )


def tolerances_1995(module_mm: float, teeth: int, flank_class: int) -> FlankTolerances:
    """Flank tolerances of ISO 1328-1:1995 (formulas and size ranges from memory).

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.
    flank_class : int
        Accuracy grade, 0 (finest) to 12.

    Raises
    ------
    UseError
        Where the edition's ranges known here do not cover the gear or the class.

    Notes
    -----
    With ``g = sqrt(2)^(Q - 5)``, and d and m the geometric means (mm) of the limits of the size
    ranges that hold the gear: f_p ``(0.3 (m + 0.4 sqrt d) + 4) g``; F_p
    ``(0.3 m + 1.25 sqrt d + 7) g``; F_a ``(3.2 sqrt m + 0.22 sqrt d + 0.7) g``; f_fa
    ``(2.5 sqrt m + 0.17 sqrt d + 0.5) g``; f_Ha ``(2 sqrt m + 0.14 sqrt d + 0.5) g``; F_r
    ``0.8 F_p``.
    """
    _refuse(EDITION_1995, module_mm, teeth, flank_class)
    m, d = _range_mean(module_mm, _MODULES_1995), _range_mean(module_mm * teeth, _DIAMETERS_1995)
    root_m, root_d, g = sqrt(m), sqrt(d), sqrt(2) ** (flank_class - 5)
    cumulative = (0.3 * m + 1.25 * root_d + 7) * g
    return FlankTolerances(
        single_pitch_um=rounded_tolerance((0.3 * (m + 0.4 * root_d) + 4) * g),
        cumulative_pitch_um=rounded_tolerance(cumulative),
        profile_total_um=rounded_tolerance((3.2 * root_m + 0.22 * root_d + 0.7) * g),
        profile_form_um=rounded_tolerance((2.5 * root_m + 0.17 * root_d + 0.5) * g),
        profile_slope_um=rounded_tolerance((2 * root_m + 0.14 * root_d + 0.5) * g),
        runout_um=rounded_tolerance(0.8 * cumulative),
    )


@dataclass(frozen=True)
class Edition:
    """One edition of the standard: its classes, its scope and its tolerances.

    Attributes
    ----------
    standard : str
        Number and year.
    finest, coarsest : int
        Its classes.
    refusal : callable
        Module (mm) and teeth to the reason for not covering them, or None.
    tolerances : callable
        Module (mm), teeth and class to tolerances.
    """

    standard: str
    finest: int
    coarsest: int
    refusal: Callable[[float, int], str | None]
    tolerances: Callable[[float, int, int], FlankTolerances]


EDITION_2013 = Edition("ISO 1328-1:2013", 1, 11, refusal_2013, tolerances_2013)
"""Flank tolerance classes 1 to 11 (from memory)."""
EDITION_1995 = Edition("ISO 1328-1:1995", 0, 12, refusal_1995, tolerances_1995)
"""Accuracy grades 0 to 12 (from memory)."""


def class_range(edition: Edition, module_mm: float, teeth: int, figures: FlankFigures) -> Tolerance:
    """Read an edition's classes off measured figures, as ranges.

    Each class as (low, high): the finest class met by the figure less U, and the finest met by the
    figure plus U. One above the coarsest (12, and 13 for the edition of 1995) stands for coarser.
    None where a figure or its U is not known, or all None, with the reason in the note, where the
    standard does not cover the gear.

    Parameters
    ----------
    module_mm : float
        Module, mm.
    teeth : int
        Number of teeth.
    figures : FlankFigures
        Figures with their expanded uncertainties, µm.

    Notes
    -----
    The profile class is the worst of F_a, f_fa and f_Ha, as far as they are given.
    """
    reason = edition.refusal(module_mm, teeth)
    if reason is not None:
        return Tolerance(standard=edition.standard, note=_refused(edition, reason))
    classes = range(edition.finest, edition.coarsest + 1)
    table = [edition.tolerances(module_mm, teeth, each) for each in classes]

    def span(figure: str) -> tuple[int, int] | None:
        limits = [getattr(tolerances, f"{figure}_um") for tolerances in table]
        return _span_of(getattr(figures, figure), limits, edition.finest)

    pitch, cumulative, runout = span("single_pitch"), span("cumulative_pitch"), span("runout")
    profile = _worst([span("profile_total"), span("profile_form"), span("profile_slope")])
    return Tolerance(
        standard=edition.standard,
        pitch_class=pitch,
        cumulative_class=cumulative,
        profile_class=profile,
        runout_class=runout,
        note=_note(edition, [pitch, cumulative, profile, runout]),
    )


def _span_of(figure: Graded, limits: list[float], finest: int) -> tuple[int, int] | None:
    """Classes of a figure less and plus its U, given the limits from the finest class on."""
    if figure.value_um is None or figure.expanded_um is None:
        return None
    size = abs(figure.value_um)
    if not isfinite(size + figure.expanded_um):
        return None
    low, high = size - figure.expanded_um, size + figure.expanded_um
    return finest + sum(low > limit for limit in limits), finest + sum(
        high > limit for limit in limits
    )


def _worst(spans: list[tuple[int, int] | None]) -> tuple[int, int] | None:
    known = [span for span in spans if span is not None]
    if not known:
        return None
    return max(low for low, _ in known), max(high for _, high in known)


def _note(edition: Edition, spans: list[tuple[int, int] | None]) -> str:
    parts = [_ONE_FACE, _FROM_MEMORY]
    beyond = edition.coarsest + 1
    if any(span is not None and span[1] == beyond for span in spans):
        parts.append(f"{beyond} stands for coarser than {edition.coarsest}, the coarsest class.")
    return " ".join(parts)


def _refused(edition: Edition, reason: str) -> str:
    return (
        f"Not graded: {edition.standard} is not used here, as the {reason}. "
        "The figures in micrometres stand on their own."
    )


def _refuse(edition: Edition, module_mm: float, teeth: int, flank_class: int) -> None:
    """Raise where the edition has no tolerance to give."""
    reason = edition.refusal(module_mm, teeth)
    if reason is not None:
        raise UseError(_refused(edition, reason))
    if not edition.finest <= flank_class <= edition.coarsest:
        raise UseError(
            f"class {flank_class} is not one of {edition.standard}: "
            f"use {edition.finest} to {edition.coarsest}"
        )


def _outside(what: str, value: float, low: float, high: float, unit: str) -> str | None:
    if low - _EDGE <= value <= high + _EDGE:
        return None
    return f"{what} {value:.6g}{unit} is outside {low:g} to {high:g}{unit}"


def _range_mean(value: float, limits: tuple[float, ...]) -> float:
    """Geometric mean of the size range that holds a value; upper limits belong to their range."""
    low, high = next(pair for pair in pairwise(limits) if value <= pair[1] + _EDGE)
    return sqrt(low * high)
