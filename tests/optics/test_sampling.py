"""Samples of an outline, and what their levels leave."""

import numpy as np
import pytest

from cogloupe.optics.sampling import _texture


@pytest.mark.parametrize("noise", [0.1, 10.0])
def test_texture_is_what_strays_along_the_outline_and_noise_is_none(noise):
    rng, n = np.random.default_rng(5), 12_000
    z = np.repeat(np.linspace(-8, 8, 17)[None], n, axis=0)
    # Light of either side that strays by one grey from one fiftieth of the outline to the next.
    stray = np.repeat(rng.standard_normal((2, n // 40)), 40, axis=1)
    residual = np.where(z < 0, stray[0][:, None], stray[1][:, None])
    found = _texture(residual + noise * rng.standard_normal(z.shape), z)
    # Both sides together; means of a dozen flatten steps of forty by a tenth.
    assert found == pytest.approx(2**0.5, rel=0.25)
