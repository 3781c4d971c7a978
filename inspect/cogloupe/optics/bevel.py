"""Two edges side by side: where the true outline runs when its edge is broken.

A bevel (or a raised burr) shows as a narrow band along the outline, brighter or darker than the
face by the way it is turned to the lamp. A single blurred step fitted across it follows now the
outer, now the inner of two edges, depending on which way the outline faces. `bevel_fit` finds the
band.
"""

from dataclasses import dataclass, replace
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.grain import PLATEAU_SHARE
from cogloupe.optics.levels import LEVEL_WINDOWS, Levelled, common_levels
from cogloupe.optics.response import UnitStep, blurs_out, broken_step, unit_step
from cogloupe.optics.step_fit import Band
from cogloupe_calibration.arrays import Reals
from cogloupe_calibration.robust import median

NARROWEST_PX = 1.5
"""A narrower band cannot be told from an edge whose blur is no Gaussian."""
MARK_SAMPLES = 9
"""Neighbouring samples whose levels are averaged, so that those follow tool marks."""
BLURS_PX = 0.35, 8.0
"""Least and most blur that is looked for: a pixel's own width blurs by 0.29 px."""
MOST_UNLIKE = 100.0
"""Ratio of the variances of both sides that weights follow at most."""
SOFT_PX = 4.0
"""Softness of a shadow before it is known."""


@dataclass(frozen=True)
class Frame:
    """Part of the picture that an outline takes up, for what changes slowly over it.

    Attributes
    ----------
    centre : ndarray, shape (2,)
    reach : float
        Px.
    """

    centre: Reals
    reach: float

    @classmethod
    def about(cls, xy: Reals) -> "Frame":
        """Take the part that places, shape (n, 2), lie in."""
        centre = xy.mean(axis=0)
        return cls(centre, float(np.abs(xy - centre).max()))

    def terms(self, xy: NDArray[Any]) -> Reals:
        """Work out constant, linear and square terms of places, each about 1 at most.

        A gear's flanks lie at nearly one distance from its middle, where the two squares of x and
        y tell no more than their difference.

        Parameters
        ----------
        xy : ndarray, shape (n, 2)

        Returns
        -------
        ndarray, shape (n, 5)
        """
        x, y = ((xy - self.centre) / self.reach).T
        return np.stack([np.ones_like(x), x, y, x * y, x * x - y * y], axis=1)


@dataclass(frozen=True)
class Terms:
    """What a band's light, its lighting and the blur are made of, at n samples.

    Attributes
    ----------
    normal : ndarray, shape (n, 2)
    facing : ndarray, shape (n, 2 orders + 1)
        As of `harmonics`.
    frame : ndarray, shape (n, 5)
        As of `Frame.terms`.
    """

    normal: Reals
    facing: Reals
    frame: Reals


@dataclass(frozen=True, kw_only=True)
class Bevel:
    """A band along the outline.

    Amounts of light are 0 for that of the typical face and 1 for that of the typical ground. The
    band's light is its own: tool marks and the shine of the face end where it begins.

    Attributes
    ----------
    width_px : float
        Width of the band, px; 0 where no band is seen.
    share : ndarray, shape (2 n + 1,)
        Its light, as harmonics of the way it faces: mean, then cosine and sine of each order.
    shade : float
        Share of the ground's light that is lost in the gear's shadow.
    fall : ndarray, shape (2,)
        How far the shadow is moved from the gear, px: away from the lamp, by the gear's height.
    soft_px : float
        Standard deviation of the Gaussian that its border is blurred by, px: the size of the lamp.
    lighting : ndarray, shape (4,)
        How the lighting changes over the frame, as shares of that at its middle.
    spread : ndarray, shape (5,)
        Blur over the frame, px.
    black : float
        What no light would be.
    u_px : float
        Standard uncertainty of an edge's place from all this, px, by the way it faces.
    """

    width_px: float
    share: Reals
    shade: float
    fall: Reals
    soft_px: float
    lighting: Reals
    spread: Reals
    frame: Frame
    black: float = 0.0
    u_px: float = 0.0

    @property
    def orders(self) -> int:
        """Harmonics that its light has."""
        return len(self.share) // 2

    @property
    def unlike(self) -> float:
        """How much its light changes with the way it faces, root mean square."""
        return sqrt(float((self.share[1:] ** 2).sum()) / 2)

    @property
    def seen(self) -> bool:
        """Whether there is a band or a shadow."""
        return self.width_px > 0 or self.shade > 0

    @property
    def darkness(self) -> float:
        """From the light of the ground to none."""
        return self.black - 1

    def terms(self, normal: Reals, xy: NDArray[Any]) -> Terms:
        """Work out what light and blur are made of at samples.

        Parameters
        ----------
        normal, xy : ndarray, shape (n, 2)
            Unit normals, and places, px; pixels will do.
        """
        return Terms(normal, harmonics(normal, self.orders), self.frame.terms(xy))

    def along(self, terms: Terms) -> Band:
        """Take the band and the shadow as samples of the outline meet them."""
        light = self.black + (self._light(terms) - self.black) * self._lit(terms)
        shade = self.shade * self.darkness
        return Band(
            width_px=self.width_px,
            light=light,
            shade=shade,
            offset_px=terms.normal @ self.fall,
            soft_px=self.soft_px,
            blur=self.blur(terms),
        )

    def blur(self, terms: Terms) -> Reals:
        """Work out the blur at samples, px."""
        return np.clip(terms.frame @ self.spread, *BLURS_PX)

    def by_light(self, terms: Terms) -> Reals:
        """Work out how the light changes with that in the middle of the frame, and the lighting."""
        in_middle = (self._light(terms) - self.black)[:, None]
        changes = self._lit(terms)[:, None] * terms.facing, in_middle * terms.frame[:, 1:]
        return np.concatenate(changes, axis=1)

    def _light(self, terms: Terms) -> Reals:
        """Light of the band in the middle of the frame."""
        return np.asarray(terms.facing @ self.share)

    def _lit(self, terms: Terms) -> Reals:
        """Lighting, 1 in the middle of the frame."""
        return np.asarray(1 + terms.frame[:, 1:] @ self.lighting)


NO_BEVEL = Bevel(
    width_px=0.0,
    share=np.zeros(1),
    shade=0.0,
    fall=np.zeros(2),
    soft_px=SOFT_PX,
    lighting=np.zeros(4),
    spread=np.zeros(5),
    frame=Frame(np.zeros(2), 1.0),
)
"""No band and no shadow: every size is 0, so that a profile is a blurred step."""


@dataclass(frozen=True, kw_only=True)
class Profiles:
    """Grey profiles across an outline, long enough to hold a bevel.

    Attributes
    ----------
    grey : ndarray, shape (n, k)
    offsets : ndarray, shape (k,)
        Places of the pixels along the profile, px.
    cosine : ndarray, shape (n,)
        Cosine between profile and edge normal.
    normal, xy : ndarray, shape (n, 2)
        Edge normals out of the material, and edge points, px.
    place, blur : ndarray, shape (n,)
        Where a step was fitted along the profile, and its blur, px.
    weight : ndarray, shape (n, k)
        Square root of what each pixel is to count.
    """

    grey: Reals
    offsets: Reals
    cosine: Reals
    normal: Reals
    xy: Reals
    place: Reals
    blur: Reals
    weight: Reals

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> "Profiles":
        """Pick profiles by a mask or by index."""
        index = np.flatnonzero(chosen) if chosen.dtype == bool else chosen
        return Profiles(
            grey=self.grey.T.take(index, axis=1).T,
            offsets=self.offsets,
            cosine=self.cosine[index],
            normal=self.normal.take(index, axis=0),
            xy=self.xy.take(index, axis=0),
            place=self.place[index],
            blur=self.blur[index],
            weight=self.weight.T.take(index, axis=1).T,
        )

    @property
    def short_of_level(self) -> bool:
        """Whether they end before the level of the face is seen beyond a narrow band."""
        return bool(self.offsets[-1] < 3 * median(self.blur) + NARROWEST_PX)


def single_steps(profiles: Profiles) -> UnitStep:
    """Work out the unit steps that profiles hold where there is no band."""
    return UnitStep(step=unit_step(from_edge(profiles))[0], material=None, ground=None)


def unit_steps(profiles: Profiles, bevel: Bevel) -> UnitStep:
    """Work out the unit steps that profiles hold, with a band or without."""
    if not bevel.seen:
        return single_steps(profiles)
    band = bevel.along(bevel.terms(profiles.normal, profiles.xy))
    return broken_step(from_edge(profiles), band.in_blurs(profiles.blur))


def levels_beside(profiles: Profiles, unit: UnitStep) -> Levelled:
    """Work out levels that follow tool marks closely, for where only the edge's shape matters.

    Parameters
    ----------
    unit : UnitStep
        Unit step of each.
    """
    windows = (*LEVEL_WINDOWS, MARK_SAMPLES)
    return common_levels(profiles.grey, unit, np.ones(len(profiles.xy), bool), windows)


def weighed(profiles: Profiles, bevel: Bevel = NO_BEVEL) -> Profiles:
    """Weigh pixels by what noise and fine marks leave of either side; pixels count 1 on average."""
    unit = unit_steps(profiles, bevel)
    left = profiles.grey - levels_beside(profiles, unit).grey
    beyond = unit.sides[1]
    sides = beyond < 1 - PLATEAU_SHARE, beyond > PLATEAU_SHARE
    face, ground = (median(left[side] ** 2) if side.any() else 0.0 for side in sides)
    least = max(face, ground) / MOST_UNLIKE + 1e-12
    variance = max(face, least) + (max(ground, least) - max(face, least)) * beyond
    return replace(
        profiles, weight=np.sqrt(1 / (variance * np.mean(1 / variance))).astype(np.float32)
    )


def from_edge(profiles: Profiles) -> Reals:
    """Work out the distance of every pixel out of the edge, in blurs, shape (n, k)."""
    scale = profiles.cosine / profiles.blur
    return np.asarray(blurs_out(profiles.offsets, profiles.place, scale), np.float32)


def harmonics(normal: Reals, orders: int) -> Reals:
    """Work out harmonics of the way an outline faces.

    Parameters
    ----------
    normal : ndarray, shape (n, 2)

    Returns
    -------
    ndarray, shape (n, 2 orders + 1)
        One, then cosine and sine of every order.
    """
    turn = np.arctan2(normal[:, 1], normal[:, 0])[:, None] * np.arange(1, orders + 1)
    both = np.stack([np.cos(turn), np.sin(turn)], axis=2).reshape(len(turn), -1)
    return np.concatenate([np.ones((len(turn), 1)), both], axis=1)
