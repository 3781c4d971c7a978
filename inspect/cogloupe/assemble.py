"""Put measured figures into the reading's models."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, hypot, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe.figures import Axes, Figures, flank_status
from cogloupe.flags import flag
from cogloupe.gaps import GapShape, Radii, gap_shape, theoretical_widths
from cogloupe.measure import Measured, found_floors
from cogloupe.profile import ProfileFigures
from cogloupe.rack import Gear
from cogloupe.reading import (
    SIDES,
    BudgetLine,
    Datum,
    Flank,
    Gap,
    GearInfo,
    Notice,
    PerSide,
    Profile,
    Summary,
    Tolerance,
    Tooth,
)
from cogloupe.tolerance import FlankFigures, class_range_2013
from cogloupe.tolerance import Measured as Graded
from cogloupe.uncertainty import RADIAL_ALLOWANCE, thickness_edge, total_range
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import observed_points
from cogloupe_calibration.units import MM_PER_INCH

Floats = NDArray[np.float64]


def number(value: float) -> float | None:
    """A float for the file: None where it was not measured.

    Parameters
    ----------
    value : float

    Returns
    -------
    float or None
    """
    return float(value) if np.isfinite(value) else None


def atan2_deg(angle: float) -> float | None:
    """Angle as `atan2` gives it, in degrees.

    Parameters
    ----------
    angle : float
        Rad; NaN where not measured.

    Returns
    -------
    float or None
        In (-180, 180].
    """
    return number(degrees(float(np.angle(np.exp(1j * angle))))) if np.isfinite(angle) else None


@dataclass(frozen=True)
class Shapes:
    """Tips and gaps in the order of the numbers, mm; arrays of z.

    Attributes
    ----------
    tip, floor : Radii
        Tip and floor radii about the datum.
    depth, u_depth : ndarray
    gap : GapShape
    floor_ratio, u_floor_ratio : ndarray
    """

    tip: Radii
    floor: Radii
    depth: Floats
    u_depth: Floats
    gap: GapShape
    floor_ratio: Floats
    u_floor_ratio: Floats


def work_out_shapes(measured: Measured, axes: Axes, figures: Figures) -> Shapes:
    """Tips, floors and gap shapes in millimetres.

    Parameters
    ----------
    measured : Measured
    axes : Axes
    figures : Figures

    Returns
    -------
    Shapes

    Notes
    -----
    Radii are about the datum. The theoretical gap is the stated rack's at the depth of the floor
    that was found; the floor ratio compares the two gaps' width near the floor over their width
    on the reference circle.
    """
    px, edges = measured.scale.mm_per_px, measured.outlines.outer
    module_px = measured.gear.module_mm / px
    axis = measured.fits.centre
    floor_px = found_floors(measured, axis)
    # Tips were measured about the axis of the teeth; seen from the datum each lies a little
    # further or nearer, by the offset along its own direction.
    offset = (axis - axes.datum) * px
    tooth_angle = figures.position.mean(axis=1)
    gap_angle = figures.position[:, 1] + figures.gap_width / figures.measuring_radius / 2
    relative = measured.scale.relative_u

    def in_order(values: Floats) -> Floats:
        return np.roll(values * px, -figures.first, axis=0)

    def about_datum(radii: Radii, angle: Floats) -> Radii:
        shifted = in_order(radii.value) + offset[0] * np.cos(angle) + offset[1] * np.sin(angle)
        u = np.sqrt(in_order(radii.u) ** 2 + figures.edge**2 + (relative * shifted) ** 2)
        return Radii(shifted, u)

    tip, floor = about_datum(measured.tips, tooth_angle), about_datum(floor_px, gap_angle)
    shape = gap_shape(edges, measured.teeth, axis, floor_px.value, module_px)
    shape = GapShape(*(in_order(getattr(shape, name)) for name in GapShape.__annotations__))
    depth = (tip.value + np.roll(tip.value, -1)) / 2 - floor.value
    own = np.hypot(in_order(measured.tips.u), in_order(floor_px.u))
    u_depth = np.sqrt(own**2 + 2 * figures.edge**2 + (relative * depth) ** 2)
    ratio, u_ratio = _floor_ratio(measured, figures, shape, _nanmean(in_order(floor_px.value)))
    return Shapes(tip, floor, depth, u_depth, shape, ratio, u_ratio)


def _floor_ratio(
    measured: Measured, figures: Figures, shape: GapShape, floor_mm: float
) -> tuple[Floats, Floats]:
    """Floor ratio of every gap against the gap the rack generates at the depth found."""
    gear = measured.gear
    shift = (floor_mm - gear.reference_radius) / gear.module_mm + gear.rack.dedendum
    if not np.isfinite(shift) or not -0.9 < shift < 1.5:
        nothing = np.full(gear.teeth, np.nan)
        return nothing, nothing
    at_depth = Gear(gear.teeth, gear.module_mm, gear.rack, shift)
    near, reference = theoretical_widths(at_depth)
    # The width on the reference circle, if another measuring circle was chosen, changes little
    # from gap to gap; what the radius adds is the involute's own.
    plain = Gear(gear.teeth, gear.module_mm, gear.rack)
    grown = 2 * (
        plain.half_tooth_angle(figures.measuring_radius)
        - plain.half_tooth_angle(gear.reference_radius)
    )
    width = (figures.gap_width / figures.measuring_radius + grown) * gear.reference_radius
    ratio = (shape.near_floor / width) / (near / reference)
    edge = thickness_edge(figures.edge, gear.rack.pressure_angle)
    u_near = np.hypot(shape.u_near_floor, edge) / shape.near_floor
    return ratio, np.abs(ratio) * np.hypot(u_near, edge / width)


def build_teeth(
    measured: Measured,
    figures: Figures,
    profiles: ProfileFigures,
    pitch_u: tuple[Floats, Floats],
    shapes: Shapes,
) -> tuple[Tooth, ...]:
    """Teeth of the reading.

    Parameters
    ----------
    measured, figures, profiles, shapes
        What was worked out.
    pitch_u : tuple of ndarray, shape (z, 2)
        Standard uncertainties of single and cumulative pitch, µm.

    Returns
    -------
    tuple of Tooth
    """
    status = np.roll(flank_status(measured.fits), -figures.first, axis=0)
    u_thick = thickness_uncertainty(measured, figures)
    u_position = np.sqrt(figures.noise**2 + sum(mode.position**2 for mode in figures.modes))
    u_position = np.hypot(u_position, figures.edge / measured.gear.base_radius)
    columns: dict[str, Floats] = {
        "u_position_deg": np.degrees(u_position),
        "single_pitch_um": figures.single_um,
        "u_single_pitch_um": pitch_u[0],
        "cumulative_pitch_um": figures.cumulative_um,
        "u_cumulative_pitch_um": pitch_u[1],
        "profile_total_um": profiles.total,
        "u_profile_total_um": profiles.u_total,
        "profile_form_um": profiles.form,
        "u_profile_form_um": profiles.u_form,
        "profile_slope_um": profiles.slope,
        "u_profile_slope_um": profiles.u_slope,
        "pressure_angle_deg": np.degrees(profiles.angle),
        "u_pressure_angle_deg": np.degrees(profiles.u_angle),
    }

    def flank(k: int, side: int) -> Flank:
        seen = np.isfinite(figures.position[k, side])
        values = {n: number(v[k, side]) if seen else None for n, v in columns.items()}
        position = atan2_deg(figures.position[k, side])
        return Flank(position_deg=position, status=str(status[k, side]), **values)  # type: ignore[arg-type]

    return tuple(
        Tooth(
            number=k + 1,
            centre_deg=atan2_deg(figures.position[k].mean()),
            left=flank(k, 0),
            right=flank(k, 1),
            thickness_mm=number(figures.thickness[k]),
            u_thickness_mm=number(u_thick[k]),
            tip_diameter_mm=number(2 * shapes.tip.value[k]),
            u_tip_diameter_mm=number(2 * shapes.tip.u[k]),
        )
        for k in range(measured.gear.teeth)
    )


def thickness_uncertainty(measured: Measured, figures: Figures) -> Floats:
    """Standard uncertainty of every tooth's thickness (and of the gap's width beside it), mm.

    Parameters
    ----------
    measured : Measured
    figures : Figures

    Returns
    -------
    ndarray, shape (z,)
    """
    own = np.hypot(figures.noise[:, 0], figures.noise[:, 1]) * figures.measuring_radius
    return np.asarray(np.hypot(own, _common_thickness(measured, figures)))


def _common_thickness(measured: Measured, figures: Figures) -> float:
    """Part of the thickness's uncertainty that all teeth share: edge level and scale, mm."""
    alpha = measured.gear.rack.pressure_angle
    radius = figures.measuring_radius
    mean = float(np.nanmean(figures.thickness))
    # A scale error moves the measuring circle along the flanks: ds = (s / r - 2 tan a) dr.
    by_scale = abs(mean / radius - 2 * tan(alpha)) * radius * measured.scale.relative_u
    return hypot(thickness_edge(figures.edge, alpha), by_scale)


def build_gaps(figures: Figures, shapes: Shapes, u_width: Floats) -> tuple[Gap, ...]:
    """Gaps of the reading.

    Parameters
    ----------
    figures : Figures
    shapes : Shapes
    u_width : ndarray, shape (z,)
        Standard uncertainty of the gap widths, mm.

    Returns
    -------
    tuple of Gap
    """
    edge, shape = figures.edge, shapes.gap
    columns: dict[str, Floats] = {
        "width_mm": figures.gap_width,
        "u_width_mm": u_width,
        "root_diameter_mm": 2 * shapes.floor.value,
        "u_root_diameter_mm": 2 * shapes.floor.u,
        "depth_mm": shapes.depth,
        "u_depth_mm": shapes.u_depth,
        "floor_width_mm": shape.floor_width,
        "u_floor_width_mm": np.hypot(shape.u_floor_width, 4 * edge),
        "fillet_radius_mm": shape.fillet_radius,
        "u_fillet_radius_mm": np.hypot(shape.u_fillet_radius, edge),
        "floor_ratio": shapes.floor_ratio,
        "u_floor_ratio": shapes.u_floor_ratio,
        "pin_radius_mm": figures.pin_radius,
    }
    rows = range(len(figures.gap_width))
    return tuple(Gap(number=k + 1, **{n: number(v[k]) for n, v in columns.items()}) for k in rows)


def build_summary(
    measured: Measured,
    axes: Axes,
    figures: Figures,
    profiles: ProfileFigures,
    pitch_u: tuple[Floats, Floats],
    shapes: Shapes,
) -> Summary:
    """The gear in a few figures.

    Parameters
    ----------
    measured, axes, figures, profiles, pitch_u, shapes
        What was worked out.

    Returns
    -------
    Summary
    """
    worst, u_worst = _largest(np.abs(figures.single_um), pitch_u[0])
    total, u_total = cumulative_total(figures)
    spread = [_spread(figures.single_um[:, s], figures, s) for s in (0, 1)]
    runout, u_runout = total_range(figures.pin_radius, figures.u_pin, figures.pin_modes)
    bore_seen = axes.kind == "bore"
    vector, u_vector = figures.eccentricity, figures.u_eccentricity
    resolved = abs(vector) > 0
    z = measured.gear.teeth
    common = _common_thickness(measured, figures)
    own = float(np.nanmean(figures.noise)) * figures.measuring_radius * sqrt(2 / z)
    slope = [_mean(profiles.slope[:, s], profiles.u_slope[:, s], measured) for s in (0, 1)]
    angle, u_angle = _mean(profiles.angle.ravel(), profiles.u_angle.ravel(), measured)
    tip, floor = shapes.tip, shapes.floor
    return Summary(
        single_pitch_max_um=number(worst),
        u_single_pitch_max_um=number(u_worst),
        cumulative_pitch_total_um=number(total),
        u_cumulative_pitch_total_um=number(u_total),
        spacing_spread_um=_sides([s[0] for s in spread]),
        u_spacing_spread_um=_sides([s[1] for s in spread]),
        spacing_range_um=_sides([s[2] for s in spread]),
        u_spacing_range_um=_sides([s[3] for s in spread]),
        runout_um=number(1000 * runout),
        u_runout_um=number(1000 * u_runout),
        pin_diameter_mm=figures.pin,
        eccentricity_um=number(1000 * abs(vector)) if bore_seen else None,
        u_eccentricity_um=number(1000 * u_vector) if bore_seen else None,
        eccentricity_direction_deg=(
            atan2_deg(float(np.angle(vector))) if bore_seen and resolved else None
        ),
        u_eccentricity_direction_deg=(
            number(min(degrees(u_vector / abs(vector)), 180.0)) if bore_seen and resolved else None
        ),
        thickness_mean_mm=number(_nanmean(figures.thickness)),
        u_thickness_mean_mm=number(hypot(own, common)),
        gap_width_mean_mm=number(_nanmean(figures.gap_width)),
        u_gap_width_mean_mm=number(hypot(own, common)),
        tip_diameter_mean_mm=number(2 * _nanmean(tip.value)),
        u_tip_diameter_mean_mm=number(2 * _nanmean(tip.u)),
        root_diameter_mean_mm=number(2 * _nanmean(floor.value)),
        u_root_diameter_mean_mm=number(2 * _nanmean(floor.u)),
        depth_mean_mm=number(_nanmean(shapes.depth)),
        u_depth_mean_mm=number(_nanmean(shapes.u_depth)),
        floor_ratio_mean=number(_nanmean(shapes.floor_ratio)),
        u_floor_ratio_mean=number(_nanmean(shapes.u_floor_ratio)),
        profile_slope_mean_um=_sides([s[0] for s in slope]),
        u_profile_slope_mean_um=_sides([s[1] for s in slope]),
        pressure_angle_mean_deg=number(degrees(angle)),
        u_pressure_angle_mean_deg=number(degrees(u_angle)),
    )


def _nanmean(values: Floats) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")


def _sides(values: Sequence[float]) -> PerSide:
    return PerSide(left=number(values[0]), right=number(values[1]))


def _largest(values: Floats, u: Floats) -> tuple[float, float]:
    if not np.isfinite(values).any():
        return float("nan"), float("nan")
    place = int(np.nanargmax(values))
    return float(values.ravel()[place]), float(u.ravel()[place])


def cumulative_total(figures: Figures) -> tuple[float, float]:
    """Total cumulative pitch deviation of the worse flank side, with its standard uncertainty.

    Parameters
    ----------
    figures : Figures

    Returns
    -------
    value, u : float
        µm.
    """
    scale = 1000 * figures.measuring_radius
    both = []
    for side in (0, 1):
        noise = float(np.sqrt(np.nanmean(figures.noise[:, side] ** 2))) * scale
        modes = tuple(mode.position[:, side] * scale for mode in figures.modes)
        both.append(total_range(figures.cumulative_um[:, side], noise, modes))
    known = [pair for pair in both if np.isfinite(pair[0])]
    return max(known, default=(float("nan"), float("nan")))


def _spread(single: Floats, figures: Figures, side: int) -> tuple[float, float, float, float]:
    """Standard deviation and range of a side's pitches, each with its standard uncertainty.

    Edge noise alone gives both a size; half the amount by which it can have raised them is in
    the uncertainty.
    """
    if not np.isfinite(single).any():
        return (float("nan"),) * 4
    scale = 1000 * figures.measuring_radius
    n = int(np.isfinite(single).sum())
    noise = float(np.sqrt(2 * np.nanmean(figures.noise[:, side] ** 2))) * scale
    lens = [np.nanstd(np.diff(m.position[:, side])) * scale for m in figures.modes]
    spread = float(np.nanstd(single))
    raised = spread - sqrt(max(spread**2 - noise**2, 0.0))
    u_spread = sqrt((raised / 2) ** 2 + noise**2 / (2 * n) + sum(v**2 for v in lens))
    whole = float(np.nanmax(single) - np.nanmin(single))
    chance = 1.64 * sqrt(2 * np.log(n)) * noise
    raised = whole - sqrt(max(whole**2 - chance**2, 0.0))
    u_whole = sqrt((raised / 2) ** 2 + 2 * noise**2 + sum((3 * v) ** 2 for v in lens))
    return spread, u_spread, whole, u_whole


def _mean(values: Floats, u: Floats, measured: Measured) -> tuple[float, float]:
    """Mean over teeth; what the teeth do not share averages out, the scale does not."""
    n = int(np.isfinite(values).sum())
    if n == 0:
        return float("nan"), float("nan")
    return float(np.nanmean(values)), float(np.sqrt(np.nanmean(u**2)))


def build_tolerance(measured: Measured, summary: Summary, teeth: Sequence[Tooth]) -> Tolerance:
    """Tolerance classes of ISO 1328-1:2013.

    Parameters
    ----------
    measured : Measured
    summary : Summary
    teeth : sequence of Tooth

    Returns
    -------
    Tolerance
    """

    def worst(name: str) -> Graded:
        seen = [
            (abs(value), getattr(flank, f"u_{name}"))
            for tooth in teeth
            for flank in (tooth.left, tooth.right)
            if (value := getattr(flank, name)) is not None
        ]
        return _graded(*max(seen)) if seen else Graded()

    return class_range_2013(
        measured.gear.module_mm,
        measured.gear.teeth,
        FlankFigures(
            _graded(summary.single_pitch_max_um, summary.u_single_pitch_max_um),
            _graded(summary.cumulative_pitch_total_um, summary.u_cumulative_pitch_total_um),
            worst("profile_total_um"),
            worst("profile_form_um"),
            worst("profile_slope_um"),
            _graded(summary.runout_um, summary.u_runout_um),
        ),
    )


def _graded(value: float | None, u: float | None) -> Graded:
    return Graded(value, 2 * u if u is not None else None)


def build_budget(measured: Measured, figures: Figures) -> tuple[BudgetLine, ...]:
    """Uncertainty budget of the main figures, one line a source.

    Parameters
    ----------
    measured : Measured
    figures : Figures

    Returns
    -------
    tuple of BudgetLine
        Contributions are standard uncertainties (k = 1) in the figure's unit.
    """
    um = 1000 * figures.measuring_radius
    noise = float(np.sqrt(np.nanmean(figures.noise**2)))
    fits = measured.fits
    value = f"{fits.scatter:.3f} px a point"
    lines = [
        BudgetLine(
            figure="single pitch", source="edge noise and fit", value=value,
            distribution="normal", sensitivity="two flanks", contribution=noise * sqrt(2) * um,
            unit="um",
        ),
        BudgetLine(
            figure="cumulative pitch", source="edge noise and fit", value=value,
            distribution="normal", sensitivity="two flanks", contribution=noise * sqrt(2) * um,
            unit="um",
        ),
    ]  # fmt: skip
    for mode in figures.modes:
        step = mode.position - np.roll(mode.position, 1, axis=0)
        whole = np.nanmax(mode.position, axis=0) - np.nanmin(mode.position, axis=0)
        for figure, size in (
            ("single pitch", np.nanmax(np.abs(step))), ("cumulative pitch", np.max(whole)),
        ):  # fmt: skip
            lines.append(
                BudgetLine(
                    figure=figure, source=mode.name, value=mode.size + " at the frame's edge",
                    distribution="normal", sensitivity="where the teeth lie in the picture",
                    contribution=float(size) * um, unit="um",
                )
            )  # fmt: skip
    alpha = measured.gear.rack.pressure_angle
    lines.append(
        BudgetLine(
            figure="tooth thickness", source="edge level",
            value=f"{figures.edge / measured.scale.mm_per_px:.3f} px an edge",
            distribution="normal", sensitivity="2 / cos a",
            contribution=1000 * thickness_edge(figures.edge, alpha), unit="um",
        )
    )  # fmt: skip
    lines.append(
        BudgetLine(
            figure="diameters", source="scale",
            value=f"{100 * measured.scale.relative_u:.2g} % ({measured.scale.method})",
            distribution="normal", sensitivity="the diameter",
            contribution=2000 * figures.measuring_radius * measured.scale.relative_u, unit="um",
        )
    )  # fmt: skip
    return tuple(lines)


def build_gear(measured: Measured) -> GearInfo:
    """What the teeth were compared with.

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    GearInfo
    """
    gear, fits, px = measured.gear, measured.fits, measured.scale.mm_per_px
    return GearInfo(
        teeth=gear.teeth,
        module_mm=gear.module_mm,
        diametral_pitch=MM_PER_INCH / gear.module_mm,
        pressure_angle_deg=degrees(gear.rack.pressure_angle),
        profile_shift=gear.profile_shift,
        measuring_diameter_mm=2 * fits.involute.measuring_radius * px,
        source="given" if measured.source == "given" else "estimated",
        rack=gear.rack.name,
        module_seen_mm=measured.module_seen.px * px,
        u_module_seen_mm=measured.module_seen.u_px * px,
    )


def build_datum(measured: Measured, axes: Axes, lens: Lens | None) -> Datum:
    """The datum and the other axes.

    Parameters
    ----------
    measured : Measured
    axes : Axes

    Returns
    -------
    Datum
    """
    bore, px = measured.bore, measured.scale.mm_per_px

    def pair(axis: Floats | None) -> tuple[float, float] | None:
        if axis is None:
            return None
        x, y = axis if lens is None else observed_points(lens, axis)
        return float(x), float(y)

    datum = pair(axes.datum)
    assert datum is not None  # a datum was chosen
    u = None
    if bore is not None:
        edge = hypot(measured.outlines.u_level_px, 0.03 * measured.outlines.blur_px)
        u = 2 * hypot(bore.u_radius, edge) * px
        u = hypot(u, 2 * bore.radius * measured.scale.u_mm_per_px)
    return Datum(
        kind=axes.kind,
        x_px=datum[0],
        y_px=datum[1],
        bore_xy_px=pair(axes.bore),
        teeth_xy_px=pair(axes.teeth),
        tips_xy_px=pair(axes.tips),
        bore_diameter_mm=2 * bore.radius * px if bore is not None else None,
        u_bore_diameter_mm=u,
    )


def build_profile(profiles: ProfileFigures) -> Profile:
    """Mean profile of each side.

    Parameters
    ----------
    profiles : ProfileFigures

    Returns
    -------
    Profile
    """
    with np.errstate(invalid="ignore"):
        count = np.isfinite(profiles.trace).sum(axis=0)
        mean = np.where(count > 0, np.nansum(profiles.trace, axis=0) / np.maximum(count, 1), np.nan)
    return Profile(
        roll_length_mm=tuple(float(v) for v in profiles.roll),
        left_um=tuple(number(v) for v in mean[0]),
        right_um=tuple(number(v) for v in mean[1]),
    )


def build_notices(
    measured: Measured, axes: Axes, teeth: Sequence[Tooth], lens_measured: bool
) -> tuple[Notice, ...]:
    """What a person should know about the reading.

    Parameters
    ----------
    measured : Measured
    axes : Axes
    teeth : sequence of Tooth
    lens_measured : bool
        False where the calibration knows nothing of the lens.

    Returns
    -------
    tuple of Notice
    """
    notices = list(measured.notices)
    if axes.bore is None:
        notices.append(flag("no_bore"))
    elif measured.bore is not None and measured.bore.rms > max(0.3, 0.005 * measured.bore.radius):
        um = 1000 * measured.bore.rms * measured.scale.mm_per_px
        notices.append(flag("bore_not_round", um=um))
    for status in ("obstructed", "partial", "not_seen"):
        numbers = tuple(t.number for t in teeth if status in {getattr(t, s).status for s in SIDES})
        if numbers:
            notices.append(flag(status, teeth=numbers))
    if not lens_measured:
        notices.append(flag("lens_not_measured", percent=100 * RADIAL_ALLOWANCE * sqrt(3)))
    return tuple(notices)
