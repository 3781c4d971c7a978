"""Edge points to a few thousandths of a pixel.

The outline of the gear is followed at full resolution (`optics.outline`), part of it tells the
camera's curve and a bevel (`optics.edge_model_selection`), and then every sample of it is measured
(`optics.sampling`).
"""

from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.segmentation import Region
from cogloupe.optics.edge_model_selection import select_edge_model
from cogloupe.optics.greys import greys_of
from cogloupe.optics.outline import border_chains, crossings_of, material_mask
from cogloupe.optics.response_selection import curve_doubt
from cogloupe.optics.sampling import EdgePoints, Fit, sample_edge
from cogloupe_calibration.robust import median

EdgeChoice = Literal["outer", "inner"]

BURNT_DOUBT = 1.5
"""Standard uncertainty of every edge's place, in blurs, where the ground beside it is burnt out:
how much brighter it really was is not known; three times as bright moves the edge 1.2 true blurs,
with the sRGB curve 1.8 (recomputed), and makes the blur look half as wide."""
SHARPENING_DOUBT = 0.05
"""The same where a camera's sharpening was undone: rendered gears show 0.01, with a bevel 0.04, but
cameras do not all sharpen by the book."""
BEVEL_DOUBT = 0.05
"""Standard uncertainty of the outer edge where a bevel is seen, as a share of the bevel's width
(rendered gears show 0.01; real ones are less even)."""
EDGE_LEVEL_ALLOWANCE = 0.03
"""Standard uncertainty of where between ground and gear the true edge lies, as a share of the
step (camera response, glare, bevel); common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Outlines:
    """Edges of a gear.

    Attributes
    ----------
    outer : EdgePoints
        The toothed outline.
    holes : tuple of EdgePoints
        Holes, largest first.
    contrast : float
        Difference of grey between gear and ground, as a share of full scale.
    noise : float
        Noise of one pixel, as a share of the contrast.
    blur_px : float
        Median blur, px.
    burnt : float
        Share of the samples that touch full scale.
    curve : float
        0 where the grey values are proportional to light, 1 where they follow the sRGB curve; else
        the exponent that the light of that curve is raised to.
    u_level_px : float
        Standard uncertainty that the doubt about that curve, sharpening, and a bevel leave in every
        edge's place, px.
    bevel_px : float
        Width of a bevel along the outline, px; 0 where none is seen.
    u_bevel_px : float
        Standard uncertainty that what is not known of the bevel leaves in an edge, by the way it
        faces, px.
    mixed : bool
        Colours were mixed otherwise than to brightness.
    sharpening : float
        Amount of the camera's sharpening that was undone; 0 where it does none.
    texture : float
        How much the levels of gear and ground vary from place to place beside the outline
        (tool marks, a grained ground), as a share of the contrast.
    """

    outer: EdgePoints
    holes: tuple[EdgePoints, ...]
    contrast: float
    noise: float
    blur_px: float
    burnt: float
    curve: float
    u_level_px: float
    bevel_px: float
    u_bevel_px: float
    mixed: bool
    sharpening: float
    texture: float


def find_edges(pixels: NDArray[Any], region: Region, edge: EdgeChoice = "outer") -> Outlines:
    """Measure the outlines of a gear that `finding.segmentation` has placed.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    region : Region
        Where the gear is.
    edge : {'outer', 'inner'}
        Which edge of a bevel to measure, where there is one.

    Returns
    -------
    Outlines
        Positions in px of the full picture.
    """
    greys = greys_of(pixels, region)
    corner = greys.corner
    mask = material_mask(greys, region)
    outer, holes = border_chains(mask, region, corner)
    crossings = crossings_of(mask, outer)
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


def edge_shift(blur: float, seen: float) -> float:
    """Standard uncertainty of every edge's place from the level at which an edge is called.

    Parameters
    ----------
    blur : float
        Blur of the edges, px.
    seen : float
        What the picture's own edges leave of it (doubt about the camera's curve, a bevel, burnt
        light), px.

    Returns
    -------
    float
        Px along the normal, the same way (out of or into the material) on all edges. The allowance
        is the level's uncertainty times the inverse slope of a Gaussian edge, ``s sqrt(2 pi)``; it
        stands for the same doubt as what is seen, so the greater of the two counts.
    """
    return max(EDGE_LEVEL_ALLOWANCE * blur * sqrt(2 * np.pi), seen)
