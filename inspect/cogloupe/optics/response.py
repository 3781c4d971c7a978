"""Blurred edges in light, and the camera's curve.

Light blurs evenly to both sides of an edge, but a camera that stores its values by the sRGB curve
(IEC 61966-2-1) bends the blurred step: half way between the two greys is then not half way
between the two amounts of light, and the edge seems to move into the darker side by half a blur.
So edges are fitted to amounts of light, and which of the two a picture stores is told from the
lopsidedness of its own edges.
"""

from dataclasses import dataclass
from math import pi, sqrt

import cv2
import numpy as np

from cogloupe_calibration.arrays import Reals

_NEARNESS, _POWERS = 0.2316419, (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)
"""Normal integral to 7.5e-8: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17
(from memory)."""


def srgb_light(stored: Reals) -> Reals:
    """Amount of light behind a stored value, both 0 to 1 (IEC 61966-2-1)."""
    high = ((np.maximum(stored, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(stored <= 0.04045, stored / 12.92, high)


def srgb_stored(light: Reals) -> Reals:
    """Value that stores an amount of light, both 0 to 1: the inverse of `srgb_light`."""
    high = 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, 12.92 * light, high)


def unit_step(z: Reals) -> tuple[Reals, Reals]:
    """Step from 0 to 1 blurred by one, and its slope.

    Parameters
    ----------
    z : ndarray
        Distance out of the material, in blurs.

    Returns
    -------
    step, slope : ndarray

    Notes
    -----
    The slope is needed in any case, and gives the step to a few ten-millionths in a tenth of the
    time of a library's error function.
    """
    slope = bell(z)
    near = 1 / (1 + _NEARNESS * np.abs(z))
    rest = _POWERS[-1] * near
    for power in _POWERS[-2::-1]:
        rest += power
        rest *= near
    rest *= slope
    return np.abs((z > 0) - rest), slope


def blurs_out(offsets: Reals, place: Reals, scale: Reals) -> Reals:
    """Distance of every pixel of profiles out of their edges, in blurs.

    Parameters
    ----------
    offsets : ndarray, shape (k,)
        Of the pixels along every profile, px.
    place : ndarray, shape (n,)
        Edge on the same scale.
    scale : ndarray, shape (n,)
        Blurs along the normal to a pixel along the profile.

    Returns
    -------
    ndarray, shape (n, k)
        Pixel by pixel in memory, as all that belongs to profiles: of each there are thousands, of
        which sums and products take a third of the time.
    """
    return ((offsets[:, None] - place) * scale).T


def bell(z: Reals) -> Reals:
    """Normal density, the slope of a blurred step."""
    density = np.asarray(z * z * -0.5)
    # OpenCV's exponential takes a fifth of the time of numpy's where AVX-512 is missing.
    flat = density.ravel("K")
    cv2.exp(flat, dst=flat)
    density *= 1 / sqrt(2 * pi)
    return density


@dataclass(frozen=True, kw_only=True)
class UnitStep:
    """Steps between two typical levels, and what a change of either level does to them.

    Attributes
    ----------
    step : ndarray, shape (n, k)
        From 0, the typical grey of the material, to 1, that of the ground.
    material, ground : ndarray, shape (n, k), or None
        Change of grey with that of material and of ground; None where nothing else is in sight, so
        that both follow from the step.
    """

    step: Reals
    material: Reals | None
    ground: Reals | None

    @property
    def sides(self) -> tuple[Reals, Reals]:
        """Change of grey with that of material and of ground."""
        if self.material is None or self.ground is None:
            return 1 - self.step, self.step
        return self.material, self.ground


@dataclass(frozen=True)
class BrokenEdge:
    """A band along the edges of n profiles, and a shadow beside them; lengths in blurs.

    Attributes
    ----------
    width : ndarray, shape (n,)
        Width of the band.
    band : ndarray, shape (n,)
        Its light, 0 for that of the material and 1 for that of the ground.
    shade : ndarray, shape (n,)
        How much the light of the ground changes in the shadow, in differences of ground and
        material.
    offset : ndarray, shape (n,)
        How far out of the edge the shadow's border lies, in its middle.
    soft : ndarray, shape (n,)
        Standard deviation of the Gaussian that this border is blurred by, that of the lens within
        it, so more than 1.
    """

    width: Reals
    band: Reals
    shade: Reals
    offset: Reals
    soft: Reals


@dataclass(frozen=True, kw_only=True)
class BrokenStep(UnitStep):
    """Unit steps of a broken edge, and their changes with more, each of shape (n, k).

    Attributes
    ----------
    both, inner : ndarray
        Change when both edges move, and when the band grows wider inwards, per blur.
    lit, shaded : ndarray
        Change with the light of the band, and of the shadow.
    shifted, softer : ndarray
        Change when the shadow's border lies further out, and when it is softer, per blur.
    """

    both: Reals
    inner: Reals
    lit: Reals
    shaded: Reals
    shifted: Reals
    softer: Reals


def broken_step(z: Reals, edge: BrokenEdge) -> BrokenStep:
    """Step of an outline with a band along it and a shadow beside it, and how it changes.

    Parameters
    ----------
    z : ndarray, shape (n, k)
        Distance out of the outer edge, in blurs.
    """
    width, band, shade, offset, soft = (
        v[:, None].astype(z.dtype)
        for v in (edge.width, edge.band, edge.shade, edge.offset, edge.soft)
    )
    (far, inner), (near, outer) = unit_step(z + width), unit_step(z)
    alike = 1 / soft
    within = (offset - z) * alike
    fading, border = unit_step(within)
    # The lens blurs the edge and the shadow's border alike, so both go together: a bivariate
    # normal distribution, to the second order of its tetrachoric series.
    apart = np.sqrt(1 - alike**2)
    both = outer * border
    # In place, as memory for thousands of profiles costs as much time as the sums.
    dark = z * within
    dark *= -0.5 * alike
    dark += 1
    dark *= both
    dark *= -alike
    dark += near * fading
    # At the edge, how much lies in the shadow is one and the same for all pixels of a profile.
    at_edge = unit_step(offset * alike / apart)[0]
    shifted = unit_step(z * apart + offset * alike**2 / apart)[0]
    shifted *= border
    shifted *= shade * alike
    both *= shade * alike**2
    both -= within * shifted
    inner *= band
    slope = outer * (1 - band + shade * at_edge)
    slope += inner
    slope -= shifted
    lit = far - near
    step = band * lit
    step += near
    step += shade * dark
    return BrokenStep(
        step=step,
        material=1 - far,
        ground=near,
        both=slope,
        inner=inner,
        lit=lit,
        shaded=dark,
        shifted=shifted,
        softer=both,
    )
