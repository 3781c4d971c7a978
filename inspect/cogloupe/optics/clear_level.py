"""Whether a grey level parts a gear from its ground, told beside the border that it draws."""

from math import pi

import numpy as np

from cogloupe.finding.segmentation import Region
from cogloupe.optics.contour_following import Crossings
from cogloupe.optics.greys import Greys
from cogloupe_calibration.arrays import Bools, Ints

DEVIATIONS = 3.0
"""Standard deviations of what lies beside the border that a level midway must be off both sides, so
that grains of one are not taken for the other (one in a thousand, common practice)."""
FURTHEST_PX, NEAREST_PX, IN_MODULES = 8, 4, 0.4
"""Where a side is looked at: beyond blur and bevel, and before the next flank (a tooth's land is
0.8 modules wide)."""
PIXELS = 4
"""Of each side that are looked at."""
SECTORS, FEWEST = 24, 10
"""Parts of a turn, since light is uneven, and the samples that one must have."""
DRAWN = 0.5
"""Share of the predicted outline that the border must run along: letters on paper are parted from
it clearly too, and a gear between them is not."""


def level_is_clear(greys: Greys, crossings: Crossings, region: Region) -> bool:
    """Tell whether both sides of the border that a level draws lie clear of it.

    By the median of the parts of a turn; False where it is the border of something else.

    Parameters
    ----------
    crossings : Crossings
        Of the border.
    """
    if not _runs_along(greys, crossings, region):
        return False
    module = 2 * region.tip_radius / (region.teeth + 2)
    out = np.arange(int(np.clip(IN_MODULES * module, NEAREST_PX, FURTHEST_PX)) + 1)[-PIXELS:]
    seen = crossings.take(np.flatnonzero(_in_sight(greys, crossings, int(out[-1]))))
    material, ground = (greys.along(seen.inside, seen.step, way) for way in (1 - out, out))
    arm = seen.inside + np.array(greys.corner) - [region.x, region.y]
    turn = (np.arctan2(arm[:, 1], arm[:, 0]) + pi) / (2 * pi)
    sector = (turn * SECTORS).astype(int).clip(0, SECTORS - 1)
    clear = []
    for part in range(SECTORS):
        here = sector == part
        if here.sum() >= FEWEST:
            one, two = material[here], ground[here]
            # Blur makes a side uneven across the border, grains do along it; and rounding alone
            # leaves any grey a little uncertain.
            grain = sum(float(side.var(axis=0).mean()) for side in (one, two))
            spread = np.sqrt(grain + (greys.full_scale / 255) ** 2 / 12)
            clear.append(abs(float(two.mean() - one.mean())) / float(spread))
    return not clear or float(np.median(clear)) > 2 * DEVIATIONS


def _runs_along(greys: Greys, crossings: Crossings, region: Region) -> bool:
    """Whether the border runs along most of the outline that was predicted."""
    from scipy.spatial import cKDTree  # slow to import, and seldom needed

    border = cKDTree(crossings.inside + np.array(greys.corner))
    apart, _ = border.query(region.outline, distance_upper_bound=2 * region.reach_px)
    return bool(np.mean(np.isfinite(apart)) > DRAWN)


def _in_sight(greys: Greys, crossings: Crossings, reach: int) -> Bools:
    """Crossings that have so many pixels to both sides."""
    far = crossings.inside[:, None] + crossings.step[:, None] * np.array([-reach, reach])[:, None]
    limits: Ints = np.array(greys.shape[::-1])
    return np.asarray(((far >= 0) & (far < limits)).all(axis=(1, 2)))
