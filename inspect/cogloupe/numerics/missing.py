"""Figures that may be missing: their mean, and how the reading's files hold them."""

import numpy as np
from numpy.typing import NDArray


def mean_seen(values: NDArray[np.float64]) -> float:
    """Mean of what was measured; NaN where nothing was.

    Parameters
    ----------
    values : ndarray
        NaN where not measured.
    """
    return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")


def number(value: float) -> float | None:
    """A float for the file: None where it was not measured."""
    return float(value) if np.isfinite(value) else None
