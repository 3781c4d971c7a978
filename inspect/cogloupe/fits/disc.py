"""A pin or disc of known size, seen end-on."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.colour import LUMA, mix_colours
from cogloupe.finding.region import LEAST_REACH_PX, REACH_REDUCED_PX, REDUCED_SIDE_PX, Region
from cogloupe.fits.bore import Bore, round_outline
from cogloupe.numerics.angles import ring
from cogloupe.numerics.circles import Circle, robust_circle
from cogloupe.optics.edges import find_edges
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError

ROUND_WITHIN = 0.01
"""A disc's outline keeps this near to its circle, as a share of the radius; a twelve-sided nut
departs by 1.7 % to both sides, a hexagon by 7 %."""
WHOLE_SHARE = 0.85
"""Share of the outline, and of the turn, that must do so."""
SMALLEST_DISC_PX = 40
"""Across fewer px than this the doubt about the edge alone leaves half a percent of scale."""
MOST_CONTOURS, LEAST_CONTOUR_PX = 12, 24
"""Contours that are looked at, longest first: a disc and its rivals are among them, dust not; the
least px of one, a circle 8 px across, which is smaller than any that is measured."""
SECTORS = 36
"""Parts of a turn, 10 degrees each, by which an outline is told to go all the way round."""
SAME_PLACE = 0.2
"""Share of the radius within which two circles have one middle: rim and bore, or a chamfer's two
edges, of one thing."""
RIVAL = 0.5
"""A second round thing of this share of the largest one's size leaves open which was meant."""
SOFTEST_DISC = 0.05
"""Blur beyond this share of the diameter leaves no edge to measure."""


@dataclass(frozen=True)
class Disc:
    """A pin or disc seen end-on, px.

    Attributes
    ----------
    circle : Bore
        Its outline.
    xy : ndarray, shape (n, 2)
        The points of that outline, the shift that blur gives a curved edge undone.
    blur : float
        Blur of the edge.
    u_level : float
        Standard uncertainty of the edge's place from the doubt about the camera's grey curve.
    """

    circle: Bore
    xy: Floats
    blur: float
    u_level: float


def find_disc(pixels: NDArray[Any], hollow: bool = False) -> Disc:
    """Find the one round thing on a picture, dark or light, and measure its outline.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    hollow : bool, optional
        Measure the hole in it (a ring) instead.

    Raises
    ------
    PhotoError
        Where nothing round is seen whole, several things are, no hole is in it, or the edge is
        too soft or too small to measure.
    """
    region = _only_one(_round_regions(pixels))
    outlines = find_edges(pixels, region)
    # A ring that fills the frame has no outline of its own in sight: the round thing is its hole.
    own_hole = hollow and not outlines.holes and _is_hole(pixels, region)
    if hollow and not outlines.holes and not own_hole:
        raise PhotoError(
            "no hole is seen in the round thing, so it is no ring: light it so that the hole "
            "stands out, or give the outer diameter with --known-pin"
        )
    inner = hollow and not own_hole
    edge = outlines.holes[0] if inner else outlines.outer
    circle = round_outline(edge, region.tip_radius, inner)
    if circle is None or outlines.blur_px > SOFTEST_DISC * 2 * circle.radius:
        raise PhotoError(
            f"the edge of the disc is blurred beyond use (blur {outlines.blur_px:.1f} px on "
            f"{2 * region.tip_radius:.0f} px across): focus again, or come closer"
        )
    xy = edge.straightened((-1 if inner else 1) / circle.radius)
    return Disc(circle, xy, outlines.blur_px, outlines.u_level_px)


def _is_hole(pixels: NDArray[Any], region: Region) -> bool:
    """Whether a round region is the hole of a ring that the frame cuts off.

    The ground that is seen through the hole is seen again beyond the ring, in the frame's corners;
    where the ring leaves no ground in sight, a hole that light shines through is taken for one.
    """
    small, _ = _reduced(pixels)
    bright = small > region.threshold
    border = np.concatenate([bright[0], bright[-1], bright[:, 0], bright[:, -1]])
    ground_seen = bool(np.any(border == region.bright))
    return ground_seen or region.bright


def _reduced(pixels: NDArray[Any]) -> tuple[NDArray[np.float32], float]:
    """Grey copy of the picture, and how much smaller it is."""
    scale = min(1.0, REDUCED_SIDE_PX / max(pixels.shape[:2]))
    size = (round(pixels.shape[1] * scale), round(pixels.shape[0] * scale))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    grey = mix_colours(small, LUMA if pixels.ndim == 3 else None)
    return np.asarray(grey, np.float32), pixels.shape[1] / size[0]


def _round_regions(pixels: NDArray[Any]) -> list[Region]:
    """Round outlines on a reduced copy of the picture, largest first, in px of the full one."""
    from skimage.filters import threshold_otsu  # slow to import, and seldom needed

    weights = LUMA if pixels.ndim == 3 else None
    grey, factor = _reduced(pixels)
    level = np.full(grey.shape, threshold_otsu(grey), np.float32)  # type: ignore[no-untyped-call]
    found = [
        # A contour runs through the middles of the outermost pixels.
        Region(
            weights=weights,
            threshold=level,
            bright=bright,
            x=(c.x + 0.5) * factor - 0.5,
            y=(c.y + 0.5) * factor - 0.5,
            tip_radius=(c.radius + 0.5) * factor,
            root_radius=(c.radius + 0.5) * factor,
            teeth=0,
            share=c.share,
            cut_off=False,
            outline=ring(c.centre * factor + (factor - 1) / 2, (c.radius + 0.5) * factor),
            reach_px=max(LEAST_REACH_PX, REACH_REDUCED_PX * factor),
        )
        for bright in (False, True)
        for c in _whole_circles((grey > level) if bright else (grey < level))
    ]
    return sorted(found, key=lambda region: -region.tip_radius)


def _whole_circles(mask: NDArray[np.bool_]) -> list[Circle]:
    """Circles of the outer contours of a mask that are round and clear of the border."""
    height, width = mask.shape
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    circles = []
    for contour in sorted(contours, key=len, reverse=True)[:MOST_CONTOURS]:
        xy = contour[:, 0, :].astype(np.float64)
        if len(xy) < LEAST_CONTOUR_PX or (xy < 1).any() or (xy >= [width - 1, height - 1]).any():
            continue
        circle = robust_circle(xy, max(ROUND_WITHIN * float(np.ptp(xy, axis=0).max()) / 2, 1.0))
        if circle is not None and circle.share > WHOLE_SHARE and _turn_seen(xy, circle):
            circles.append(circle)
    return circles


def _turn_seen(xy: Floats, circle: Circle) -> bool:
    """Tell whether the points on a circle go nearly all the way round it."""
    x, y = (xy[circle.used] - circle.centre).T
    bins = np.unique((np.arctan2(y, x) * SECTORS / (2 * np.pi)).astype(int))
    return len(bins) > WHOLE_SHARE * SECTORS


def _only_one(found: list[Region]) -> Region:
    """The largest round region, if no other could have been meant."""
    if not found:
        raise PhotoError(
            "no round pin or disc is seen: stand it on end, whole in the picture, so that it "
            "shows as a circle that stands out from the ground"
        )
    best = found[0]
    near = SAME_PLACE * best.tip_radius
    apart = [r for r in found if np.hypot(r.x - best.x, r.y - best.y) > near]
    rivals = [r for r in apart if r.tip_radius > RIVAL * best.tip_radius]
    if rivals:
        sizes = " and ".join(f"{2 * r.tip_radius:.0f}" for r in (best, *rivals[:2]))
        raise PhotoError(
            f"{1 + len(rivals)} round things are seen ({sizes} px across): leave only the pin or "
            "disc in the picture"
        )
    if 2 * best.tip_radius < SMALLEST_DISC_PX:
        raise PhotoError(
            f"the disc is only {2 * best.tip_radius:.0f} px across: come closer, 200 px or more "
            "measure well"
        )
    return best
