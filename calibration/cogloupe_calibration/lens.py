"""Undo what lens and lean do to a picture: from places seen to places on a flat, square plane.

The model maps what is observed straight to the ideal, so nothing is ever inverted. With
``v = (xy - centre) / R``, R half the frame's diagonal and r = abs(v)::

    w = v (1 + k1 r^2 + k2 r^4) + (2 p1 x y + p2 (r^2 + 2 x^2), p1 (r^2 + 2 y^2) + 2 p2 x y)
    w = w + v (k3 r^6 + k4 r^8 + ...)             wide-angle lenses alone
          + r^2 (4 q1 x y + q2 (r^2 + 4 x^2), q1 (r^2 + 4 y^2) + 4 q2 x y)
    w = [[1 + e1, e2], [e2, 1 - e1]] w           unequal scales and skew
    w = w / (1 + g1 w_x + g2 w_y)                 perspective of a plane that leans
    ideal = centre + R w

The first lines are photogrammetry's usual radial and decentring ("tangential") polynomial (from
memory), here taken from observed to ideal; q is what k2 gives about another centre, as p is what k1
does. The last two, with a turn, a shift and a scale, are any
plane-to-plane perspective. The scale at the frame's centre is kept.
"""

import numpy as np
from numpy.typing import ArrayLike

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import LENS_TERMS, MORE_LENS_TERMS, Lens

TERMS = LENS_TERMS
"""Names of the terms, in the order of `Lens.terms`: radial k, tangential p, aspect and skew e,
perspective g."""
MORE_TERMS = MORE_LENS_TERMS
"""Names of those that may follow: radial k, tangential q."""

TERMS_IN_WORDS = {
    "k1": "radial distortion",
    "k2": "radial distortion, higher order",
    "p1": "tangential distortion, vertical",
    "p2": "tangential distortion, horizontal",
    "e1": "unequal scales in x and y",
    "e2": "skew",
    "g1": "lean, left to right",
    "g2": "lean, top to bottom",
    "k3": "radial distortion, higher order",
    "q1": "tangential distortion, vertical, higher order",
    "q2": "tangential distortion, horizontal, higher order",
    "k4": "radial distortion, higher order",
    "k5": "radial distortion, higher order",
    "k6": "radial distortion, higher order",
}

UNMEASURED_RADIAL = 0.01
"""Standard deviation allowed for radial distortion at the frame's corner where none was measured:
up to 2 % as two of them (our own judgement)."""
UNMEASURED_LEAN = np.radians(1.0)
"""Likewise for the lean in each of two directions: up to 2 degrees (our own judgement)."""
UNMEASURED_DISTANCE = 10.0
"""Half diagonals of the frame from which it is then seen: a macro lens or a stereo microscope
(common practice, no source)."""


def frame_middle(width_px: int, height_px: int) -> tuple[tuple[float, float], float]:
    """Centre and half diagonal, px, that belong to a frame.

    The diagonal runs between the centres of its corner pixels.
    """
    centre = ((width_px - 1) / 2, (height_px - 1) / 2)
    return centre, float(np.hypot(*centre))


def term_names(count: int) -> tuple[str, ...]:
    """Names of as many terms as a lens has."""
    return (TERMS + MORE_TERMS)[:count]


def make_lens(
    centre_px: tuple[float, float], radius_px: float, terms: ArrayLike, covariance: ArrayLike
) -> Lens:
    """Make a lens of arrays: terms (k,) in the order of `TERMS`, `MORE_TERMS`; covariance (k, k).

    `radius_px` is half of the frame's diagonal; all of the first terms are there.
    """
    rows = np.asarray(covariance, dtype=np.float64)
    return Lens(
        centre_px=centre_px,
        radius_px=radius_px,
        terms=tuple(np.asarray(terms, dtype=np.float64).tolist()),
        covariance=tuple(tuple(row) for row in rows.tolist()),
    )


def unmeasured_lens(width_px: int, height_px: int, oval: float = 0.0) -> Lens:
    """Lens of which nothing is known: no correction, and an allowance for what it may do.

    A stretch of the picture is allowed for as large as how far something round was seen to lie on
    an oval: longest over shortest less one.
    """
    centre, radius = frame_middle(width_px, height_px)
    perspective = UNMEASURED_LEAN / UNMEASURED_DISTANCE
    # A lean t shortens its direction by t^2 / 2; of two leans s each, (t_x^2 - t_y^2) / 4 and
    # t_x t_y / 2 have a standard deviation of s^2 / 2.
    stretch = max(UNMEASURED_LEAN**2 / 2, oval / 2)
    allowances = {
        "k1": UNMEASURED_RADIAL, "e1": stretch, "e2": stretch, "g1": perspective, "g2": perspective
    }  # fmt: skip
    u = np.array([allowances.get(name, 0.0) for name in TERMS])
    return make_lens(centre, radius, np.zeros(len(TERMS)), np.diag(u**2))


def is_measured(lens: Lens) -> bool:
    """Whether the distortion was measured, and is not only allowed for."""
    k1 = TERMS.index("k1")
    return lens.covariance[k1][k1] < (UNMEASURED_RADIAL / 2) ** 2


def ideal_points(lens: Lens, xy: ArrayLike) -> Floats:
    """Places (..., 2), px, as a lens without distortion, looking straight down, would show them.

    The scale at the frame's centre is kept, unequal scales are shared between x and y.
    """
    return ideal_of_terms(
        np.array(lens.terms), lens.centre_px, lens.radius_px, np.asarray(xy, np.float64)
    )


def observed_points(lens: Lens, xy: ArrayLike) -> Floats:
    """Places (..., 2), px, where the camera saw what lies at ideal places; undoes `ideal_points`.

    Notes
    -----
    By repeated correction; each turn leaves about the distortion's share of the error, so a few
    turns suffice for drawing (0.001 px at 5 % distortion).
    """
    wanted = np.asarray(xy, np.float64)
    seen = wanted
    for _ in range(10):
        seen = seen + wanted - ideal_points(lens, seen)
    return seen


def ideal_of_terms(
    terms: Floats, centre_px: tuple[float, float], radius_px: float, xy: Floats
) -> Floats:
    """`ideal_points` (..., 2), px, of bare terms (k,)."""
    v = (xy - np.array(centre_px)) / radius_px
    w = _bent(_distortion_basis(v, len(terms)), terms, v) @ _square(terms)
    return np.asarray(np.array(centre_px) + radius_px * w / _depth(terms, w))


def term_effects(
    terms: Floats, centre_px: tuple[float, float], radius_px: float, xy: Floats
) -> Floats:
    """Derivatives (..., 2, k) of the ideal places by the terms (k,), px for each unit of a term."""
    v = (xy - np.array(centre_px)) / radius_px
    basis = _distortion_basis(v, len(terms))
    bent = _bent(basis, terms, v)
    square = _square(terms)
    w = bent @ square
    deep = _depth(terms, w)[..., None]
    stretch = np.stack([bent * [1, -1], bent[..., ::-1]], axis=-1)
    inner = np.concatenate([np.einsum("ij,...jk->...ik", square, basis), stretch], axis=-1)
    along = np.einsum("i,...ik->...k", terms[6:8], inner)[..., None, :]
    before = inner / deep - w[..., None] * along / deep**2
    lean = -w[..., :, None] * w[..., None, :] / deep**2
    first, more, plane = np.split(before, [4, basis.shape[-1]], axis=-1)
    return np.asarray(radius_px * np.concatenate([first, plane, lean, more], axis=-1))


def point_modes(lens: Lens, xy: ArrayLike) -> Floats:
    """Displacements of the ideal places by one standard uncertainty of each independent source.

    Parameters
    ----------
    xy : array_like, shape (..., 2)
        Places seen, px.

    Returns
    -------
    ndarray, shape (k, ..., 2)
        Px, one field for each principal axis of the terms' covariance, largest first. The fields
        are uncorrelated: effects that are worked out from each add as squares.

    Notes
    -----
    With C = V L V^T, the columns of V sqrt(L) are independent unit sources; each moves the places
    by J V sqrt(L) to first order (GUM 5.2, principal-axis form).
    """
    sources = independent_sources(np.array(lens.covariance))
    effects = term_effects(
        np.array(lens.terms), lens.centre_px, lens.radius_px, np.asarray(xy, np.float64)
    )
    return np.moveaxis(effects @ sources, -1, 0)


def independent_sources(covariance: Floats) -> Floats:
    """Independent sources of a covariance (n, n).

    One source a column, as long as its standard uncertainty, largest first.
    """
    value, axis = np.linalg.eigh(covariance)
    return np.asarray((axis * np.sqrt(np.clip(value, 0.0, None)))[:, ::-1])


def _distortion_basis(v: Floats, count: int) -> Floats:
    """Displacement by k1, k2, p1, p2 and what there is of `MORE_TERMS`, shape (..., 2, columns)."""
    x, y = v[..., 0], v[..., 1]
    r2 = x**2 + y**2
    across = 2 * x * y
    columns = [
        (x * r2, y * r2),
        (x * r2**2, y * r2**2),
        (across, r2 + 2 * y**2),
        (r2 + 2 * x**2, across),
    ]
    for name in MORE_TERMS[: count - len(TERMS)]:
        if name == "q1":
            columns.append((2 * r2 * across, r2 * (r2 + 4 * y**2)))
        elif name == "q2":
            columns.append((r2 * (r2 + 4 * x**2), 2 * r2 * across))
        else:
            power = r2 ** int(name[1:])
            columns.append((x * power, y * power))
    return np.stack([np.stack(column, axis=-1) for column in columns], axis=-1)


def _bent(basis: Floats, terms: Floats, v: Floats) -> Floats:
    """Places without the lens's distortion, still aslant."""
    return np.asarray(basis @ np.concatenate([terms[:4], terms[8:]]) + v)


def _square(terms: Floats) -> Floats:
    """Aspect and skew; its own transpose, so rows may be multiplied from the right."""
    return np.array([[1 + terms[4], terms[5]], [terms[5], 1 - terms[4]]])


def _depth(terms: Floats, w: Floats) -> Floats:
    return np.asarray(1 + w @ terms[6:8])[..., None]
