"""The uncertainty budget of the main figures, source by source, and the uncertainty that follows.

A figure's standard uncertainty is the root of the sum of the squares of its parts (JCGM 100:2008,
5.1.2), taken where the teeth that decide it lie. What is each flank's own is propagated by draws
where the figure is the largest of many (JCGM 101:2008), and shared out by variance.
"""

from dataclasses import dataclass
from math import hypot, isfinite, pi, sqrt

import numpy as np

from cogloupe.evaluation.deviations import eccentricity
from cogloupe.evaluation.pitch_and_runout import Figures, counted, thickness_modes, thickness_parts
from cogloupe.fits.measured_gear import Measured
from cogloupe.reading.models import BudgetLine
from cogloupe.uncertainty.combination import of_draws, plausible
from cogloupe.uncertainty.flank_uncertainty import flank_doubts
from cogloupe_calibration.arrays import Floats

IN_WORDS = {
    "noise": "edge noise and fit",
    "bevel": "bevel or burr along the edge",
    "corners": "blur of tip and fillet",
    "texture": "texture beside the edge",
    "edges": "grey level at which an edge is called",
    "scale": "scale",
    "stretch": "lens and lean: stretch at the gear",
}

LIMITS = ("stated", "known_tip_diameter", "known_bore", "known_pin", "known_ring")
"""Ways to a scale whose doubt is mostly that of a limit."""


@dataclass(frozen=True)
class Part:
    """What one source adds to a figure.

    Attributes
    ----------
    source, value, sensitivity : str
        In words, for a person.
    contribution : float
        Standard uncertainty (k = 1) in the figure's unit.
    distribution : str
        'normal', or 'rectangular' for a limit that all values within are alike likely to keep.
    """

    source: str
    value: str
    sensitivity: str
    contribution: float
    distribution: str = "normal"


@dataclass(frozen=True)
class Judged:
    """A figure with the parts of its uncertainty, both in `unit`."""

    name: str
    unit: str
    value: float
    parts: tuple[Part, ...]

    @property
    def u(self) -> float:
        """Standard uncertainty: root of the sum of squares; NaN where there is no figure."""
        whole = hypot(*(part.contribution for part in self.parts))
        return whole if isfinite(self.value) else float("nan")


def judge_figures(measured: Measured, figures: Figures) -> dict[str, Judged]:
    """Work out the main figures with their budgets.

    By the names of the summary's fields, in the order of the report. Flanks that something lies on
    take no part.
    """
    figures = counted(figures)
    found = [
        _largest_pitch(measured, figures),
        _cumulative_total(measured, figures),
        _mean_thickness(measured, figures),
        _runout(measured, figures),
        _eccentricity(measured, figures),
    ]
    return {judged.name: judged for judged in found}


def _flank_draws(figures: Figures) -> list[tuple[Floats, Floats]]:
    """Plausible places of the seen flanks of each side less the ideal ones, rad, and which."""
    z = len(figures.position)
    ideal = np.asarray(2 * pi / z * np.arange(z), np.float64)
    found = []
    for side in (0, 1):
        off = figures.cumulative_um[:, side] / (1000 * figures.measuring_radius)
        found.append((plausible(off, figures.noise[:, side], ideal), np.isfinite(off)))
    return found


def pitch_draws(figures: Figures) -> list[Floats]:
    """Plausible single pitch deviations of each side.

    Returns
    -------
    list of ndarray, shape (DRAWS, z)
        µm; NaN beside flanks that were not seen.
    """
    found = []
    for drawn, seen in _flank_draws(figures):
        whole = np.full((len(drawn), len(seen)), np.nan)
        whole[:, seen] = 1000 * figures.measuring_radius * drawn
        found.append(whole - np.roll(whole, 1, axis=1))
    return found


def _largest_pitch(measured: Measured, figures: Figures) -> Judged:
    """Largest single pitch deviation, whichever its sign."""
    um, single = 1000 * figures.measuring_radius, figures.single_um
    if not np.isfinite(single).any():
        return Judged("single_pitch_max_um", "um", float("nan"), ())
    tooth, side = np.unravel_index(int(np.nanargmax(np.abs(single))), single.shape)
    largest = float(np.abs(single[tooth, side]))
    steps = np.abs(np.concatenate(pitch_draws(figures), axis=1))
    own = of_draws(largest, np.nanmax(steps, axis=1))
    modes = [
        um * float(m.position[tooth, side] - m.position[tooth - 1, side]) for m in figures.modes
    ]
    where = f"pitch to tooth {tooth + 1}"
    parts = _parts(measured, figures, own, modes, "µm", where)
    return Judged("single_pitch_max_um", "um", largest, parts)


def _cumulative_total(measured: Measured, figures: Figures) -> Judged:
    """Total cumulative pitch deviation of the worse side."""
    um = 1000 * figures.measuring_radius
    ends = [_ends(figures.cumulative_um[:, side]) for side in (0, 1)]
    side = int(np.nanargmax([np.nan_to_num(end[0], nan=-1.0) for end in ends]))
    value, high, low = ends[side]
    drawn = [um * np.ptp(drawn, axis=1) for drawn, seen in _flank_draws(figures) if seen.any()]
    own = of_draws(value, np.max(drawn, axis=0)) if drawn else float("nan")
    modes = [um * float(m.position[high, side] - m.position[low, side]) for m in figures.modes]
    where = f"teeth {high + 1} and {low + 1}"
    parts = _parts(measured, figures, own, modes, "µm", where)
    return Judged("cumulative_pitch_total_um", "um", value, parts)


def _ends(values: Floats) -> tuple[float, int, int]:
    """Largest less smallest, and where they are."""
    if not np.isfinite(values).any():
        return float("nan"), 0, 0
    high, low = int(np.nanargmax(values)), int(np.nanargmin(values))
    return float(values[high] - values[low]), high, low


def _mean_thickness(measured: Measured, figures: Figures) -> Judged:
    """Mean tooth thickness: the teeth's own parts average out, those they share do not."""
    mm = figures.measuring_radius
    seen = np.isfinite(figures.thickness)
    if not seen.any():
        return Judged("thickness_mean_mm", "mm", float("nan"), ())
    noise = np.sqrt(np.sum(figures.noise[seen] ** 2)) / seen.sum() * mm
    apart = [float(np.mean(mode[seen])) for mode in thickness_modes(measured, figures)]
    shared = thickness_parts(measured, figures)
    scale = measured.scale
    alone = sqrt(max(scale.relative_u**2 - scale.stretch**2, 0.0))
    level = figures.edge / scale.mm_per_px
    values = {
        "edges": f"{level:.2g} px an edge",
        "scale": f"{100 * alone:.2g} % ({scale.method.replace('_', ' ')})",
        "stretch": f"{100 * scale.stretch:.2g} %",
    }
    spread = {"scale": "rectangular"} if scale.method in LIMITS else {}
    alike = [
        Part(
            IN_WORDS[n], values[n], f"{_per(c, values[n], 'mm')}all teeth alike", c,
            spread.get(n, "normal"),
        )
        for n, c in shared.items()
        if c > 0
    ]  # fmt: skip
    parts = _parts(measured, figures, float(noise), apart, "mm", "mean of the teeth")
    value = float(np.nanmean(figures.thickness))
    return Judged("thickness_mean_mm", "mm", value, (*parts, *alike))


def _runout(measured: Measured, figures: Figures) -> Judged:
    """Range of the seated pin's distance."""
    drawn = plausible(figures.pin_radius, figures.u_pin, figures.gap_middle)
    value, high, low = _ends(figures.pin_radius)
    own = of_draws(value, np.ptp(drawn, axis=1)) if drawn.size else float("nan")
    where = f"gaps {high + 1} and {low + 1}"
    modes = [float(1000 * (mode[high] - mode[low])) for mode in figures.pin_modes]
    parts = _parts(measured, figures, 1000 * own, modes, "µm", where)
    return Judged("runout_um", "um", 1000 * value, parts)


def _eccentricity(measured: Measured, figures: Figures) -> Judged:
    """Distance of the teeth's axis from the datum: what acts along it changes it."""
    own = 1000 * _own_off_axis(figures)
    along = [1000 * effect for effect in _off_axis(figures)[0]]
    parts = _parts(measured, figures, own, along, "µm", "first harmonic of the pin's run")
    return Judged("eccentricity_um", "um", 1000 * abs(figures.eccentricity), parts)


def u_direction(measured: Measured, figures: Figures) -> float:
    """Standard uncertainty of the direction in which the teeth's axis lies.

    Rad, from what acts across the eccentricity; NaN where there is none.
    """
    own = _own_off_axis(figures)
    size = abs(figures.eccentricity)
    return hypot(own, *_off_axis(figures)[1]) / size if size > 0 else float("nan")


def _own_off_axis(figures: Figures) -> float:
    """What the pins' own noise does to the axis, mm."""
    seen = np.isfinite(figures.pin_radius)
    if not seen.any():
        return float("nan")
    one = float(np.sqrt(np.mean(figures.u_pin[seen] ** 2)))
    return one * sqrt(eccentricity(figures.pin_radius, figures.gap_middle)[1])


def _off_axis(figures: Figures) -> tuple[list[float], list[float]]:
    """What each common source does to the axis, along the eccentricity and across it, mm."""
    size = abs(figures.eccentricity)
    way = figures.eccentricity / size if size > 0 else 1.0
    moved = [eccentricity(mode, figures.gap_middle)[0] / way for mode in figures.pin_modes]
    return [float(m.real) for m in moved], [float(m.imag) for m in moved]


def _parts(
    measured: Measured, figures: Figures, own: float, effects: list[float], unit: str, where: str
) -> tuple[Part, ...]:
    """What is each flank's own, and the effect of each source that moves them together."""
    return (
        *_own_parts(measured, own, unit, where),
        *_mode_parts(figures, effects, unit, where),
    )


def _own_parts(measured: Measured, total: float, unit: str, where: str) -> tuple[Part, ...]:
    """What is each flank's own, shared out by variance."""
    fits = measured.fits
    fit = float(np.sqrt(np.nanmean((fits.u_unwound * fits.curve.measuring_arm) ** 2)))
    px = {"noise": fit} | flank_doubts(measured)
    whole = hypot(*px.values())
    more = {"noise": f" ({fits.scatter:.3f} px a point)"}
    each = f"{total / whole:.3g} {unit} per px, {where}" if whole > 0 else where
    return tuple(
        Part(
            IN_WORDS[name], f"{size:.2g} px a flank{more.get(name, '')}", each, total * size / whole
        )
        for name, size in px.items()
        if size > 0
    )


def _mode_parts(figures: Figures, effects: list[float], unit: str, where: str) -> tuple[Part, ...]:
    """What moves the flanks together, each by its effect on the figure."""
    pairs = zip(figures.modes, effects, strict=True)
    return tuple(
        Part(m.name, m.size, f"{_per(abs(effect), m.size, unit)}{where}", abs(effect))
        for m, effect in pairs
    )


def _per(effect: float, size: str, unit: str) -> str:
    """Effect for each unit of a source whose size is given in words, as `1 %`."""
    try:
        number, of_source = size.split()[:2]
        return f"{effect / float(number):.2g} {unit} per {of_source}, "
    except (ValueError, ZeroDivisionError):
        return ""


def budget_lines(judged: dict[str, Judged]) -> tuple[BudgetLine, ...]:
    """Lines of the budget for reading and report.

    Contributions are standard uncertainties (k = 1) in the figure's unit; their root sum of squares
    is the figure's uncertainty in the summary.

    Parameters
    ----------
    judged : dict
        From `judge_figures`.
    """
    return tuple(
        BudgetLine(
            figure=figure.name, source=part.source, value=part.value,
            distribution=part.distribution,
            sensitivity=part.sensitivity, contribution=part.contribution, unit=figure.unit,
        )
        for figure in judged.values()
        if isfinite(figure.value)
        for part in figure.parts
        if np.isfinite(part.contribution)
    )  # fmt: skip
