import subprocess
import sys
from itertools import pairwise

import cv2
import numpy as np
import pytest
from matplotlib.collections import PolyCollection

from cogloupe.report.charts import figure_png, pitch_chart
from cogloupe.report.styles import SIDE_STYLES, rgb

from ..helpers.report_examples import example_reading, nothing_seen


def bars(axes):
    """Heights of the bars by flank side and whether they are hollow, from the drawing."""
    found = {}
    for item in axes.collections:
        if isinstance(item, PolyCollection) and item.get_transform() == axes.transData:
            hollow = tuple(np.round(item.get_facecolor()[0][:3], 3)) == (1, 1, 1)
            side = "left" if item.get_edgecolor()[0][2] > 0.3 else "right"
            heights = {
                round(p.vertices[0, 0] + 0.18, 1): p.vertices[1, 1] for p in item.get_paths()
            }
            found[side, hollow] = heights
    return found


def one_tooth_of_each():
    """Twelve teeth, the errors of single pitch being 0 but at teeth 4 and 5 on the left."""
    errors = np.zeros((12, 2))
    errors[3, 0] = 20.0
    return example_reading(12, errors=errors, statuses={(8, "right"): "not_seen"})


def test_every_seen_flank_has_its_bar():
    drawn = bars(pitch_chart(one_tooth_of_each()).axes[0])
    assert drawn["left", False] == pytest.approx({3.8: 20.0, 4.8: -20.0})
    assert set(drawn["left", True]) == {round(k - 0.2, 1) for k in range(1, 13)} - {3.8, 4.8}
    assert set(drawn["right", True]) == {round(k + 0.2, 1) for k in range(1, 13)} - {8.2}


def test_unseen_flank_breaks_the_line():
    lower = pitch_chart(one_tooth_of_each()).axes[1]
    right = next(line for line in lower.lines if line.get_label() == "right")
    assert np.flatnonzero(np.isnan(right.get_ydata())).tolist() == [7]


def test_uncertainty_bars_reach_twice_the_standard_uncertainty():
    upper = pitch_chart(one_tooth_of_each()).axes[0]
    stems = [s for c in upper.containers for s in c.lines[2][0].get_segments()]
    assert len(stems) == 23
    assert {round(float(np.ptp(s[:, 1])), 6) for s in stems} == {6.0}  # ± 2 x 1.5 µm


def test_places_are_about_the_mean_of_their_side():
    lower = pitch_chart(one_tooth_of_each()).axes[1]
    drawn = {line.get_label(): line.get_ydata() for line in lower.lines}
    # One of twelve teeth stands 20 µm ahead on the left.
    assert drawn["left"][3] == pytest.approx(20 * 11 / 12)
    assert drawn["left"][0] == pytest.approx(-20 / 12)
    assert np.nanmean(drawn["right"]) == pytest.approx(0)


def test_total_cumulative_deviation_stands_in_the_title():
    lower = pitch_chart(one_tooth_of_each()).axes[1]
    assert "Fₚ 20.0 ± 3.6 µm" in lower.get_title(loc="left")


@pytest.mark.parametrize("teeth", [6, 22, 60, 120, 200, 400])
def test_tooth_numbers_do_not_run_into_each_other(teeth):
    figure = pitch_chart(example_reading(teeth))
    figure_png(figure)
    renderer = figure.canvas.get_renderer()
    boxes = [t.get_window_extent(renderer) for t in figure.axes[1].get_xticklabels()]
    gaps = [b.x0 - a.x1 for a, b in pairwise(boxes)]
    assert len(boxes) >= 5
    assert min(gaps) > 2


def test_nothing_measured_is_said_and_draws_no_bar():
    figure = pitch_chart(nothing_seen())
    for axes in figure.axes:
        assert "nothing was measured" in [t.get_text() for t in axes.texts]
    assert not any(bars(figure.axes[0]).values())
    figure_png(figure)


def test_sides_differ_in_lightness_for_grey_print_and_the_colour_blind():
    # Rec. 601 luma; a third of the range apart survives any print.
    lightness = [np.dot(rgb(s.colour), (0.299, 0.587, 0.114)) for s in SIDE_STYLES]
    assert abs(lightness[0] - lightness[1]) > 255 / 3
    assert SIDE_STYLES[0].dash != SIDE_STYLES[1].dash
    assert SIDE_STYLES[0].hatch != SIDE_STYLES[1].hatch


def test_png_has_the_size_of_the_figure(tmp_path):
    (tmp_path / "chart.png").write_bytes(figure_png(pitch_chart(example_reading())))
    assert cv2.imread(str(tmp_path / "chart.png")).shape == (900, 891, 3)


def test_charts_do_without_the_interactive_library():
    # pyplot keeps figures alive and costs import time.
    code = "import sys, cogloupe.report.charts; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
