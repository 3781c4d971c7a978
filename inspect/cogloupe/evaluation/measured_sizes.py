"""Sizes that gauges would find on the measured gear, in millimetres and with uncertainty.

So that a micrometer's reading can be put beside the picture: `fits.gauged_flanks` gives the sizes,
here they are taken all round the gear and compared with what a person measured.
"""

from dataclasses import dataclass, replace
from math import hypot, pi, sqrt

import numpy as np

from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.evaluation.profile import common_slope_doubt
from cogloupe.fits.gauged_flanks import (
    GaugedFlanks,
    base_pitches,
    gauged_flanks,
    nearest_span,
    over_pins,
    seated_pins,
    spans,
)
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.check_sizes import chord, teeth_to_span
from cogloupe.forms.check_sizes import over_pins as nominal_over_pins
from cogloupe.forms.involute import angle_at_radius, involute, roll_length
from cogloupe.forms.rack import Gear, span_size
from cogloupe.inputs.settings import GearSettings
from cogloupe.numerics.missing import mean_seen
from cogloupe.uncertainty.combination import edges_and_scale, total_range
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.scale import MICROMETER_U_MM


@dataclass(frozen=True)
class Around:
    """A size at every place round the gear, mm.

    Attributes
    ----------
    values : ndarray, shape (n,)
        NaN where a flank was not seen.
    own : float
        Standard uncertainty of one value from edge noise.
    sources : tuple of ndarray, shape (n,)
        Change of the values with each source that acts on all flanks together.
    common : float
        Standard uncertainty that all values share: level of the edges, scale.
    nominal : float
        Size of the stated gear, without profile shift.
    """

    values: Floats
    own: float
    sources: tuple[Floats, ...]
    common: float
    nominal: float

    @property
    def seen(self) -> int:
        """Number of places measured."""
        return int(np.isfinite(self.values).sum())

    def mean(self) -> tuple[float, float]:
        """Mean over the places, and its standard uncertainty."""
        if not self.seen:
            return float("nan"), float("nan")
        shifts = [float(np.nanmean(source)) for source in self.sources]
        parts = [self.own / sqrt(self.seen), self.common, *shifts]
        return float(np.nanmean(self.values)), float(np.sqrt(np.sum(np.square(parts))))

    def range(self) -> tuple[float, float]:
        """Largest less smallest, and its standard uncertainty."""
        return total_range(self.values, self.own, self.sources)

    def at_one_place(self) -> tuple[float, float]:
        """What a gauge finds at some place: the mean, the spread round the gear in its doubt."""
        mean, u = self.mean()
        spread = float(np.nanstd(self.values)) if self.seen else float("nan")
        return mean, hypot(u, spread)


@dataclass(frozen=True, kw_only=True)
class Check:
    """A stated size beside the measured one, mm.

    `teeth_spanned` is 0 for a size over pins; `fits` is the number whose span comes nearest.
    `sets_scale` tells that the size itself gave the picture's scale.
    """

    teeth_spanned: int
    fits: int
    stated: float
    u_stated: float
    measured: float
    u_measured: float
    sets_scale: bool


@dataclass(frozen=True, kw_only=True)
class MeasuredSizes:
    """Sizes of the measured gear.

    Attributes
    ----------
    spans : dict of int to Around
        By the number of teeth spanned, those whose anvils touch the flanks as measured.
    pins : Around or None
        Size over two pins; None with the reason in `pins_note` where they would not sit.
    pin, pins_note
        Pin diameter; a sentence.
    chord : Around
        Thickness along the chord on the reference circle; nominal for the stated gear.
    chord_height, u_chord_height : float
        Mean height of the tip over that chord.
    base_pitch : (Around, Around)
        Left and right flanks.
    """

    spans: dict[int, Around]
    pins: Around | None
    pin: float
    pins_note: str
    chord: Around
    chord_height: float
    u_chord_height: float
    base_pitch: tuple[Around, Around]
    checks: tuple[Check, ...]


@dataclass(frozen=True, kw_only=True)
class _Source:
    """What every size is worked out of.

    Flanks are in px and in the measured order; their noise and the sources are mm of movement
    along the normal, teeth in the order of their numbers.
    """

    measured: Measured
    flanks: GaugedFlanks
    px: float
    noise: float
    modes: tuple[Floats, ...]
    edge: float
    first: int

    def in_order(self, values: Floats) -> Floats:
        return np.roll(values, -self.first, axis=0)


def compute_sizes(
    measured: Measured, figures: Figures, settings: GearSettings
) -> MeasuredSizes | None:
    """Sizes that gauges would find on the measured gear; None for teeth that are no involutes.

    Parameters
    ----------
    settings : GearSettings
        With the sizes that a person measured, if any.
    """
    if not measured.involute:
        return None
    px, base = measured.scale.mm_per_px, measured.gear.base_radius
    noise = _rms(figures.noise) * base
    modes = tuple(mode.position * base for mode in figures.modes)
    source = _Source(
        measured=measured,
        flanks=gauged_flanks(measured.fits),
        px=px,
        noise=noise,
        modes=modes,
        edge=figures.edge,
        first=figures.first,
    )
    nominal = Gear(measured.gear.teeth, measured.gear.module_mm, measured.gear.rack)
    found = _spans(source, nominal)
    pin = settings.lengths_mm.get("pin_diameter", figures.pin)
    pins, note = _pins(source, nominal, pin)
    thick, height, u_height = _chords(source, nominal, figures)
    pitches = _base_pitch(source, nominal, 0), _base_pitch(source, nominal, 1)
    checks = tuple(_checks(source, nominal, settings, pins))
    return MeasuredSizes(
        spans=found,
        pins=pins,
        pin=pin,
        pins_note=note,
        chord=thick,
        chord_height=height,
        u_chord_height=u_height,
        base_pitch=pitches,
        checks=checks,
    )


def _spans(source: _Source, nominal: Gear) -> dict[int, Around]:
    """Spans about the usual count whose anvils touch within the evaluation range."""
    best = teeth_to_span(source.measured.gear)
    found = {}
    for count in range(max(best - 1, 2), best + 2):
        _, roll = spans(source.flanks, count)
        # Beyond the evaluation range lies the tip's rounding or the fillet.
        if 2 * count <= nominal.teeth + 2 and _mostly_touch(source, roll):
            found[count] = _span(source, nominal, count)
    return found


def _mostly_touch(source: _Source, roll: Floats) -> bool:
    """Tell whether most contacts lie within the part of the flanks that was measured."""
    seen = roll[np.isfinite(roll)]
    return seen.size > 0 and bool(source.flanks.touches(seen).mean() > 0.5)


def _span(source: _Source, nominal: Gear, count: int) -> Around:
    size = source.in_order(spans(source.flanks, count)[0]) * source.px
    moved = tuple(np.roll(mode[:, 1], 1 - count) - mode[:, 0] for mode in source.modes)
    mean = mean_seen(size)
    # Each anvil meets one edge; a scale that is off stretches the size as it is.
    common = edges_and_scale(source.edge, source.measured.scale, 2.0, mean)
    return Around(size, sqrt(2) * source.noise, moved, common, span_size(nominal, count))


def _pins(source: _Source, nominal: Gear, pin: float) -> tuple[Around | None, str]:
    """Size over pins round the gear, or why there is none."""
    tip = mean_seen(source.measured.tips.value) * source.px
    found = source.measured.gear
    theory = nominal_over_pins(
        replace(found, tip_radius_mm=tip) if np.isfinite(tip) else found, pin
    )
    if theory.fault:
        return None, f"A pin of {pin:.4g} mm will not serve: {theory.fault}."
    px, base = source.px, source.flanks.base_radius
    radius, angle, roll = seated_pins(source.flanks, pin / px)
    if not _mostly_touch(source, roll):
        return None, f"A pin of {pin:.4g} mm would touch beyond the part of the flanks measured."
    size = over_pins(source.in_order(radius), source.in_order(angle), pin / px) * px
    sine = sqrt(1 - min(base / mean_seen(radius), 1.0) ** 2)
    # A pin rises by 1 / sin a_M of what its two flanks close in along their normals, halved.
    own = source.noise / sine
    across = len(size)
    moved = []
    for mode in source.modes:
        rise = (mode[:, 1] - np.roll(mode[:, 0], -1)) / (2 * sine)
        z = len(rise)
        moved.append((rise + np.roll(rise, -(z // 2)))[:across])
    mean = mean_seen(size)
    # The pin itself does not grow with the scale: dM = (M - d (1 + 1 / sin a_M)) ds.
    grows = mean - pin * (1 + 1 / sine)
    common = edges_and_scale(source.edge, source.measured.scale, 2 / sine, grows)
    expected = nominal_over_pins(nominal, pin).size_mm
    return Around(size, own, tuple(moved), common, expected), ""


def _chords(source: _Source, nominal: Gear, figures: Figures) -> tuple[Around, float, float]:
    """Chordal thickness of every tooth on the reference circle, and the mean height over it."""
    radius = nominal.reference_radius
    gear, flanks = source.measured.gear, source.flanks
    circle = radius / source.px
    inv = float(involute(angle_at_radius(flanks.base_radius, circle)))
    roll = roll_length(flanks.base_radius, np.full(1, circle))
    out = float(flanks.out(0, roll)[0] + flanks.out(1, roll)[0]) / flanks.base_radius
    unwound = source.in_order(flanks.unwound)
    half = (unwound[:, 1] - unwound[:, 0] + out) / 2 - inv
    values = 2 * radius * np.sin(half)
    secant = radius / gear.base_radius
    moved = tuple((mode[:, 1] - mode[:, 0]) * secant for mode in source.modes)
    # A larger gear shows thicker teeth on a circle of fixed radius: 2 r tan a for each whole.
    grows = 2 * radius * sqrt(secant**2 - 1)
    common = edges_and_scale(source.edge, source.measured.scale, 2 * secant, grows)
    tips = source.in_order(source.measured.tips.value) * source.px
    height = tips - radius * np.cos(half)
    u_height = hypot(source.edge, mean_seen(tips) * source.measured.scale.relative_u)
    size = Around(
        values, sqrt(2) * source.noise * secant, moved, common, chord(nominal).thickness_mm
    )
    return size, mean_seen(height), u_height


def _base_pitch(source: _Source, nominal: Gear, side: int) -> Around:
    values = source.in_order(base_pitches(source.flanks)[:, side]) * source.px
    moved = tuple(mode[:, side] - np.roll(mode[:, side], 1) for mode in source.modes)
    expected = 2 * pi * nominal.base_radius / nominal.teeth
    # All edges move alike, which leaves pitches as they are; a slope of all flanks does not.
    fits = source.measured.fits
    slope = _rms(fits.u_slope[:, side]) * source.flanks.base_radius / sqrt(nominal.teeth)
    parts = source.measured.scale.relative_u, slope, common_slope_doubt(source.measured)
    common = expected * float(np.linalg.norm(parts))
    return Around(values, sqrt(2) * source.noise, moved, common, expected)


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.nanmean(values**2))) if np.isfinite(values).any() else float("nan")


def _checks(
    source: _Source, nominal: Gear, settings: GearSettings, pins: Around | None
) -> list[Check]:
    """Sizes that a person measured, beside those of the picture."""
    checks = []
    method, given = source.measured.scale.method, settings.span_mm
    if given is not None:
        fits = nearest_span(source.flanks, given[0] / source.px)
        count = given[1] or fits
        around = _span(source, nominal, count)
        checks.append(_check((count, fits), given[0], around, method == "known_span"))
    stated = settings.lengths_mm.get("over_pins")
    if stated is not None and pins is not None:
        checks.append(_check((0, 0), stated, pins, method == "known_over_pins"))
    return checks


def _check(counts: tuple[int, int], stated: float, around: Around, sets_scale: bool) -> Check:
    measured, u_measured = around.at_one_place()
    return Check(
        teeth_spanned=counts[0],
        fits=counts[1],
        stated=stated,
        u_stated=MICROMETER_U_MM,
        measured=measured,
        u_measured=u_measured,
        sets_scale=sets_scale,
    )
