"""From a reading to a gear that turns: every flank as a curve about the axis of rotation.

A reading states where a flank crosses the measuring circle about its datum, and how the flank runs
about the axis of the teeth: along the theoretical one, by its slope and by its form. Laid at the
axis of the teeth and seen from the datum, that gives the curve as it is, eccentricity included.
Lengths mm, angles rad.
"""

from dataclasses import dataclass
from math import pi, sqrt
from pathlib import Path

import numpy as np

from cogloupe.forms.basic_racks import RACK_NAMES, basic_rack, rack_for_angle
from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.numerics.angles import wrapped
from cogloupe.numerics.missing import mean_seen
from cogloupe.pairing.running_gear import TOWARDS, Doubts, RunningGear, flank_grid
from cogloupe.reading.flank_models import FlankCurves
from cogloupe.reading.models import SIDES, GearInfo, Profile, Reading
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

FEWEST_SEEN = 1 / 3
"""Share of the flanks that must be seen: with less, most mesh positions would be left open."""


@dataclass(frozen=True)
class _Flanks:
    """What a reading tells of its flanks, in the parts a curve is made of.

    Attributes
    ----------
    place : ndarray, shape (z, 2)
        Polar angles on the measuring circle about the datum.
    along : ndarray, shape (n,)
        Lengths along the flank at which `out` is told.
    out : ndarray, shape (z, 2, n)
        Distance out of the material of the theoretical flank through that place, about the axis of
        the teeth.
    measuring : float
        Radius of the measuring circle.
    axis : ndarray, shape (2,)
        Axis of the teeth from the datum.
    """

    place: Floats
    along: Floats
    out: Floats
    measuring: float
    axis: Floats


def gear_from_reading(reading: Reading) -> RunningGear:
    """Make a reading into a gear that turns.

    Raises
    ------
    UseError
        Where the reading does not hold enough of the flanks.
    """
    curves, profile = _enough(reading)
    place = np.radians(_column(reading, "position_deg"))
    seen = np.isfinite(place)
    if seen.mean() < FEWEST_SEEN:
        raise UseError(
            f"{reading.photo.file}: {seen.sum()} of {seen.size} flanks were seen, less than a "
            "third: take a picture that shows more of the gear"
        )
    tip, root = _radii(reading)
    wheel = _wheel(reading, mean_seen(tip), mean_seen(root))
    tip, root = _filled(tip, wheel.tip_radius), _filled(root, wheel.root_radius)
    theory = reading.gap_theory
    form_radius = theory.form_diameter_mm / 2 if theory is not None else wheel.form_radius
    along, radius = flank_grid(wheel, form_radius, float(tip.max()))
    flanks = _flanks(reading, curves, profile, place, along)
    start, half, off = _curves(wheel, flanks, along, radius)
    return RunningGear(
        name=Path(reading.photo.file).stem,
        wheel=wheel,
        start=start,
        half=half,
        along=along,
        radius=radius,
        off=off,
        tip=tip,
        root=root,
        form_radius=form_radius,
        axis=complex(*curves.axis_from_datum_mm),
        axis_seen=reading.datum.kind == "bore",
        bore_mm=reading.datum.bore_diameter_mm,
        gap=np.array(curves.gap_xy_mm).reshape(-1, 2),
        covered=_covered(reading),
        doubts=_doubts(reading, curves, profile, wheel),
    )


def _enough(reading: Reading) -> tuple[FlankCurves, Profile]:
    """Curves and profile of a reading that can be run."""
    curves, profile = reading.flank_curves, reading.profile
    if reading.gear.form == "straight":
        raise UseError(
            f"{reading.photo.file}: its {reading.gear.teeth} teeth are straight-sided; ratchets "
            "and chain wheels run with a pawl or a chain, not with another wheel"
        )
    if curves is None or profile is None or profile.start_roll_mm is None:
        raise UseError(
            f"{reading.photo.file} was read by version {reading.software_version}, which kept "
            "nothing of the flanks' curves: inspect the photograph again"
        )
    return curves, profile


def _column(reading: Reading, name: str) -> Floats:
    """One figure of every flank, shape (z, 2); NaN where there is none."""
    rows = [[getattr(getattr(tooth, side), name) for side in SIDES] for tooth in reading.teeth]
    return np.array(rows, np.float64)


def _radii(reading: Reading) -> tuple[Floats, Floats]:
    """Radii of every tip, and of the floor of the gap after it; NaN where not seen."""
    tips = np.array([tooth.tip_diameter_mm for tooth in reading.teeth], np.float64)
    roots = np.array([gap.root_diameter_mm for gap in reading.gaps], np.float64)
    return tips / 2, roots / 2


def _covered(reading: Reading) -> tuple[tuple[int, str], ...]:
    """Flanks under something, by tooth number and side."""
    return tuple(
        (tooth.number, side)
        for tooth in reading.teeth
        for side in SIDES
        if getattr(tooth, side).status == "obstructed"
    )


def _filled(values: Floats, otherwise: float) -> Floats:
    return np.where(np.isfinite(values), values, otherwise)


def _wheel(reading: Reading, tip: float, root: float) -> Wheel:
    """The theoretical gear at the depth and with the tips that were found."""
    gear, theory = reading.gear, reading.gap_theory
    if gear.form == "cycloidal":
        return _cycloidal(reading, tip, root)
    shift = gear.profile_shift if theory is None else theory.profile_shift
    tip_mm = tip if np.isfinite(tip) else None
    rack_name = gear.rack or ""
    if rack_name in RACK_NAMES:
        rack = basic_rack(rack_name, gear.module_mm)
    else:
        rack = rack_for_angle(gear.pressure_angle_deg or 20.0, gear.module_mm, dp=False)
    return Gear(gear.teeth, gear.module_mm, rack, shift or 0.0, tip_mm)


def _cycloidal(reading: Reading, tip: float, root: float) -> CycloidalWheel:
    gear, theory = reading.gear, reading.gap_theory
    pitch = gear.teeth * gear.module_mm / 2
    thick = reading.summary.thickness_mean_mm or pi / 2 * gear.module_mm
    floor = theory.root_diameter_mm / 2 if theory is not None else root
    return CycloidalWheel(
        teeth=gear.teeth,
        module_mm=gear.module_mm,
        form=CycloidalForm(_addendum(gear, pitch)),
        thickness_mm=thick,
        root_radius=floor if np.isfinite(floor) else pitch - pi / 2 * gear.module_mm,
        tip_radius=tip if np.isfinite(tip) else pitch + gear.module_mm,
    )


def _addendum(gear: GearInfo, pitch: float) -> Epicycloid | RoundTop:
    if gear.generating_circle_mm is not None:
        return Epicycloid(pitch, gear.generating_circle_mm / 2)
    return RoundTop(pitch, gear.addendum_radius_mm or gear.module_mm)


def _flanks(
    reading: Reading, curves: FlankCurves, profile: Profile, place: Floats, along: Floats
) -> _Flanks:
    """Place, slope and form of every flank; what noise explains of the last two is taken out."""
    start, end = profile.start_roll_mm or 0.0, profile.end_roll_mm or 1.0
    axis = np.array(curves.axis_from_datum_mm)
    reach = float(np.hypot(*axis))
    step = along[1] - along[0]
    length = np.arange(max(along[0] - 3 * reach, 0.0), along[-1] + 3 * reach + step, step)
    forms = np.array([curves.left_form_um, curves.right_form_um], np.float64).swapaxes(0, 1)
    form = _believed(forms, np.full(place.shape, curves.u_point_um))
    own = np.array([curves.u_slope_left_um, curves.u_slope_right_um], np.float64).T
    slope = _believed(_column(reading, "profile_slope_um")[..., None], own)
    measuring = reading.gear.measuring_diameter_mm / 2
    at = np.interp(length, curves.along_mm, np.arange(len(curves.along_mm)))
    low, share = np.floor(at).astype(int), at - np.floor(at)
    high = np.minimum(low + 1, form.shape[-1] - 1)
    formed = form[..., low] * (1 - share) + form[..., high] * share
    # The measuring circle's own length is filled in by `_curves`, which knows the form.
    return _Flanks(place, length, (slope / (end - start) * length + formed) / 1000, measuring, axis)


def _believed(values: Floats, u: Floats) -> Floats:
    """Values of shape (z, 2, n) drawn towards the mean of their side by what noise explains.

    By as much as their spread about it is explained by noise (empirical Bayes, as in the fit of the
    flanks); flanks without a value get the mean.
    """
    out = np.empty_like(values)
    for side in (0, 1):
        column = values[:, side]
        seen = np.isfinite(column)
        count = seen.sum(axis=0)
        mean = np.where(seen, column, 0.0).sum(axis=0) / np.maximum(count, 1)
        off = np.where(seen, column - mean, 0.0)
        spread = float((off**2).sum() / max(seen.sum() - values.shape[-1], 1))
        noise = mean_seen(u[:, side]) ** 2 if np.isfinite(u[:, side]).any() else 0.0
        # One standard deviation of a sample variance: what lies within it is not evidence.
        excess = spread - noise * (1 + sqrt(2 / max(seen.sum() - 1, 1)))
        out[:, side] = mean + max(excess, 0.0) / max(spread, 1e-300) * off
    return out


def _curves(
    wheel: Wheel, flanks: _Flanks, along: Floats, radius: Floats
) -> tuple[float, Floats, Floats]:
    """Start, half angles, and every flank's angle out of the ideal one's material."""
    z, form, r = wheel.teeth, wheel.flank, flanks.measuring
    ideal = 2 * pi / z * np.arange(z)
    left, right = flanks.place.T
    middle = left + wrapped(right - left) / 2 - ideal
    middle = middle[np.isfinite(middle)]
    start = float(middle[0] + wrapped(middle - middle[0]).mean())
    turn, at_circle = float(form.turn(r)), float(form.along(r))
    unwound = TOWARDS * wrapped(flanks.place - start - ideal[:, None]) + turn
    half = np.nanmean(unwound, axis=0)
    dense = np.linspace(max(form.lowest, radius[0] / 2), radius[-1] * 1.1, 4000)
    own = np.interp(flanks.along, form.along(dense), dense)
    arm, back = form.arm(own), form.turn(own)
    off = np.full((z, 2, len(along)), np.nan)
    for k, side in zip(*np.nonzero(np.isfinite(unwound)), strict=True):
        out = flanks.out[k, side] - np.interp(at_circle, flanks.along, flanks.out[k, side])
        fallen = out / arm - back
        wanted, about_axis = unwound[k, side], unwound[k, side]
        for _ in range(3):  # what is left of a place is a thousandth of what was, at each turn
            angle = start + ideal[k] + TOWARDS[side] * (about_axis + fallen)
            x, y = (own * f(angle) + e for f, e in zip((np.cos, np.sin), flanks.axis, strict=True))
            far = np.hypot(x, y)
            seen = TOWARDS[side] * wrapped(np.arctan2(y, x) - start - ideal[k]) + form.turn(far)
            about_axis += wanted - np.interp(r, far, seen)
        off[k, side] = np.interp(radius, far, seen) - half[side]
    return start, half, off


def _doubts(reading: Reading, curves: FlankCurves, profile: Profile, wheel: Wheel) -> Doubts:
    """Uncertainties along the flanks' normals, mm."""
    r = reading.gear.measuring_diameter_mm / 2
    square = float(wheel.flank.arm(r)) / r / 1000
    length = (profile.end_roll_mm or 1.0) - (profile.start_roll_mm or 0.0)
    place, slope = (
        np.array(both, np.float64).T
        for both in (
            (curves.u_place_left_um, curves.u_place_right_um),
            (curves.u_slope_left_um, curves.u_slope_right_um),
        )
    )
    tips = np.array([t.u_tip_diameter_mm for t in reading.teeth], np.float64) / 2
    roots = np.array([g.u_root_diameter_mm for g in reading.gaps], np.float64) / 2
    scale = reading.calibration
    return Doubts(
        place=place * square,
        slope=slope / length / 1000,
        slope_common=curves.u_slope_common_um / length / 1000,
        places=_of_sources(curves, "place", wheel.teeth) * TOWARDS * square,
        slopes=_of_sources(curves, "slope", wheel.teeth) / length / 1000,
        sizes=np.array([source.stretch for source in curves.sources]),
        edge=curves.u_edge_um / 1000,
        edge_on_scale=curves.edge_on_scale,
        scale=curves.u_scale,
        stretch=curves.u_stretch,
        tip=mean_seen(tips),
        root=mean_seen(roots),
        set_up=f"{scale.method} {scale.mm_per_px} {scale.file}",
    )


def _of_sources(curves: FlankCurves, name: str, teeth: int) -> Floats:
    """What the common sources do to one figure of the flanks, µm, shape (sources, z, 2)."""
    rows = [[getattr(source, f"{side}_{name}_um") for side in SIDES] for source in curves.sources]
    return np.array(rows, np.float64).reshape(-1, 2, teeth).swapaxes(1, 2)
