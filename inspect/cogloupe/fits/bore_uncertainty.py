"""What a thick gear leaves open of where its bore is on the upper face.

Seen aslant or from near by, a bore shows both its rims, and its outline is what is left between
two circles; against the light its middle moves by up to thickness times lean. Lengths px.
"""

from dataclasses import replace
from math import hypot

import numpy as np

from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_wall import Wall
from cogloupe.numerics.circles import Circle, fit_circle
from cogloupe.optics.sampling import EdgePoints
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration import robust
from cogloupe_calibration.arrays import Floats

RIMS_APART_PX = 0.5
"""Two rims nearer together than this are not told from one."""
SURE_WAVE = 2.0
"""Standard uncertainties of an edge's place that a second harmonic of the radius must exceed to
tell of a second rim: edges that a bevel moves by the way they face make one as well."""
RIMS_GAIN = 0.6
"""Two rims are believed where they leave at most this share of what one circle leaves."""
OVAL_OF_TWO = 0.21
"""Second harmonic of the radius between two equal circles, for each px that they lie apart:
``2 / (3 pi)``."""
DISAGREES = 4.0
"""Times their joint standard uncertainty from which two middles are told to lie apart: an edge
taken for another does more, and tips and teeth of a good gear stay within."""
RIM_DOUBT = 0.04
"""Standard uncertainty of an upper rim that was told from its lower one, in how far they lie apart
(path-traced gears on a lamp)."""
BOSS = 0.3
"""Standard uncertainty of where a bore is on the face of the teeth, in how far its rims lie apart:
one gear in three has a boss, as high as it is thick at most (common practice, no source)."""
OUT_OF_ROUND, OUT_OF_ROUND_PX = 0.01, 0.6
"""Root mean square departure from a circle, as a share of its radius and in px, beyond which a hole
is no datum: a drilled one keeps within a tenth of that (common practice, no source)."""


def upper_rim(
    edge: EdgePoints, bore: Bore, witnesses: Floats, u_edge_px: float
) -> tuple[Bore, float]:
    """The bore on the upper face, where both rims are seen.

    Parameters
    ----------
    edge : EdgePoints
        Outline of the hole.
    bore : Bore
        The one circle fitted to it.
    witnesses : ndarray, shape (n, 2)
        Middles of teeth and tips.
    u_edge_px : float
        Standard uncertainty of the edges' place that is alike from point to point.

    Returns
    -------
    Bore
        The larger circle, being the nearer; where both are alike, their middle; with what that
        leaves open. As it was where one circle explains the outline, or lies nearer to what bears a
        bore out: the edge of a shadow in the bore makes a circle of its own.
    float
        How far the rims lie apart; 0 where one rim is seen.
    """
    xy = edge.straightened(-1 / bore.radius)
    near = np.abs(np.hypot(*(xy - bore.centre).T) - bore.radius) < 0.1 * bore.radius
    arm = xy[near] - bore.centre
    turn, out = np.arctan2(arm[:, 1], arm[:, 0]), np.hypot(*arm.T) - bore.radius
    wave = complex(2 * np.mean(out * np.cos(2 * turn)), -2 * np.mean(out * np.sin(2 * turn)))
    apart = abs(wave) / OVAL_OF_TWO
    if apart < RIMS_APART_PX or abs(wave) < SURE_WAVE * u_edge_px:
        return bore, 0.0
    # The radius is least the way in which the circles lie apart.
    angle = (np.pi - np.angle(wave)) / 2
    axis = np.array([np.cos(angle), np.sin(angle)])
    one, two, left = _two_circles(xy[near], bore.centre, axis)
    apart = float(np.hypot(*(one[:2] - two[:2])))
    if left > RIMS_GAIN * robust.scatter(out) or apart < RIMS_APART_PX:
        return bore, 0.0
    # What the circles leave is no noise: whole arcs stray alike.
    scatter = max(bore.u_radius, left)
    if abs(one[2] - two[2]) > DISAGREES * scatter:
        upper = max(one, two, key=lambda circle: float(circle[2]))
        if from_nearest(upper[:2], witnesses) > from_nearest(bore.centre, witnesses):
            return bore, 0.0
        found = _on(upper, bore)
        return replace(found, u_centre=hypot(bore.u_centre, scatter)), apart
    way = (one[:2] - two[:2]) / apart
    return replace(_on((one + two) / 2, bore), rims_way=way, u_along=apart / 2), apart


def _on(circle: Floats, bore: Bore) -> Bore:
    return replace(bore, centre=circle[:2], radius=float(circle[2]))


def bearing_out(teeth: Floats, tips: Circle | None) -> Floats:
    """Middles that may bear a bore out: the teeth's, and the tips' where they are seen, (n, 2)."""
    return np.stack([teeth, *(() if tips is None else (tips.centre,))])


def from_nearest(place: Floats, witnesses: Floats) -> float:
    """How far a place lies from the nearest of what may bear it out, px."""
    return float(np.hypot(*(witnesses - place).T).min())


def _two_circles(xy: Floats, centre: Floats, axis: Floats) -> tuple[Floats, Floats, float]:
    """Two circles whose overlap a hole's outline is, and the scatter that they leave."""
    first = (xy - centre) @ axis > 0
    circles = np.zeros((2, 3))
    for _ in range(6):
        if min(first.sum(), (~first).sum()) < 20:
            break
        circles = np.array([fit_circle(xy[first]), fit_circle(xy[~first])])
        out = np.stack([np.hypot(*(xy - c[:2]).T) - c[2] for c in circles])
        first = out[0] > out[1]
    out = np.stack([np.hypot(*(xy - c[:2]).T) - c[2] for c in circles])
    return circles[0], circles[1], float(robust.scatter(out.max(axis=0)))


def with_wall(bore: Bore, wall: Wall, witnesses: Floats) -> Bore:
    """The bore by what is seen of its wall.

    On its upper rim where that is seen, unless it then lies further from all that may bear it out:
    on a boss that rim is higher than the teeth.

    Parameters
    ----------
    witnesses : ndarray, shape (n, 2)
        Middles of teeth and tips.
    """
    if wall.in_sight is None:
        return bore
    if not wall.in_sight:
        return replace(bore, rims_apart=RIMS_APART_PX)
    apart = float(np.hypot(*wall.apart))
    centre, doubt = bore.centre + wall.upper[1:], RIM_DOUBT * apart
    if from_nearest(centre, witnesses) > from_nearest(bore.centre, witnesses):
        return bore
    return replace(
        bore, centre=centre, radius=bore.radius + float(wall.upper[0]), rims_apart=apart,
        rims_way=wall.apart / apart, u_along=0.0, u_centre=hypot(bore.u_centre, doubt),
        u_radius=hypot(bore.u_radius, doubt),
    )  # fmt: skip


def round_enough(bore: Bore) -> bool:
    """Tell whether a hole is round enough to be the datum."""
    return bore.rms <= max(OUT_OF_ROUND_PX, OUT_OF_ROUND * bore.radius)


def left_open_by_rims(bore: Bore, witnesses: Floats, u_px: Floats, furthest_px: float) -> float:
    """What tips and teeth leave open of where the bore is on the upper face.

    Standard uncertainty of either coordinate, px: anything between the bore as it is seen and the
    tips may be so. 0 where tips or teeth bear the bore out (a gear cut off centre still has its
    tips about the bore, one turned off centre its teeth), where it lies too near the tips for
    another rim to be told from one, and where no lean moves a rim so far.

    Parameters
    ----------
    witnesses : ndarray, shape (n, 2)
        Middle of the tips, which is on the upper face as well, then that of the teeth, by one way
        or more of telling it from what the drive did.
    u_px : ndarray, shape (n,)
        Standard uncertainty of either coordinate of each.
    furthest_px : float
        How far a lean may move a rim of a gear as thick as this one.

    Notes
    -----
    Against the light the lower rim of a bore lies wholly inside the upper one where the camera is
    near: one circle is seen, and nothing on it tells that it is not on the upper face. Under a lamp
    its wall may be as bright as the face, or a gleam on it be taken for the rim.
    """
    off = np.hypot(*(bore.centre - witnesses).T)
    # A bore that is not well seen is not borne out for that by what is known better.
    agrees = off <= DISAGREES * np.hypot(u_px, np.minimum(u_px, bore.u_place))
    # Teeth that stray so much that they agree with both speak for the nearer one.
    agrees[1:] &= off[1:] < np.hypot(*(witnesses[0] - witnesses[1:]).T)
    borne_out = bool(agrees.any()) or off[0] < RIMS_APART_PX
    return 0.0 if borne_out or off[0] > furthest_px else float(off[0] / 3**0.5)


def axes_notices(axes: dict[str, Floats], u: dict[str, float], px: float) -> tuple[Notice, ...]:
    """Say so where middles that should agree do not.

    Of the two that lie furthest apart, in their own uncertainty.

    Parameters
    ----------
    axes : dict of ndarray, shape (2,)
        Middles of the gear by what tells them.
    u : dict of float
        Their standard uncertainties, px.
    px : float
        Mm per px.
    """
    names = list(axes)
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    if not pairs:
        return ()

    def times(pair: tuple[str, str]) -> float:
        apart = float(np.hypot(*(axes[pair[0]] - axes[pair[1]])))
        return apart / max(hypot(u[pair[0]], u[pair[1]]), 1e-6)

    worst = max(pairs, key=times)
    if times(worst) < DISAGREES:
        return ()
    um = 1000 * px * float(np.hypot(*(axes[worst[0]] - axes[worst[1]])))
    limit = 2000 * px * hypot(*(u[name] for name in worst))
    return (flag("axes_apart", what=" and ".join(worst), um=um, limit=limit),)
