"""The drilling drawing: true size in every file, holes where they belong, room for all of it."""

import io
import re
from dataclasses import replace
from itertools import pairwise
from math import hypot

import ezdxf
import pytest

from cogloupe.pairing.layout import lay_out_pair
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.report.drilling import (
    BELOW,
    CHECK_IN,
    CHECK_MM,
    MARGIN,
    drilling_dxf,
    drilling_figure,
    drilling_sheet,
    sheet_for,
)

from ..helpers.pair_gears import perfect_gear

A4 = (210.0, 297.0)
POINT_MM = 25.4 / 72


@pytest.fixture(scope="module")
def layout():
    gears = (replace(perfect_gear(20), bore_mm=2.0), replace(perfect_gear(31), bore_mm=3.0))
    return lay_out_pair(pair_gears(*gears, Asked(distance_mm=12.8)), (12.0, 15.0))


def test_the_cad_file_has_the_holes_in_millimetres_from_the_edges(layout):
    document = ezdxf.read(io.StringIO(drilling_dxf(layout).decode()))
    assert document.units == ezdxf.units.MM
    circles = [e for e in document.modelspace() if e.dxftype() == "CIRCLE"]
    holes = [(*e.dxf.center, e.dxf.radius) for e in circles if e.dxf.layer == "HOLES"]
    assert holes == [(12, 15, 0, 1), (pytest.approx(24.8), 15, 0, 1.5)]
    pitch = [e.dxf.radius for e in circles if e.dxf.layer == "PITCH_CIRCLES"]
    assert sum(pitch) == pytest.approx(12.8)


def test_drawings_are_as_large_as_their_sheet(layout):
    head = drilling_sheet(layout, "svg").decode().split("<svg", 1)[1].split(">", 1)[0]
    size = [
        float(re.search(rf'{n}="([0-9.]+)pt"', head)[1]) * POINT_MM for n in ("width", "height")
    ]
    # Written to a hundredth of a millimetre.
    assert size == pytest.approx(A4, abs=0.01)
    box = re.search(rb"/MediaBox \[\s*0 0 (\S+) (\S+)\s*\]", drilling_sheet(layout, "pdf"))
    assert [float(v) * POINT_MM for v in box.groups()] == pytest.approx(A4, abs=0.01)


def lines_mm(layout):
    """Ends of all straight strokes, mm on the sheet: they lie as the figure is large."""
    figure = drilling_figure(layout)
    wide, high = (25.4 * v for v in figure.get_size_inches())
    axes = figure.axes[0]
    assert axes.get_xlim() == pytest.approx((0, wide))
    assert axes.get_ylim() == pytest.approx((0, high))
    for line in axes.lines:
        yield from pairwise(zip(*line.get_data(), strict=True))


def test_the_square_and_the_bar_to_check_the_print_by_are_in_true_size(layout):
    lengths = [hypot(b[0] - a[0], b[1] - a[1]) for a, b in lines_mm(layout)]
    assert sum(length == pytest.approx(CHECK_MM) for length in lengths) == 4
    assert sum(length == pytest.approx(CHECK_IN * 25.4) for length in lengths) == 1


def test_the_drawing_says_distance_tolerance_coordinates_and_how_to_print(layout):
    said = "\n".join(text.get_text() for text in drilling_figure(layout).axes[0].texts)
    for wanted in ("12.800 mm (0.5039 in)", "within ±", "24.800 mm", "0.9764 in", "100 %",
                   "true size on A4", "eye protection"):  # fmt: skip
        assert wanted in said


def test_nothing_that_is_written_leaves_the_sheet_or_meets_the_plate(layout):
    sheet = sheet_for(layout)
    assert sheet.corner[1] >= BELOW
    assert sheet.corner[0] == MARGIN
    top = max(hole.y + hole.reach for hole in layout.holes) + sheet.corner[1]
    figure = drilling_figure(layout)
    rows = [t for t in figure.axes[0].texts if t.get_position()[1] > top + 3]
    assert len(rows) > 10
    assert max(t.get_position()[1] for t in rows) < sheet.height


def test_a_larger_plate_gets_a_larger_sheet_and_the_largest_one_of_its_own(layout):
    def apart(x):
        first, second = layout.holes
        return replace(layout, holes=(first, replace(second, x=x)))

    assert sheet_for(apart(240.0)).name == "A4"
    assert sheet_for(apart(240.0)).width == 297
    assert sheet_for(apart(350.0)).name == "A3"
    own = sheet_for(apart(2000.0))
    assert own.name == "a sheet of its own size"
    assert own.width > 2000
