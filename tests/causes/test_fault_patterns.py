"""Shapes that faults of a machine leave."""

from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.causes.fault_patterns import waves

TEETH = 24


@pytest.mark.parametrize("times", [1, 3, 11])
def test_waves_of_a_part_of_the_machine_come_as_often_as_it_does(times):
    observed = SimpleNamespace(design=SimpleNamespace(teeth=TEETH))
    (_, known, *_) = waves(observed, [Fraction(times)])
    (member,) = known.plus
    for row in known.basis[member]:
        strength = np.abs(np.fft.rfft(row[: 2 * TEETH].reshape(TEETH, 2)[:, 0]))
        assert strength.argmax() == times
