"""Tables, sentences and sheets of profiles, gaps and gauged sizes."""

import numpy as np
import pytest

from cogloupe.figures.drawing_data import GapSheet, ProfileSheet
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, half_gap
from cogloupe.report.detail_rows import flank_profiles, gap_shape_rows, profile_rows, size_rows
from cogloupe.report.detail_wording import check_sentences, limit_sentences
from cogloupe.report.gap_sheet import GAP_PEN, MEAN_PEN, exaggeration, gap_sheet
from cogloupe.report.overlay import FORM_PEN, REACH_PEN, overlay
from cogloupe.report.page import report_html
from cogloupe.report.profile_sheet import profile_sheet
from cogloupe.report.styles import SIDE_STYLES, rgb
from cogloupe.report.wording import verdict

from ..helpers.report_examples import (
    example_evidence,
    example_reading,
    example_shape,
    example_sizes,
    example_summary,
    nothing_seen,
)


def detailed(**sizes):
    sides = {"left": 5.0, "right": 6.0}, {"left": 1.0, "right": 0.5}
    fields = {}
    for name in ("profile_total", "profile_form", "pressure_angle_side"):
        unit = "deg" if "angle" in name else "um"
        fields |= {f"{name}_mean_{unit}": sides[0], f"u_{name}_mean_{unit}": sides[1]}
    return example_reading(
        summary=example_summary(**fields), sizes=example_sizes(**sizes), **example_shape()
    )


def test_the_gap_is_held_against_theory_figure_by_figure():
    rows = {row.name: row for row in gap_shape_rows(detailed())}
    near = rows["width near the floor"]
    assert near.place == "⌀ 20 mm"
    assert (near.measured, near.theory) == ("0.950 ± 0.010 mm", "0.9000 mm")
    assert near.difference == "+50 ± 10 µm"
    assert rows["lean of the gap's middle line"].measured == "−0.40 ± 0.10°"
    assert rows["unevenness of the floor"].measured == "4.0 ± 2.0 µm"


def test_profiles_are_given_side_by_side_and_flank_by_flank():
    reading = detailed()
    rows = {row.name: row for row in profile_rows(reading)}
    assert rows["total profile deviation, mean of the teeth"].left == "5.0 ± 2.0 µm"
    assert rows["profile slope deviation, mean of the teeth"].right == "6.1 ± 1.0 µm"
    cells = flank_profiles(reading)
    assert len(cells) == 22
    assert [c.text for c in cells[0][1][:3]] == ["6.0 ± 2.0", "4.0 ± 2.0", "−3.0 ± 2.0"]


def test_sizes_to_gauge_are_listed_with_their_range_and_the_nominal_size():
    rows = {row.name: row for row in size_rows(detailed())}
    assert rows["span over 3 teeth"].mean == "7.5800 ± 0.0080 mm"
    assert rows["span over 3 teeth"].around == "7.5690 to 7.5890"
    assert rows["over two pins of 1.728 mm"].nominal == "24.3934"
    assert rows["base pitch, left flanks"].spread == "20.0 ± 6.0 µm"
    assert any(name.startswith("chordal thickness, 1.020") for name in rows)


def test_a_reading_without_details_has_no_such_tables():
    for reading in (example_reading(), nothing_seen()):
        assert gap_shape_rows(reading) == size_rows(reading) == profile_rows(reading) == []
        assert check_sentences(reading) == limit_sentences(reading) == []


@pytest.mark.parametrize(
    ("difference", "changed", "words"),
    [
        (4.0, {}, "agree: their difference, +4 µm, is within its U of 11 µm"),
        (-23.0, {}, "differ by −23 µm, beyond U (11 µm)"),
        (-23.0, {}, "the scale is out by −0.30 %"),
        (2950.0, {"fits_teeth": 4}, "it fits a span over 4 teeth better"),
        (0.0, {"agrees": None}, "sets the scale of this picture"),
        (0.0, {"measured_mm": None}, "could not be compared"),
        (4.0, {"kind": "over_pins", "pin_diameter_mm": 1.7}, "size over pins of 1.7 mm"),
    ],
)
def test_a_micrometer_reading_is_put_in_words(difference, changed, words):
    reading = detailed(difference_um=difference, **changed)
    (sentence,) = check_sentences(reading)
    assert words in sentence
    assert sentence in verdict(reading)


def test_undercut_and_a_mate_that_would_touch_the_fillet_are_told():
    reading = detailed()
    (touching,) = limit_sentences(reading)
    assert "reach down to ⌀ 20.8 mm" in touching
    assert "80 ± 20 µm of roll below the start of the involute at ⌀ 20.9 mm" in touching
    theory = reading.gap_theory.model_copy(
        update={"undercut": True, "rack_contact_margin_mm": -0.015}
    )
    # Below its U of 20 um the mate is not said to touch.
    (undercut,) = limit_sentences(reading.model_copy(update={"gap_theory": theory}))
    assert "undercuts the flanks: the involute begins at ⌀ 20.9 mm only" in undercut


def test_the_page_shows_every_table_and_the_range_of_evaluation():
    reading = detailed(difference_um=4.0)
    ends = {"start_diameter_mm": 21.0, "end_diameter_mm": 23.8, "form_diameter_mm": 20.9}
    ends |= {"start_roll_mm": 2.1, "end_roll_mm": 5.9}
    profile = reading.profile.model_copy(update=ends)
    html = report_html(reading.model_copy(update={"profile": profile}), {})
    for words in (
        "The gap against the theoretical one", "Sizes to put a micrometer to", "agree:",
        "Evaluated from ⌀ 21 mm", "to ⌀ 23.8 mm", "Profile flank by flank",
    ):  # fmt: skip
        assert words in html


def sheet(teeth=9, cells=12, amplitude=3.0):
    roll = np.linspace(1.0, 4.0, cells)
    trace = np.full((teeth, 2, cells), amplitude) * np.linspace(-1, 1, cells)
    trace[2, 0, 4:6] = np.nan
    return ProfileSheet(roll, trace, np.nanmean(trace, axis=0))


def count(canvas, colour):
    return int((canvas == np.array(rgb(colour))).all(axis=-1).sum())


def shows(canvas, colour):
    return count(canvas, colour) > 0


@pytest.mark.parametrize("teeth", [5, 22, 400])
def test_every_tooth_has_its_traces_and_the_mean_stands_out(teeth):
    drawn = profile_sheet(example_reading(), sheet(teeth))
    assert drawn.shape[1] == 1600
    assert drawn.shape[0] < 1700
    for style in SIDE_STYLES:
        assert shows(drawn, style.pen)


def test_profiles_of_nothing_are_drawn_as_nothing():
    blank = sheet()
    blank = ProfileSheet(blank.roll_mm, blank.trace_um * np.nan, blank.mean_um * np.nan)
    drawn = profile_sheet(nothing_seen(), blank)
    filled = profile_sheet(example_reading(), sheet())
    # What is left of a side's colour is the heading of its box.
    for style in SIDE_STYLES:
        assert count(drawn, style.pen) < count(filled, style.pen) / 2


def gaps(off_um=10.0):
    radius, angle = half_gap(Gear(22, 1.0, basic_rack("iso53-a", 1.0)))
    right = np.stack([radius * np.sin(angle), radius * np.cos(angle)], axis=1)
    xy = np.concatenate([right[:0:-1] * [-1, 1], right])
    along = np.gradient(xy, axis=0)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    off = off_um * np.linspace(0.5, 1.0, 22)[:, None] * np.ones(len(xy))
    off[3, 20:30] = np.nan
    return GapSheet(xy, normal, off, off[0])


def test_gaps_are_drawn_over_the_theory_at_a_stated_factor():
    reading = example_reading(**example_shape())
    drawn = gap_sheet(reading, gaps())
    assert shows(drawn, GAP_PEN)
    assert shows(drawn, MEAN_PEN)
    # An eighth of the opening, 2.8 mm, over 10 um is 34: the round factor below it.
    assert exaggeration(gaps()) == 20
    assert exaggeration(gaps(1e4)) == 1
    assert exaggeration(gaps(np.nan)) >= 1


def test_the_overlay_shows_where_the_flanks_begin_and_how_far_a_rack_reaches():
    evidence, px = example_evidence(22, size=700)
    shape = example_shape()
    reading = example_reading(22, px=px, **shape)
    axis = reading.datum.model_copy(update={"teeth_xy_px": px[:2]})
    drawn = overlay(reading.model_copy(update={"datum": axis}), evidence)
    assert shows(drawn, FORM_PEN)
    assert shows(drawn, REACH_PEN)
