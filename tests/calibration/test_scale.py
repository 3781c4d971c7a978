"""Stated scales and known diameters."""

import datetime
from math import hypot, inf, nan, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.scale import (
    CALIPER_U_MM,
    calibration_from_scale,
    disagreement,
    from_known_diameter,
    from_stated_scale,
)

DAY = datetime.date(2024, 5, 1)
POSITIVE = st.floats(1e-3, 1e4)


def test_stated_scale_is_taken_as_within_half_a_percent():
    scale = from_stated_scale(5.0)
    assert scale.mm_per_px == 0.005
    assert scale.relative_u == pytest.approx(0.005 / sqrt(3))


def test_stated_scale_takes_a_better_uncertainty():
    assert from_stated_scale(5.0, relative_u=0.0004).u_mm_per_px == pytest.approx(2e-6)


@given(POSITIVE, POSITIVE, st.floats(1e-6, 0.01), st.floats(1e-6, 0.01))
def test_known_diameter_follows_the_product_rule(d_px, d_mm, rel_px, rel_mm):
    scale = from_known_diameter(d_px, rel_px * d_px, d_mm, rel_mm * d_mm)
    assert scale.mm_per_px == pytest.approx(d_mm / d_px)
    assert scale.relative_u == pytest.approx(hypot(rel_px, rel_mm))


def test_linear_propagation_agrees_with_monte_carlo():
    scale = from_known_diameter(1800.0, 0.9, 12.19, 0.012)
    rng = np.random.default_rng(7)
    drawn = rng.normal(12.19, 0.012, 200_000) / rng.normal(1800.0, 0.9, 200_000)
    # 200 000 draws give a standard deviation to 0.16 %; four of those.
    assert np.std(drawn) == pytest.approx(scale.u_mm_per_px, rel=0.0064)


def test_diameter_without_uncertainty_is_taken_as_a_calipers():
    scale = from_known_diameter(1000.0, 0.0, 10.0)
    assert scale.relative_u == pytest.approx(CALIPER_U_MM / 10.0)


@pytest.mark.parametrize("bad", [0.0, -1.0, nan, inf])
def test_sizes_must_be_finite_and_above_zero(bad):
    with pytest.raises(CalibrationError, match="above zero"):
        from_stated_scale(bad)
    with pytest.raises(CalibrationError, match="on the picture"):
        from_known_diameter(bad, 0.1, 10.0, 0.01)
    with pytest.raises(CalibrationError, match="known diameter"):
        from_known_diameter(1000.0, 0.1, bad, 0.01)


@pytest.mark.parametrize("bad", [-0.1, nan, inf])
def test_uncertainties_must_be_finite_and_not_negative(bad):
    with pytest.raises(CalibrationError, match="uncertainty"):
        from_stated_scale(5.0, relative_u=bad)
    with pytest.raises(CalibrationError, match="uncertainty"):
        from_known_diameter(1000.0, bad, 10.0, 0.01)
    with pytest.raises(CalibrationError, match="uncertainty"):
        from_known_diameter(1000.0, 0.1, 10.0, bad)


def test_contradicting_scales_are_told_side_by_side():
    stated = from_stated_scale(5.0, relative_u=0.001)
    known = from_known_diameter(1000.0, 0.5, 5.2, 0.01, "known_bore")
    message = disagreement(stated, known)
    assert message is not None
    assert "5 ±" in message
    assert "known bore 5.2 ±" in message


def test_scales_that_agree_within_their_uncertainty_pass():
    assert disagreement(from_stated_scale(5.0), from_stated_scale(5.01)) is None


@pytest.mark.parametrize(
    ("u_mm", "verdict"), [(0.005, "good"), (0.03, "usable"), (0.1, "take it again")]
)
def test_verdict_follows_the_relative_uncertainty(u_mm, verdict):
    scale = from_known_diameter(1000.0, 0.0, 10.0, u_mm)
    made = calibration_from_scale(scale, DAY)
    assert made.verdict == verdict
    assert bool(made.reasons) == (verdict != "good")


def test_stated_scale_is_never_called_good():
    made = calibration_from_scale(from_stated_scale(5.0, relative_u=1e-5), DAY)
    assert made.verdict == "usable"
    assert "stated" in made.reasons[0]
