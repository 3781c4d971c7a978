"""Where the edge lies near a predicted outline, without a start.

Every few profiles across the prediction are laid against steps at all places that come into
question, each with levels and slopes of its own, and neighbours vote by the logarithm of what is
left: a shadow, a glint or a mark that crosses some of them has no say in the others. A step beside
a band can be taken for either of its edges, so there all of the outline has a say as well.
"""

from dataclasses import dataclass

import numpy as np

from cogloupe.numerics.moving_average import along, running_mean
from cogloupe.optics.joint.profiles import Profiles
from cogloupe.optics.response import unit_step
from cogloupe_calibration.arrays import Floats, Ints, Reals

PIECE, NEIGHBOURS = 6, 3
"""Profiles of a piece of the outline, and pieces that vote together."""
STEP_PX = 0.5
"""How finely places are tried: a third of a blur, between which the cost is nearly a parabola."""
FIRST_BLUR_PX = 1.5
"""Blur of the steps where none is known; edges of another are found as well, only less sharply."""
LEAST_SHARE = 1e-3
"""Mean square that any profile is taken to leave, in the usual one."""
STRAY_PX, ASKED, RIDGE = 1.5, 5, 1e-6
"""How far a flank may stray from where the others say, standard deviation; turns of asking them,
each of which halves what strays have to say; and what keeps a term that nothing tells at none."""


@dataclass(frozen=True)
class FirstPlaces:
    """Places of the edge near a predicted outline.

    Attributes
    ----------
    out : ndarray, shape (n,)
        How far out of the prediction each sample's edge lies, px along the normal.
    cost : float
        What is left: the mean logarithm over the profiles, for comparing widths.
    """

    out: Floats
    cost: float


def first_places(
    profiles: Profiles,
    reach_px: float,
    far_px: float,
    width_px: float = 0.0,
    blur_px: float = FIRST_BLUR_PX,
) -> FirstPlaces:
    """Find the edge within reach of a predicted outline.

    Parameters
    ----------
    profiles : Profiles
        Long enough for both.
    reach_px : float
        How far the edge may lie from the outline.
    far_px : float
        How far to both sides of it profiles are looked at.
    width_px : float
        Width of a band along the edge; 0 for none.
    """
    distance = np.arange(-far_px, far_px + 0.5)
    grey = _at(profiles, distance)
    grey -= grey.mean(axis=0)
    # A prediction may follow the inner edge of a band.
    places = np.arange(-reach_px, reach_px + width_px + 1e-6, STEP_PX)
    costs = np.stack(
        [_left(grey, (distance - place) / blur_px, width_px / blur_px) for place in places]
    )
    pieces = max(1, len(profiles) // PIECE)
    summed = costs[:, : pieces * PIECE].reshape(len(places), pieces, -1).mean(axis=2)
    votes = running_mean(summed, NEIGHBOURS)
    best = votes.argmin(axis=0)
    if width_px:
        normal = profiles.crossings.normal[PIECE // 2 :: PIECE][:pieces]
        best = _agreed(votes, best, places, normal)
    out = places[best] + STEP_PX * _between(votes, best)
    cost = float(np.take_along_axis(summed, best[None], axis=0).mean())
    return FirstPlaces(along(out[None], len(profiles))[0], cost)


def _at(profiles: Profiles, distance: Floats) -> Reals:
    """Grey values at distances out of the outline, shape (m, n)."""
    crossings = profiles.crossings
    place = distance[:, None] / crossings.cosine + crossings.place - profiles.offsets[0]
    place = np.clip(place, 0, len(profiles.offsets) - 1.001)
    below = place.astype(np.int64)
    share = (place - below).astype(np.float32)
    flat = below * len(profiles) + np.arange(len(profiles))
    low, high = (profiles.grey.ravel().take(flat + way) for way in (0, len(profiles)))
    return np.asarray(low + share * (high - low))


def _left(grey: Reals, out: Floats, width: float) -> Reals:
    """Logarithm of what a step leaves of each profile, half a time for every pixel.

    `out` is the distance of every pixel out of it, in blurs, and so is the width of a band.
    """
    ground, material = unit_step(out)[0], 1 - unit_step(out + width)[0]
    columns = [material, ground, material * (out + width), ground * out]
    if width:
        columns.append(1 - ground - material)
    basis = np.stack(columns, axis=1)
    basis = np.linalg.qr(basis)[0].astype(np.float32)
    inside = basis.T @ grey.astype(np.float32)
    square = np.einsum("kn,kn->n", grey, grey)
    left = square - np.einsum("pn,pn->n", inside, inside)
    least = LEAST_SHARE * float(left.mean())
    return np.asarray(0.5 * len(out) * np.log(np.maximum(left, least) + 1e-12))


def _agreed(votes: Reals, best: Ints, places: Floats, normal: Floats) -> Ints:
    """Places that are also near to where most of the outline says: moved and wider as a whole."""
    terms = np.concatenate([np.ones((len(normal), 1)), normal], axis=1)
    weight = np.ones(len(best))
    for _ in range(ASKED):
        weighed = terms * weight[:, None]
        found = np.linalg.solve(weighed.T @ terms + RIDGE * np.eye(3), weighed.T @ places[best])
        weight = 1 / (1 + ((places[best] - terms @ found) / STRAY_PX) ** 2)
    stray = (places[:, None] - terms @ found) / STRAY_PX
    return np.asarray((votes + stray**2 / (2 * PIECE * NEIGHBOURS)).argmin(axis=0))


def _between(votes: Reals, best: Ints) -> Floats:
    """Share of a step by which the lowest cost lies beside the best one (through three)."""
    inner = np.clip(best, 1, len(votes) - 2)
    before, middle, after = (
        np.take_along_axis(votes, (inner + shift)[None], axis=0)[0] for shift in (-1, 0, 1)
    )
    hollow = np.maximum(before - 2 * middle + after, 1e-9)
    return np.where(best == inner, np.clip(0.5 * (before - after) / hollow, -0.5, 0.5), 0.0)
