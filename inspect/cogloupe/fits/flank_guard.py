"""Keep figures possible: flanks in their order, each near its place or well borne out.

What is taken for a flank may be the edge of a shadow, of the rear face or of something that lies
there. Such a flank counts as not seen; nothing is put in its place. Angles rad.
"""

from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
from numpy.typing import NDArray

from cogloupe.finding.tooth_map import ToothMap
from cogloupe.fits.flanks import FlankFits
from cogloupe.numerics.angles import wrapped
from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.errors import PhotoError

STRAY = 0.25
"""Share of a pitch beyond which a flank's place must be borne out by its own points and by a
neighbour: dividing that does not close leaves up to half a tooth, and leaves it beside others."""
WHOLE_RANGE, CLEAN = 0.8, 0.05
"""Share of the range that such a flank's own points must cover, and most of them set aside."""
NEIGHBOUR_AGREES = 0.1
"""Share of a pitch within which a neighbour of the same side must be as far out of place."""
LEAST_GOOD = 2 / 3
"""Share of the flanks in sight that must be seen for a gear to be read."""
OBSTRUCTED_SHARE = 0.05
"""A flank with more of its points than this under something is called obstructed."""
PARTIAL_COVERAGE = 0.8
"""A flank seen over less than this of its evaluation range is called partial."""


def possible_flanks(fits: FlankFits) -> FlankFits:
    """Take out flanks that stand where no flank can.

    Places, slopes and their uncertainties of those flanks are NaN.
    """
    pitch = 2 * pi / len(fits.unwound)
    off = _out_of_place(fits.unwound) / pitch
    impossible = (np.abs(off) > STRAY) & ~_borne_out(fits, off)
    impossible |= _out_of_order(np.where(impossible, np.nan, fits.unwound), off)
    if not impossible.any():
        return fits
    return replace(
        fits,
        unwound=np.where(impossible, np.nan, fits.unwound),
        slope=np.where(impossible, np.nan, fits.slope),
        u_unwound=np.where(impossible, np.nan, fits.u_unwound),
        u_slope=np.where(impossible, np.nan, fits.u_slope),
    )


def _out_of_place(unwound: Floats) -> Floats:
    """How far each flank is from even spacing about the axis that most flanks tell, rad."""
    z = len(unwound)
    ideal = 2 * pi / z * np.arange(z)[:, None]
    off = unwound - ideal
    off = wrapped(off - np.nanmedian(off, axis=0))
    off = off - np.nanmedian(off, axis=0)
    wave = np.stack([0 * ideal[:, 0] + 1, np.cos(ideal[:, 0]), np.sin(ideal[:, 0])], axis=1)
    for side in (0, 1):
        for _ in range(3):
            near = np.abs(off[:, side]) < STRAY * 2 * pi / z
            if near.sum() >= 8:
                told = np.linalg.lstsq(wave[near], off[near, side], rcond=None)[0]
                off[:, side] -= wave @ told
    return off


def _borne_out(fits: FlankFits, off: Floats) -> Bools:
    """Whether a flank's own points follow it all along, and a neighbour is as far out of place."""
    own = (fits.coverage >= WHOLE_RANGE) & (fits.rejected < CLEAN)
    beside = [np.abs(np.roll(off, step, axis=0) - off) < NEIGHBOUR_AGREES for step in (1, -1)]
    return np.asarray(own & (beside[0] | beside[1]))


def _out_of_order(unwound: Floats, off: Floats) -> Bools:
    """Of each two flanks of a side that changed places, the one further from its place."""
    wrong = np.zeros(unwound.shape, bool)
    for side in (0, 1):
        seen = np.flatnonzero(np.isfinite(unwound[:, side]))
        for one, two in pairwise(seen):
            if unwound[two, side] <= unwound[one, side]:
                further = abs(off[one, side]) > abs(off[two, side])
                wrong[one if further else two, side] = True
    return wrong


def refuse_few_flanks(fits: FlankFits, teeth: ToothMap, whole: bool) -> None:
    """Say so where too few flanks are seen for the gear to be read.

    Parameters
    ----------
    whole : bool
        False where the frame cuts the gear; then only its teeth in sight are asked for.

    Raises
    ------
    PhotoError
        Where fewer than two thirds of the flanks in sight have a place.
    """
    asked = 2 * (teeth.teeth if whole else int(teeth.seen.sum()))
    seen = int(np.isfinite(fits.unwound).sum())
    if seen < LEAST_GOOD * asked:
        raise PhotoError(
            f"only {seen} of the {asked} flanks of {teeth.teeth} teeth can be followed, too few to "
            "tell the gear's errors: light it evenly from all sides, on a ground of another "
            "brightness or colour, and keep things off the teeth"
        )


def flank_status(fits: FlankFits) -> NDArray[np.str_]:
    """Status of every flank.

    Returns
    -------
    ndarray, shape (z, 2), str
        'ok', 'partial', 'obstructed' or 'not_seen'.

    Notes
    -----
    Where most flanks of a side have points set aside, that is how the side was cut, not dirt;
    only those with more than the usual share are called obstructed.
    """
    status = np.full(fits.unwound.shape, "ok", dtype="<U10")
    status[fits.coverage < PARTIAL_COVERAGE] = "partial"
    beyond = fits.rejected - np.median(fits.rejected, axis=0)
    status[beyond > OBSTRUCTED_SHARE] = "obstructed"
    status[~np.isfinite(fits.unwound)] = "not_seen"
    return status
