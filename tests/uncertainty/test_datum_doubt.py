"""How unsure a datum is that was seen by itself."""

from math import sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.uncertainty.flank_uncertainty import datum_doubt


@pytest.mark.parametrize("told", [np.full(24, np.nan), np.full(24, 0.2)], ids=["scatter", "own"])
def test_tips_are_a_datum_also_where_lands_are_too_small_to_tell_their_doubt(told):
    measured = SimpleNamespace(
        tips=SimpleNamespace(u=told),
        tip_circle=SimpleNamespace(rms=0.2),
        wheel=SimpleNamespace(teeth=24),
        outlines=SimpleNamespace(bevel_px=0.0),
        bore=None,
    )
    axes = SimpleNamespace(kind="tips", u_bore_px=0.0)
    assert datum_doubt(measured, axes)[0] == pytest.approx(0.2 * sqrt(2 / 24))
