"""The rounding at the floors of clock teeth, told from the gaps themselves."""

from dataclasses import replace
from math import pi

import pytest

from cogloupe.fits.fillet import with_rounding
from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid
from cogloupe.forms.gap_theory import theoretical_gap


@pytest.mark.parametrize("fillet", [0.08, 0.2, 0.35])
def test_the_rounding_of_a_drawn_gap_is_found_again(fillet):
    form = CycloidalForm(Epicycloid(30.0, 2.0))
    wheel = CycloidalWheel(
        teeth=60, module_mm=1.0, form=form, thickness_mm=pi / 2, root_radius=28.43,
        tip_radius=31.2, fillet_mm=fillet,
    )  # fmt: skip
    xy = theoretical_gap(wheel, 28.43, 31.2, 0.03).shown.xy
    found = with_rounding(replace(wheel, fillet_mm=None), pi / 2, 28.43, 31.2, 0.03, xy)
    # Of points that lie on it exactly: where the search between two tries ends, a share of them.
    assert found.fillet_mm == pytest.approx(fillet, rel=0.05)
