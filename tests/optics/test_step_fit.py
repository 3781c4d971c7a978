"""Steps fitted to profiles."""

import numpy as np

from cogloupe.optics.step_fit import _plain


def test_samples_that_show_no_level_spoil_none_beside_them():
    # Of the last hundred samples no pixel lies well within the material.
    n, rng = 400, np.random.default_rng(3)
    step = np.repeat((np.arange(-8, 9) > 0)[None], n, axis=0).astype(float)
    step[300:] = np.maximum(step[300:], 0.5)
    profiles = 80 + 60 * step + rng.standard_normal(step.shape)
    plain = _plain(np.tile([1.0, 0.0], (n, 1)), profiles, step)
    assert plain[240:300].mean() > 0.9
    assert not plain[300:].any()
