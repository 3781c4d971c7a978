"""What makes a picture unfit to be measured, and what is said of one that is fit."""

from math import acos, degrees

from cogloupe.finding.segmentation import Region
from cogloupe.finding.tooth_map import ToothMap
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.form_selection import other_form
from cogloupe.fits.measured_gear import tips_oval
from cogloupe.fits.radii import Radii
from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.tooth_form import Wheel
from cogloupe.inputs.settings import GearSettings
from cogloupe.optics.outlines import Outlines
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.errors import PhotoError

BLUR_WARNS_PX = 2.6
"""Blur from which a sharper picture is advised; it still measures (our own judgement)."""
OVAL_WARNS = 0.004
"""Ovality of the tips from which a lean is told: a turned blank is rounder (common practice, no
source)."""
DEEPEST_BLUR = 1 / 7
"""Blur beyond this share of the tooth's depth leaves no flank to measure."""
SMALLEST_DEPTH_PX, COARSE_DEPTH_PX = 6.0, 25.0
"""Depth of teeth without which nothing of a flank is left between fillet and tip corner, and below
which a nearer picture is advised (our own judgement)."""
LEAST_CONTRAST, MOST_NOISE = 0.04, 0.25
"""Share of full scale between gear and ground that is little, and noise of a pixel, as a share of
that, with which it is too little: flanks of a hundred pixels then know their place to 0.1 px."""
BURNT_WARNS = 0.02
"""Share of the outline with a side that is burnt out: less moves single points, which are set aside
(our own judgement)."""
BURNT_CONTRAST = 0.35
"""With the bright side burnt out, a dark side this near to it is over-exposed as well."""


def refuse_unusable(outlines: Outlines, teeth: ToothMap) -> None:
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
    if outlines.contrast < LEAST_CONTRAST and outlines.noise > MOST_NOISE:
        raise PhotoError(
            f"gear and ground differ by only {100 * outlines.contrast:.1f} % of full scale, and "
            f"noise is {100 * outlines.noise:.0f} % of that (over- or under-exposed): change "
            "exposure or ground"
        )


def picture_notices(
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
    if depth < COARSE_DEPTH_PX:
        notices.append(flag("coarse_pixels", px=depth))
    return tuple(notices)


def form_notices(
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


def lean_notices(tips: Radii, teeth: ToothMap) -> tuple[Notice, ...]:
    """Say so where the tips lie on an oval.

    Parameters
    ----------
    tips : Radii
        Tip radii, px.
    """
    oval = tips_oval(tips, teeth)
    lean = degrees(acos(1 / (1 + oval)))
    return (flag("leaning", percent=100 * oval, lean=lean),) if oval > OVAL_WARNS else ()
