"""The residual picture says the verdict, the exaggeration and the scale, and draws every point."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.quiver import Quiver

from cogloupe.report.calibration_picture import circle_picture, grid_picture
from cogloupe.report.charts import figure_png
from cogloupe_calibration.circle import measure_circle
from cogloupe_calibration.grid import measure_grid

from ..helpers import grid_pictures


@pytest.fixture(scope="module")
def grid():
    lens = grid_pictures.lens_for((360, 480), k1=-0.01, g1=0.004)
    seen = grid_pictures.seen_through(lens)
    return measure_grid(grid_pictures.grid_picture(size=(30, 24), seen=seen), 0.24, size=(12, 9))


def words_of(figure):
    return [text.get_text() for text in figure.texts] + [
        axes.get_title(loc="left") for axes in figure.axes
    ]


def arrows_of(axes):
    return next(item for item in axes.collections if isinstance(item, Quiver))


def test_grid_picture_says_verdict_reasons_and_scale(grid):
    words = " | ".join(words_of(grid_picture(grid)))
    assert f"verdict: {grid.summary.verdict}" in words
    assert all(reason in words for reason in grid.summary.reasons)
    assert f"{1000 * grid.summary.scale.mm_per_px:.3f} ± 0.012 µm per pixel" in words


def test_arrows_are_the_residuals_times_the_factor_stated(grid):
    figure = grid_picture(grid)
    for axes, vectors in zip(
        figure.axes, (grid.points.uncorrected_px, grid.points.residual_px), strict=True
    ):
        factor = float(axes.get_title(loc="left").split("drawn ")[1].split(" ")[0])
        arrows = arrows_of(axes)
        drawn = np.stack([arrows.U, arrows.V], axis=1)
        # The factor is a whole number, so the same product.
        np.testing.assert_allclose(drawn, factor * vectors[grid.points.used], rtol=1e-6)
        # One in twenty may reach further than to the next point.
        assert np.percentile(np.hypot(*drawn.T), 95) <= grid.fit.period_px


def test_circle_picture_says_verdict_and_ratio():
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    xy = 150 * np.stack([1.004 * np.cos(turn), np.sin(turn)], axis=1) + [320, 240]
    circle = measure_circle(
        xy + np.random.default_rng(0).normal(0, 0.01, xy.shape), 3.0, (640, 480)
    )
    words = " | ".join(words_of(circle_picture(circle)))
    assert f"verdict: {circle.summary.verdict}" in words
    assert "scale in x over scale in y 0.996" in words


def test_pictures_are_png(grid):
    assert figure_png(grid_picture(grid)).startswith(b"\x89PNG")


def test_perfect_grid_is_drawn_without_a_fault(grid):
    """No residual at all must not divide by zero."""
    zero = np.zeros_like(grid.points.residual_px)
    points = replace(grid.points, residual_px=zero)
    scale = replace(grid.summary.scale, u_mm_per_px=0.0)
    summary = replace(grid.summary, scale=scale, residual_rms_px=0.0)
    figure = grid_picture(replace(grid, points=points, summary=summary))
    assert "0 px RMS" in figure.axes[1].get_title(loc="left")
