"""The shapes that cutter, depth and blank leave: alike in all gaps, so no flank is out of place.

Families for ranking, as in `fault_patterns`.
"""

from dataclasses import replace
from math import cos, pi, sin, tan

import numpy as np

from cogloupe.causes.model import Family, plain
from cogloupe.causes.observed_pattern import Observed
from cogloupe.causes.pattern_layout import SHARED, Design
from cogloupe.causes.pattern_parts import common_to_all, cutter_for, deeper, form_cutter_lean
from cogloupe.forms.basic_racks import full_radius
from cogloupe.forms.gap_theory import theoretical_widths
from cogloupe_calibration.arrays import Floats

CUTTERS = (0.7, 0.85, 1.2, 1.5)
"""Tooth numbers, in terms of the right one, of form cutters taken by mistake."""
CORNERS, LEAST_CORNER = (0.05, 0.12, 0.2, 0.3, 0.4, 0.5), 0.01
"""Roundings of a cutter's corners that are tried, in modules, and how far from the rack's at
least."""
RUNNING_OUT_UM = (3.0, 10.0, 30.0)
"""Movements of a hob for which its shape is worked out; in between it is taken as proportional."""
RUNNING_OUT_FLOORS = (0.0, 0.7, 1.4)
"""How much narrower the gap gets near its floor by such a movement, in terms of it (from simulated
gears)."""


def depth(observed: Observed) -> list[Family]:
    """Cut deeper by 1 µm, by a hob or a form cutter."""
    design = observed.design
    if design.drawn is None:
        return []
    return [
        plain(common_to_all(design, **deeper(design, form)), name=name)
        for name, form in (("hob", False), ("form cutter", True))
    ]


def blank(observed: Observed) -> list[Family]:
    """Blank larger by 1 µm of radius, depth counted from its outside."""
    design = observed.design
    if design.drawn is None:
        return []
    return [
        plain(
            common_to_all(design, tip=1.0, **{n: -v for n, v in deeper(design, form).items()}),
            name=name,
        )
        for name, form in (("hob", False), ("form cutter", True))
    ]


def beside_centre(observed: Observed) -> list[Family]:
    """A form cutter 1 µm beside the work's centre line.

    The gap leans: what one flank gains at its tip the other loses.
    """
    if observed.design.drawn is None:
        return []
    _, ends = form_cutter_lean(observed.design)
    lean = -float(np.diff(np.cos(ends))[0])
    return [plain(common_to_all(observed.design, slope_left=lean, slope_right=-lean))]


def short_flank(observed: Observed) -> list[Family]:
    """One side's flanks not generated over their whole height.

    The size is the share of flanks cut short, left less right; their slope and the thickness may go
    along.
    """
    partial = common_to_all(observed.design, partial=1.0)
    slopes = [
        common_to_all(observed.design, **{f"slope_{side}": 1.0}) for side in ("left", "right")
    ]
    thickness = common_to_all(observed.design, thickness=1.0)
    bent = [np.concatenate([partial, slope, thickness]) for slope in slopes]
    return [plain(partial), *(plain(rows[:2], 2) for rows in bent), *(plain(r, 3) for r in bent)]


def other_profile(observed: Observed) -> list[Family]:
    """Both sides' flanks lean alike: another flank angle, or a form cutter for other teeth.

    The size is the profile slope of both sides, µm.
    """
    design = observed.design
    if design.drawn is None:
        return []
    alpha, module = design.pressure_angle, 2 * design.radius_um / design.teeth
    # With the rack's flank angle larger by d, slopes fall by d tan(a) over the range of roll and
    # the gap a module below the reference circle is narrower by 2 m d / cos^2 a.
    floor = 2 * module / cos(alpha) ** 2 / (tan(alpha) * design.reach_um) / design.near_um
    angle = common_to_all(design, slope_left=1.0, slope_right=1.0, floor=floor)
    changes = [cutter_for(design, teeth) for teeth in CUTTERS]
    rows = [common_to_all(design, **change) / change["slope_left"] for change in changes]
    return [
        plain(angle, name="flank angle"),
        plain(np.concatenate(rows), name="form cutter", weight=0.5),
        plain(
            common_to_all(design, slope_left=1.0, slope_right=1.0), name="form cutter", weight=0.5
        ),
    ]


def other_corner(observed: Observed) -> list[Family]:
    """A cutter with other corners than the rack's, or another rack altogether.

    The size is the rounding of the corners less the rack's, µm; another rack may reach further
    down, too.
    """
    design = observed.design
    if design.drawn is None:
        return []
    corner = np.concatenate([_rounded(design, share) for share in CORNERS])
    rack, module_um = design.drawn.rack, 1e3 * design.drawn.module_mm
    sharp, round_ = -rack.fillet_radius, full_radius(rack.pressure_angle, rack.dedendum)
    reach = module_um * sharp, module_um * (round_ + sharp)
    # A longer tooth of the cutter is narrower at its end; the floor ratio is held against the
    # stated one at the depth that was found, whose gap is wider on the reference circle.
    narrower = 2 * tan(design.pressure_angle)
    longer = common_to_all(
        design, root=-1.0, floor=narrower * (1 / design.gap_um - 1 / design.near_um)
    )
    pairs = np.array([[k, len(corner)] for k in range(len(corner))])
    return [
        plain(corner, name="corners", reach=reach),
        Family(
            basis=np.concatenate([corner, longer]),
            plus=pairs,
            minus=np.full_like(pairs, -1),
            reach=reach,
            name="corners and depth",
            weight=0.3,
        ),
    ]


def _rounded(design: Design, share: float) -> Floats:
    """What corners rounded by a share of the module do, for each µm from the rack's."""
    assert design.drawn is not None
    rack, module = design.drawn.rack, design.drawn.module_mm
    most = full_radius(rack.pressure_angle, rack.dedendum)
    rounding = min(share, 0.99 * most)
    if abs(rounding - rack.fillet_radius) < LEAST_CORNER:
        return np.zeros((0, 2 * design.teeth + len(SHARED)))
    other = replace(design.drawn, rack=replace(rack, fillet_radius=rounding))
    near, width = (1e3 * size for size in theoretical_widths(other))
    off = 1e3 * (rounding - rack.fillet_radius) * module
    floor = (near / width) / (design.near_um / design.gap_um) - 1
    return common_to_all(design, corner=1.0, floor=floor / off)


def running_out(observed: Observed, starts: int) -> list[Family]:
    """A hob that runs out, or moves along its axis once a turn.

    The size is half the dial's swing, µm; members run over phases against the gap.

    Parameters
    ----------
    starts : int
        Threads of the hob.
    """
    design = observed.design
    if starts > 1 or design.drawn is None:
        return []
    return [
        plain(
            np.concatenate([
                row
                for size in RUNNING_OUT_UM
                for phase in np.arange(8) * pi / 4
                for row in _once_a_tooth(design, phase, size, way)
            ]),
            positive=(True,), name=way,
        )
        for way in ("radial", "axial")
    ]  # fmt: skip


def _once_a_tooth(design: Design, phase: float, size_um: float, way: str) -> list[Floats]:
    """What a movement of the hob once a turn, and so once a tooth, leaves on all teeth; for 1 µm.

    With each of `RUNNING_OUT_FLOORS`.

    A flank passes its pitch point a quarter turn of the hob from the gap's middle. A cut a small
    turn u of the work beside the one that touches a point stands off it by rho u^2 / 2, rho being
    the roll there, and the deepest cut is what is left.
    """
    alpha, base = design.pressure_angle, design.radius_um * cos(design.pressure_angle)
    work = np.linspace(design.roll_um[0], design.roll_um[1], 41) / base
    rho = base * (tan(alpha) + work)
    beside = np.linspace(-pi, pi, 81) / design.teeth
    turn = pi / 2 + design.teeth * (work[:, None] + beside)
    left, right = turn + phase, phase - turn
    if way == "radial":
        moved = -sin(alpha) * np.stack([np.cos(left), np.cos(right)])
    else:
        moved = cos(alpha) * np.stack([-np.sin(left), np.sin(right)])
    off = size_um * moved + 0.5 * rho[:, None] * beside**2
    slope, middle = np.polyfit(work * base, off.min(axis=-1).T / size_um, 1)
    thickness = float(middle.sum() / cos(alpha))
    return [
        common_to_all(
            design, thickness=thickness, root=-1.0 if way == "radial" else 0.0,
            floor=thickness / design.gap_um - share / design.near_um,
            slope_left=float(slope[0] * design.reach_um),
            slope_right=float(slope[1] * design.reach_um),
        )
        for share in RUNNING_OUT_FLOORS
    ]  # fmt: skip
