"""Sums over pixels give the normal equations that the whole matrix of changes gives."""

import numpy as np
import pytest

from cogloupe.optics.normal_equations import applied, inverses, normal_equations, products

# Arithmetic in double precision, some hundred terms in a sum.
EXACT = {"rel": 1e-9, "abs": 1e-9}


def test_blocks_of_terms_give_what_all_changes_written_out_give():
    rng = np.random.default_rng(3)
    rates, data = rng.normal(size=(2, 7, 40)), rng.normal(size=(7, 40))
    blocks = [rng.normal(size=(40, 3)), rng.normal(size=(40, 2))]
    changes = [rate[:, :, None] * block for rate, block in zip(rates, blocks, strict=True)]
    written_out = np.concatenate(changes, axis=2).reshape(-1, 5)
    normal, pull = normal_equations(products([*rates, data]), blocks)
    assert normal == pytest.approx(written_out.T @ written_out, **EXACT)
    assert pull == pytest.approx(written_out.T @ data.ravel(), **EXACT)


@pytest.mark.parametrize("unknowns", [1, 3, 7])
def test_many_small_equations_are_solved_as_one_by_one(unknowns):
    rng = np.random.default_rng(unknowns)
    normal = products(rng.normal(size=(unknowns, 2, 30)))  # two pixels: singular without a ridge
    ridge, values = rng.uniform(0.5, 2.0, (unknowns, 30)), rng.normal(size=(unknowns, 30))
    found = applied(inverses(normal, ridge), values)
    for n in range(30):
        alone = np.linalg.solve(normal[:, :, n] + np.diag(ridge[:, n]), values[:, n])
        assert found[:, n] == pytest.approx(alone, **EXACT)
