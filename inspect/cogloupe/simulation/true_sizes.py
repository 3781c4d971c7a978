"""Measures the gear as cut, by the same definitions a reading uses.

The analytic flanks are intersected with the measuring circle about the datum axis; no error
formula is used.
"""

from dataclasses import dataclass, replace
from math import degrees, pi, sqrt
from typing import SupportsFloat

import numpy as np
from numpy.typing import ArrayLike

from cogloupe.forms.check_sizes import STANDARD_PIN
from cogloupe.forms.clock_wheel import addendum_sizes
from cogloupe.forms.gap_theory import FURTHEST_SHIFTS
from cogloupe.forms.involute import pin_centre_radius
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.simulation.body import floor_corners
from cogloupe.simulation.cutting import CutGear, crossing_angles
from cogloupe.simulation.truth import (
    TrueFlank,
    TrueGap,
    TrueGear,
    TrueProfile,
    TrueSummary,
    TrueTable,
    TrueTooth,
)
from cogloupe_calibration.arrays import Floats

# Height above the theoretical root, in modules, at which the width near the floor is taken.
FLOOR_HEIGHT_MODULES = 0.25
Pitches = tuple[Floats, Floats]
"""Single and cumulative pitch deviations of one flank side, (z,) each, um."""


@dataclass(frozen=True)
class Details:
    """What the flank lines do not tell, in the order of the gear's numbers.

    Attributes
    ----------
    lowest : ndarray, shape (z,)
        Distance of each gap's lowest point from the teeth's axis, mm.
    floor_width : ndarray, shape (z,)
        Length of each gap's flat floor, mm.
    floor_ratio : ndarray, shape (z,)
        (Width near the floor / width at the reference circle), as cut over as drawn; NaN where
        the floor is above that height.
    form : ndarray, shape (2, z)
        Profile form deviation of left and right flanks, um.
    """

    lowest: Floats
    floor_width: Floats
    floor_ratio: Floats
    form: Floats


def pitch_deviations(position: Floats, radius_mm: float) -> tuple[Floats, Floats]:
    """Single and cumulative pitch deviations, um, of one flank side at polar angles (z,), rad.

    Teeth run clockwise; tooth 1's single deviation is that from tooth z, its cumulative one is 0.
    """
    pitch = np.mod(position - np.roll(position, 1), 2 * pi)
    single = (pitch - 2 * pi / len(position)) * radius_mm * 1000
    return single, np.cumsum(single) - single[0]


def drawn_details(gear: CutGear) -> Details:
    """Details of a gear whose gaps are the rack's, moved flank by flank."""
    extra = np.roll(gear.left_offset, -1) - gear.right_offset
    lowest, inset = floor_corners(gear)
    return Details(
        lowest=lowest,
        floor_width=(inset.sum(axis=0) + extra) * lowest,
        floor_ratio=_floor_ratios(gear, extra, lowest),
        form=np.zeros((2, gear.wheel.teeth)),
    )


def table(gear: CutGear, datum: str, details: Details | None = None) -> TrueTable:
    """Measure the gear as cut about the bore's axis, or the one the teeth were made about."""
    details = details or drawn_details(gear)
    axis = gear.axis if datum == "teeth" else np.zeros(2)
    radius = gear.wheel.reference_radius
    left, right = crossing_angles(gear, axis, radius)
    sides = [pitch_deviations(position, radius) for position in (left, right)]
    teeth = _teeth(gear, axis, (left, right), sides, details.form)
    gaps, pins = _gaps(gear, axis, (left, right), details)
    return TrueTable(
        datum=datum,
        axis_mm=(_round(axis[0]), _round(axis[1])),
        teeth=teeth,
        gaps=gaps,
        summary=_summary(gear, sides, teeth, gaps, pins),
    )


def _round(value: SupportsFloat, digits: int = 6) -> float:
    return round(float(value), digits)


def _degrees(angle: float) -> float:
    """Polar angle in degrees, -180 to 180."""
    return _round(degrees(np.arctan2(np.sin(angle), np.cos(angle))), 8)


def _teeth(
    gear: CutGear, axis: Floats, position: tuple[Floats, Floats], sides: list[Pitches], form: Floats
) -> tuple[TrueTooth, ...]:
    left, right = position
    thick = np.mod(right - left, 2 * pi)
    centre = left + thick / 2
    tips = 2 * _distance_along(gear.tip_axis - axis, centre, gear.made.tip_radius)
    flanks = [
        _flanks(*parts) for parts in zip(position, sides, flank_slopes(gear), form, strict=True)
    ]
    return tuple(
        TrueTooth(
            number=k + 1,
            centre_deg=_degrees(centre[k]),
            left=flanks[0][k],
            right=flanks[1][k],
            thickness_mm=_round(thick[k] * gear.wheel.reference_radius),
            tip_diameter_mm=_round(tips[k]),
        )
        for k in range(gear.wheel.teeth)
    )


def _flanks(where: Floats, pitches: Pitches, slope: Floats, form: Floats) -> list[TrueFlank]:
    """Flanks of one side."""
    single, cumulative = pitches
    return [
        TrueFlank(
            position_deg=_degrees(where[k]),
            single_pitch_um=_round(single[k]),
            cumulative_pitch_um=_round(cumulative[k]),
            profile_slope_um=_round(slope[k]),
            profile_form_um=_round(form[k]),
        )
        for k in range(len(where))
    ]


def _distance_along(offset: Floats, angle: Floats, radius: ArrayLike) -> Floats:
    """Distance from the datum to a circle whose centre is offset, along polar angles."""
    along = offset[0] * np.cos(angle) + offset[1] * np.sin(angle)
    return np.asarray(along + np.sqrt(np.square(radius) - (offset @ offset - along**2)))


def _gaps(
    gear: CutGear, axis: Floats, position: tuple[Floats, Floats], details: Details
) -> tuple[tuple[TrueGap, ...], Floats]:
    """Gap figures, and the seated pins' centres about the datum, shape (z, 2) (NaN for none)."""
    wide = np.mod(np.roll(position[0], -1) - position[1], 2 * pi)
    middle = position[1] + wide / 2
    root = 2 * _distance_along(gear.axis - axis, middle, details.lowest)
    ratio = details.floor_ratio
    pins = _pin_centres(gear) + gear.axis - axis
    seat = np.hypot(*pins.T)
    gaps = tuple(
        TrueGap(
            number=k + 1,
            width_mm=_round(wide[k] * gear.wheel.reference_radius),
            root_diameter_mm=_round(root[k]),
            floor_width_mm=_round(details.floor_width[k]),
            floor_ratio=None if np.isnan(ratio[k]) else _round(ratio[k]),
            pin_radius_mm=None if np.isnan(seat[k]) else _round(seat[k]),
        )
        for k in range(gear.wheel.teeth)
    )
    return gaps, pins


def gap_angle(gear: Wheel, radius: float) -> float:
    """Angle from flank to flank, rad, of the drawn gap at a radius, mm, flank or fillet alike."""
    radii, angles = gear.half_gaps(2000, 2000)
    return float(sum(np.interp(radius, radii, angle) for angle in angles))


def _floor_ratios(gear: CutGear, extra: Floats, lowest: Floats) -> Floats:
    """(Width near the floor / that at the reference circle), as cut over as drawn at that depth."""
    above = FLOOR_HEIGHT_MODULES * gear.wheel.module_mm
    high = gear.wheel.reference_radius
    near = np.array([gap_angle(gear.made, low) for low in lowest + above]) + extra
    far = gap_angle(gear.made, high) + extra
    drawn = at_depth(gear.wheel, float(lowest.mean()))
    low = drawn.root_radius + above
    wanted = gap_angle(drawn, low) * low / gap_angle(drawn, high)
    return np.asarray(near * (lowest + above) / far / wanted)


def at_depth(wheel: Wheel, floor: float) -> Wheel:
    """The drawn wheel with its rack fed in to a floor, mm; another tooth form as it is drawn."""
    if not isinstance(wheel, Gear):
        return wheel
    shift = (floor - wheel.reference_radius) / wheel.module_mm + wheel.rack.dedendum
    return replace(wheel, profile_shift=float(np.clip(shift, *FURTHEST_SHIFTS)))


def _pin_centres(gear: CutGear) -> Floats:
    """Centres of the pins about the teeth's axis, mm, shape (z, 2).

    Each flank is taken as the involute that passes it where the pin of the drawn gap touches.
    """
    if not isinstance(gear.made, Gear):
        return _pins_between(gear)
    cut, z = gear.cut, gear.wheel.teeth
    half_gap_at_base = pi / z - float(cut.half_tooth_angle(cut.base_radius))
    drawn = float(
        pin_centre_radius(cut.base_radius, half_gap_at_base, STANDARD_PIN * cut.module_mm)
    )
    drawn_touch = sqrt(max(drawn**2 - cut.base_radius**2, 0)) - STANDARD_PIN * cut.module_mm / 2
    left, right = gear.offsets(np.full(z, np.hypot(cut.base_radius, max(drawn_touch, 0.0))))
    left = np.roll(left, -1)
    at_base = half_gap_at_base + (left - right) / 2
    reach = pin_centre_radius(cut.base_radius, at_base, STANDARD_PIN * cut.module_mm)
    touch = np.sqrt(np.maximum(reach**2 - cut.base_radius**2, 0)) - STANDARD_PIN * cut.module_mm / 2
    contact = np.hypot(cut.base_radius, touch)
    seated = (touch > 0) & (contact > cut.form_radius) & (contact < cut.tip_radius)
    return _in_gaps(gear, np.where(seated, reach, np.nan), (left + right) / 2)


def _pins_between(gear: CutGear) -> Floats:
    """The same between flanks of any form, which stand as drawn but turned."""
    made, z = gear.made, gear.wheel.teeth
    pin, radius = STANDARD_PIN * made.module_mm, made.reference_radius
    left = np.roll(gear.left_offset, -1)
    half = pi / z - made.half_angles(radius)[1] + (left - gear.right_offset) / 2
    reach, _ = made.flank.pin_radius(half, radius, pin)
    seated = reach - pin / 2 > made.root_radius
    return _in_gaps(gear, np.where(seated, reach, np.nan), (left + gear.right_offset) / 2)


def _in_gaps(gear: CutGear, reach: Floats, turn: Floats) -> Floats:
    """Points at distances from the teeth's axis, turned by angles from the gaps' drawn middles."""
    z = gear.wheel.teeth
    angle = gear.first_centre + 2 * pi / z * (np.arange(z) + 0.5) + turn
    return np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)


def _summary(
    gear: CutGear,
    sides: list[Pitches],
    teeth: tuple[TrueTooth, ...],
    gaps: tuple[TrueGap, ...],
    pins: Floats,
) -> TrueSummary:
    single = [float(np.abs(side).max()) for side, _ in sides]
    total = [float(np.ptp(side)) for _, side in sides]
    runout, eccentricity, direction = _runout(pins)
    ratios = [gap.floor_ratio for gap in gaps if gap.floor_ratio is not None]
    return TrueSummary(
        single_pitch_max_um=_round(max(single)),
        cumulative_pitch_total_um=_round(max(total)),
        single_pitch_max_by_side_um=(_round(single[0]), _round(single[1])),
        cumulative_pitch_total_by_side_um=(_round(total[0]), _round(total[1])),
        spacing_spread_um=(_round(sides[0][0].std()), _round(sides[1][0].std())),
        spacing_range_um=(_round(np.ptp(sides[0][0])), _round(np.ptp(sides[1][0]))),
        runout_um=runout,
        pin_diameter_mm=_round(STANDARD_PIN * gear.wheel.module_mm),
        eccentricity_um=eccentricity,
        eccentricity_direction_deg=direction,
        thickness_mean_mm=_round(np.mean([tooth.thickness_mm for tooth in teeth])),
        gap_width_mean_mm=_round(np.mean([gap.width_mm for gap in gaps])),
        tip_diameter_mean_mm=_round(np.mean([tooth.tip_diameter_mm for tooth in teeth])),
        root_diameter_mean_mm=_round(np.mean([gap.root_diameter_mm for gap in gaps])),
        floor_ratio_mean=_round(np.mean(ratios)) if ratios else None,
    )


def _runout(pins: Floats) -> tuple[float | None, float | None, float | None]:
    """Range of the pins' distances, and amplitude and direction of their first harmonic."""
    if np.isnan(pins).any():
        return None, None, None
    distance, angle = np.hypot(*pins.T) * 1000, np.arctan2(pins[:, 1], pins[:, 0])
    waves = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    _, x, y = np.linalg.lstsq(waves, distance, rcond=None)[0]
    amplitude = float(np.hypot(x, y))
    # Below a picometre the direction is that of rounding errors.
    direction = _degrees(float(np.arctan2(y, x))) if amplitude > 1e-6 else None
    return _round(np.ptp(distance)), _round(amplitude), direction


def profile(gear: CutGear) -> TrueProfile:
    """Flank angle and profile slope that the cutter left, about the teeth's own axis.

    The slope is the mean of all flanks.
    """
    made = gear.made
    cut = made if isinstance(made, Gear) else None
    start, end = evaluation_range(gear)
    return TrueProfile(
        pressure_angle_deg=_round(degrees(cut.rack.pressure_angle)) if cut else None,
        profile_slope_um=_round(np.mean(flank_slopes(gear))),
        roll_start_mm=_round(start),
        roll_end_mm=_round(end),
        form_diameter_mm=_round(2 * made.form_radius),
        undercut=cut.undercut if cut else False,
        profile_shift_cut=_round(cut.profile_shift) if cut else None,
    )


def evaluation_range(gear: CutGear) -> tuple[float, float]:
    """Lengths of roll between which profiles are judged.

    Along the drawn flank, mm: from 5 % to 95 % of the roll between the start of both flanks, drawn
    and cut, and the lower of both tips.
    """
    wheel, made = gear.wheel, gear.made
    low = float(wheel.flank.along(max(wheel.form_radius, made.form_radius)))
    high = float(wheel.flank.along(min(wheel.tip_radius, made.tip_radius)))
    return low + 0.05 * (high - low), high - 0.05 * (high - low)


def flank_slopes(gear: CutGear) -> tuple[Floats, Floats]:
    """Profile slope of every flank, from the straight line through the ends of the range.

    Left and right (z,), um, positive where material is outside the design involute at the tip.
    """
    if not isinstance(gear.made, Gear):  # drawn as designed, and every flank moved as a whole
        none = np.zeros(gear.wheel.teeth)
        return none, none
    design, cut = gear.design, gear.cut
    base = design.base_radius
    radius = np.hypot(base, np.array(evaluation_range(gear)))[:, None]
    # A flank that stands by an angle outside the design involute is off by that angle times r_b
    # along the normal, which touches the base circle.
    both = cut.half_tooth_angle(radius) - design.half_tooth_angle(radius)
    left, right = gear.offsets(np.broadcast_to(radius, (2, design.teeth)))
    left, right = (both - left) * base * 1000, (both + right) * base * 1000
    return left[1] - left[0], right[1] - right[0]


def true_gear(gear: CutGear, bore_mm: float) -> TrueGear:
    """Describe the gear as drawn."""
    wheel = gear.wheel
    design = wheel if isinstance(wheel, Gear) else None
    circle, arc = addendum_sizes(wheel)
    return TrueGear(
        form=wheel.flank.name,
        teeth=wheel.teeth,
        module_mm=_round(wheel.module_mm, 9),
        pressure_angle_deg=_round(degrees(design.rack.pressure_angle)) if design else None,
        profile_shift=design.profile_shift if design else None,
        rack=design.rack.name if design else None,
        generating_circle_mm=circle,
        addendum_radius_mm=arc,
        bore_diameter_mm=bore_mm,
        tip_diameter_mm=_round(2 * wheel.tip_radius),
        measuring_diameter_mm=_round(2 * wheel.reference_radius),
    )
