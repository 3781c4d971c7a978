"""Put gap shapes, profiles and gauged sizes into the reading's models."""

from math import degrees, hypot
from typing import Any

import numpy as np

from cogloupe.evaluation.gap_shape import PerGap
from cogloupe.evaluation.measured_sizes import Around, Check, MeasuredSizes
from cogloupe.evaluation.pitch_and_runout import Figures, common_thickness
from cogloupe.evaluation.profile import ProfileFigures, SideFigure
from cogloupe.evaluation.shapes import Shapes
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.gap_theory import flank_limits
from cogloupe.forms.rack import Gear
from cogloupe.numerics.missing import mean_seen, number
from cogloupe.reading.models import (
    ChordSize,
    Gap,
    GapMean,
    GapTheory,
    PerSide,
    PinSize,
    Profile,
    SizeAround,
    SizeCheck,
    Sizes,
    SpanSize,
)
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats

_NAMES = {
    "tip_width_mm": ("tip", 1.0),
    "form_width_mm": ("form", 1.0),
    "near_floor_width_mm": ("near_floor", 1.0),
    "floor_width_mm": ("floor", 1.0),
    "floor_flatness_um": ("flatness", 1000.0),
    "fillet_radius_mm": ("fillet", 1.0),
    "lean_deg": ("lean", degrees(1.0)),
}
"""Fields of the reading: the shape's figure behind each, and its unit in mm or rad."""


def build_gaps(measured: Measured, figures: Figures, shapes: Shapes) -> tuple[Gap, ...]:
    """Gaps of the reading."""
    columns: dict[str, Floats] = {
        "root_diameter_mm": 2 * shapes.floor.value,
        "u_root_diameter_mm": 2 * shapes.floor.u,
        "depth_mm": shapes.depth,
        "u_depth_mm": shapes.u_depth,
        "pin_radius_mm": figures.pin_radius,
    }
    for name, (figure, unit) in _per_gap(measured, figures, shapes).items():
        columns |= {name: figure.value * unit, f"u_{name}": figure.u * unit}
    rows = range(len(figures.gap_width))
    return tuple(Gap(number=k + 1, **{n: number(v[k]) for n, v in columns.items()}) for k in rows)


def _per_gap(
    measured: Measured, figures: Figures, shapes: Shapes
) -> dict[str, tuple[PerGap, float]]:
    """Figures of every gap by their field, and what turns them into its unit."""
    nothing = np.full(len(figures.gap_width), np.nan)
    none = PerGap(nothing, nothing, float("nan"), float("nan"))
    found = {
        name: (none if shapes.gap is None else getattr(shapes.gap, source), unit)
        for name, (source, unit) in _NAMES.items()
    }
    own = np.hypot(figures.noise[:, 1], np.roll(figures.noise[:, 0], -1))
    common = common_thickness(measured, figures)
    width = PerGap(figures.gap_width, own * figures.measuring_radius, common, float("nan"))
    return found | {"width_mm": (width, 1.0), "floor_ratio": (shapes.floor_ratio or none, 1.0)}


def build_gap_mean(measured: Measured, figures: Figures, shapes: Shapes) -> GapMean:
    """Mean shape of the gaps."""
    found: dict[str, float | None] = {
        "depth_mm": number(mean_seen(shapes.depth)),
        "u_depth_mm": number(mean_seen(shapes.u_depth)),
    }
    for name, (figure, unit) in _per_gap(measured, figures, shapes).items():
        if name in GapMean.model_fields:
            mean, u = figure.mean()
            found |= {name: number(mean * unit), f"u_{name}": number(u * unit)}
    return GapMean(**found)


def floor_ratio_mean(shapes: Shapes) -> tuple[float, float]:
    """Mean floor ratio and its standard uncertainty; NaN where there is none.

    Returns
    -------
    value, u : float
    """
    return (float("nan"), float("nan")) if shapes.floor_ratio is None else shapes.floor_ratio.mean()


def build_gap_theory(measured: Measured, figures: Figures, shapes: Shapes) -> GapTheory | None:
    """The theoretical gap and what limits the use of the flanks.

    None where the floors lie where the stated tooth has none.
    """
    theory, shape = shapes.theory, shapes.gap
    if theory is None or shape is None:
        return None
    wheel, stated = theory.wheel, measured.wheel
    known: dict[str, Any] = {"profile_shift": None, "depth_mm": None}
    if isinstance(wheel, Gear) and isinstance(stated, Gear):
        limits = flank_limits(wheel, stated.profile_shift)
        known = {
            "profile_shift": wheel.profile_shift,
            "depth_mm": (wheel.rack.addendum + wheel.rack.dedendum) * wheel.module_mm,
            "undercut": limits.undercut,
            "rack_contact_diameter_mm": limits.rack_diameter,
            "rack_contact_margin_mm": limits.margin,
            "u_rack_contact_margin_mm": number(_u_margin(measured, figures, shapes)),
        }
    return GapTheory(
        tip_diameter_mm=2 * wheel.tip_radius,
        form_diameter_mm=2 * wheel.form_radius,
        near_floor_diameter_mm=2 * shape.near_floor.radius,
        root_diameter_mm=2 * wheel.root_radius,
        tip_width_mm=shape.tip.theory,
        width_mm=theory.width(figures.measuring_radius),
        form_width_mm=shape.form.theory,
        near_floor_width_mm=shape.near_floor.theory,
        floor_width_mm=shape.floor.theory,
        fillet_radius_mm=number(shape.fillet.theory),
        **known,
    )


def _u_margin(measured: Measured, figures: Figures, shapes: Shapes) -> float:
    """Standard uncertainty of the length of roll between rack contact and form circle.

    A floor that is out by dr moves the form circle by dr / sin a along the roll, a tooth that is
    thicker by ds moves the rack out by ds / (2 tan a), and that the contact by 1 / sin a.
    """
    alpha = measured.gear.rack.pressure_angle
    floor = mean_seen(shapes.floor.u)
    rack = common_thickness(measured, figures) / (2 * np.tan(alpha))
    return hypot(floor, rack) / float(np.sin(alpha))


def build_profile(measured: Measured, profiles: ProfileFigures) -> Profile:
    """Mean profile of each side, and the range it was evaluated over."""
    left, right = profiles.mean_trace
    return Profile(
        roll_length_mm=tuple(float(v) for v in profiles.roll),
        left_um=tuple(number(v) for v in left),
        right_um=tuple(number(v) for v in right),
        start_roll_mm=profiles.roll_range[0],
        end_roll_mm=profiles.roll_range[1],
        start_diameter_mm=profiles.diameters[0],
        end_diameter_mm=profiles.diameters[1],
        form_diameter_mm=2 * measured.wheel.form_radius,
        total_um=per_side(profiles.mean_total.mean),
        u_total_um=per_side(profiles.mean_total.u),
        form_um=per_side(profiles.mean_form.mean),
        u_form_um=per_side(profiles.mean_form.u),
    )


def per_side(values: Floats) -> PerSide:
    """Figures of both sides for the file.

    Parameters
    ----------
    values : ndarray, shape (2,)
    """
    return PerSide(left=number(values[0]), right=number(values[1]))


def profile_summary(profiles: ProfileFigures) -> dict[str, PerSide]:
    """Fields of the summary that profiles fill, side by side."""

    def named(stem: str, unit: str, figure: SideFigure, factor: float = 1.0) -> dict[str, PerSide]:
        mean = f"{stem}_mean_{unit}"
        return {mean: per_side(figure.mean * factor), f"u_{mean}": per_side(figure.u * factor)}

    degree = degrees(1.0)
    return {
        **named("profile_total", "um", profiles.totals),
        **named("profile_form", "um", profiles.forms),
        **named("profile_slope", "um", profiles.slopes),
        **named("pressure_angle_side", "deg", profiles.angles, degree),
        "profile_slope_spread_um": per_side(profiles.slopes.spread),
        "pressure_angle_spread_deg": per_side(profiles.angles.spread * degree),
    }


def build_sizes(sizes: MeasuredSizes | None) -> Sizes | None:
    """Gauged sizes of the reading."""
    if sizes is None:
        return None
    pins = sizes.pins
    left, right = (SizeAround(**_around(pitch)) for pitch in sizes.base_pitch)
    return Sizes(
        spans=tuple(SpanSize(teeth_spanned=k, **_around(v)) for k, v in sizes.spans.items()),
        over_pins=None if pins is None else PinSize(pin_diameter_mm=sizes.pin, **_around(pins)),
        pins_note=sizes.pins_note,
        chord=ChordSize(
            height_mm=number(sizes.chord_height), u_height_mm=number(sizes.u_chord_height),
            **_around(sizes.chord),
        ),
        base_pitch_left=left,
        base_pitch_right=right,
        checks=tuple(_check(check, sizes.pin) for check in sizes.checks),
    )  # fmt: skip


def size_notices(sizes: Sizes | None) -> tuple[Notice, ...]:
    """Say where a micrometer's reading and the picture contradict each other."""
    return tuple(
        flag(
            "size_differs", um=check.difference_um, limit=2 * (check.u_difference_um or 0.0),
            what=f"span over {check.teeth_spanned} teeth" if check.teeth_spanned
            else f"size over pins of {check.pin_diameter_mm:.4g} mm",
        )
        for check in (sizes.checks if sizes is not None else ())
        if check.agrees is False
    )  # fmt: skip


def _around(size: Around) -> dict[str, Any]:
    (mean, u), (spread, u_spread) = size.mean(), size.range()
    seen = size.values[np.isfinite(size.values)]
    return {
        "mean_mm": number(mean),
        "u_mean_mm": number(u),
        "least_mm": float(seen.min()) if seen.size else None,
        "most_mm": float(seen.max()) if seen.size else None,
        "range_um": number(1000 * spread),
        "u_range_um": number(1000 * u_spread),
        "nominal_mm": size.nominal,
        "places": size.seen,
    }


def _check(check: Check, pin: float) -> SizeCheck:
    difference = check.stated - check.measured
    u = hypot(check.u_stated, check.u_measured)
    return SizeCheck(
        kind="span" if check.teeth_spanned else "over_pins",
        teeth_spanned=check.teeth_spanned or None,
        fits_teeth=check.fits or None,
        pin_diameter_mm=None if check.teeth_spanned else pin,
        stated_mm=check.stated,
        u_stated_mm=check.u_stated,
        measured_mm=number(check.measured),
        u_measured_mm=number(check.u_measured),
        difference_um=number(1000 * difference),
        u_difference_um=number(1000 * u),
        agrees=None if check.sets_scale or not np.isfinite(u) else bool(abs(difference) <= 2 * u),
    )
