"""How large the gear is: the module the teeth show, the axis they stand about, the scale.

Lengths are px of the picture unless named otherwise, angles rad.
"""

from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from cogloupe.finding.tooth_map import ToothMap, half_tip
from cogloupe.fits.bore import Bore, find_bore
from cogloupe.fits.gauge_scale import scale_from_gauge
from cogloupe.fits.module_seen import SeenModule, see_size, tip_doubt
from cogloupe.fits.radii import tip_radii
from cogloupe.forms.standard_sizes import nearest_standard_module
from cogloupe.inputs.settings import GearSettings
from cogloupe.numerics.circles import robust_circle
from cogloupe.optics.outlines import Outlines
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError, UseError
from cogloupe_calibration.scale import Scale, disagreement, from_known_diameter

FAR_APART = 2.5
"""Standard uncertainties by which the modules of tips and flanks may differ and still go
together."""


@dataclass(frozen=True)
class CirclesSeen:
    """What a known diameter can be compared with."""

    teeth: ToothMap
    outlines: Outlines
    bore: Bore | None


@dataclass(frozen=True, kw_only=True)
class Size:
    """How large the gear is, before its flanks are fitted at that size.

    Attributes
    ----------
    axis : ndarray, shape (2,)
        Axis of the teeth as far as it is seen yet, px.
    """

    module_seen: SeenModule
    axis: Floats
    bore: Bore | None
    scale: Scale
    module_mm: float
    notices: tuple[Notice, ...]


def find_size(
    outlines: Outlines,
    teeth: ToothMap,
    centre: Floats,
    settings: GearSettings,
    stated: Scale | None,
    whole: bool,
) -> Size:
    """Scale and module, from what is known and what is seen.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centre : ndarray, shape (2,)
        Centre of the tips, px.
    stated : Scale or None
        Scale from a calibration or a statement.
    whole : bool
        False where the frame cuts the gear off: the module is then taken as stated.

    Raises
    ------
    UseError
        Where nothing sets the size.
    PhotoError
        Where the picture contradicts the stated module, or the known circle is not seen.
    """
    known = None
    if stated and settings.module and not whole:
        known = settings.module / stated.mm_per_px
    seen, axis = see_size(outlines, teeth, centre, settings, known)
    bore = find_bore(outlines.holes, axis, teeth.root_radius)
    gauged = None if stated else scale_from_gauge(settings, outlines, teeth, axis, seen)
    circles = CirclesSeen(teeth, outlines, bore)
    scale, module_mm, notices = _settle(settings, stated or gauged, seen, circles)
    return Size(
        module_seen=seen, axis=axis, bore=bore, scale=scale, module_mm=module_mm, notices=notices
    )


def _settle(
    settings: GearSettings, stated: Scale | None, seen: SeenModule, circles: CirclesSeen
) -> tuple[Scale, float, tuple[Notice, ...]]:
    """Scale, module in mm, and what to say of where they come from."""
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
        return (
            Scale(mm_per_px=mm, u_mm_per_px=mm * relative, method="from_module"),
            module,
            (flag("scale_from_module"),),
        )
    seen_mm = seen.px * scale.mm_per_px
    if module is None:
        if settings.form != "involute":  # clock wheels were seldom made to a list of modules
            return scale, seen_mm, _module_notice(settings, seen, seen_mm)
        return scale, *_guessed_module(settings, seen, circles.teeth.teeth, scale.mm_per_px)
    _check_module(module, seen, scale)
    return scale, module, ()


def _guessed_module(
    settings: GearSettings, seen: SeenModule, teeth: int, mm_per_px: float
) -> tuple[float, tuple[Notice, ...]]:
    """Module of an involute gear of which nobody stated it, mm, and how sure it is.

    Tips and flanks together tell it. Where they do not go together at the pressure angle that was
    taken, the tips are believed: they rest on the usual height of teeth alone.
    """
    by_tip, by_flank = seen.by_tip * mm_per_px, seen.by_flank * mm_per_px
    u_tip = tip_doubt(teeth)
    u_flank = (max((seen.px / seen.u_px) ** 2 - u_tip**-2, 1.0)) ** -0.5
    apart = abs(by_flank / by_tip - 1)
    if apart < FAR_APART * hypot(u_tip, u_flank):
        module = nearest_standard_module(seen.px * mm_per_px)
        percent = 200 * seen.u_px / seen.px
        return module, (flag("module_estimated", module=module, dp=25.4 / module, percent=percent),)
    module = nearest_standard_module(by_tip)
    angle = settings.pressure_angle_deg
    cosine = float(np.cos(np.radians(angle))) * by_flank / by_tip
    other = float(np.degrees(np.arccos(cosine))) if cosine < 1 else None
    hint = f" (they would at about {other:.1f}°)" if other is not None and other < 35 else ""
    unsure = flag(
        "module_unsure", module=module, dp=25.4 / module, tip=by_tip, flank=by_flank, angle=angle,
        hint=hint, percent=200 * hypot(u_tip, apart / 2),
    )  # fmt: skip
    return module, (unsure,)


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

    Empty where they agree within their uncertainty, or only one of them was given.

    Parameters
    ----------
    scale : Scale
        As stated or calibrated.
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
    level = 2 * circles.outlines.u_edge_px
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
