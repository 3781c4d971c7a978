"""The edges of a gear, as all later steps take them, and what is not known of them."""

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, pi, sqrt
from typing import Literal

from cogloupe.optics.sampling import EdgePoints

EdgeChoice = Literal["outer", "inner"]

BURNT_DOUBT = 1.5
"""Standard uncertainty of every edge's place, in blurs, where the ground beside it is burnt out:
how much brighter it really was is not known; three times as bright moves the edge 1.2 true blurs,
with the sRGB curve 1.8 (recomputed), and makes the blur look half as wide."""
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
        Standard uncertainty that what is not known of the bevel leaves in the usual edge, by the
        way it faces, px; what is known of single stretches goes with the points.
    mixed : bool
        Colours were mixed otherwise than to brightness.
    sharpening : float
        Amount of the camera's sharpening that was undone; 0 where it does none.
    texture : float
        How much the levels of gear and ground vary from place to place beside the outline
        (tool marks, a grained ground), as a share of the contrast.
    by_level : bool
        They were followed along a level of grey or colour; else near a predicted outline.
    u_explained_px : float
        Standard uncertainty of every edge's place for how else the outline may be explained, as
        far as a gear's flanks tell, px. It moves all edges out or in, and no middle.
    otherwise : tuple of EdgePoints
        The toothed outline at one in so many samples, as explained here and in each other way.
    odds : tuple of float
        Chance of each of those against the first, as the picture's own pixels have it.
    by_explanation : callable or None
        Gives the outlines by the explanation of that number.
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
    by_level: bool = True
    u_explained_px: float = 0.0
    otherwise: tuple[EdgePoints, ...] = ()
    odds: tuple[float, ...] = ()
    by_explanation: "Callable[[int], Outlines] | None" = None

    @property
    def u_edge_px(self) -> float:
        """Standard uncertainty of all edges alike, out of or into the material, px."""
        return edge_shift(self.blur_px, hypot(self.u_level_px, self.u_explained_px))


def edge_shift(blur: float, seen: float) -> float:
    """Standard uncertainty of every edge's place from the level at which an edge is called.

    Px along the normal, the same way (out of or into the material) on all edges. The allowance is
    the level's uncertainty times the inverse slope of a Gaussian edge, ``s sqrt(2 pi)``; it stands
    for the same doubt as what is seen, so the greater of the two counts.

    Parameters
    ----------
    blur : float
        Blur of the edges, px.
    seen : float
        What the picture's own edges leave of it (doubt about the camera's curve, a bevel, burnt
        light), px.
    """
    return max(EDGE_LEVEL_ALLOWANCE * blur * sqrt(2 * pi), seen)
