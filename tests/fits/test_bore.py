"""What is not known of a bore's circle: waves and lobes of its edge."""

import numpy as np
import pytest

from cogloupe.fits.bore import _lobe, _run_factor


def test_noise_of_single_points_is_hardly_ever_taken_for_waves_of_the_edge():
    rng = np.random.default_rng(8)
    factors = [_run_factor(rng.standard_normal(400)) for _ in range(400)]
    # Beyond two standard deviations of a correlation 2.3 of a hundred lie; three of those, more.
    assert np.mean(np.array(factors) > 1) < 0.023 + 3 * (0.023 / 400) ** 0.5


@pytest.mark.parametrize(("lobes", "counts"), [(2, False), (3, True), (5, True)])
def test_lobes_of_a_bore_s_own_form_leave_its_centre_open_and_an_oval_does_not(lobes, counts):
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    arm = 50 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    found = _lobe(arm, 0.5 * np.cos(lobes * turn))
    assert found == pytest.approx(0.5 / 12**0.5 if counts else 0, abs=1e-9)
