"""From a picture to fitted flanks in millimetres: the steps in their order.

Everything here is arrays in, arrays out; `assemble` turns the result into a reading.
"""

from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cogloupe.edges import Outlines
from cogloupe.fits.axis import gap_middles
from cogloupe.fits.circles import Circle
from cogloupe.fits.datum import Bore, find_bore
from cogloupe.fits.fitting import fit_at_size, plausible
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.form_fit import other_form
from cogloupe.fits.gauge_scale import scale_from_gauge
from cogloupe.fits.size import CirclesSeen, SeenModule, settle_size
from cogloupe.fits.stated_form import see_size, stated_wheel
from cogloupe.flags import flag
from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.gaps import Radii, floor_radii
from cogloupe.reading import Notice
from cogloupe.seen_gear import Seen, see_gear
from cogloupe.segment import Region
from cogloupe.settings import GearSettings
from cogloupe.teeth import ToothMap, map_teeth, tips_centre
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import ideal_points
from cogloupe_calibration.scale import Scale

Floats = NDArray[np.float64]

BLUR_WARNS_PX = 2.6
OVAL_WARNS = 0.004
"""Ovality of the tips from which a lean is told: a turned blank is rounder (common practice, no
source)."""
DEEPEST_BLUR = 1 / 7
"""Blur beyond this share of the tooth's depth leaves no flank to measure."""
SMALLEST_DEPTH_PX = 6.0
LEAST_CONTRAST = 0.04
BURNT_WARNS = 0.02
BURNT_CONTRAST = 0.35
"""With the bright side burnt out, a dark side this near to it is over-exposed as well."""


@dataclass(frozen=True)
class Measured:
    """A gear as measured on one picture.

    Attributes
    ----------
    region, outlines, teeth, fits
        What each step found; lengths px.
    wheel : Wheel
        The gear compared with, mm; an involute one at the profile shift that was found.
    scale : Scale
        Scale of the picture.
    source : {'given', 'estimated'}
        Where tooth number and module came from.
    module_seen : SeenModule
    bore : Bore or None
    tips : Radii
        Tip radii about the teeth's axis, px.
    tip_circle : Circle or None
    notices : tuple of Notice
    addendum_source : {'given', 'estimated'} or None
        Where the addendum curve of cycloidal teeth came from.
    """

    region: Region
    outlines: Outlines
    teeth: ToothMap
    fits: FlankFits
    wheel: Wheel
    scale: Scale
    source: str
    module_seen: SeenModule
    bore: Bore | None
    tips: Radii
    tip_circle: Circle | None
    notices: tuple[Notice, ...]
    addendum_source: Literal["given", "estimated"] | None = None

    @property
    def gear(self) -> Gear:
        """The involute gear compared with.

        Only for what is worked out of involute teeth alone; see `involute`.
        """
        if not isinstance(self.wheel, Gear):
            raise TypeError(f"{self.wheel.flank.name} teeth have no rack")
        return self.wheel

    @property
    def involute(self) -> bool:
        """True where the teeth were compared with those of a rack."""
        return isinstance(self.wheel, Gear)


def measure_gear(
    pixels: NDArray[Any], settings: GearSettings, stated: Scale | None, lens: Lens | None = None
) -> Measured:
    """Measure the gear on a picture.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3), uint8 or uint16
        Upright photograph.
    settings : GearSettings
        What is known of the gear.
    stated : Scale or None
        Scale from a calibration or a statement; None where the picture itself must give it.
    lens : Lens, optional
        Measured lens; edge points are put where it would not have moved them, and every place in
        the result is in px of such a picture.

    Returns
    -------
    Measured

    Raises
    ------
    PhotoError
        Where the picture cannot be measured, or contradicts the settings.
    UseError
        Where nothing sets the size.
    """
    return measure_seen(see_gear(pixels, settings), settings, stated, lens)


def measure_seen(
    seen: Seen, settings: GearSettings, stated: Scale | None, lens: Lens | None = None
) -> Measured:
    """Measure a gear whose edges were found: `measure_gear` from there on.

    Parameters
    ----------
    seen : Seen
    settings, stated, lens
        As for `measure_gear`.

    Returns
    -------
    Measured

    Raises
    ------
    PhotoError, UseError
        As for `measure_gear`.
    """
    region, outlines, others = seen.region, seen.outlines, seen.notices
    centre = np.array([region.x, region.y])
    if lens is not None:
        outlines, centre = undistorted(outlines, lens), ideal_points(lens, centre)
    rough = (region.root_radius, region.tip_radius)
    if region.cut_off:
        outer = outlines.outer
        centre, rough = tips_centre(outer.xy, outer.normal, centre, rough)
    teeth = map_teeth(outlines.outer.xy, centre, rough, settings.teeth, whole=not region.cut_off)
    _refuse_unusable(outlines, teeth)
    stated_px = settings.module / stated.mm_per_px if stated and settings.module else None
    known = stated_px if region.cut_off else None
    anchor = centre
    module_seen, centre = see_size(outlines, teeth, anchor, settings, known)
    bore = find_bore(outlines.holes, centre, teeth.root_radius)
    gauged = None if stated else scale_from_gauge(settings, outlines, teeth, centre, module_seen)
    scale, module_mm, notices = settle_size(
        settings, stated or gauged, module_seen, CirclesSeen(teeth, outlines, bore)
    )
    wheel = stated_wheel(settings, teeth, module_mm, scale.mm_per_px)
    fitted = fit_at_size(outlines, teeth, (anchor, centre), wheel, scale.mm_per_px, settings)
    oval = tips_oval(fitted.tips, teeth)
    notices = (*others, *_picture_notices(region, outlines, teeth, settings), *notices)
    notices = (*notices, *_form_notices(fitted.wheel, fitted.fits, settings, scale.mm_per_px))
    if oval > OVAL_WARNS:
        notices = (*notices, flag("leaning", percent=100 * oval))
    source = "given" if settings.teeth is not None and settings.module is not None else "estimated"
    return Measured(
        region, outlines, teeth, fitted.fits, fitted.wheel, scale, source, module_seen, bore,
        fitted.tips, fitted.tip_circle, notices, _addendum_source(settings),
    )  # fmt: skip


def undistorted(outlines: Outlines, lens: Lens) -> Outlines:
    """Outlines as a lens without distortion would have shown them.

    Parameters
    ----------
    outlines : Outlines
    lens : Lens

    Returns
    -------
    Outlines
    """
    outer, *holes = (
        replace(points, xy=ideal_points(lens, points.xy))
        for points in (outlines.outer, *outlines.holes)
    )
    return replace(outlines, outer=outer, holes=tuple(holes))


def _refuse_unusable(outlines: Outlines, teeth: ToothMap) -> None:
    """Say why a picture is beyond use."""
    depth = teeth.tip_radius - teeth.root_radius
    if depth < SMALLEST_DEPTH_PX:
        raise PhotoError(
            f"the teeth are only {depth:.1f} px deep: come closer, 40 px or more measure well"
        )
    if outlines.blur_px > DEEPEST_BLUR * depth:
        raise PhotoError(
            f"the picture is blurred beyond use (blur {outlines.blur_px:.1f} px, teeth "
            f"{depth:.0f} px deep): focus again"
        )
    if outlines.burnt > 0.5 and outlines.contrast < BURNT_CONTRAST:
        raise PhotoError(
            f"the picture is over-exposed: the bright side is burnt out and only "
            f"{100 * outlines.contrast:.0f} % of full scale is left to the edges: expose less"
        )
    if outlines.contrast < LEAST_CONTRAST:
        raise PhotoError(
            f"gear and ground differ by only {100 * outlines.contrast:.1f} % of full scale "
            "(over- or under-exposed): change exposure or ground"
        )


def _picture_notices(
    region: Region, outlines: Outlines, teeth: ToothMap, settings: GearSettings
) -> tuple[Notice, ...]:
    """What to say about the picture itself."""
    notices = []
    if settings.teeth is None:
        notices.append(flag("teeth_estimated", count=teeth.teeth))
    if outlines.mixed:
        notices.append(flag("colour_channel"))
    if outlines.sharpening:
        notices.append(flag("sharpened"))
    if region.cut_off:
        notices.append(flag("cut_off"))
    if outlines.bevel_px > 0:
        notices.append(flag("two_edges", which=settings.edge, px=outlines.bevel_px))
    if outlines.blur_px > BLUR_WARNS_PX:
        notices.append(flag("soft_focus", blur=outlines.blur_px))
    if outlines.burnt > BURNT_WARNS:
        notices.append(flag("over_exposed", percent=100 * outlines.burnt))
    if outlines.contrast < 3 * LEAST_CONTRAST:
        notices.append(flag("low_contrast", percent=100 * outlines.contrast))
    depth = teeth.tip_radius - teeth.root_radius
    if depth < 25:
        notices.append(flag("coarse_pixels", px=depth))
    return tuple(notices)


def _addendum_source(settings: GearSettings) -> Literal["given", "estimated"] | None:
    if settings.form != "cycloidal":
        return None
    return "given" if settings.curve_stated else "estimated"


def _form_notices(
    wheel: Wheel, fits: FlankFits, settings: GearSettings, px: float
) -> tuple[Notice, ...]:
    """What to say about the form of the teeth."""
    notices = [] if settings.form == "involute" else [flag(f"{settings.form}_teeth")]
    if isinstance(wheel, CycloidalWheel) and not settings.curve_stated:
        notices.append(flag("curve_estimated", what=wheel.form.addendum.in_words))
    other = other_form(fits, wheel.reference_radius / px)
    if other is not None:
        notices.append(flag("other_form", stated=settings.form, other=other))
    return tuple(notices)


def tips_oval(tips: Radii, teeth: ToothMap) -> float:
    """How far the tips lie on an oval instead of a circle.

    Parameters
    ----------
    tips : Radii
        Tip radii, px.
    teeth : ToothMap

    Returns
    -------
    float
        Longest over shortest diameter, less one; 0 where no oval stands out of the scatter.
    """
    seen = np.isfinite(tips.value)
    if seen.sum() < 10:
        return 0.0
    angle, radius = teeth.centre_angle[seen], tips.value[seen]
    waves = [f(k * angle) for k in (1, 2) for f in (np.cos, np.sin)]
    design = np.stack([np.ones_like(angle), *waves], axis=1)
    wave = np.linalg.lstsq(design, radius, rcond=None)[0]
    scatter = float(np.std(radius - design @ wave))
    size = hypot(wave[3], wave[4])
    # Each of the wave's two parts has the scatter times sqrt(2 / n).
    return 2 * size / float(wave[0]) if size > 3 * scatter * sqrt(2 / len(radius)) else 0.0


def found_floors(measured: Measured, axis: Floats) -> Radii:
    """Floor radii of a measured gear about an axis.

    Parameters
    ----------
    measured : Measured
    axis : ndarray, shape (2,)

    Returns
    -------
    Radii
        Px.
    """
    if measured.wheel.flank.name == "straight":  # a ratchet's gap has its lowest point anywhere
        nothing = np.full(measured.teeth.teeth, np.nan)
        return Radii(nothing, nothing)
    in_px = plausible(measured.wheel).scaled(1 / measured.scale.mm_per_px)
    # On a floor that is all fillet, a middle out by a few px would lift it.
    middle = gap_middles(measured.fits)
    return floor_radii(measured.outlines.outer, measured.teeth, axis, in_px, middle)
