"""Another mixture of colours than brightness, in which the outermost edge of a gear shows.

Marks, glints and bevels of a material change its brightness much more than its colour. So a mixture
in which the gear's own colour vanishes, whatever its brightness, shows where the ground begins.
"""

import numpy as np

from cogloupe.finding.colour import LUMA
from cogloupe.optics.greys import ROUNDING
from cogloupe.optics.joint.explanation import Look
from cogloupe_calibration.arrays import Floats

NEAREST_PX, FURTHEST_PX = 4, 10
"""Distances from the outline at which both sides' colours are looked at, px."""
UNLIKE = 0.3
"""Standard deviation that the brightness of a gear's edges is taken to have, as a share."""
LAG = 4
"""Pixels that are compared to tell noise: a JPEG file keeps neighbours' colours alike."""
AS_CLEAR = 0.2
"""Contrast in noise, by that of brightness, that the mixture must have: of two greys a difference
of colours shows little more than what the file rounds."""


def other_mixture(found: Look) -> Floats | None:
    """Find the mixture of colours that shows the ground beside a gear, whatever the gear's light.

    Parameters
    ----------
    found : Look
        Of a colour picture, in light.

    Returns
    -------
    ndarray, shape (3,), or None
        Magnitudes sum to one. None where nothing tells.

    Notes
    -----
    Fisher's linear discriminant, with the gear's own colour as one more way to vary.
    """
    greys = found.fit.greys
    out = np.arange(NEAREST_PX, FURTHEST_PX + 1)
    inside, step = found.crossings.inside, found.crossings.step
    material, ground = (greys.colours(inside, step, way * out) for way in (-1, 1))
    spread = np.zeros((3, 3))
    for side in (material, ground):
        steps = (side[:, LAG:] - side[:, :-LAG]).reshape(-1, 3).astype(np.float64)
        spread += steps.T @ steps / (2 * len(steps))
    own, beyond = (np.median(side, axis=(0, 1)).astype(np.float64) for side in (material, ground))
    spread += (ROUNDING * greys.full_scale / 255) ** 2 * np.eye(3)
    unlike = spread + UNLIKE**2 * np.outer(own, own)
    solved = np.asarray(np.linalg.solve(unlike, beyond - own), np.float64)
    weights = solved / max(float(np.abs(solved).sum()), 1e-30)

    def clear(mixture: Floats) -> float:
        return float((mixture @ (beyond - own)) ** 2 / (mixture @ spread @ mixture))

    return weights if clear(weights) > AS_CLEAR**2 * clear(LUMA) else None
