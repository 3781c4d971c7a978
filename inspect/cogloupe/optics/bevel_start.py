"""Where the fit of a bevel begins: the bands that averaged profiles show by themselves.

A fit that starts from a single blurred step ends in a wrong corner where the band is about as dark
as the ground: the step was then placed on the inner edge. So profiles are averaged by the way the
outline faces, and for every width each average is laid against face, band and ground at all places
that come into question. That takes no start, and tells the outer edge from the inner one.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.optics.response import unit_step
from cogloupe_calibration.arrays import Reals

SECTORS = 24
"""Ways of facing, of 15 degrees: a band's light, a few waves of the turn, hardly changes in one."""
BIN_PX = 0.5
"""How finely profiles are averaged; finer than what a blurred edge shows."""
ASLANT = 0.68
"""What rows and columns that run aslant at 45 degrees reach along the normal, 0.71, with room for
places beside the middle pixel."""
MOVES_PX, MOVE_STEP_PX = 1.0, 0.25
"""How far out and, with a band's width, in of single steps an edge is tried, and how finely: the
fit that follows needs no nearer beginning."""
WIDTHS = 9
"""Widths tried, in even ratios."""
SHARPER = (0.7, 0.85, 1.0)
"""Blurs tried, as shares of what single steps found, which take a band for more blur."""
STRAY = 0.1
"""Light by which a sector may stray from its neighbours' before it counts less: a band as bright
as the ground cannot be told from none, so some sectors are wrong."""
RIDGE = 1e-3
"""What keeps levels of a band and a shadow finite where both have no pixel of their own."""


@dataclass(frozen=True)
class Facing:
    """Profiles in light, averaged by the way the outline faces.

    Attributes
    ----------
    light : ndarray, shape (n, k)
        0 for the face and 1 for the ground, about.
    distance : ndarray, shape (k,)
        From where single steps were placed, px along the normal.
    turn : ndarray, shape (n,)
        The way each faces, rad.
    count : ndarray, shape (n,)
        Profiles averaged.
    blur : float
        Typical blur of the single steps, px.
    """

    light: Reals
    distance: Reals
    turn: Reals
    count: Reals
    blur: float


@dataclass(frozen=True, kw_only=True)
class FirstBand:
    """A band seen in averaged profiles.

    Attributes
    ----------
    sharper : float
        The blur as a share of that of single steps.
    light, move : ndarray, shape (n,)
        Light of the band, and how far out of the single steps the outer edge lies, px along the
        normal, for each way of facing.
    weight : ndarray, shape (n,)
        How much each is to count.
    misfit : float
        Mean square of what is left.
    """

    width_px: float
    sharper: float
    light: Reals
    move: Reals
    weight: Reals
    misfit: float


def sector_of(normal: Reals, sectors: int) -> NDArray[np.int64]:
    """Number the ways that an outline may face.

    Parameters
    ----------
    normal : ndarray, shape (n, 2)
    sectors : int
        How many there are, from the positive x axis on.

    Returns
    -------
    ndarray, shape (n,)
    """
    turn = np.mod(np.arctan2(normal[:, 1], normal[:, 0]) / (2 * pi), 1.0)
    return np.minimum((turn * sectors).astype(np.int64), sectors - 1)


def by_facing(light: Reals, distance: Reals, normal: Reals, blur: float) -> Facing:
    """Average profiles by the way the outline faces.

    Parameters
    ----------
    light : ndarray, shape (n, k)
        Profiles, 0 for the face and 1 for the ground.
    distance : ndarray, shape (n, k)
        Of their pixels from the edge, px along the normal.
    normal : ndarray, shape (n, 2)
        Unit normals.
    blur : float
        Typical blur, px.
    """
    sector = sector_of(normal, SECTORS)
    # Rows and columns that run aslant reach less far along the normal.
    reach = np.floor(np.abs(distance).max() * ASLANT)
    middle = np.arange(-reach, reach, BIN_PX) + BIN_PX / 2
    place = np.floor((distance + reach) / BIN_PX).astype(int)
    within = (place >= 0) & (place < len(middle))
    cell = (sector[:, None] * len(middle) + place)[within]
    size = SECTORS * len(middle)
    count = np.bincount(cell, minlength=size).reshape(SECTORS, -1)
    total = np.bincount(cell, light[within], size).reshape(SECTORS, -1)
    seen = np.flatnonzero((count > 0).mean(axis=1) > 0.9)
    means = [
        np.interp(middle, middle[count[s] > 0], total[s][count[s] > 0] / count[s][count[s] > 0])
        for s in seen
    ]
    profiles = np.bincount(sector, minlength=SECTORS)[seen].astype(float)
    lines = np.reshape(means, (-1, len(middle)))
    return Facing(lines, middle, (seen + 0.5) / SECTORS * 2 * pi, profiles, blur)


def first_band(facing: Facing, widths: tuple[float, float], shade_px: float | None) -> FirstBand:
    """Find the band that explains averaged profiles best, with no start.

    Parameters
    ----------
    widths : tuple of float
        Narrowest and widest that may be, px.
    shade_px : float or None
        How far a shadow on the ground beside it reaches, px, if there may be one.
    """
    return min(_bands(facing, widths, shade_px), key=lambda band: band.misfit)


def _bands(
    facing: Facing, widths: tuple[float, float], shade_px: float | None
) -> Iterator[FirstBand]:
    """The best band of every width and blur."""
    for width in np.geomspace(*widths, WIDTHS):
        for sharper in SHARPER:
            blur = sharper * facing.blur
            moves = np.arange(-MOVES_PX, width + MOVES_PX + 1e-2, MOVE_STEP_PX)
            z = (facing.distance - moves[:, None]) / blur
            outer, inner = (unit_step(place)[0] for place in (z, z + width / blur))
            parts = [1 - inner, inner - outer, outer]
            if shade_px is not None:
                parts.append(outer * np.exp(-((z * blur / shade_px) ** 2) / 2))
            # Face, band and ground (and shadow) have each a level: linear least squares.
            design = np.stack(parts, axis=1)
            normal = design @ design.swapaxes(1, 2) + RIDGE * np.eye(len(parts))
            levels = np.linalg.solve(normal, design @ facing.light.T)
            left = facing.light - levels.swapaxes(1, 2) @ design
            square = (left**2).mean(axis=2)
            best = square.argmin(axis=0)
            sector = np.arange(len(best))
            face, band, ground = levels[best, :3, sector].T
            light = (band - face) / np.where(np.abs(ground - face) > 0.1, ground - face, 1.0)
            misfit = float((square[best, sector] @ facing.count) / facing.count.sum())
            yield FirstBand(
                width_px=float(width),
                sharper=sharper,
                light=light,
                move=moves[best],
                weight=facing.count,
                misfit=misfit,
            )


def smooth_light(band: FirstBand, terms: Reals) -> tuple[Reals, FirstBand]:
    """Fit smooth terms to the light of a band, and keep the sectors that agree with them.

    Where no band shows it is as bright as the face, or as the ground and the edge a band's width
    further out: the other sectors tell which.

    Parameters
    ----------
    terms : ndarray, shape (n, m)
        Terms at the ways that its sectors face.

    Returns
    -------
    coefficients : ndarray, shape (m,)
    FirstBand
        With weights of zero for sectors that stray.
    """
    unseen = (np.abs(band.light) < STRAY) | (np.abs(band.light - 1) < STRAY)
    weight = np.where(unseen, 0.0, band.weight)
    light, move = band.light, band.move
    for _ in range(8):
        weighted = terms * weight[:, None]
        normal = weighted.T @ terms + RIDGE * band.weight.mean() * np.eye(terms.shape[1])
        found = np.linalg.solve(normal, weighted.T @ light)
        hidden = terms @ found > 0.5
        light = np.where(unseen, hidden, band.light)
        move = np.where(unseen, hidden * band.width_px, band.move)
        off = np.abs(light - terms @ found)
        # Huber's weights.
        weight = band.weight * np.minimum(1.0, STRAY / np.maximum(off, 1e-9))
    return found, replace(band, light=light, move=move, weight=band.weight * (off < 2 * STRAY))
