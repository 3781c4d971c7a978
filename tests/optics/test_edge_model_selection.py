"""Which explanation of the edges is looked into."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.optics.bevel import NO_BEVEL
from cogloupe.optics.edge_model_selection import _worth


@pytest.mark.parametrize(("mixed", "worth"), [(False, True), (True, False)])
def test_what_is_brighter_than_the_ground_is_a_band_by_brightness_alone(mixed, worth):
    # No shadow brightens the ground; in a mixture of colours it may make it look like anything.
    band = replace(NO_BEVEL, width_px=3.0, share=np.array([0.85]), black=1.1)
    banded = SimpleNamespace(bevel=band, greys=SimpleNamespace(mixed=mixed), score=0, penalty=0)
    single = SimpleNamespace(score=1.0, prior=1.0, misfit=SimpleNamespace(by_facing=1.0))
    assert _worth(banded, [single]) is worth
