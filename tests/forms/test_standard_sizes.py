"""Lists of standard sizes."""

import numpy as np
import pytest

from cogloupe.forms.standard_sizes import DIAMETRAL_PITCHES, MODULES_MM


@pytest.mark.parametrize("sizes", [MODULES_MM, DIAMETRAL_PITCHES], ids=["modules", "pitches"])
def test_sizes_stand_in_order(sizes):
    assert sizes[0] > 0
    assert (np.diff(sizes) > 0).all()


def test_steps_of_usual_pitches_grow_and_never_shrink():
    # Up to 96: finer ones go by what was made (common practice, no source).
    usual = [pitch for pitch in DIAMETRAL_PITCHES if pitch <= 96]
    assert (np.diff(usual, 2) >= 0).all()
