"""What a movement of all points does to a flank of any form."""

import numpy as np
import pytest

from cogloupe.forms.straight import StraightForm
from cogloupe.forms.tooth_form import FlankCurve


@pytest.mark.parametrize("passing", [-2.0, -1.0, 0.0, 1.0, 2.0])
def test_a_shift_moves_a_straight_flank_everywhere_alike(passing):
    curve = FlankCurve(StraightForm((passing, passing)), 10.0, 9.4, 10.6)
    place, slope = curve.shifted()
    radius = np.linspace(9.4, 10.6, 9)
    run = curve.form.along(radius) - curve.measuring_roll
    # Its normal is the same all along: it stands to the measuring circle as its line passes by.
    lean = np.arcsin(passing / 10)
    for side in (0, 1):
        arm = curve.form.arm(radius, side) / curve.measuring_arm[side]
        moved = np.outer(arm, place[side]) + np.outer(run, slope[side])
        # A place and a slope leave the square of the range's half over the radius: 0.06^2.
        np.testing.assert_allclose(moved - [np.cos(lean), np.sin(lean)], 0, atol=0.06**2)


@pytest.mark.parametrize("passing", [-2.0, 0.0, 2.0])
def test_a_stretch_moves_a_straight_flank_as_far_as_its_line_passes_the_axis(passing):
    curve = FlankCurve(StraightForm((passing, passing)), 10.0, 9.4, 10.6)
    # Of a point on a line, what goes along its normal is the distance of the line from the axis.
    np.testing.assert_allclose(curve.stretched()[0], passing, atol=0.06**2)
