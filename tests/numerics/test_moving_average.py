"""Means close on themselves and agree with a plain loop; medians agree with a library's."""

import numpy as np
import pytest

from cogloupe.numerics.moving_average import PIECE, along, by_piece, mean_of_pieces, running_mean
from cogloupe_calibration.robust import median, scatter

from ..helpers.tolerances import ROUNDING


@pytest.mark.parametrize("window", [1, 2, 5, 12, 40, 100])
def test_each_value_is_averaged_with_neighbours_all_round(window: int) -> None:
    values = np.random.default_rng(1).normal(50.0, 3.0, (3, 40))
    taken = min(window, 40)
    around = [np.roll(values, taken // 2 - k, axis=1) for k in range(taken)]
    assert running_mean(values, window) == pytest.approx(np.mean(around, axis=0), abs=ROUNDING)


def test_the_kind_of_number_is_kept() -> None:
    assert running_mean(np.ones(9, np.float32), 4).dtype == np.float32


@pytest.mark.parametrize("n", [5, 12, 240, 40_001])
def test_pieces_hold_the_mean_of_all(n):
    values = np.random.default_rng(2).normal(50.0, 3.0, (2, n))
    pieces = by_piece(values)
    assert pieces.shape == (2, max(1, n // PIECE))
    # Pieces are as long as one another to within the last digits of a float.
    assert pieces.mean(axis=1) == pytest.approx(values.mean(axis=1), rel=1e-6)


def test_what_changes_slowly_is_the_same_from_pieces():
    n = 12_005
    turn = 2 * np.pi * np.arange(n) / n
    slow = np.stack([np.sin(3 * turn), np.cos(2 * turn)])
    # Between the middles of pieces an arc of 12 samples lies off its chord by (12 * 3 turn)^2 / 8;
    # before the first middle and after the last the value stands still for half a piece.
    assert along(by_piece(slow), n) == pytest.approx(slow, abs=3 * 2 * np.pi * PIECE / n)
    inner = slice(PIECE, -PIECE)
    assert along(by_piece(slow), n)[:, inner] == pytest.approx(slow[:, inner], abs=1e-4)


@pytest.mark.parametrize("samples", [12, 60, 120, 1440])
def test_what_is_averaged_over_pieces_stays_where_it_is(samples):
    n = 12_000
    wave = np.cos(2 * np.pi * np.arange(n) / n)[None]
    mean = along(mean_of_pieces(by_piece(wave), samples), n)[0]
    crest = np.angle(np.sum(mean * np.exp(2j * np.pi * np.arange(n) / n))) * n / (2 * np.pi)
    # A window as long on one side as on the other leaves the middle where it is.
    assert crest == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("shape", [(1,), (7,), (31, 5)])
def test_medians_are_those_of_a_library(shape):
    values = np.random.default_rng(3).normal(0.0, 2.0, shape)
    assert median(np.asfortranarray(values)) == np.median(values)


def test_scatter_is_the_standard_deviation_of_most():
    values = np.random.default_rng(4).normal(0.0, 2.0, 20_000)
    values[:400] = 1000.0
    # Two in a hundred that stray raise it by about 2.5 %; chance leaves 0.8 %.
    assert scatter(values) == pytest.approx(2.0, rel=0.05)
