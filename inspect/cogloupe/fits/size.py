"""How large the gear is: the module the teeth show, the axis they stand about, the scale.

Lengths are px of the picture unless named otherwise, angles rad.
"""

from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from cogloupe.edges import Outlines
from cogloupe.fits.axis import teeth_axis_shift
from cogloupe.fits.circles import robust_circle
from cogloupe.fits.datum import Bore
from cogloupe.fits.flanks import FlankFits, fit_flanks
from cogloupe.flags import flag
from cogloupe.forms.involute import involute_curve
from cogloupe.forms.standard_sizes import nearest_standard_module
from cogloupe.forms.tooth_form import OUT, FlankCurve
from cogloupe.gaps import tip_radii
from cogloupe.reading import Notice
from cogloupe.settings import GearSettings
from cogloupe.teeth import ToothMap
from cogloupe.uncertainty import edge_shift
from cogloupe_calibration.errors import PhotoError, UseError
from cogloupe_calibration.scale import Scale, disagreement, from_known_diameter

Floats = NDArray[np.float64]

FURTHEST_AXIS = 0.4
"""Furthest that the teeth's axis may lie from the centre of the tips, in modules."""
MODULE_AGREES = 0.03


@dataclass(frozen=True)
class SeenModule:
    """Module in px as the picture shows it.

    Attributes
    ----------
    px, u_px : float
        Weighted mean of two ways to see it, and its standard uncertainty.
    by_tip, by_flank : float
        From the tip diameter (z + 2 modules) and from the curve of the flanks (base circle).
    agrees : float
        A stated module that differs by more than this share contradicts the picture.
    """

    px: float
    u_px: float
    by_tip: float
    by_flank: float
    agrees: float = MODULE_AGREES


def see_module(
    outlines: Outlines,
    teeth: ToothMap,
    centre: Floats,
    pressure_angle: float,
    known: float | None = None,
) -> tuple[SeenModule, Floats]:
    """Module in px that the teeth show, and the axis of the teeth.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centre : ndarray, shape (2,)
        Rough centre, px.
    pressure_angle : float
        Stated pressure angle, rad.
    known : float, optional
        Module in px where it is stated and the picture cannot tell it: an arc tells its radius
        and its middle only together.

    Returns
    -------
    SeenModule
    ndarray, shape (2,)
        Axis of the teeth, px.

    Notes
    -----
    The tip diameter gives ``d_a / (z + 2)``, wrong by any error of the blank or by a profile
    shift (taken as 0.1 modules on the radius, common practice, no source). The flanks' curve
    gives the base circle, wrong by any error of the pressure angle (half a degree). Each is
    weighted by that.
    """
    z = teeth.teeth
    by_tip = 2 * teeth.tip_radius / (z + 2)
    module, anchor = known or by_tip, centre
    for _ in range(4 if known is None else 8):
        base = module * z / 2 * np.cos(pressure_angle)
        curve = rough_involute(teeth, module, pressure_angle)
        fits = fit_flanks(outlines.outer, teeth, centre, curve)
        slope = np.nanmedian(OUT * fits.slope * base)
        if known is None:
            module = float(np.clip(module * (1 + slope), 0.85 * by_tip, 1.15 * by_tip))
        centre = nearer_axis(outlines, teeth, anchor, fits)
    if known is not None:
        return SeenModule(known, 0.03 * known, known, known), centre
    noise = float(np.nanmedian(fits.u_slope)) * base / sqrt(2 * z)
    u_flank = hypot(0.5 * np.pi / 180 * np.tan(pressure_angle), noise)
    u_tip = 0.2 / (z + 2)
    weights = np.array([u_tip**-2, u_flank**-2])
    seen = float(weights @ [by_tip, module] / weights.sum())
    return SeenModule(seen, seen / sqrt(weights.sum()), by_tip, module), centre


def rough_involute(teeth: ToothMap, module: float, pressure_angle: float) -> FlankCurve:
    """Involute to fit flanks against before their size is known.

    Parameters
    ----------
    teeth : ToothMap
    module : float
        Px.
    pressure_angle : float
        Rad.

    Returns
    -------
    FlankCurve
        Over the middle of the flanks, clear of any fillet and tip.
    """
    depth = teeth.tip_radius - teeth.root_radius
    low, high = teeth.root_radius + 0.38 * depth, teeth.tip_radius - 0.14 * depth
    base = module * teeth.teeth / 2 * np.cos(pressure_angle)
    return involute_curve(base, module * teeth.teeth / 2, max(low, base * 1.002), high)


def nearer_axis(outlines: Outlines, teeth: ToothMap, anchor: Floats, fits: FlankFits) -> Floats:
    """The axis of the teeth, kept within reach of the tips' centre.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    anchor : ndarray, shape (2,)
        Centre of the tips, px.
    fits : FlankFits
        Flanks fitted about some centre.

    Returns
    -------
    ndarray, shape (2,)
        Px.

    Notes
    -----
    No blank is turned further off than that; where the flanks say so, the gear leans or its lower
    edge is seen past the upper one, and the tips are the better witness.
    """
    tips, whole = None, bool(teeth.seen.mean() > 0.75)
    if not whole:
        tips = tip_radii(outlines.outer, teeth, fits.centre, half_tip(teeth))[0].value
    module = (teeth.tip_radius - teeth.root_radius) / 2.25
    # On straight sides that stand along the radius an axis and a drive error look alike.
    apart = whole and fits.curve.form.name != "straight"
    wanted = fits.centre + teeth_axis_shift(fits, tips, drive=apart)
    return np.asarray(anchor + _bounded(wanted - anchor, FURTHEST_AXIS * module))


def _bounded(shift: Floats, most: float) -> Floats:
    length = float(np.hypot(*shift))
    return shift * min(1.0, most / max(length, 1e-12))


@dataclass(frozen=True)
class CirclesSeen:
    """What a known diameter can be compared with."""

    teeth: ToothMap
    outlines: Outlines
    bore: Bore | None


def settle_size(
    settings: GearSettings, stated: Scale | None, seen: SeenModule, circles: CirclesSeen
) -> tuple[Scale, float, tuple[Notice, ...]]:
    """Scale and module, from what is known and what is seen.

    Parameters
    ----------
    settings : GearSettings
    stated : Scale or None
        Scale from a calibration or a statement.
    seen : SeenModule
    circles : CirclesSeen

    Returns
    -------
    Scale
    float
        Module, mm.
    tuple of Notice

    Raises
    ------
    UseError
        Where nothing sets the size.
    PhotoError
        Where the picture contradicts the stated module, or the known circle is not seen.
    """
    scale = stated or _scale_from_circle(settings, circles)
    module = settings.module
    if scale is None:
        if module is None:
            raise UseError(
                "nothing sets the size: give --module or --dp, or a scale (--scale, "
                "--calibration, --known-tip-diameter, --known-bore, --span or --over-pins)"
            )
        relative = seen.u_px / seen.px
        mm = module / seen.px
        return Scale(mm, mm * relative, "from_module"), module, (flag("scale_from_module"),)
    seen_mm = seen.px * scale.mm_per_px
    if module is None:
        if settings.form != "involute":  # clock wheels were seldom made to a list of modules
            return scale, seen_mm, _module_notice(settings, seen, seen_mm)
        module = nearest_standard_module(seen_mm)
        return scale, module, (flag("module_estimated", module=module, dp=25.4 / module),)
    _check_module(module, seen, scale)
    return scale, module, ()


def _module_notice(settings: GearSettings, seen: SeenModule, mm: float) -> tuple[Notice, ...]:
    """Say where the module of a cycloidal wheel comes from; straight-sided ones have none."""
    if settings.form == "straight":
        return ()
    percent = 200 * seen.u_px / seen.px
    return (flag("module_from_tips", module=mm, percent=percent),)


def compare_scales(
    settings: GearSettings, scale: Scale, circles: CirclesSeen
) -> tuple[Notice, ...]:
    """Hold the scale against a known diameter that was given beside it.

    Parameters
    ----------
    settings : GearSettings
    scale : Scale
        As stated or calibrated.
    circles : CirclesSeen

    Returns
    -------
    tuple of Notice
        Empty where they agree within their uncertainty, or only one of them was given.
    """
    stated = settings.calibration is not None or settings.scale_um_per_px is not None
    other = _scale_from_circle(settings, circles) if stated else None
    what = None if other is None else disagreement(scale, other)
    return () if what is None else (flag("scales_disagree", what=what),)


def _check_module(module: float, seen: SeenModule, scale: Scale) -> None:
    """Refuse a stated module that both ways of seeing it contradict."""
    off = [p * scale.mm_per_px / module - 1 for p in (seen.px, seen.by_tip, seen.by_flank)]
    same_way = off[1] * off[2] > 0 and min(abs(off[1]), abs(off[2])) > seen.agrees / 2
    if abs(off[0]) > seen.agrees and same_way:
        seen_mm = seen.px * scale.mm_per_px
        raise PhotoError(
            f"the picture shows module {seen_mm:.4g} mm ({25.4 / seen_mm:.4g} DP), not "
            f"{module:.4g} mm ({25.4 / module:.4g} DP): check module, DP and scale"
        )


def _scale_from_circle(settings: GearSettings, circles: CirclesSeen) -> Scale | None:
    """Scale from a tip circle or bore of known diameter."""
    known = settings.lengths_mm
    level = 2 * edge_shift(circles.outlines.blur_px, circles.outlines.u_level_px)
    if "known_tip_diameter" in known:
        mapped = circles.teeth
        depth = mapped.tip_radius - mapped.root_radius
        centre = _tip_centre(circles.outlines, mapped)
        tips, circle = tip_radii(circles.outlines.outer, mapped, centre, half_tip(mapped))
        if circle is None:
            raise PhotoError(
                "the tip circle is not seen well enough to set the scale (blur "
                f"{circles.outlines.blur_px:.1f} px on teeth {depth:.0f} px deep): come closer, "
                "or set the scale another way"
            )
        # Lands of a point or two show no scatter of their own, all of them together do.
        told = np.isfinite(tips.u).any()
        u = hypot(level, 2 * (float(np.nanmedian(tips.u)) if told else circle.rms))
        scale = from_known_diameter(2 * circle.radius, u, known["known_tip_diameter"])
        return replace(scale, by_edge=-1 / circle.radius)
    if "known_bore" in known:
        if circles.bore is None:
            raise PhotoError("no round bore is seen, so --known-bore cannot set the scale")
        bore = circles.bore
        u = hypot(level, 2 * bore.u_radius)
        scale = from_known_diameter(2 * bore.radius, u, known["known_bore"], method="known_bore")
        return replace(scale, by_edge=1 / bore.radius)
    return None


def _tip_centre(outlines: Outlines, teeth: ToothMap) -> Floats:
    """Rough centre from the outline itself: the mean of the mid-height crossings' circle."""
    circle = robust_circle(outlines.outer.xy, 0.02 * teeth.tip_radius)
    assert circle is not None  # the teeth were mapped on this outline
    return circle.centre


def half_tip(teeth: ToothMap) -> float:
    """Half angle of a tip land, roughly: an eighth of a pitch.

    Parameters
    ----------
    teeth : ToothMap

    Returns
    -------
    float
        Rad.
    """
    return np.pi / teeth.teeth / 4
