"""Running means close on themselves and agree with a plain loop."""

import numpy as np
import pytest

from cogloupe.running import running_mean


@pytest.mark.parametrize("window", [1, 2, 5, 12, 40, 100])
def test_each_value_is_averaged_with_neighbours_all_round(window: int) -> None:
    values = np.random.default_rng(1).normal(50.0, 3.0, (3, 40))
    taken = min(window, 40)
    around = [np.roll(values, taken // 2 - k, axis=1) for k in range(taken)]
    assert running_mean(values, window) == pytest.approx(np.mean(around, axis=0), abs=1e-12)


def test_the_kind_of_number_is_kept() -> None:
    assert running_mean(np.ones(9, np.float32), 4).dtype == np.float32
