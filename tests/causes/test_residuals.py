"""Whether figures stray further than good gears do."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.causes.model import fresh
from cogloupe.causes.observed_pattern import observe
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.residuals import strained
from cogloupe.simulation import Faults, GearSpec, make

from ..helpers.stated_figures import MeasuringErrors
from ..helpers.stated_reading import stated_reading

MODULE_UM = 1000.0
EXACT = MeasuringErrors(flank_um=0.01, lens=0.01, bore_um=0.01, edge_um=0.01, scale=1e-6)


def observed():
    spec = GearSpec(teeth=24, module_mm=MODULE_UM / 1000, bore_mm=6.0)
    gear = make(spec, Faults(), None, 2.0, np.random.default_rng(1), 1e-5)
    return observe(stated_reading(gear, EXACT, np.random.default_rng(1)))


def test_a_gear_as_drawn_is_not_strained():
    assert not strained(fresh(observed()))


# Ten times what is common practice, in modules; readings stated without a picture tell no corners.
FAR_OFF = {
    "thickness": 0.1, "root": 0.2, "tip": 0.2, "slope_left": 0.05, "slope_right": 0.05,
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "off"), [*((n, share * MODULE_UM) for n, share in FAR_OFF.items()), ("floor", 0.1)]
)
def test_a_figure_ten_times_as_far_off_as_good_gears_are_is(name, off):
    seen = observed()
    value = seen.value.copy()
    value[len(value) - len(SHARED) + SHARED.index(name)] += off
    assert strained(fresh(replace(seen, value=value)))
