"""Mean gaps made of exact outlines, for the steps that judge them."""

from dataclasses import replace

import numpy as np

from cogloupe.evaluation.mean_gap import MeanGap
from cogloupe.forms.gap_outline import blurred, evenly, whole_gap
from cogloupe.forms.rack import half_gap

PX_MODULES = 0.04
"""Size of a pixel, modules: teeth 56 px deep."""
NOISE_PX = 0.01
BLUR_PX = 1.0


def mean_gap(outline, gear, gaps=24, width_spread=0.0, relative_u=0.003, seed=0):
    """Mean gap as a picture would give it, of an outline in mm about the axis of a gear."""
    px = PX_MODULES * gear.module_mm
    shown = blurred(outline, 1.066 * BLUR_PX * px)
    seen = np.flatnonzero(np.hypot(*shown.xy.T) < gear.tip_radius - 0.12 * gear.module_mm)[::7]
    off = np.random.default_rng(seed).normal(0, NOISE_PX * px, len(seen))
    return MeanGap(
        xy=shown.xy[seen] + shown.normal[seen] * off[:, None],
        normal=shown.normal[seen],
        station=shown.station[seen],
        covariance=np.eye(len(seen)) * (NOISE_PX * px) ** 2,
        edge=0.1 * px,
        stretch=0.0005,
        relative_u=relative_u,
        blur=BLUR_PX * px,
        px=px,
        gaps=gaps,
        floor=float(np.hypot(*outline.xy.T).min()),
        u_floor=0.001 * px,
        tip=gear.tip_radius,
        u_tip=0.001 * px,
        width_spread=width_spread,
        u_width=0.01 * px,
    )


def generated(gear, widening=0.0):
    """Outline of the gap that a gear's rack leaves, its sides moved apart by an arc in all."""
    tall = replace(gear, tip_radius_mm=gear.tip_radius + 0.1 * gear.module_mm)
    radius, angle = half_gap(tall, 200, 200)
    return whole_gap(radius, angle + widening / 2 / gear.reference_radius, 0.01 * gear.module_mm)


def turned(outline, gear, lean):
    """The same gap leaning by an angle about its middle on the reference circle, outwards to x."""
    middle = np.array([0.0, gear.reference_radius])
    way = np.array([[np.cos(lean), -np.sin(lean)], [np.sin(lean), np.cos(lean)]])
    return evenly((outline.xy - middle) @ way + middle, 0.01 * gear.module_mm)
