"""Tables and sentences of profiles, gaps and gauged sizes; their traces as the page has them."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.evaluation.drawing_data import GapSheet, ProfileSheet
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, half_gap
from cogloupe.report.detail_wording import check_sentences, limit_sentences
from cogloupe.report.overlay import FORM_PEN, REACH_PEN, overlay
from cogloupe.report.page import report_html
from cogloupe.report.page_data import GAP_POINTS, PROFILE_POINTS, page_data, photo_window
from cogloupe.report.reading_text import verdict
from cogloupe.report.shape_tables import flank_table, gap_shape_table, profile_table, size_table
from cogloupe.report.styles import rgb

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


def texts(table):
    """Rows of a table as texts, by their first cell."""
    return {row.cells[0].text: [cell.text for cell in row.cells[1:]] for row in table.rows}


def test_the_gap_is_held_against_theory_figure_by_figure():
    rows = texts(gap_shape_table(detailed()))
    near = ["⌀ 20 mm", "0.950 ± 0.010 mm", "0.9000 mm", "+50 ± 10 µm"]
    assert rows["width near the floor"] == near
    assert rows["lean of the gap's middle line"][1] == "−0.40 ± 0.10°"
    assert rows["unevenness of the floor"][1] == "4.0 ± 2.0 µm"


def test_profiles_are_given_side_by_side_and_flank_by_flank():
    reading = detailed()
    rows = texts(profile_table(reading))
    assert rows["total profile deviation, mean of the teeth"][:2] == ["F_α", "5.0 ± 2.0 µm"]
    assert rows["profile slope deviation, mean of the teeth"][2] == "6.1 ± 1.0 µm"
    flanks = texts(flank_table(reading))
    assert len(flanks) == 22
    assert flanks["1"][:3] == ["6.0 ± 2.0", "4.0 ± 2.0", "−3.0 ± 2.0"]


def test_sizes_to_gauge_are_listed_with_their_range_and_the_nominal_size():
    rows = texts(size_table(detailed()))
    assert rows["span over 3 teeth"][:2] == ["7.5800 ± 0.0080 mm", "7.5690 to 7.5890"]
    assert rows["over two pins of 1.728 mm"][3] == "24.3934 mm"
    assert rows["base pitch, left flanks"][2] == "20.0 ± 6.0 µm"
    assert any(name.startswith("chordal thickness, 1.020") for name in rows)


def test_a_reading_without_details_has_no_such_tables():
    for reading in (example_reading(), nothing_seen()):
        for table in (gap_shape_table, size_table, profile_table):
            assert table(reading).rows == ()
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
    html = report_html(reading.model_copy(update={"profile": profile}))
    for words in (
        "The mean gap against the theoretical one", "Sizes to put a micrometer to", "agree:",
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


def drawn_data(**sheets):
    evidence, px = example_evidence(9, size=300)
    reading = example_reading(9, px=px, **example_shape())
    evidence = replace(evidence, **sheets)
    return page_data(reading, evidence, photo_window(reading, evidence))


def test_every_profile_keeps_its_place_on_the_roll_and_what_was_not_seen_stays_out():
    given = sheet(cells=200)
    found = drawn_data(profiles=given)["profiles"]
    assert len(found["left"]) == len(found["right"]) == 9
    assert len(found["roll"]) == PROFILE_POINTS
    # Tenths of a micrometre, against the traces at the lengths that were kept.
    wanted = np.interp(found["roll"], given.roll_mm, given.trace_um[0, 0])
    np.testing.assert_allclose(np.array(found["left"][0]) / 10, wanted, atol=0.06)
    seen = np.array(drawn_data(profiles=sheet())["profiles"]["left"][2], dtype=object)
    assert list(np.flatnonzero(seen == None)) == [4, 5]  # noqa: E711  (elementwise)


def test_the_band_of_uncertainty_is_that_of_the_middle_flank():
    # U of the example's profile totals is twice 1 µm; of its gap widths' edges see the gap's U.
    assert drawn_data(profiles=sheet())["profiles"]["limit"] == pytest.approx(2.0)


def gaps(off_um=10.0):
    radius, angle = half_gap(Gear(22, 1.0, basic_rack("iso53-a", 1.0)))
    right = np.stack([radius * np.sin(angle), radius * np.cos(angle)], axis=1)
    xy = np.concatenate([right[:0:-1] * [-1, 1], right])
    along = np.gradient(xy, axis=0)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    off = off_um * np.linspace(0.5, 1.0, 22)[:, None] * np.ones(len(xy))
    off[3, 20:30] = np.nan
    return GapSheet(xy, normal, off, off[0])


def test_gap_outlines_are_thinned_but_not_moved():
    given = gaps()
    found = drawn_data(gaps=given)["gaps"]
    xy = np.array(found["xy"])
    assert len(xy) <= GAP_POINTS
    # Points of the given outline, to the tenth of a micrometre they are written with.
    apart = np.hypot(*(xy[:, None] - given.xy_mm[None]).transpose(2, 0, 1)).min(axis=1)
    assert apart.max() < 1e-4
    assert found["off"][0][0] == pytest.approx(10 * given.off_um[0, 0], abs=0.5)
    assert len(found["off"]) == len(given.off_um)
    assert None in found["off"][3]


def test_the_overlay_shows_where_the_flanks_begin_and_how_far_a_rack_reaches():
    evidence, px = example_evidence(22, size=700)
    shape = example_shape()
    reading = example_reading(22, px=px, **shape)
    axis = reading.datum.model_copy(update={"teeth_xy_px": px[:2]})
    drawn = overlay(reading.model_copy(update={"datum": axis}), evidence)
    assert shows(drawn, FORM_PEN)
    assert shows(drawn, REACH_PEN)
