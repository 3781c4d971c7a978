"""Edge points to a few thousandths of a pixel.

Where a grey level parts gear and ground, the outline of the gear is followed by it at full
resolution (`optics.contour_following`), part of it tells the camera's curve and a bevel
(`optics.edge_model_selection`), and then every sample of it is measured (`optics.sampling`). Where
none does, the edges of the whole outline are fitted at once near the predicted one
(`optics.joint.from_prediction`).
"""

from dataclasses import replace
from math import hypot
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.segmentation import Region
from cogloupe.optics.clear_level import level_is_clear
from cogloupe.optics.contour_following import border_chains, crossings_of, material_mask
from cogloupe.optics.edge_model_selection import select_edge_model
from cogloupe.optics.greys import greys_of
from cogloupe.optics.joint.from_prediction import measure_outlines
from cogloupe.optics.outlines import BEVEL_DOUBT, BURNT_DOUBT, EdgeChoice, Outlines
from cogloupe.optics.response_selection import curve_doubt
from cogloupe.optics.sampling import Fit, sample_edge
from cogloupe_calibration.robust import median

SHARPENING_DOUBT = 0.05
"""Standard uncertainty of every edge's place, in blurs, where a camera's sharpening was undone:
rendered gears show 0.01, with a bevel 0.04, but cameras do not all sharpen by the book."""


def find_edges(pixels: NDArray[Any], region: Region, edge: EdgeChoice = "outer") -> Outlines:
    """Measure the outlines of a gear that `finding.segmentation` has placed.

    Positions in px of the full picture.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    region : Region
        Where the gear is.
    edge : {'outer', 'inner'}
        Which edge of a bevel to measure, where there is one.
    """
    greys = greys_of(pixels, region)
    corner = greys.corner
    mask = material_mask(greys, region)
    outer, holes = border_chains(mask, region, corner)
    crossings = crossings_of(mask, outer)
    if region.by_theory and not level_is_clear(greys, crossings, region):
        return measure_outlines(pixels, region, edge)
    # Longer profiles than the teeth are thick would run into the next flank.
    module = 2 * region.tip_radius / (region.teeth + 2)
    teeth = Fit(module)
    best, *others = select_edge_model(greys, crossings, region.coloured, teeth)
    bevel = best.bevel
    start = None if best.profiles is None else median(best.profiles.blur)
    teeth = replace(teeth, bevel=bevel, blur=start)
    bore = replace(teeth, room_px=np.inf)
    measured = [sample_edge(best.greys, crossings, teeth)]
    measured += [sample_edge(best.greys, crossings_of(mask, hole), bore) for hole in holes]
    inwards = bevel.width_px if edge == "inner" else 0.0
    placed = [
        replace(m.points, xy=m.points.xy - inwards * m.points.normal + np.array(corner, float))
        for m in measured
    ]
    first = measured[0]
    blur = median(first.points.blur)
    sharpening = best.sharpening.amount if best.sharpening else 0.0
    doubt = hypot(
        curve_doubt(best, others), BURNT_DOUBT * first.burnt, SHARPENING_DOUBT * (sharpening > 0)
    )
    u_level = hypot(doubt * blur, BEVEL_DOUBT * bevel.width_px, bevel.u_px)
    return Outlines(
        outer=placed[0],
        holes=tuple(placed[1:]),
        contrast=best.contrast,
        noise=first.noise / first.contrast,
        blur_px=blur,
        burnt=first.burnt,
        curve=best.curve,
        u_level_px=u_level,
        bevel_px=bevel.width_px,
        u_bevel_px=bevel.u_px,
        mixed=best.greys.mixed,
        sharpening=sharpening,
        texture=first.texture,
    )
