"""Numbering of lattice points: whatever the turn, with strays and gaps; property tests."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cogloupe_calibration.lattice import Lattice, grow_lattice, held_together, line_distance


def lattice_points(columns, rows, turn_deg, wobble, seed):
    rng = np.random.default_rng(seed)
    index = np.stack(np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij"), -1)
    index = index.reshape(-1, 2)
    a = np.radians(turn_deg)
    turn = 20 * np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return index, index @ turn + 300 + rng.normal(0, wobble, index.shape), rng


@settings(max_examples=30, deadline=None)
@given(
    columns=st.integers(4, 15), rows=st.integers(4, 15), turn=st.floats(-44, 44),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_numbers_come_back_whatever_the_turn_and_the_order(columns, rows, turn, seed):
    index, xy, rng = lattice_points(columns, rows, turn, 0.3, seed)
    order = rng.permutation(len(xy))
    lattice = grow_lattice(xy[order])
    assert lattice is not None
    assert len(lattice) == len(xy)
    np.testing.assert_array_equal(index[order][lattice.point], lattice.index)
    # A median of some tens of steps, each off by 0.3 px of 20.
    assert lattice.spacing == pytest.approx(20, rel=0.01)


@settings(max_examples=20, deadline=None)
@given(quarters=st.integers(-4, 4), seed=st.integers(0, 99))
def test_columns_run_to_the_right_after_any_quarter_turn(quarters, seed):
    _, xy, _ = lattice_points(9, 6, 90 * quarters + 10, 0.2, seed)
    lattice = grow_lattice(xy)
    steps = np.diff(xy[lattice.point][np.lexsort(lattice.index.T)], axis=0)
    assert np.median(steps[:, 0]) > 15
    assert (lattice.index.max(axis=0) + 1).tolist() == ([9, 6] if quarters % 2 == 0 else [6, 9])


@pytest.mark.parametrize("seed", range(5))
def test_strays_stay_out_and_gaps_are_bridged(seed):
    index, xy, rng = lattice_points(14, 12, 17.0, 0.5, seed)
    seen = (index[:, 0] != 6) & (index[:, 0] != 7) & (rng.random(len(xy)) > 0.1)
    strays = rng.uniform(xy.min(axis=0), xy.max(axis=0), (40, 2))
    lattice = grow_lattice(np.concatenate([xy[seen], strays]))
    true = lattice.point < seen.sum()
    # A stray takes a place by chance where it lies within 0.15 of a pitch of a gap: 9 % of them.
    assert np.sum(~true) <= 10
    assert np.sum(true) > 0.93 * seen.sum()
    offset = lattice.index[true] - index[seen][lattice.point[true]]
    assert np.all(offset == offset[0])


def test_parity_keeps_a_lattice_of_half_steps_out():
    """Points in the middles of the cells, which are of the same kind as two of the corners."""
    index, xy, _ = lattice_points(10, 8, 5.0, 0.2, 1)
    middles = xy + 10 * np.array([1.0, 1.0])
    parity = np.where(index.sum(axis=1) % 2 == 0, 1, -1)
    lattice = grow_lattice(np.concatenate([xy, middles]), np.concatenate([parity, parity]))
    # A median of a hundred and forty steps, each off by 0.2 px of 20.
    assert lattice.spacing == pytest.approx(20, rel=0.005)
    assert len(lattice) == 80


@pytest.mark.parametrize("count", [0, 1, 4, 30])
def test_points_without_order_give_little_or_nothing(count):
    xy = np.random.default_rng(count).uniform(0, 200, (count, 2))
    lattice = grow_lattice(xy)
    assert lattice is None or len(lattice) < 16


@pytest.mark.parametrize("way_deg", [0, 20, 45, 70, 90])
def test_a_lattice_seen_aslant_is_numbered_whole(way_deg):
    """Seen from 50 degrees off its face, its lines drawing together by a fifth."""
    index, xy, _ = lattice_points(10, 8, 5.0, 0.0, 1)
    flat = xy - xy.mean(axis=0)
    way = np.array([np.cos(np.radians(way_deg)), np.sin(np.radians(way_deg))])
    along = flat @ way
    aslant = flat - (1 - np.cos(np.radians(50))) * along[:, None] * way
    aslant = 300 + aslant / (1 + along / 900)[:, None]
    lattice = grow_lattice(aslant, np.where(index.sum(axis=1) % 2 == 0, 1, -1))
    assert len(lattice) == 80
    # Whole numbers of the true lattice, turned or mirrored: an affine map without remainder.
    design = np.column_stack([index[lattice.point], np.ones(80)])
    found, left, *_ = np.linalg.lstsq(design, lattice.index.astype(float), rcond=None)
    assert np.abs(left).max() < 1e-12
    assert abs(np.linalg.det(found[:2])) == pytest.approx(1)


def test_points_on_one_neighbour_or_none_are_left_out():
    index = np.array([(0, 0), (1, 0), (0, 1), (1, 1), (2, 1), (5, 5)])
    np.testing.assert_array_equal(held_together(index), [1, 1, 1, 1, 0, 0])
    assert held_together(np.empty((0, 2), dtype=np.int64)).shape == (0,)


def test_the_next_line_passes_nearer_where_squares_are_seen_as_rhombs():
    index = np.stack(np.meshgrid(np.arange(4), np.arange(3), indexing="ij"), -1).reshape(-1, 2)
    xy = index @ np.array([[20.0, 0.0], [10.0, 12.0]])
    near = line_distance(xy, Lattice(np.arange(12), index, 20.0))
    # Lines along x lie 12 px apart, the others 20 * 12 / hypot(10, 12).
    np.testing.assert_allclose(near, 12.0)
