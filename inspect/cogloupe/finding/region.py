"""Where a gear is on a photograph, and how places on the reduced picture read on the full one."""

from dataclasses import dataclass, field, replace
from math import inf
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.gear_detection import GearOutline
from cogloupe_calibration.arrays import Floats

REDUCED_SIDE_PX = 900
LEAST_REACH_PX = 3.0
"""Furthest that the true edge may lie from the predicted outline, px, where pictures are small."""
REACH_REDUCED_PX = 1.0
"""The same in pixels of the reduced picture, beyond that."""
CHIEF_RADIUS = 0.15
"""Tip radius, as a share of the picture's longer side, under which a gear may lie beside the one
that was meant."""


def _nowhere() -> Floats:
    return np.empty((0, 2))


@dataclass(frozen=True, kw_only=True)
class Region:
    """Where the gear is on the photograph.

    Attributes
    ----------
    weights : ndarray, shape (3,), or None
        Mixture of red, green and blue in which the gear stands out clearest; None for a grey
        picture.
    threshold : ndarray, shape (h', w'), float32
        Level midway between gear and ground over the reduced frame, in mixed pixel values.
    bright : bool
        True where the gear is brighter than the ground (by theory: beside most of its outline).
    x, y, tip_radius : float
        Rough centre and tip radius, px of the full picture.
    root_radius : float
        Rough root radius, px.
    teeth : int
        Rough count.
    share : float
        Share (0 to 1) of the seen turn that evenly spaced teeth take; by theory, of the flanks in
        sight that have an edge of their own.
    cut_off : bool
        True where the picture's border cuts the gear.
    outline : ndarray, shape (n, 2)
        Predicted toothed outline of the upper face: closed, clockwise on the picture, px.
    holes : tuple of ndarray, shape (m, 2)
        Predicted outlines of holes in the same form, largest first; the ground is inside.
    reach_px : float
        Furthest that the true edge may lie from the predicted outlines.
    by_theory : bool
        The outline was laid by theory and followed by the directions of edges, since no grey level
        parts gear from ground; else it is the border of what lies on one side of `threshold`.
    follows : float
        Share (0 to 1) of the teeth in sight that the outline shows evenly and all of one size.
    rivals : tuple of int
        Other numbers of teeth that the picture shows nearly as clearly.
    sure : bool
        False where it only comes nearest to a gear.
    lean_deg : float
        Lean that the oval of the teeth tells, degrees; 0 where it was not looked for.
    clear : float
        Difference of both sides of the outline, in their common standard deviation.
    contrast : float
        The same difference in mixed pixel values.
    coloured : bool
        True where the picture has colours, not only greys stored as colours.
    """

    weights: Floats | None
    threshold: NDArray[np.float32]
    bright: bool
    x: float
    y: float
    tip_radius: float
    root_radius: float
    teeth: int
    share: float
    cut_off: bool
    outline: Floats = field(default_factory=_nowhere)
    holes: tuple[Floats, ...] = ()
    reach_px: float = LEAST_REACH_PX
    by_theory: bool = False
    follows: float = 0.0
    rivals: tuple[int, ...] = ()
    sure: bool = True
    lean_deg: float = 0.0
    clear: float = inf
    contrast: float = inf
    coloured: bool = False

    @property
    def merit(self) -> float:
        """How much like a gear it looks, and more for a larger one."""
        return float(self.share * self.tip_radius**0.5)


def reduced(pixels: NDArray[Any]) -> NDArray[Any]:
    """Make a picture small enough to be looked through.

    Of the same type, its longer side at most `REDUCED_SIDE_PX`.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
    """
    height, width = pixels.shape[:2]
    scale = min(1.0, REDUCED_SIDE_PX / max(height, width))
    size = (round(width * scale), round(height * scale))
    # Halves are made in a tenth of the time of other parts.
    while max(pixels.shape[:2]) > 4 * REDUCED_SIDE_PX:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        even = pixels[: 2 * half[1], : 2 * half[0]]
        pixels = cv2.resize(even, half, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA))


def region_of(outline: GearOutline, **looks: Any) -> Region:
    """Region of an outline that was looked at as a gear, in pixels of the reduced picture.

    Parameters
    ----------
    **looks
        The fields of a `Region` that tell of colours and levels.
    """
    return Region(
        x=outline.circle.x,
        y=outline.circle.y,
        tip_radius=outline.circle.radius,
        root_radius=outline.root_radius,
        teeth=outline.teeth,
        rivals=outline.rivals,
        share=outline.share,
        cut_off=outline.cut_off,
        follows=outline.follows,
        reach_px=REACH_REDUCED_PX,
        outline=border_line(outline.contour, outwards=True),
        holes=tuple(border_line(hole, outwards=False) for hole in outline.holes),
        **looks,
    )


def border_line(contour: NDArray[Any], outwards: bool) -> Floats:
    """Line between the border pixels of a mask and the ground beside them.

    Parameters
    ----------
    contour : ndarray, shape (n, 2)
        Pixels of the material along its border, in order.
    outwards : bool
        The ground lies outside the contour; else (a hole) inside.

    Returns
    -------
    ndarray, shape (n, 2)
        Clockwise on the picture.
    """
    xy = contour.astype(np.float64)
    if cv2.contourArea(contour, oriented=True) < 0:
        xy = xy[::-1]
    along = np.roll(xy, -2, axis=0) - np.roll(xy, 2, axis=0)
    length = np.maximum(np.hypot(*along.T), 1e-9)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / length[:, None]
    return np.asarray(xy + normal * (0.5 if outwards else -0.5))


def to_full_size(region: Region, factor: float) -> Region:
    """Region in px of the full picture; pixel centres stay at whole numbers.

    Parameters
    ----------
    region : Region
        In pixels of the reduced picture.
    factor : float
        Pixels of the full picture to one of the reduced.
    """
    x, y = _enlarged(np.array([region.x, region.y]), factor)
    return replace(
        region,
        x=float(x),
        y=float(y),
        tip_radius=region.tip_radius * factor,
        root_radius=region.root_radius * factor,
        outline=_enlarged(region.outline, factor),
        holes=tuple(_enlarged(hole, factor) for hole in region.holes),
        reach_px=max(LEAST_REACH_PX, region.reach_px * factor),
    )


def _enlarged(xy: Floats, factor: float) -> Floats:
    return np.asarray((xy + 0.5) * factor - 0.5)


def may_be_meant(place: tuple[float, float], tip_radius: float, shape: tuple[int, ...]) -> bool:
    """Tell whether a gear is so large and whole that no other need be looked for beside it.

    Parameters
    ----------
    place : (float, float)
        Its centre, px.
    tip_radius : float
        Px.
    shape : (int, int, ...)
        Of the picture.
    """
    height, width = shape[:2]
    to_frame = min(place[0], place[1], width - 1 - place[0], height - 1 - place[1])
    return tip_radius >= CHIEF_RADIUS * max(height, width) and to_frame > 0.9 * tip_radius


def overlap(one: Region, two: Region) -> bool:
    """Tell whether two regions are looks at one gear."""
    apart = np.hypot(one.x - two.x, one.y - two.y)
    return bool(apart <= 0.5 * max(one.tip_radius, two.tip_radius))
