"""Outlines in true size, the spreadsheet, and the picture for a forum."""

import io

import cv2
import ezdxf
import numpy as np
import pytest
from openpyxl import load_workbook

from cogloupe.evaluation.drawing_data import Outlines
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.reading.teeth_table import teeth_rows
from cogloupe.report.charts import figure_png, pitch_chart
from cogloupe.report.outline_files import outline_dxf, outline_svg, read_outlines
from cogloupe.report.page_data import photo_window
from cogloupe.report.ring_picture import HEIGHT, WIDTH, forum_picture
from cogloupe.report.spreadsheet import teeth_xlsx
from cogloupe.report.styles import SIDE_STYLES, rgb
from cogloupe_calibration.errors import UseError

from ..helpers.report_examples import example_evidence, example_reading
from ..helpers.tolerances import SOLVED


@pytest.fixture(scope="module")
def outlines():
    theory = gear_outline(Gear(22, 1.0, basic_rack("iso53-a", 1.0)), 0.1, flank_points=12)
    return Outlines(theory + 0.01, theory)


def test_outlines_come_back_from_their_drawing_in_millimetres(outlines):
    back = read_outlines(outline_svg(example_reading(), outlines))
    # Written to a tenth of a micrometre.
    np.testing.assert_allclose(back.measured_mm, outlines.measured_mm, rtol=0, atol=6e-5)
    np.testing.assert_allclose(back.theory_mm, outlines.theory_mm, rtol=0, atol=6e-5)


def test_the_drawing_is_in_true_size(outlines):
    svg = outline_svg(example_reading(), outlines)
    width = float(svg.partition('width="')[2].partition("mm")[0])
    view = [float(v) for v in svg.partition('viewBox="')[2].partition('"')[0].split()]
    assert width == pytest.approx(view[2])  # a unit of the drawing is a millimetre
    wide = np.ptp(np.concatenate([outlines.theory_mm, outlines.measured_mm])[:, 0])
    assert width == pytest.approx(wide + 2.0, abs=0.001)  # a margin of 1 mm on either side


def test_a_cad_program_gets_millimetres_on_layers_and_the_gear_as_on_the_picture(outlines):
    document = ezdxf.read(io.StringIO(outline_dxf(outlines).decode()))
    assert document.units == ezdxf.units.MM
    lines = {one.dxf.layer: one for one in document.modelspace().query("LWPOLYLINE")}
    assert set(lines) == {"measured", "theoretical"}
    corners = np.array([point[:2] for point in lines["theoretical"]])
    np.testing.assert_allclose(corners, outlines.theory_mm * [1, -1], rtol=SOLVED, atol=1e-9)
    assert lines["measured"].closed
    assert not document.audit().has_errors


def test_a_drawing_without_outlines_is_told():
    with pytest.raises(UseError, match="no outline"):
        read_outlines("<svg/>")


def test_the_spreadsheet_holds_what_the_table_holds():
    reading = example_reading(12, statuses={(5, "left"): "not_seen"})
    book = load_workbook(io.BytesIO(teeth_xlsx(reading)))
    head, *rows = book["teeth"].iter_rows(values_only=True)
    wanted = teeth_rows(reading)
    assert list(head) == list(wanted[0])
    assert [list(row) for row in rows] == [list(row.values()) for row in wanted]
    figures = {row[0]: row for row in book["gear"].iter_rows(values_only=True)}
    assert figures["runout"][3:] == (pytest.approx(2 * reading.summary.u_runout_um), "µm")


@pytest.fixture(scope="module")
def picture():
    drawing, px = example_evidence(24, size=700)
    reading = example_reading(24, px=px)
    chart = figure_png(pitch_chart(reading))
    made = forum_picture(reading, photo_window(reading, drawing), chart)
    drawn = cv2.imdecode(np.frombuffer(made, np.uint8), cv2.IMREAD_COLOR)
    return reading, cv2.cvtColor(drawn, cv2.COLOR_BGR2RGB)


def test_the_picture_for_a_forum_has_a_title_a_ring_and_the_chart(picture):
    _, drawn = picture
    assert drawn.shape == (HEIGHT, WIDTH, 3)
    for part in (drawn[:130], drawn[150:, :900], drawn[150:, 910:]):
        assert np.ptp(part.astype(int)) > 200


def test_a_flank_that_stands_ahead_has_its_bar_outside_the_ring(picture):
    reading, drawn = picture
    middle, tip = np.array([455.0, 605.0]), 0.276 * 910
    best = max(reading.teeth, key=lambda tooth: tooth.left.place_um)
    worst = min(reading.teeth, key=lambda tooth: tooth.left.place_um)

    def at(tooth, radius):
        angle = np.radians(tooth.centre_deg - 0.23 * 360 / 24)
        x, y = np.round(middle + radius * np.array([np.cos(angle), np.sin(angle)])).astype(int)
        return np.abs(drawn[y - 1 : y + 2, x + 3 : x + 5].astype(int) - rgb(SIDE_STYLES[0].colour))

    for tooth, inside in ((best, False), (worst, True)):
        near = [at(tooth, 1.31 * tip + sign * 7).min() < 60 for sign in (-1, 1)]
        assert near == [inside, not inside]
