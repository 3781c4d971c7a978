"""The forward model of an edge: its columns are what they are called, its rates of change right."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe.optics.joint.crossings import Crossings
from cogloupe.optics.joint.forward_model import Kind, Shadow, draw
from cogloupe.optics.joint.joint_fit import trust
from cogloupe.optics.joint.profiles import Profiles

N, OFFSETS, BLUR = 60, np.arange(-11, 13), 1.3
TURN = np.linspace(0, 2 * np.pi, N, endpoint=False)
NORMAL = np.stack([np.cos(TURN), np.sin(TURN)], axis=1)
ALONG_X = np.abs(NORMAL[:, 0]) > np.abs(NORMAL[:, 1])
STEP = np.where(ALONG_X[:, None], [1, 0], [0, 1]) * np.sign(NORMAL).astype(int)
PROFILES = Profiles(
    crossings=Crossings(
        inside=np.full((N, 2), 50), step=STEP, place=np.linspace(0, 0.99, N), normal=NORMAL
    ),
    grey=np.zeros((len(OFFSETS), N), np.float32), offsets=OFFSETS, within=None,
)  # fmt: skip
SHADOW = Shadow(shade=0.4, fall=(3.0, -2.0), soft_px=3.0)
KINDS = [
    Kind(),
    Kind(powers=(1, 2)),
    Kind(width_px=3.0),
    Kind(powers=(1, 1), width_px=3.0),
    Kind(shadow=SHADOW),
    Kind(powers=(1, 1), width_px=2.5, shadow=SHADOW),
]
OUT, LEVELS = np.random.default_rng(2).normal(0, 0.3, N), np.random.default_rng(3).normal(0, 1, N)


def drawn(kind, out=OUT, blur=BLUR):
    return draw(PROFILES, out, np.full(N, blur), kind)


def levels_of(kind):
    return np.stack([np.roll(LEVELS, k) for k in range(kind.count)])


def change(kind, of, step=1e-2):
    """Change of profiles by central differences."""
    up, down = (of(way * step).grey(levels_of(kind)).astype(float) for way in (1, -1))
    return (up - down) / (2 * step)


@pytest.mark.parametrize("kind", KINDS)
def test_profiles_change_with_their_places_as_is_said(kind):
    by_place, _, _ = drawn(kind).rates(levels_of(kind))
    # Single precision, central differences, and the series of a shadow's border.
    atol = 5e-4 if kind.shadow is None else 5e-3
    np.testing.assert_allclose(by_place, change(kind, lambda h: drawn(kind, OUT + h)), atol=atol)


@pytest.mark.parametrize("kind", KINDS[:4])
def test_profiles_change_with_their_blur_as_is_said(kind):
    _, by_blur, _ = drawn(kind).rates(levels_of(kind))
    # Single precision, central differences.
    np.testing.assert_allclose(
        by_blur, change(kind, lambda h: drawn(kind, OUT, BLUR + h)), atol=5e-4
    )


@pytest.mark.parametrize("kind", KINDS[2:])
def test_profiles_change_with_what_is_common_as_is_said(kind):
    common = drawn(kind).rates(levels_of(kind))[2]
    rates = [rate * terms[:, m] for rate, terms in common for m in range(terms.shape[1])]
    for which, rate in enumerate(rates):
        way = np.eye(len(rates))[which]
        found = change(kind, lambda h, way=way: drawn(kind.changed(h * way)))
        # As above; the series has the softness of a shadow worst.
        atol = 5e-3 if kind.shadow and which == len(rates) - 1 else 2e-3
        np.testing.assert_allclose(rate, found, atol=atol)


def test_all_light_comes_from_somewhere():
    columns = drawn(Kind(width_px=3.0)).columns
    # Single precision.
    np.testing.assert_allclose(columns.sum(axis=0), 1, atol=1e-6)


def test_a_wide_band_has_its_own_light():
    kind = Kind(width_px=10.0)
    grey = drawn(kind, np.full(N, 5.0)).grey(np.array([[1.0], [2.0], [7.0]]) * np.ones(N))
    middle = np.abs(PROFILES.distance - 0.0) < 1.0
    # Four px and more from either border of the band: its tail of the light beside it.
    assert grey[middle] == pytest.approx(7.0, abs=0.01)


def test_a_shadow_is_blurred_with_its_edge():
    # The light on the ground, and its blur by the lens, summed over fine steps.
    grey = drawn(Kind(shadow=SHADOW), np.zeros(N)).grey(np.array([[0.0], [1.0]]) * np.ones(N))
    fine = np.arange(-40, 40, 0.02) + 0.01
    border = NORMAL @ SHADOW.fall
    for k in range(0, N, 7):
        ground = (fine > 0) * (1 - SHADOW.shade * ndtr((border[k] - fine) / SHADOW.soft_px))
        z = (PROFILES.distance[:, k, None] - fine) / BLUR
        lens = np.exp(-(z**2) / 2) * 0.02 / np.sqrt(2 * np.pi) / BLUR
        # The series' third term is at most 0.4 * 0.4^3 / 6 * 0.16.
        np.testing.assert_allclose(grey[:, k], lens @ ground, atol=1e-3)


def test_a_profile_beyond_the_picture_has_a_weight_like_others():
    within = np.ones((len(OFFSETS), N), bool)
    within[:, 3] = False
    profiles = replace(PROFILES, within=within)
    left = np.random.default_rng(6).normal(0, 1, within.shape) * within
    assert np.isfinite(trust(left, profiles.pixels)).all()
