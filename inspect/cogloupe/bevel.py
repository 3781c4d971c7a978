"""Two edges side by side: where the true outline runs when its edge is broken.

On a gear lit from the front a bevel (or a raised burr) shows as a narrow band along the outline,
bright where it faces the lamp and dark where it turns away. A single blurred step fitted across
it then follows now the outer, now the inner of two edges, depending on which way the outline
faces. Here the grey profiles of the whole outline are averaged by the way they face, and ground,
band and face are fitted together: the band's width and the blur are one for the gear, the three
levels and the place belong to each direction.
"""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cogloupe.response import EdgeShape

Floats = NDArray[np.float64]

SECTORS = 36
BIN_PX = 0.5
BINS_PER_LEVEL = 2.0
"""Independent bins behind a sector's misfit: neighbours err together, since what is left is tool
marks and the model's own shortcomings, not pixel noise."""
PLACES_PX = np.arange(-2.0, 6.01, 0.1)
"""Places tried for the outer edge, px out of where a single step was fitted."""
TURN_PX = 0.35
"""Usual change of the place from one sector to the next: a lamp's light on a bevel changes
smoothly with the way it faces (common practice, no source)."""
MISFIT_LOOKED_INTO = 0.007
"""A single step that fits the averaged profiles to this share of the contrast is good enough."""
LEAST_GAIN = 3.0
"""A band must bring the misfit down by this factor, against a single step under whichever camera
curve suits that best, to be believed."""


@dataclass(frozen=True)
class Bevel:
    """A band along the outline.

    Attributes
    ----------
    width_px : float
        Width of the band, px; 0 where no band is seen.
    outer, inner : ndarray, shape (SECTORS,)
        Distance, px out of the material, of the band's outer and inner edge from where a single
        step was fitted, for outlines facing each direction.
    """

    width_px: float
    outer: Floats
    inner: Floats

    def shift(self, normal: Floats, edge: str) -> Floats:
        """Distance to move edge points along their normals.

        Parameters
        ----------
        normal : ndarray, shape (n, 2)
            Unit normals.
        edge : {'outer', 'inner'}

        Returns
        -------
        ndarray, shape (n,)
            Px.
        """
        table = self.outer if edge == "outer" else self.inner
        place = np.mod(np.arctan2(normal[:, 1], normal[:, 0]) / (2 * pi), 1.0) * SECTORS - 0.5
        return np.interp(place, np.arange(SECTORS), table, period=SECTORS)


NO_BEVEL = Bevel(0.0, np.zeros(SECTORS), np.zeros(SECTORS))


@dataclass(frozen=True)
class Sectors:
    """Grey profiles of an outline averaged by the way it faces.

    Attributes
    ----------
    mean, weight : ndarray, shape (SECTORS, bins)
        Amount of light, ground 0 and face 1, and the number of pixels behind it.
    middle : ndarray, shape (bins,)
        Distance of each bin out of the edge where a single step was fitted, px.
    blur : float
        Blur of the single steps, px.
    own : ndarray, shape (SECTORS,)
        Blur of each sector's steps, px.
    by_chance : float
        Mean square that noise alone leaves in the averages.
    """

    mean: Floats
    weight: Floats
    middle: Floats
    blur: float
    own: Floats
    by_chance: float


def average_sectors(
    distance: Floats, stored: Floats, normal: Floats, blur: Floats, shape: EdgeShape
) -> Sectors:
    """Average the profiles of an outline by the way it faces.

    Parameters
    ----------
    distance : ndarray, shape (n, k)
        Distance of each pixel out of the edge where a single step was fitted, px.
    stored : ndarray, shape (n, k)
        Stored values, scaled so that ground is about 0 and face about 1.
    normal : ndarray, shape (n, 2)
        Which way each sample faces.
    blur : ndarray, shape (n,)
        Blur of each sample's step, px.
    shape : EdgeShape
        Shape of the single steps.

    Returns
    -------
    Sectors

    Notes
    -----
    What is averaged is each sample's departure from its own step; the sector's mean step is put
    back afterwards. So a blur that differs over the frame does not look like a band.
    """
    reach = float(np.min(np.abs(distance[:, [0, -1]]).min(axis=1)))
    typical = float(np.median(blur))
    outside = min(reach, max(3 * typical, 3.0))
    edges = np.arange(-reach, outside + BIN_PX, BIN_PX)
    middle = (edges[:-1] + edges[1:]) / 2
    departure = np.clip(stored - 1 + shape.at(distance / blur[:, None])[0], -0.6, 0.6)
    turn = np.mod(np.arctan2(normal[:, 1], normal[:, 0]) / (2 * pi), 1.0)
    sector = np.minimum((turn * SECTORS).astype(int), SECTORS - 1)
    place = np.floor((distance - edges[0]) / BIN_PX).astype(int)
    inside = (place >= 0) & (place < len(middle))
    cell = (sector[:, None] * len(middle) + place)[inside]
    size = SECTORS * len(middle)
    count = np.bincount(cell, minlength=size).astype(float)
    mean = np.bincount(cell, departure[inside], size) / np.maximum(count, 1)
    square = np.bincount(cell, departure[inside] ** 2, size) / np.maximum(count, 1)
    by_chance = float(np.maximum(square - mean**2, 0.0).sum() / max(count.sum(), 1))
    table = (SECTORS, len(middle))
    samples = np.bincount(sector, minlength=SECTORS)
    own = np.bincount(sector, blur, SECTORS) / np.maximum(samples, 1)
    own = np.where(samples > 0, own, typical)
    value = mean.reshape(table) + 1 - shape.at(middle / own[:, None])[0]
    return Sectors(shape.light(value), count.reshape(table), middle, typical, own, by_chance)


def find_bevel(sectors: Sectors) -> tuple[Bevel, float]:
    """Find the band along an outline that explains its profiles best, and where its edges are.

    Parameters
    ----------
    sectors : Sectors

    Returns
    -------
    Bevel
        `NO_BEVEL` where too little of the compass is seen.
    float
        Mean square misfit with the band, levels and place of every sector free.
    """
    blur, middle = sectors.blur, sectors.middle
    widths = np.arange(max(2.0, 1.2 * blur), -0.6 * middle[0], 0.5)
    if (sectors.weight.sum(axis=1) > 0).sum() < SECTORS // 2 or len(widths) == 0:
        return NO_BEVEL, np.inf
    tried = [(s, w) for s in blur * np.array([0.6, 0.7, 0.8, 0.9, 1.0]) for w in widths]
    sums = [_best_sum(_fit(sectors, s, w)) for s, w in tried]
    s, width = tried[int(np.argmin(sums))]
    # The face is often not level beside the band (tool marks, a domed edge); once a band is
    # believed, letting the face slope places it better, though it would hide a faint one.
    finer = [(k * s, width + step) for k in (0.9, 1.0, 1.1) for step in np.arange(-0.5, 0.8, 0.25)]
    fits = [(_fit(sectors, s, w, sloped=True), w) for s, w in finer]
    misfits, width = min(fits, key=lambda fit: _best_sum(fit[0]))
    outer = _smooth_course(misfits)
    return Bevel(float(width), outer, outer - width), min(sums) / float(sectors.weight.sum())


def misfit_without(sectors: Sectors) -> float:
    """Mean square misfit of single steps, levels and place of every sector free.

    Parameters
    ----------
    sectors : Sectors

    Returns
    -------
    float
    """
    total = max(float(sectors.weight.sum()), 1.0)
    return min(_best_sum(_fit(sectors, sectors.own * k, 0.0)) for k in (0.9, 1.0, 1.1)) / total


def _fit(sectors: Sectors, s: Floats | float, width: float, sloped: bool = False) -> Floats:
    """Misfit of every place of the outer edge in every sector, levels free.

    Parameters
    ----------
    sectors : Sectors
    s : float or ndarray, shape (SECTORS,)
        Blur, px.
    width : float
        Width of the band, px; without a band (0) there are two levels, else three.
    sloped : bool
        Let the face grow brighter or darker inwards.

    Returns
    -------
    ndarray, shape (SECTORS, places)
        Weighted sums of squares.
    """
    mean, weight, middle = sectors.mean, sectors.weight, sectors.middle
    blur = np.reshape(s, (-1, 1, 1))
    ground = ndtr((middle - PLACES_PX[:, None]) / blur)
    face = 1 - ndtr((middle - PLACES_PX[:, None] + width) / blur)
    columns = [ground, face] + ([1 - ground - face] if width > 0 else [])
    if sloped:
        columns.append(face * (middle - middle[0]) / np.ptp(middle))
    basis = np.stack(columns, axis=-1)  # sectors (or 1 for all), places, bins, levels
    one = "jpd" if len(basis) > 1 else "opd"
    normal = np.einsum(f"jd,{one}a,{one}b->jpab", weight, basis, basis, optimize=True)
    right = np.einsum(f"jd,{one}a->jpa", weight * mean, basis, optimize=True)
    # A whisper of damping where a level is not seen.
    trace = np.einsum("jpaa->jp", normal)[..., None, None]
    normal += (1e-6 * trace + 1e-12) * np.eye(basis.shape[-1])
    levels = np.linalg.solve(normal, right[..., None])[..., 0]
    total = (weight * mean**2).sum(axis=1)
    return np.asarray(np.maximum(total[:, None] - (levels * right).sum(axis=-1), 0.0))


def _best_sum(misfits: Floats) -> float:
    return float(misfits.min(axis=1).sum())


def _smooth_course(misfits: Floats) -> Floats:
    """Places of the outer edge round the compass that fit well and change smoothly.

    In a direction where the band is as bright as the face, or as the ground, the place is poorly
    told by itself; the least total of misfits and changes (Viterbi's method, twice round, the
    middle taken) lets its neighbours speak for it.
    """
    scale = np.median(misfits.min(axis=1)) / BINS_PER_LEVEL + 1e-12
    cost = misfits / scale
    step = ((PLACES_PX[:, None] - PLACES_PX) / TURN_PX) ** 2
    twice = np.concatenate([cost, cost])
    total, back = twice[0], []
    for here in twice[1:]:
        through = total[:, None] + step
        back.append(through.argmin(axis=0))
        total = through.min(axis=0) + here
    path = [int(total.argmin())]
    for choice in reversed(back):
        path.append(int(choice[path[-1]]))
    course = PLACES_PX[np.array(path[::-1])]
    middle = SECTORS // 2
    return np.roll(course[middle : middle + SECTORS], middle)
