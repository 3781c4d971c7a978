"""Blurred edges in light, and the camera's curve."""

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.optics.response import BrokenEdge, broken_step, srgb_light, unit_step

from ..helpers.tolerances import ROUNDING

Z = np.linspace(-5, 5, 201)


@pytest.mark.parametrize(
    ("light", "stored"),
    # IEC 61966-2-1, from memory: ends, the joint of the two branches, and the usual grey card
    # (18 % of light), 0.4614.
    [(0.0, 0.0), (1.0, 1.0), (0.0031308, 0.04045), (0.18, 0.4614), (0.2140, 0.5)],
)
def test_the_curve_is_srgb_s(light, stored):
    # Half of the last place given.
    assert srgb_light(np.array([stored]))[0] == pytest.approx(light, abs=1e-4)


def test_the_curve_rises_without_a_jump():
    step = np.diff(srgb_light(np.linspace(0, 1, 100_001)))
    assert (step > 0).all()
    assert step.max() < 2.3e-5  # its slope at full light is 2.4 / 1.055 = 2.27


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_a_step_is_the_gaussian_integral(kind):
    step, slope = unit_step(Z.astype(kind))
    # The approximation is good to 7.5e-8, single precision to a few times that.
    np.testing.assert_allclose(step, ndtr(Z), atol=5e-7)
    np.testing.assert_allclose(slope, np.exp(-(Z**2) / 2) / np.sqrt(2 * np.pi), atol=2e-6)


EDGE = {"width": 2.5, "band": 0.4, "shade": -0.3, "offset": 0.8, "soft": 2.2}


def broken(z, **changes):
    edge = BrokenEdge(**{name: np.array([v]) for name, v in (EDGE | changes).items()})
    return broken_step(np.asarray(z)[None], edge)


def test_without_a_band_and_a_shadow_it_is_the_plain_step():
    np.testing.assert_allclose(
        broken(Z, width=0.0, shade=0.0).step[0], unit_step(Z)[0], atol=ROUNDING
    )


def test_a_wide_band_has_its_own_light_and_a_shadow_fades_away():
    wide = broken([-20.0, -5.0, 30.0], width=10.0)
    # Twelve blurs from any border.
    assert wide.step[0] == pytest.approx([0, EDGE["band"], 1], abs=1e-7)


def test_a_shadow_is_blurred_with_its_edge():
    # The light on the ground, and its blur by the lens, summed over fine steps.
    fine = np.arange(-30, 30, 0.01) + 0.005
    ground = (fine > 0) * (1 - 0.3 * ndtr((EDGE["offset"] - fine) / np.sqrt(EDGE["soft"] ** 2 - 1)))
    lens = np.exp(-((Z[:, None] - fine) ** 2) / 2) * 0.01 / np.sqrt(2 * np.pi)
    # The series' third term is at most 0.3 * 0.45^3 / 6 * 0.16.
    np.testing.assert_allclose(broken(Z, band=0.0).step[0], lens @ ground, atol=1e-3)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("lit", {"band": 1e-4}),
        ("shaded", {"shade": 1e-4}),
        ("inner", {"width": 1e-4}),
        ("shifted", {"offset": 1e-4}),
        ("softer", {"soft": 1e-4}),
    ],
)
def test_the_changes_are_derivatives(name, change):
    ((key, step),) = change.items()
    up, down = (broken(Z, **{key: EDGE[key] + way * step}).step for way in (1, -1))
    # The series for the shadow is good to a thousandth.
    np.testing.assert_allclose(getattr(broken(Z), name), (up - down) / (2 * step), atol=0.01)


def test_a_move_of_both_edges_is_the_derivative_along_the_profile():
    slope = broken(Z).both[0]
    # Central differences of a step of 0.1 blurs: its square over six.
    np.testing.assert_allclose(slope, np.gradient(broken(Z).step[0], Z), atol=2e-3)


def test_all_light_comes_from_somewhere():
    seen = broken(Z, band=0.0, shade=0.0)
    np.testing.assert_allclose(seen.material + seen.lit + seen.ground, 1, atol=ROUNDING)
