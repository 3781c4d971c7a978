"""A gear that turns, from a reading; and readings that do not tell enough for it."""

import numpy as np
import pytest

from cogloupe.numerics.angles import wrapped
from cogloupe.pairing.from_reading import _believed, gear_from_reading
from cogloupe.simulation import Faults, GearSpec
from cogloupe_calibration.errors import UseError

from ..helpers.pair_gears import exact_reading, made_gear
from ..helpers.tolerances import ROUNDING

SPEC = GearSpec(teeth=18, module_mm=0.5, bore_mm=2.0)
NOT_SEEN = {"position_deg": None, "status": "not_seen"}


FAULTS = Faults(eccentricity_um=25, pitch_scatter_um=4, pressure_angle_error_deg=0.2)


@pytest.fixture(scope="module")
def reading():
    return exact_reading(made_gear(SPEC, FAULTS))


def test_an_unseen_flank_is_taken_for_the_mean_of_its_side():
    values = np.array([1.0, 3.0, np.nan, 8.0])[:, None, None] * np.ones((4, 2, 3))
    out = _believed(values, np.zeros((4, 2)))
    # Without any noise each flank is believed as it is.
    np.testing.assert_allclose(out[:, 0, 0], [1, 3, 4, 8], rtol=ROUNDING)


def test_every_flank_lies_where_it_was_made(reading):
    made, gear = made_gear(SPEC, FAULTS).gear, gear_from_reading(reading)
    radius = np.linspace(gear.form_radius + 0.1, gear.tip.min() - 0.05, 5)
    for side, way in ((0, -1), (1, 1)):
        off = np.stack([np.interp(radius, gear.radius, row) for row in gear.off[:, side]])
        unwound = gear.half[side] + off - gear.wheel.flank.turn(radius)
        angle = gear.start + gear.pitch * np.arange(18)[:, None] + way * unwound
        from_axis = radius * np.exp(1j * angle) - gear.axis
        wanted = made.flank_angle(np.abs(from_axis).T)[side].T
        # Along the circle, after 12 values of a flank's form and 160 points of its curve.
        away = np.abs(from_axis) * wrapped(np.angle(from_axis) - wanted)
        assert np.abs(away).max() < 1e-5


def without(reading, teeth):
    """The same reading with the flanks of some teeth not seen."""
    told = [
        tooth.model_copy(
            update={s: getattr(tooth, s).model_copy(update=NOT_SEEN) for s in ("left", "right")}
        )
        if tooth.number in teeth
        else tooth
        for tooth in reading.teeth
    ]
    return reading.model_copy(update={"teeth": tuple(told)})


def test_flanks_that_were_not_seen_stay_gaps(reading):
    gear = gear_from_reading(without(reading, {3, 4}))
    seen = np.isfinite(gear.off[..., 0])
    assert np.flatnonzero(~seen.all(axis=1)).tolist() == [2, 3]
    assert gear.seen == pytest.approx(16 / 18)


REFUSED = {
    "too few flanks": (lambda r: without(r, set(range(1, 14))), r"10 of 36 flanks were seen"),
    "straight": (
        lambda r: r.model_copy(update={"gear": r.gear.model_copy(update={"form": "straight"})}),
        "its 18 teeth are straight-sided",
    ),
    "kept no curves": (
        lambda r: r.model_copy(update={"flank_curves": None}),
        "kept nothing of the flanks' curves: inspect the photograph again",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_a_reading_that_cannot_be_run_is_refused_in_one_line(reading, what):
    made, told = REFUSED[what]
    with pytest.raises(UseError, match=told) as refused:
        gear_from_reading(made(reading))
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(("spread", "believed"), [(1.9, False), (2.1, True)])
def test_what_three_flanks_differ_by_counts_beyond_a_standard_deviation_of_their_variance(
    spread, believed
):
    # Of three values a sample variance has a standard deviation as large as itself.
    apart = np.sqrt(spread) * np.array([-1.0, 0.0, 1.0])
    values = np.concatenate([apart, np.full(9, np.nan)])[:, None, None] * np.ones((1, 2, 1))
    out = _believed(values, np.ones((12, 2)))
    assert (np.ptp(out[:3, 0]) > 0) == believed
