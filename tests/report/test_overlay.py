from dataclasses import replace

import cv2
import numpy as np
import pytest

from cogloupe.report.canvas import circle_line, dashes, grey_toned, view_round
from cogloupe.report.legend import mark, round_length
from cogloupe.report.overlay import number_step, numbered, overlay, overlay_png, round_factor
from cogloupe.report.styles import ALARM, SIDE_STYLES, rgb

from ..helpers.report_examples import (
    example_evidence,
    example_reading,
    example_summary,
    nothing_seen,
)


def picture_of(teeth=12, size=500, statuses=None, **evidence):
    shown, px = example_evidence(teeth, size=size, **evidence)
    return example_reading(teeth, statuses=statuses, px=px), shown


def placed(evidence, points):
    """Pixels of the drawing for picture pixels, worked out anew: the view is the whole outline
    and 7.5 % round it, fitted into 1600 x 1400."""
    seen = np.concatenate([evidence.contour_xy, evidence.flank_xy])
    low, high = seen.min(axis=0), seen.max(axis=0)
    room = 0.075 * (high - low).max()
    first, last = np.floor(low - room), np.ceil(high + room)
    scale = min(1600 / (last - first + 1)[0], 1400 / (last - first + 1)[1])
    return (points - first + 0.5) * scale - 0.5


def nearest_of_colour(canvas, colour, at, reach):
    """Distance from a point to the next pixel close to a colour, px."""
    x, y = np.round(at).astype(int)
    part = canvas[y - reach : y + reach + 1, x - reach : x + reach + 1].astype(int)
    # What softened borders leave of a line's colour; no two colours of the drawing are so near.
    rows, columns = np.nonzero(np.abs(part - rgb(colour)).max(axis=2) < 40)
    if not len(rows):
        return np.inf
    return float(np.hypot(columns - reach, rows - reach).min())


@pytest.mark.parametrize("side", [0, 1])
def test_deviation_is_drawn_along_the_normal_at_its_factor(side):
    reading, evidence = picture_of()
    canvas = overlay(reading, evidence, factor=8.0)
    mm_per_px = reading.calibration.mm_per_px
    for tooth in (1, 4, 8):
        here = np.flatnonzero((evidence.tooth == tooth) & (evidence.side == side))[20]
        off = evidence.deviation_um[here] / 1e3 / mm_per_px * evidence.flank_normal[here]
        end = placed(evidence, evidence.flank_xy[here] + 7.0 * off)
        # The line is two pixels wide, and whole pixels are looked at.
        assert nearest_of_colour(canvas, SIDE_STYLES[side].pen, end, 6) <= 1.5


def test_theory_lies_on_the_photograph_of_a_perfect_gear():
    reading, evidence = picture_of(errors=np.zeros((12, 2)))
    on_edge = placed(evidence, evidence.theory_xy[::50])
    canvas = overlay(reading, evidence)
    for point in on_edge[(on_edge > 20).all(axis=1)]:
        x, y = np.round(point).astype(int)
        # A one-pixel dark line: nothing in the toned photograph is darker than 156.
        assert canvas[y - 1 : y + 2, x - 1 : x + 2].min() < 140


@pytest.mark.parametrize(("errors_um", "thickness", "factor"), [
    (20.0, 1.5, 25.0),    # 500 µm / 20 µm
    (20.0, 0.5, 8.0),     # 166.7 / 20 = 8.3
    (3.0, 1.5, 150.0),    # 166.7
    (900.0, 1.5, 1.0),    # never made smaller
    (0.0, 1.5, 100.0),    # nothing to enlarge
])  # fmt: skip
def test_factor_is_round_and_makes_the_largest_deviation_a_third_of_a_tooth(
    errors_um, thickness, factor
):
    reading, evidence = picture_of(size=100)
    deviations = np.linspace(-errors_um, errors_um / 2, len(evidence.deviation_um))
    summary = example_summary(thickness_mean_mm=thickness)
    chosen = round_factor(
        reading.model_copy(update={"summary": summary}), replace(evidence, deviation_um=deviations)
    )
    assert chosen == pytest.approx(factor)


def test_points_that_were_cut_out_do_not_set_the_factor():
    reading, evidence = picture_of(size=100, blocked=[(3, "left")])
    wild = np.where(evidence.used, evidence.deviation_um, 5000.0)
    assert round_factor(reading, replace(evidence, deviation_um=wild)) == round_factor(
        reading, evidence
    )


@pytest.mark.parametrize("status", ["partial", "obstructed", "not_seen"])
def test_flagged_flank_is_marked_outside_its_tip(status):
    reading, evidence = picture_of(statuses={(4, "right"): status})
    clean, _ = picture_of()
    marked = overlay(reading, evidence)
    # Tooth 4 of 12 points to three o'clock; its right flank is below.
    middle = np.array([reading.datum.x_px, reading.datum.y_px])
    reach = np.hypot(*(evidence.theory_xy - middle).T).max()
    angle = np.radians(7.5)
    at = placed(evidence, middle + reach * np.array([np.cos(angle), np.sin(angle)]))
    at = at + 14 * np.array([np.cos(angle), np.sin(angle)])
    assert nearest_of_colour(marked, ALARM, at, 12) < 12
    assert nearest_of_colour(overlay(clean, evidence), ALARM, at, 12) == np.inf


def arrow_pixel(reading, evidence, angle_deg):
    middle = np.array([reading.datum.x_px, reading.datum.y_px])
    ahead = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    radius = reading.gear.measuring_diameter_mm / 2 / reading.calibration.mm_per_px
    return placed(evidence, middle + 0.3 * radius * ahead)


def test_arrow_points_where_the_teeth_lie_when_that_is_resolved():
    reading, evidence = picture_of()
    at = arrow_pixel(reading, evidence, -30.0)
    unresolved = example_summary(eccentricity_um=0.5)
    without = reading.model_copy(update={"summary": unresolved})
    assert nearest_of_colour(overlay(reading, evidence), ALARM, at, 5) <= 1
    assert nearest_of_colour(overlay(without, evidence), ALARM, at, 5) == np.inf


@pytest.mark.parametrize(("teeth", "size"), [(6, 300), (22, 2500), (200, 1200)])
def test_drawing_has_a_long_side_of_about_1600_whatever_the_photograph(teeth, size):
    canvas = overlay(*picture_of(teeth, size=size))
    assert 1500 <= max(canvas.shape[:2]) <= 1650
    assert canvas.dtype == np.uint8


def test_an_arc_whose_centre_is_outside_the_picture_is_drawn():
    reading, evidence = picture_of(60, size=800)
    # Keep the upper right corner of the picture only.
    shift = np.array([500.0, 0.0])
    inside = (evidence.flank_xy[:, 0] > 500) & (evidence.flank_xy[:, 1] < 300)
    edge = evidence.contour_xy[
        (evidence.contour_xy[:, 0] > 500) & (evidence.contour_xy[:, 1] < 300)
    ]
    part = replace(
        evidence, picture=evidence.picture[:300, 500:], theory_xy=evidence.theory_xy - shift,
        contour_xy=edge - shift, flank_xy=evidence.flank_xy[inside] - shift,
        flank_normal=evidence.flank_normal[inside], deviation_um=evidence.deviation_um[inside],
        tooth=evidence.tooth[inside], side=evidence.side[inside], used=evidence.used[inside],
    )  # fmt: skip
    datum = reading.datum.model_copy(update={"x_px": reading.datum.x_px - 500, "bore_xy_px": None})
    canvas = overlay(reading.model_copy(update={"datum": datum}), part)
    assert (np.abs(canvas.astype(int) - rgb(SIDE_STYLES[0].pen)).max(axis=2) < 40).sum() > 200


def test_nothing_seen_still_gives_the_photograph():
    reading = nothing_seen()
    _, evidence = picture_of(22, size=300)
    none, flat = np.empty((0, 2)), np.empty(0)
    empty = replace(
        evidence, theory_xy=none, contour_xy=none, flank_xy=none, flank_normal=none,
        deviation_um=flat, tooth=flat.astype(int), side=flat.astype(int), used=flat.astype(bool),
    )  # fmt: skip
    assert overlay(reading, empty).shape[1] > 1000


def test_png_holds_the_drawing_without_loss():
    reading, evidence = picture_of(6, size=200)
    read = cv2.imdecode(np.frombuffer(overlay_png(reading, evidence), np.uint8), cv2.IMREAD_COLOR)
    assert (cv2.cvtColor(read, cv2.COLOR_BGR2RGB) == overlay(reading, evidence)).all()


@pytest.mark.parametrize(
    ("teeth", "pitch_px", "step"),
    [
        (22, 190.0, 1),
        (60, 75.0, 1),
        (96, 43.0, 5),
        (120, 36.0, 5),
        (200, 22.0, 5),
        (400, 11.0, 10),
        (400, 4.0, 20),
    ],
)
def test_numbers_are_thinned_where_teeth_are_close(teeth, pitch_px, step):
    assert number_step(teeth, pitch_px) == step


def test_last_number_does_not_crowd_tooth_one():
    assert [k for k in range(1, 201) if numbered(k, 5, 200)][-1] == 195
    assert [k for k in range(1, 204) if numbered(k, 5, 203)][-1] == 200
    assert all(numbered(k, 1, 22) for k in range(1, 23))


def test_view_keeps_pixel_centres():
    # Four picture pixels drawn as eight: pixel 0 spans -0.5 to 0.5, so drawn pixels 0 and 1.
    view = view_round(np.array([[0.0, 0.0], [3.0, 3.0]]), 0.0, 8, 8)
    assert (view.width, view.height) == (8, 8)
    assert view.place(np.array([0.0, 0.0])) == pytest.approx([0.5, 0.5])
    assert view.place(np.array([3.0, 1.0])) == pytest.approx([6.5, 2.5])


def test_dashes_cover_their_share_of_a_circle():
    cut = dashes(circle_line(np.zeros(2), 100.0), 6.0, 4.0)
    drawn = sum(np.hypot(*np.diff(d, axis=0).T).sum() for d in cut)
    assert drawn == pytest.approx(0.6 * 2 * np.pi * 100, rel=0.02)  # the last dash may be cut


@pytest.mark.parametrize(("largest", "length"), [(0.9, 0.5), (1.0, 1.0), (3.0, 2.0), (70.0, 50.0)])
def test_scale_bars_have_round_lengths(largest, length):
    assert round_length(largest) == pytest.approx(length)


def test_marks_of_the_statuses_differ_in_shape():
    lines = {s: mark(s, np.zeros(2), 8.0) for s in ("partial", "obstructed", "not_seen")}
    closed = {s: (found[0][0] == found[0][-1]).all() for s, found in lines.items()}
    assert (len(lines["obstructed"]), closed["obstructed"]) == (2, False)
    assert (len(lines["partial"][0]), closed["partial"]) == (4, True)
    assert np.hypot(*lines["not_seen"][0].T) == pytest.approx(8.0)
    assert closed["not_seen"]


@pytest.mark.parametrize("depth", [1, 257], ids=["uint8", "uint16"])
@pytest.mark.parametrize("colours", [False, True], ids=["grey", "RGB"])
def test_a_picture_of_any_depth_is_toned_alike_and_left_as_it_was(colours, depth):
    grey = np.arange(200, dtype=np.uint8)[:, None].repeat(90, axis=1)
    pixels = (grey.astype(np.uint16) * 257) if depth == 257 else grey
    pixels = np.dstack([pixels] * 3) if colours else pixels
    before = pixels.copy()
    view = view_round(np.array([[0.0, 0.0], [89.0, 199.0]]), 0.1, 300, 300)
    toned = grey_toned(pixels, view).astype(int)
    # One step of grey is what rounding 16 bits to 8 can move.
    np.testing.assert_allclose(toned, grey_toned(grey, view).astype(int), rtol=0, atol=1)
    np.testing.assert_array_equal(pixels, before)
