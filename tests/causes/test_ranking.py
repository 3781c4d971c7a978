"""The arithmetic behind the ranking of causes."""

import warnings

import numpy as np
import pytest

from cogloupe.causes.ranking import _inverse


@pytest.mark.parametrize("size", [1, 2, 3])
@pytest.mark.parametrize("scale", [1e-8, 1.0, 1e8])
def test_small_matrices_of_any_scale_are_inverted(size, scale):
    root = np.random.default_rng(size).normal(size=(5, size, size))
    gram = scale * (root @ root.swapaxes(1, 2) + np.eye(size))
    # What keeps a singular one invertible is a billionth of the largest element.
    np.testing.assert_allclose(
        _inverse(gram) @ gram, np.broadcast_to(np.eye(size), gram.shape), atol=1e-7
    )


def test_two_shapes_of_which_nothing_is_left_are_inverted_all_the_same():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert np.isfinite(_inverse(np.zeros((1, 2, 2)))).all()
