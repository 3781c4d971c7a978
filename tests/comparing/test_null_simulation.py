"""What the scatter of a gear is taken to be."""

import numpy as np
import pytest

from cogloupe.comparing.null_simulation import _autoregressive_coefficient


@pytest.mark.parametrize("teeth", [17, 40])
def test_what_mounting_leaves_is_no_correlation_of_neighbours(teeth):
    rng = np.random.default_rng(teeth)
    scatter = rng.standard_normal((teeth, 2))
    once = 30 * np.cos(2 * np.pi * np.arange(teeth) / teeth)[:, None]
    alone, mounted = (_autoregressive_coefficient([place]) for place in (scatter, scatter + once))
    assert mounted == alone
