"""What the shapes of causes are made of: gaps displaced, gaps widened, cutters set or shaped wrong.

Flank places and the figures that all teeth share, in the order of `observed_pattern.Observed`; µm.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import cos, sin, tan

import numpy as np

from cogloupe.causes.pattern_layout import SHARED, Design
from cogloupe.forms.gap_theory import theoretical_widths
from cogloupe.forms.rack import Gear, half_gap
from cogloupe_calibration.arrays import Floats


def gap_shift(shift: Floats) -> Floats:
    """Places of flanks when gaps are displaced.

    Parameters
    ----------
    shift : ndarray, shape (..., z)
        Displacement of each gap, clockwise; gap k + 1 follows tooth k + 1.

    Returns
    -------
    ndarray, shape (..., 2 z)
        The right flank of the tooth before and the left flank of the tooth after go along.
    """
    both = np.stack([np.roll(shift, 1, axis=-1), shift], axis=-1)
    return both.reshape(*shift.shape[:-1], -1)


def gap_widening(left: Floats, right: Floats) -> Floats:
    """Places of flanks when the two sides of gaps are displaced by themselves.

    Parameters
    ----------
    left, right : ndarray, shape (..., z)
        Displacement of the left flank after and of the right flank before each gap.

    Returns
    -------
    ndarray, shape (..., 2 z)
    """
    both = np.stack([np.roll(left, 1, axis=-1), right], axis=-1)
    return both.reshape(*left.shape[:-1], -1)


def with_shared(flanks: Floats, **figures: Sequence[float] | Floats | float) -> Floats:
    """Put figures that all teeth share behind flank places.

    Parameters
    ----------
    flanks : ndarray, shape (..., 2 z)
    **figures
        Names of `SHARED` and their changes; the rest stay 0.

    Returns
    -------
    ndarray, shape (..., 2 z + 10)
    """
    behind = np.zeros((*flanks.shape[:-1], len(SHARED)))
    for name, change in figures.items():
        behind[..., SHARED.index(name)] = change
    return np.concatenate([flanks, behind], axis=-1)


def common_to_all(design: Design, **figures: float) -> Floats:
    """Figures that all teeth share, and no flank out of place.

    Parameters
    ----------
    **figures : float
        Names of `SHARED` and their changes.

    Returns
    -------
    ndarray, shape (1, 2 z + 10)
    """
    return with_shared(np.zeros((1, 2 * design.teeth)), **figures)


def minutes(arc_um: float, design: Design) -> float:
    """Angle of an arc on the measuring circle; minutes of arc."""
    return float(np.degrees(arc_um / design.radius_um)) * 60


def form_cutter_lean(design: Design) -> tuple[float, Floats]:
    """Angle between a form cutter's path into the blank and the flank it cuts.

    Returns
    -------
    at : float
        On the measuring circle, rad.
    ends : ndarray, shape (2,)
        At the ends of the range in which slopes are taken.

    Notes
    -----
    The flank's normal turns by the length of roll over the base radius; on the measuring circle
    it leans from the path by the pressure angle and half the gap's angle.
    """
    base = design.radius_um * cos(design.pressure_angle)
    at = design.pressure_angle + design.gap_um / 2 / design.radius_um
    return at, at + np.array(design.roll_um) / base


def deeper(design: Design, form_cutter: bool) -> dict[str, float]:
    """What 1 µm more depth does to the figures that all teeth share; by names of `SHARED`.

    Parameters
    ----------
    design : Design
        With its rack.
    form_cutter : bool
        A form cutter, whose flanks go along; a hob generates the same involute further in.
    """
    if not form_cutter:
        return {"thickness": -2 * tan(design.pressure_angle), "root": -1.0}
    at, ends = form_cutter_lean(design)
    slope = -float(np.diff(np.sin(ends))[0])
    wider = 2 * sin(at) / cos(design.pressure_angle)
    return {
        "thickness": -wider, "root": -1.0, "slope_left": slope, "slope_right": slope,
        "floor": _floor_at_depth(design, wider),
    }  # fmt: skip


def _floor_at_depth(design: Design, wider: float) -> float:
    """Change of the floor ratio when the drawn gap is moved in by 1 µm.

    Near the floor the gap keeps its width, on the reference circle it gains `wider`; a reading
    compares both with the gap that the rack generates at the new depth.
    """
    assert design.drawn is not None
    step = 0.02
    moved = replace(design.drawn, profile_shift=design.drawn.profile_shift - step)
    near, width = (1e3 * w for w in theoretical_widths(moved))
    depth = 1e3 * step * design.drawn.module_mm
    theory = (near / design.near_um) / (width / design.gap_um)
    return (1 / (1 + wider * depth / design.gap_um) / theory - 1) / depth


def widened(design: Design, floor_share: float = 1.0) -> dict[str, float]:
    """What gaps wider by 1 µm do to the figures that all teeth share; by names of `SHARED`.

    Parameters
    ----------
    floor_share : float
        How much of that reaches the floor, which a hob cuts in a shorter moment than the flanks.
    """
    return {"thickness": -1.0, "floor": floor_share / design.near_um - 1 / design.gap_um}


def cutter_for(design: Design, teeth: float) -> dict[str, float]:
    """What a form cutter shaped for another tooth number does, at the drawn depth.

    By names of `SHARED`, for the whole difference.

    Parameters
    ----------
    design : Design
        With its rack.
    teeth : float
        The tooth number it was shaped for, in terms of the drawn one.
    """
    assert design.drawn is not None
    base = design.radius_um * cos(design.pressure_angle)
    roll = np.linspace(*design.roll_um, 40)
    radius = np.hypot(base, roll + base * tan(design.pressure_angle)) / 1e3
    other = replace(design.drawn, teeth=max(round(teeth * design.teeth), 5), tip_radius_mm=None)
    own, cut = (_half_angle(gear, design.drawn, radius) for gear in (design.drawn, other))
    slope, middle = np.polyfit(roll, (own - cut) * base, 1)
    lean = float(slope * design.reach_um)
    thicker = float(2 * middle / cos(design.pressure_angle))
    return {"slope_left": lean, "slope_right": lean, "thickness": thicker}


def _half_angle(shaped: Gear, blank: Gear, radius: Floats) -> Floats:
    """Half the angle of a gap, shaped for one gear, sunk into the blank of another; rad."""
    tall = replace(shaped, tip_radius_mm=shaped.tip_radius + blank.module_mm)
    own_radius, own_angle = half_gap(tall, 200, 200)
    across = own_radius * np.sin(own_angle)
    along = own_radius * np.cos(own_angle) - shaped.root_radius + blank.root_radius
    return np.asarray(np.interp(radius, np.hypot(across, along), np.arctan2(across, along)))
