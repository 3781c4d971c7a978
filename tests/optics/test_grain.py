"""Tool marks beside an edge: what they do to its place, and what weights make of it."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from cogloupe.optics.grain import Grain, grains_beside, weighed_products
from cogloupe.optics.step_fit import BLURS_PX, fit_steps

from ..helpers.tolerances import ROUNDING

N, BLUR, NOISE, MARK = 3000, 1.25, 0.5, 12.0
FACE, GROUND = 120.0, 20.0
OFFSETS = np.arange(-7, 9, dtype=np.float32)
COSINE = np.ones(N, np.float32)
NORMAL = np.tile([1.0, 0.0], (N, 1))


def marked(reach, along, seed=0):
    """Profiles across a face whose light wanders, in patches of so many neighbours."""
    rng = np.random.default_rng(seed)
    place = rng.uniform(-0.5, 0.5, N)
    apart = OFFSETS[:, None] - OFFSETS
    root = np.linalg.cholesky(np.exp(-(apart**2) / (2 * reach**2)) + 1e-6 * np.eye(len(OFFSETS)))
    patches = rng.normal(size=(N // along + 1, len(OFFSETS))) @ root.T
    face = FACE + MARK * patches.repeat(along, axis=0)[:N]
    share = ndtr((OFFSETS - place[:, None]) / BLUR)
    grey = face * (1 - share) + GROUND * share + NOISE * rng.normal(size=share.shape)
    return grey.astype(np.float32), place


@pytest.mark.parametrize("along", [1, 40])
def test_marks_along_a_profile_hardly_move_its_edge(along):
    grey, place = marked(reach=30.0, along=along)
    plain, weighted = (
        fit_steps(grey, OFFSETS, COSINE, NORMAL, BLUR, grained=grained) for grained in (False, True)
    )
    off = np.std(weighted.place - place)
    # A level off by 12 of 100 moves a single step's edge by a quarter of a pixel.
    assert np.std(plain.place - place) > 0.05
    # The bound of pixel noise is 0.01 px; a face that wanders takes the half of an edge's pixels.
    assert off < 0.03
    assert abs(np.mean(weighted.place - place)) < 0.005
    assert np.median(weighted.blur) == pytest.approx(BLUR, rel=0.01)


def test_grain_is_told_from_the_plateaus():
    grey, place = marked(reach=3.0, along=1)
    z = (OFFSETS - place[:, None]) / BLUR
    share = ndtr(z)
    left = grey - (FACE * (1 - share) + GROUND * share)
    rise = np.full(N, GROUND - FACE)
    face, ground = grains_beside(left, z, rise, np.ones(N, bool))
    # 9000 pixels in patches of some three: a variance to 5 %, a reach to as much.
    assert face.variance == pytest.approx(MARK**2, rel=0.15)
    assert face.reach == pytest.approx(3, rel=0.15)
    assert ground.variance + ground.own == pytest.approx(NOISE**2, rel=0.1)
    assert ground.variance < 0.1 * ground.own


def test_without_grain_all_pixels_weigh_alike():
    share = ndtr(OFFSETS[None] / BLUR)
    alike = Grain(0.0, 1.0, 4.0)
    values = np.eye(len(OFFSETS))[:, :, None]
    products = weighed_products(values, (alike, alike), 1 - share, share, np.zeros(1, np.int64))
    np.testing.assert_allclose(products, values / 4, atol=ROUNDING)


def test_every_profile_is_weighed_by_its_own_kind():
    rng = np.random.default_rng(5)
    kind = np.array([7, 3, 7, 9, 3])
    share = ndtr((OFFSETS + kind[:, None] / 10) / BLUR)
    values = rng.normal(size=(2, len(OFFSETS), len(kind)))
    grains = Grain(2.0, 3.0, 1.0), Grain(0.5, 1.5, 0.3)
    products = weighed_products(values, grains, 1 - share, share, kind)
    for k, ground in enumerate(share):
        both = [
            side[:, None] * side * grain.covariance(len(OFFSETS))
            for side, grain in zip((1 - ground, ground), grains, strict=True)
        ]
        own = np.diag((1 - ground) * grains[0].own + ground * grains[1].own)
        expected = values[:, :, k] @ np.linalg.solve(sum(both) + own, values[:, :, k].T)
        np.testing.assert_allclose(products[:, :, k], expected, rtol=ROUNDING)


@pytest.mark.parametrize("seed", [8, 13, 19])
def test_the_border_of_a_stain_can_be_fitted_like_an_edge(seed):
    # What passes for a hole in a stained ground has a slope of its own at every sample.
    n, reach = 375, np.arange(-8, 10, dtype=np.float32)
    rng = np.random.default_rng(seed)
    stain = gaussian_filter(rng.normal(size=(n, len(reach))), (20, 3), mode="wrap")
    stain -= stain[:, 8:10].mean(axis=1, keepdims=True)
    stain *= np.sign(stain[:, 9] - stain[:, 8])[:, None] / stain.std()
    grey = 100 + 3 * stain + 0.3 * rng.normal(size=stain.shape)
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    normal = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    steps = fit_steps(grey.astype(np.float32), reach, np.ones(n, np.float32), normal, 2.0)
    assert np.isfinite(steps.place).all()
    assert steps.blur.min() >= BLURS_PX[0]
