"""Measures a generated outline: fitted flanks, floors, forms.

The outline is intersected with circles about the work's axis of rotation, and each flank's place
is fitted by a straight line against the length of roll, as a reading does it. Lengths are
millimetres, angles radians.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.forms.rack import Gear, half_gap
from cogloupe.numerics.angles import wrapped
from cogloupe.simulation.cutting import CutGear
from cogloupe.simulation.true_sizes import (
    FLOOR_HEIGHT_MODULES,
    Details,
    at_depth,
    evaluation_range,
    gap_angle,
)
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

FLOOR_END_MODULES = 0.05
"""Height above a gap's lowest point, in modules, at which the length of its floor is compared with
that of the drawn gap."""
ROLLS = 96
"""Circles on which a flank is measured: its cuts are ten or fewer, so each shows."""


@dataclass(frozen=True)
class FlankLines:
    """Fitted flanks of all teeth; shape (2, z) each, left then right.

    `offset`: angle out of place on the reference circle, rad; `lean`: how much that grows with the
    length of roll, rad/mm; `form`: range of what is left over, um along the normal.
    """

    offset: Floats
    lean: Floats
    form: Floats


def gap_pieces(outline: Floats, tooth_centre: Floats) -> list[Floats]:
    """Stretches (m, 2) of an outline (n, 2) from each tooth's centre line to the next.

    About the work's axis, clockwise on the picture; `tooth_centre` are z polar angles within the
    tip lands, rad. Each stretch overlaps the next by one side.
    """
    angle = np.arctan2(outline[:, 1], outline[:, 0])
    first = int(np.argmin(np.mod(angle - tooth_centre[0], 2 * pi)))
    outline, angle = np.roll(outline, -first, axis=0), np.roll(angle, -first)
    # Where flanks are undercut the angle runs back; the furthest so far is what counts.
    turned = np.maximum.accumulate(np.unwrap(angle)) - tooth_centre[0]
    turned -= 2 * pi * np.floor(turned[0] / (2 * pi))
    after = np.mod(tooth_centre - tooth_centre[0], 2 * pi)
    start = np.searchsorted(turned, after)
    ends = np.append(start[1:], len(outline)) + 1
    around = np.concatenate([outline, outline[:2]])
    return [around[i:j] for i, j in zip(start, ends, strict=True)]


def side_angles(piece: Floats, radii: Floats) -> tuple[Floats, Floats]:
    """Where a stretch of outline (m, 2) first goes below circles (q,), and where it last comes up.

    Polar angles (q,), rad, about the circles' centre; NaN where both flanks do not cross the
    circle.
    """
    within = np.hypot(*piece.T) < radii[:, None]
    crossed = within[:, :-1] != within[:, 1:]
    first = np.argmax(crossed, axis=1)
    last = crossed.shape[1] - 1 - np.argmax(crossed[:, ::-1], axis=1)
    # Crossed once only, the tooth on one side does not reach the circle.
    seen = crossed.sum(axis=1) > 1
    down, up = (_on_circle(piece, side, radii) for side in (first, last))
    return np.where(seen, down, np.nan), np.where(seen, up, np.nan)


def _on_circle(piece: Floats, side: NDArray[np.int64], radii: Floats) -> Floats:
    """Polar angle at which sides of a polygon cross their circles."""
    start = piece[side]
    along = piece[side + 1] - start
    a, b = (along**2).sum(axis=1), (start * along).sum(axis=1)
    c = (start**2).sum(axis=1) - radii**2
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    # A side that starts outside crosses on its way in: the smaller root.
    share = (-b + np.where(c > 0, -root, root)) / a
    point = start + share[:, None] * along
    return np.asarray(np.arctan2(point[:, 1], point[:, 0]))


def fit_flanks(gear: CutGear, pieces: list[Floats]) -> FlankLines:
    """Fit every flank by a line of its displacement against the length of roll.

    Parameters
    ----------
    gear : CutGear
        The gear the process aims at: its `cut`, `axis` and `first_centre`; offsets are not used.
    pieces : list of ndarray
        Outline across each gap, about the teeth's axis.

    Raises
    ------
    UseError
        Where less than half of a flank is left.
    """
    z, base = gear.design.teeth, gear.cut.base_radius
    rolls = np.linspace(*_cut_rolls(gear), ROLLS)
    radii = np.hypot(base, rolls)
    found = np.array([side_angles(piece, radii) for piece in pieces])
    centre = gear.first_centre + 2 * pi / z * np.arange(z)
    half = gear.cut.half_tooth_angle(radii)
    left = np.roll(found[:, 1], 1, axis=0) - (centre[:, None] - half)
    right = found[:, 0] - (centre[:, None] + half)
    out = wrapped(np.stack([left, right]))
    _check_left(out)
    here = rolls - float(np.sqrt(gear.design.reference_radius**2 - base**2))
    offset, lean = _lines(here, out)
    rest = out - offset[..., None] - lean[..., None] * here
    form = (np.nanmax(rest, axis=-1) - np.nanmin(rest, axis=-1)) * base * 1000
    return FlankLines(offset, lean, form)


def _cut_rolls(gear: CutGear) -> tuple[float, float]:
    """The evaluation range, as lengths of roll on the cut gear's own base circle."""
    radii = np.hypot(gear.design.base_radius, np.array(evaluation_range(gear)))
    low, high = np.sqrt(radii**2 - gear.cut.base_radius**2)
    return float(low), float(high)


def _check_left(out: Floats) -> None:
    seen = np.isfinite(out).mean(axis=-1)
    if seen.min() < 0.5:
        side, tooth = np.unravel_index(int(np.argmin(seen)), seen.shape)
        raise UseError(
            f"the {('left', 'right')[int(side)]} flank of the tooth cut as number {tooth + 1} is "
            "gone for the most part: make the faults of the process smaller"
        )


def _lines(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Value at 0 and slope of least-squares lines along the last axis, leaving out NaN."""
    seen = np.isfinite(y)
    count = seen.sum(axis=-1)
    y = np.where(seen, y, 0.0)
    mean_x = (x * seen).sum(axis=-1) / count
    mean_y = y.sum(axis=-1) / count
    off = (x - mean_x[..., None]) * seen
    slope = (off * y).sum(axis=-1) / (off**2).sum(axis=-1)
    return mean_y - slope * mean_x, slope


def gap_details(gear: CutGear, pieces: list[Floats], form: Floats) -> Details:
    """Floors of every gap.

    The flat floor is what the gap is longer, close above its lowest point, than the drawn gap's two
    fillets.

    Pieces are the outline across each gap, about the teeth's axis; form deviations (2, z), um, are
    carried along.
    """
    design = gear.design
    lowest = np.array([_lowest(piece) for piece in pieces])
    height = FLOOR_END_MODULES * design.module_mm
    fillets = _fillets(design, height)
    ends = np.array(
        [_width(piece, low + height) for piece, low in zip(pieces, lowest, strict=True)]
    )
    return Details(
        lowest=lowest,
        floor_width=ends * (lowest + height) - fillets,
        floor_ratio=_floor_ratios(design, pieces, lowest),
        form=form,
    )


def _lowest(piece: Floats) -> float:
    """Distance from the axis to the nearest point of a line of sides."""
    start, along = piece[:-1], np.diff(piece, axis=0)
    share = np.clip(-(start * along).sum(axis=1) / (along**2).sum(axis=1), 0, 1)
    return float(np.hypot(*(start + share[:, None] * along).T).min())


def _width(piece: Floats, radius: float) -> float:
    """Angle of a gap on a circle; NaN where its floor is above."""
    down, up = side_angles(piece, np.array([radius]))
    return float(np.mod(up - down, 2 * pi)[0])


def _fillets(design: Gear, height: float) -> float:
    """Length of the drawn gap's floor at a height above it, less its flat."""
    radius, angle = half_gap(design, 60, 2000)
    at = design.root_radius + height
    return float(2 * np.interp(at, radius, angle) * at - 2 * angle[0] * radius[0])


def _floor_ratios(design: Gear, pieces: list[Floats], lowest: Floats) -> Floats:
    """Floor ratio of every gap against the drawn gap at the depth that was reached."""
    drawn, high = at_depth(design, float(lowest.mean())), design.reference_radius
    above = FLOOR_HEIGHT_MODULES * design.module_mm
    low = drawn.root_radius + above
    wanted = gap_angle(drawn, low) * low / gap_angle(drawn, high)
    return np.array(
        [
            _width(piece, floor + above) * (floor + above) / _width(piece, high) / wanted
            for piece, floor in zip(pieces, lowest, strict=True)
        ]
    )
