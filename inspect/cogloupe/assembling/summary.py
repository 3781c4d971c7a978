"""The gear in a few figures, and its tolerance classes."""

from collections.abc import Sequence
from math import degrees, hypot, pi

import numpy as np

from cogloupe.assembling.shapes_and_sizes import floor_ratio_mean, per_side, profile_summary
from cogloupe.evaluation.budget import Judged, pitch_draws, u_direction
from cogloupe.evaluation.pitch_and_runout import Figures, counted
from cogloupe.evaluation.profile import ProfileFigures
from cogloupe.evaluation.shapes import Shapes
from cogloupe.evaluation.tolerance import (
    EDITION_1995,
    EDITION_2013,
    FlankFigures,
    Graded,
    class_range,
)
from cogloupe.fits.datum import Axes
from cogloupe.fits.measured_gear import Measured
from cogloupe.numerics.angles import atan2_deg
from cogloupe.numerics.missing import mean_seen, number
from cogloupe.reading.models import Summary, Tolerance, Tooth
from cogloupe.uncertainty.combination import of_draws
from cogloupe_calibration.arrays import Floats

LARGEST = ("single_pitch_max_um", "cumulative_pitch_total_um", "runout_um")


def build_summary(
    measured: Measured,
    axes: Axes,
    figures: Figures,
    profiles: ProfileFigures,
    judged: dict[str, Judged],
    shapes: Shapes,
) -> Summary:
    """The gear in a few figures.

    Parameters
    ----------
    measured, axes, figures, profiles, judged, shapes
        What was worked out.
    """
    worst, total, runout = (judged[name] for name in LARGEST)
    clear = counted(figures)
    drawn = pitch_draws(clear)
    spread, u_spread, whole, u_whole = np.transpose(
        [_spread(clear.single_um[:, s], drawn[s], figures, s) for s in (0, 1)]
    )
    bore_seen = axes.kind == "bore"
    direction, u_of_direction = _direction(measured, figures) if bore_seen else (None, None)
    thickness, u_thickness = judged["thickness_mean_mm"].value, judged["thickness_mean_mm"].u
    pitch_mm = 2 * pi * figures.measuring_radius / len(figures.position)
    ratio, u_ratio = floor_ratio_mean(shapes)
    angle, u_angle = profiles.angle_mean
    tip, floor = shapes.tip, shapes.floor
    return Summary(
        single_pitch_max_um=number(worst.value),
        u_single_pitch_max_um=number(worst.u),
        cumulative_pitch_total_um=number(total.value),
        u_cumulative_pitch_total_um=number(total.u),
        spacing_spread_um=per_side(spread),
        u_spacing_spread_um=per_side(u_spread),
        spacing_range_um=per_side(whole),
        u_spacing_range_um=per_side(u_whole),
        runout_um=number(runout.value),
        u_runout_um=number(runout.u),
        pin_diameter_mm=figures.pin,
        eccentricity_um=number(1000 * abs(figures.eccentricity)) if bore_seen else None,
        u_eccentricity_um=number(judged["eccentricity_um"].u) if bore_seen else None,
        eccentricity_direction_deg=direction,
        u_eccentricity_direction_deg=u_of_direction,
        thickness_mean_mm=number(thickness),
        u_thickness_mean_mm=number(u_thickness),
        gap_width_mean_mm=number(pitch_mm - thickness),
        u_gap_width_mean_mm=number(u_thickness),
        tip_diameter_mean_mm=number(2 * mean_seen(tip.value)),
        u_tip_diameter_mean_mm=number(2 * mean_seen(tip.u)),
        root_diameter_mean_mm=number(2 * mean_seen(floor.value)),
        u_root_diameter_mean_mm=number(2 * mean_seen(floor.u)),
        depth_mean_mm=number(mean_seen(shapes.depth)),
        u_depth_mean_mm=number(mean_seen(shapes.u_depth)),
        floor_ratio_mean=number(ratio),
        u_floor_ratio_mean=number(u_ratio),
        pressure_angle_mean_deg=number(degrees(angle)),
        u_pressure_angle_mean_deg=number(degrees(u_angle)),
        **profile_summary(profiles),
    )


def _direction(measured: Measured, figures: Figures) -> tuple[float | None, float | None]:
    """Direction of the eccentricity and its standard uncertainty, degrees; none without one."""
    if not abs(figures.eccentricity) > 0:
        return None, None
    u = degrees(u_direction(measured, figures))
    return atan2_deg(float(np.angle(figures.eccentricity))), number(min(u, 180.0))


def _spread(
    single: Floats, drawn: Floats, figures: Figures, side: int
) -> tuple[float, float, float, float]:
    """Standard deviation and range of a side's pitches, each with its standard uncertainty."""
    if not np.isfinite(single).any():
        return (float("nan"),) * 4
    scale = 1000 * figures.measuring_radius
    lens = [np.nanstd(np.diff(m.position[:, side])) * scale for m in figures.modes]
    spread, whole = float(np.nanstd(single)), float(np.nanmax(single) - np.nanmin(single))
    own_spread = of_draws(spread, np.nanstd(drawn, axis=1))
    own_whole = of_draws(whole, np.nanmax(drawn, axis=1) - np.nanmin(drawn, axis=1))
    return spread, hypot(own_spread, *lens), whole, hypot(own_whole, *(3 * v for v in lens))


def build_tolerance(
    measured: Measured, summary: Summary, teeth: Sequence[Tooth], edition: str = "2013"
) -> Tolerance:
    """Tolerance classes of ISO 1328-1.

    Parameters
    ----------
    edition : {'2013', '1995'}
    """
    if not measured.involute:
        return Tolerance(
            standard="ISO 1328-1",
            note=f"ISO 1328-1 has no classes for {measured.wheel.flank.name} teeth.",
        )

    def worst(name: str) -> Graded:
        seen = [
            (abs(value), getattr(flank, f"u_{name}"))
            for tooth in teeth
            for flank in (tooth.left, tooth.right)
            if (value := getattr(flank, name)) is not None
        ]
        return _graded(*max(seen)) if seen else Graded()

    return class_range(
        EDITION_1995 if edition == "1995" else EDITION_2013,
        measured.gear.module_mm,
        measured.gear.teeth,
        FlankFigures(
            single_pitch=_graded(summary.single_pitch_max_um, summary.u_single_pitch_max_um),
            cumulative_pitch=_graded(
                summary.cumulative_pitch_total_um, summary.u_cumulative_pitch_total_um
            ),
            profile_total=worst("profile_total_um"),
            profile_form=worst("profile_form_um"),
            profile_slope=worst("profile_slope_um"),
            runout=_graded(summary.runout_um, summary.u_runout_um),
        ),
    )


def _graded(value: float | None, u: float | None) -> Graded:
    return Graded(value, 2 * u if u is not None else None)
