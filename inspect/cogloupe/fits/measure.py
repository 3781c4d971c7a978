"""From a picture to fitted flanks in millimetres: the steps in their order.

Everything here is arrays in, arrays out; `assembling` turns the result into a reading.
"""

from dataclasses import dataclass, replace
from math import hypot, inf
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.gear_selection import choose_gear, gears_on
from cogloupe.finding.segmentation import Region
from cogloupe.finding.tooth_map import ToothMap, map_teeth, tips_centre
from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_rim import with_rim
from cogloupe.fits.bore_uncertainty import BOSS, bearing_out, upper_rim, with_wall
from cogloupe.fits.bore_wall import see_wall
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.edge_model_check import (
    SURE,
    UNLIKE_PX,
    agree,
    doubted,
    explanations,
    likelier,
    surer,
    unlike_px,
    with_explanations,
)
from cogloupe.fits.flank_fit import Fitted, fit_at_size
from cogloupe.fits.flank_guard import refuse_few_flanks
from cogloupe.fits.measured_gear import Measured, found_floors
from cogloupe.fits.nominal_form import stated_wheel
from cogloupe.fits.odd_flanks import odd_ones_doubted
from cogloupe.fits.outline_offset import outline_offset
from cogloupe.fits.picture_checks import (
    form_notices,
    lean_notices,
    picture_notices,
    refuse_unusable,
)
from cogloupe.fits.size import find_size
from cogloupe.forms.rack import Gear
from cogloupe.forms.tooth_form import Wheel
from cogloupe.inputs.settings import GearSettings
from cogloupe.optics.edges import find_edges
from cogloupe.optics.joint.from_prediction import measure_outlines
from cogloupe.optics.outlines import Outlines
from cogloupe.optics.sampling import EdgePoints
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import ideal_points, observed_points
from cogloupe_calibration.scale import Scale


@dataclass(frozen=True)
class Seen:
    """A gear found on a picture, with its edges, before anything is measured.

    Attributes
    ----------
    outlines : Outlines
        Edge points as the picture shows them, px.
    """

    region: Region
    outlines: Outlines
    notices: tuple[Notice, ...]


def see_gear(pixels: NDArray[Any], settings: GearSettings) -> Seen:
    """Find the gear on a picture and its edges.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3), uint8 or uint16
        Upright photograph.
    settings : GearSettings
        What is known of the gear.

    Raises
    ------
    PhotoError
        Where no gear is seen, or not the one asked for.
    """
    gears = gears_on(pixels, settings.teeth, doubtful=True)
    region, others = choose_gear(gears, settings, pixels.shape)
    return Seen(region, find_edges(pixels, region, settings.edge), others)


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

    Raises
    ------
    PhotoError
        Where the picture cannot be measured, or contradicts the settings.
    UseError
        Where nothing sets the size.
    """
    return measure_seen(pixels, see_gear(pixels, settings), settings, stated, lens)


def measure_seen(
    pixels: NDArray[Any],
    seen: Seen,
    settings: GearSettings,
    stated: Scale | None,
    lens: Lens | None = None,
) -> Measured:
    """Measure a gear whose edges were found: `measure_gear` from there on.

    Where a level found them, and flanks lean unlike each other or the whole outline lies off the
    stated gear's, they are looked for once more without it.

    Parameters
    ----------
    settings, stated, lens
        As for `measure_gear`.

    Raises
    ------
    PhotoError, UseError
        As for `measure_gear`.
    """
    measured = _by_looks(pixels, seen, settings, stated, lens)
    return _by_wall(pixels, with_rim(pixels, measured, lens), lens)


def _by_wall(pixels: NDArray[Any], measured: Measured, lens: Lens | None) -> Measured:
    """The gear with its bore on the upper rim, where tips and teeth do not bear it out."""
    bore, tips = measured.bore, measured.tip_circle
    if bore is None or tips is None or not choose_datum(measured, None).u_bore_px:
        return measured
    centre = bore.centre if lens is None else observed_points(lens, bore.centre)
    witnesses = bearing_out(measured.fits.centre, tips)
    found = with_wall(bore, see_wall(pixels, centre, bore.radius), witnesses)
    notices = measured.notices
    if found.rims_apart and found.centre is not bore.centre:
        doubt = 2000 * BOSS * found.rims_apart * measured.scale.mm_per_px
        others = (notice for notice in notices if notice.code != "two_rims")
        notices = (*others, flag("two_rims", um=doubt))
    return replace(measured, bore=found, notices=notices)


def _by_looks(
    pixels: NDArray[Any],
    seen: Seen,
    settings: GearSettings,
    stated: Scale | None,
    lens: Lens | None,
) -> Measured:
    """The gear by the look at its edges that makes its flanks lean most alike."""
    first = _measured(seen, settings, stated, lens)
    off = _outline_off(first)
    if unlike_px(first.fits) < UNLIKE_PX and not off:
        return first
    if not seen.outlines.by_level:
        return doubted(_explained(seen, first, settings, stated, lens))
    again = replace(seen, outlines=measure_outlines(pixels, seen.region, settings.edge))
    second = _once_more(again, first, settings, stated, lens)
    if second is None or agree(first.fits, second.fits):
        return first
    if off and not _outline_off(second):  # of a chamfer's two edges flanks lean alike on either
        return second
    return likelier(first, _explained(again, second, settings, stated, lens))


def _outline_off(measured: Measured) -> bool:
    """Whether the whole outline lies off the stated gear's, beyond what is known of its edges."""
    return any(notice.code == "outline_off" for notice in measured.notices)


def _once_more(
    seen: Seen, first: Measured, settings: GearSettings, stated: Scale | None, lens: Lens | None
) -> Measured | None:
    """The gear by another look; None where that does not show its teeth."""
    try:
        other = _measured(seen, settings, stated, lens)
    except PhotoError:
        return None
    return other if other.teeth.teeth == first.teeth.teeth else None


def _explained(
    seen: Seen,
    measured: Measured,
    settings: GearSettings,
    stated: Scale | None,
    lens: Lens | None,
) -> Measured:
    """The gear by another explanation of its edges, where its flanks surely call for it."""
    told, usual = explanations(measured), seen.outlines
    number = told.likeliest
    if number and usual.by_explanation is not None:
        again = replace(seen, outlines=usual.by_explanation(number))
        other = _once_more(again, measured, settings, stated, lens)
        if other is not None and surer(measured.fits, other.fits) > SURE:
            # What pixels leave open of all edges alike, no lean of flanks tells.
            level = hypot(other.outlines.u_explained_px, usual.u_level_px)
            outlines = replace(other.outlines, u_explained_px=level)
            return with_explanations(replace(other, outlines=outlines), number, told)
        if told.sure[number] > SURE:
            return with_explanations(measured, 0, told)
    return measured  # what its pixels leave in doubt, its points already tell


def _measured(
    seen: Seen, settings: GearSettings, stated: Scale | None, lens: Lens | None
) -> Measured:
    region, outlines = seen.region, seen.outlines
    centre = np.array([region.x, region.y])
    if lens is not None:
        outlines, centre = undistorted(outlines, lens), ideal_points(lens, centre)
    teeth, centre = _number_teeth(outlines.outer, region, centre, settings)
    refuse_unusable(outlines, teeth)
    size = find_size(outlines, teeth, centre, settings, stated, whole=not region.cut_off)
    px = size.scale.mm_per_px
    wheel = stated_wheel(settings, teeth, size.module_mm, px)
    fitted = fit_at_size(outlines, teeth, (centre, size.axis), wheel, px, settings)
    refuse_few_flanks(fitted.fits, teeth, whole=not region.cut_off)
    bore, bore_notices = _bore_on_top(size.bore, outlines, fitted, px)
    notices = (
        *seen.notices,
        *picture_notices(region, outlines, teeth, settings),
        *size.notices,
        *bore_notices,
        *form_notices(fitted.wheel, fitted.fits, settings, px),
        *lean_notices(fitted.tips, teeth),
    )
    stated_whole = settings.teeth is not None and settings.module is not None
    measured = Measured(
        region=region,
        outlines=outlines,
        teeth=teeth,
        fits=fitted.fits,
        wheel=fitted.wheel,
        scale=size.scale,
        source="given" if stated_whole else "estimated",
        module_seen=size.module_seen,
        bore=bore,
        tips=fitted.tips,
        tip_circle=fitted.tip_circle,
        notices=notices,
        addendum_source=_addendum_source(settings),
        thickness_px=settings.lengths_mm.get("thickness", inf) / px,
    )
    if settings.edge == "outer":  # the inner edge of a bevel lies inside by intent
        measured = _offset_doubted(measured, wheel)
    return odd_ones_doubted(measured)


def _offset_doubted(measured: Measured, stated: Wheel) -> Measured:
    """The same with its edges as much in doubt as the whole outline lies off the stated gear's."""
    if not (isinstance(stated, Gear) and measured.involute):
        return measured
    px, outlines = measured.scale.mm_per_px, measured.outlines
    floors = found_floors(measured, measured.fits.centre).value
    in_px = stated.scaled(1 / px), measured.gear.scaled(1 / px)
    offset = outline_offset(*in_px, measured.tips.value, floors)
    explained = hypot(outlines.u_explained_px, offset)
    side, notices = "outside" if offset > 0 else "inside", measured.notices
    if abs(offset) > 2 * outlines.u_edge_px:
        notices = (*notices, flag("outline_off", um=1000 * px * abs(offset), side=side))
    return replace(measured, outlines=replace(outlines, u_explained_px=explained), notices=notices)


def _bore_on_top(
    bore: Bore | None, outlines: Outlines, fitted: Fitted, px: float
) -> tuple[Bore | None, tuple[Notice, ...]]:
    """The bore on the upper face, and what to say of it."""
    if bore is None:
        return None, ()
    witnesses = bearing_out(fitted.fits.centre, fitted.tip_circle)
    hole = outlines.holes[bore.hole]
    bore, apart = upper_rim(hole, bore, witnesses, outlines.u_level_px)
    return bore, (flag("two_rims", um=2000 * bore.u_place * px),) if apart else ()


def _number_teeth(
    outer: EdgePoints, region: Region, centre: Floats, settings: GearSettings
) -> tuple[ToothMap, Floats]:
    """Which tooth every edge point belongs to, and the centre of the tips as found so far, px."""
    rough = (region.root_radius, region.tip_radius)
    if region.cut_off:
        centre, rough = tips_centre(outer.xy, outer.normal, centre, rough)
    told = outer.xy, centre, rough, settings.teeth, not region.cut_off, region.teeth
    try:
        return map_teeth(*told), centre
    except PhotoError:
        if outer.good.all():
            raise
        # A line on the ground that runs into a gap looks like a tooth or a break of one.
        return map_teeth(*told, outer.good), centre


def undistorted(outlines: Outlines, lens: Lens) -> Outlines:
    """Outlines as a lens without distortion would have shown them."""

    def ideal(points: EdgePoints) -> EdgePoints:
        return replace(points, xy=ideal_points(lens, points.xy))

    return replace(
        outlines,
        outer=ideal(outlines.outer),
        holes=tuple(ideal(hole) for hole in outlines.holes),
        otherwise=tuple(ideal(outer) for outer in outlines.otherwise),
    )


def _addendum_source(settings: GearSettings) -> Literal["given", "estimated"] | None:
    if settings.form != "cycloidal":
        return None
    return "given" if settings.curve_stated else "estimated"
