"""Fit the flanks of a gear whose size is known, and learn from them what its form left open."""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.finding.tooth_map import ToothMap, half_tip
from cogloupe.fits.evaluation_range import evaluation_range
from cogloupe.fits.flank_guard import possible_flanks
from cogloupe.fits.flanks import FlankFits, fit_flanks
from cogloupe.fits.form_selection import best_cycloidal, mean_flank
from cogloupe.fits.nominal_form import at_tips_and_floors
from cogloupe.fits.radii import Radii, floor_radii, tip_radii
from cogloupe.fits.teeth_axis import flank_angles, nearer_axis, thickness
from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.rack import Gear, shift_for_thickness
from cogloupe.forms.straight import StraightForm, StraightWheel
from cogloupe.forms.tooth_form import OUT, FormName, Wheel
from cogloupe.inputs.settings import GearSettings
from cogloupe.numerics.circles import Circle
from cogloupe.numerics.missing import mean_seen
from cogloupe.optics.outlines import Outlines
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError

ROUNDS: dict[FormName, int] = {"involute": 3, "cycloidal": 9, "straight": 4}
"""Fits about ever better axes and forms. A round top stands so far from its own form about a wrong
axis that points of it are set aside, so each round only takes off half of what is left."""


@dataclass(frozen=True)
class Fitted:
    """Flanks fitted at the gear's size.

    Attributes
    ----------
    wheel : Wheel
        The gear compared with, with what the flanks told of it.
    tips : Radii
        Tip radii about the teeth's axis, px.
    """

    fits: FlankFits
    wheel: Wheel
    tips: Radii
    tip_circle: Circle | None


def fit_at_size(
    outlines: Outlines,
    teeth: ToothMap,
    centres: tuple[Floats, Floats],
    wheel: Wheel,
    px: float,
    settings: GearSettings,
) -> Fitted:
    """Fit the flanks against the gear's own form.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centres : (ndarray, ndarray), shape (2,) each
        Centre of the tips and the axis of the teeth as found so far, px.
    wheel : Wheel
        The gear as stated, mm.
    px : float
        Scale, mm per px.

    Raises
    ------
    PhotoError
        Where the flanks are too short, or the measuring circle does not cross them.
    """
    anchor, centre = centres
    crested = settings.form == "cycloidal"
    measuring = _measuring_radius(wheel, teeth, px, settings)
    tips, circle = tip_radii(outlines.outer, teeth, centre, half_tip(teeth), crested)
    if not np.isfinite(tips.value).any():
        tips = Radii(np.full(teeth.teeth, teeth.tip_radius), tips.u)
    for _ in range(ROUNDS[settings.form]):
        curve = replace(
            evaluation_range(wheel, tips, outlines.blur_px, px), measuring_radius=measuring
        )
        fits = possible_flanks(fit_flanks(outlines.outer, teeth, centre, curve))
        centre = nearer_axis(outlines, teeth, anchor, fits)
        wheel = _learnt(wheel, fits, px, settings)
    fits = possible_flanks(fit_flanks(outlines.outer, teeth, centre, curve))
    tips, circle = tip_radii(outlines.outer, teeth, centre, half_tip(teeth), crested)
    if isinstance(wheel, CycloidalWheel):
        floors = floor_radii(outlines.outer, teeth, centre, wheel.scaled(1 / px))
        found = (mean_seen(radii.value) * px for radii in (tips, floors))
        wheel = at_tips_and_floors(wheel, *found)
    return Fitted(fits, wheel, tips, circle)


def _measuring_radius(wheel: Wheel, teeth: ToothMap, px: float, settings: GearSettings) -> float:
    """Radius of the measuring circle, px: the chosen one, or the reference circle."""
    measuring = settings.lengths_mm.get("measuring_diameter", 2 * wheel.reference_radius) / 2 / px
    if not teeth.root_radius < measuring < teeth.tip_radius:
        raise PhotoError(
            f"the measuring circle ({2 * measuring * px:.4g} mm) does not cross the teeth, which "
            f"reach from {2 * teeth.root_radius * px:.4g} to {2 * teeth.tip_radius * px:.4g} mm: "
            "check scale, module and teeth"
        )
    return measuring


def _learnt(wheel: Wheel, fits: FlankFits, px: float, settings: GearSettings) -> Wheel:
    """What the flanks tell of the gear that its form leaves open.

    Of an involute one that is the profile shift, of a cycloidal one the curve of the addendum
    where it was not stated, of a straight-sided one all there is.
    """
    if isinstance(wheel, StraightWheel):
        return _learnt_sides(wheel, fits, px)
    if isinstance(wheel, CycloidalWheel):
        if settings.curve_stated:
            return wheel
        form, _ = best_cycloidal(mean_flank(fits), wheel.reference_radius / px)
        return replace(wheel, form=form.scaled(px))
    assert isinstance(wheel, Gear)
    half = float(np.nanmedian(thickness(flank_angles(fits), 1.0))) / 2
    half += _inv_change(wheel, fits.curve.measuring_radius * px)
    alpha = wheel.rack.pressure_angle
    shift = shift_for_thickness(wheel.teeth, wheel.module_mm, alpha, half)
    return replace(wheel, profile_shift=shift)


def _learnt_sides(wheel: StraightWheel, fits: FlankFits, px: float) -> StraightWheel:
    """Lean of either side, and thickness, of straight-sided teeth."""
    curve = fits.curve
    tilt = OUT * fits.slope * curve.measuring_arm
    form = curve.form
    assert isinstance(form, StraightForm)
    form = form.tilted(curve.measuring_radius, np.nanmedian(tilt, axis=0)).scaled(px)
    thick = float(np.nanmedian(thickness(flank_angles(fits), wheel.reference_radius)))
    return replace(wheel, form=form, thickness_mm=thick)


def _inv_change(gear: Gear, measuring_mm: float) -> float:
    """Half angle that a tooth gains from the measuring circle to the reference circle, rad."""
    plain = replace(gear, profile_shift=0.0)
    at_reference = plain.half_tooth_angle(plain.reference_radius)
    return float(at_reference - plain.half_tooth_angle(measuring_mm))
