"""The camera's curve and the shape that it gives a blurred edge."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from cogloupe.response import edge_shape, srgb_encode

Z = np.linspace(-5, 5, 201)
DARK, LIGHT = 40 / 255, 200 / 255


@pytest.mark.parametrize(
    ("light", "stored"),
    # IEC 61966-2-1, from memory: ends, the joint of the two branches, and the usual grey card
    # (18 % of light), 0.4614.
    [(0.0, 0.0), (1.0, 1.0), (0.0031308, 0.04045), (0.18, 0.4614), (0.2140, 0.5)],
)
def test_the_curve_is_srgb_s(light, stored):
    assert srgb_encode(np.array([light]))[0] == pytest.approx(stored, abs=1e-4)


def test_the_curve_rises_without_a_jump():
    light = np.linspace(0, 1, 100_001)
    step = np.diff(srgb_encode(light))
    assert (step > 0).all()
    assert step.max() < 12.93e-5 + 1e-6  # 12.92 a unit in the straight part, less beyond


def test_without_a_curve_the_edge_is_the_gaussian_integral():
    step, slope = edge_shape(0.0, DARK, LIGHT).at(Z)
    # Tables 0.005 apart read linearly: h^2 / 8 times a curvature of 0.24.
    np.testing.assert_allclose(step, ndtr(Z), atol=1e-6)
    np.testing.assert_allclose(slope, np.exp(-(Z**2) / 2) / np.sqrt(2 * np.pi), atol=2e-6)


@pytest.mark.parametrize(("material", "ground"), [(DARK, LIGHT), (LIGHT, DARK), (0.02, 0.98)])
def test_with_the_curve_it_is_the_encoded_mixture_of_light(material, ground):
    low, high = (
        brentq(lambda x, v=v: srgb_encode(np.array([x]))[0] - v, 0, 1, xtol=1e-14)
        for v in (material, ground)
    )
    stored = srgb_encode(low + (high - low) * ndtr(Z))
    step, _ = edge_shape(1.0, material, ground).at(Z)
    # The curve's own table, 2049 squares of 0 to 1, leaves 1e-4 where it bends most.
    np.testing.assert_allclose(step, (stored - material) / (ground - material), atol=2e-4)


@pytest.mark.parametrize("curve", [0.0, 0.5, 1.0])
@pytest.mark.parametrize(("material", "ground"), [(DARK, LIGHT), (LIGHT, DARK)])
def test_a_step_goes_from_nothing_to_one_and_its_slope_is_its_derivative(curve, material, ground):
    shape = edge_shape(curve, material, ground)
    step, slope = shape.at(Z)
    assert step[[0, -1]] == pytest.approx([0, 1], abs=1e-5)
    assert (np.diff(step) >= 0).all()
    sum_of_slopes = np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(Z))
    np.testing.assert_allclose(sum_of_slopes, step[1:] - step[0], atol=1e-3)


def test_the_curve_seems_to_move_an_edge_into_the_darker_side():
    # Half the stored difference is reached with less than half the light.
    dark_gear = edge_shape(1.0, DARK, LIGHT).half_way
    light_gear = edge_shape(1.0, LIGHT, DARK).half_way
    assert dark_gear < -0.1
    assert light_gear == pytest.approx(-dark_gear, abs=1e-6)
    assert edge_shape(0.0, DARK, LIGHT).half_way == pytest.approx(0, abs=1e-9)


def test_no_contrast_has_no_bent_edge():
    assert edge_shape(1.0, 0.5, 0.5).curve == 0.0
