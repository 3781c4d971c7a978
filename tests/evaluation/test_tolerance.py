"""Tolerance classes against remembered tables, and the ranges that uncertainty leaves."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.evaluation.tolerance import (
    EDITION_1995,
    EDITION_2013,
    FlankFigures,
    Graded,
    class_range,
    rounded_tolerance,
    tolerances_1995,
    tolerances_2013,
)
from cogloupe_calibration.errors import UseError

from ..helpers.polygon_gauges import reference_rows

ROWS_2013 = reference_rows("tolerances_2013")
ROWS_1995 = reference_rows("tolerances_1995")
FIGURES = ["single_pitch", "cumulative_pitch", "profile_total", "runout"]
editions = pytest.mark.parametrize("edition", [EDITION_2013, EDITION_1995], ids=["2013", "1995"])


def printed(row):
    return {name: float(value) for name, value in row.items() if name.endswith("_um")}


# --- tolerances


@pytest.mark.parametrize(
    "row", ROWS_2013, ids=lambda r: f"m{r['module_mm']} z{r['teeth']} class {r['flank_class']}"
)
def test_2013_tolerances_match_the_table(row):
    tolerances = tolerances_2013(
        float(row["module_mm"]), int(row["teeth"]), int(row["flank_class"])
    )
    assert {name: getattr(tolerances, name) for name in printed(row)} == printed(row)


@pytest.mark.parametrize("row", ROWS_1995, ids=lambda r: f"class {r['flank_class']}")
@pytest.mark.parametrize(("module", "teeth"), [(0.5, 10), (1, 12), (2, 10), (25.4 / 48, 21)])
def test_1995_tolerances_match_the_table_all_over_its_cell(row, module, teeth):
    tolerances = tolerances_1995(module, teeth, int(row["flank_class"]))
    assert {name: getattr(tolerances, name) for name in printed(row)} == printed(row)


@pytest.mark.parametrize(
    ("module", "teeth", "same_as"),
    [(2.0, 10, (1.0, 15)), (2.0, 25, (1.0, 40)), (3.5, 10, (3.0, 10)), (2.0, 140, (1.0, 200))],
)
def test_1995_upper_limits_belong_to_their_range(module, teeth, same_as):
    assert tolerances_1995(module, teeth, 7) == tolerances_1995(*same_as, 7)


def test_1995_next_range_begins_above_the_limit():
    below, above = tolerances_1995(2.0, 10, 7), tolerances_1995(1.0, 21, 7)
    assert above.cumulative_pitch_um > below.cumulative_pitch_um


@pytest.mark.parametrize(
    ("value", "rounded"),
    [(4.94, 4.9), (4.96, 5.0), (5.24, 5.0), (5.26, 5.5), (9.8, 10.0), (10.4, 10.0), (10.6, 11.0)],
)
def test_rounding_goes_by_the_size_of_the_tolerance(value, rounded):
    assert rounded_tolerance(value) == rounded


@editions
@pytest.mark.parametrize("coarser", range(2, 12))
def test_tolerances_grow_by_root_two_a_class(edition, coarser):
    finer, wider = (edition.tolerances(1.0, 40, each) for each in (coarser - 1, coarser))
    for name in FIGURES:
        low, high = (getattr(each, f"{name}_um") for each in (finer, wider))
        # Rounding leaves each up to half its step out.
        step = 0.1 if high < 5 else 0.5 if high < 10 else 1.0
        assert high == pytest.approx(sqrt(2) * low, abs=1.21 * step)


# --- ranges


def only(name, value, expanded):
    return FlankFigures(**{name: Graded(value, expanded)})


FIELD = {
    "single_pitch": "pitch_class",
    "cumulative_pitch": "cumulative_class",
    "profile_total": "profile_class",
    "profile_form": "profile_class",
    "profile_slope": "profile_class",
    "runout": "runout_class",
}


@editions
@pytest.mark.parametrize("name", FIELD)
def test_figure_at_its_tolerance_is_in_the_class_and_above_it_in_the_next(edition, name):
    limit = getattr(edition.tolerances(1.0, 20, 7), f"{name}_um")
    at = class_range(edition, 1.0, 20, only(name, limit, 0.0))
    above = class_range(edition, 1.0, 20, only(name, limit + 0.01, 0.0))
    assert getattr(at, FIELD[name]) == (7, 7)
    assert getattr(above, FIELD[name]) == (8, 8)


def test_class_that_uncertainty_straddles_is_a_range():
    # f_pT of m 1, z 20: class 4 3.8, class 5 5.5, class 6 7.5 um. 5 - 1 needs 5, 5 + 1 needs 6.
    reading = class_range(EDITION_2013, 1.0, 20, only("single_pitch", 5.0, 1.0))
    assert reading.pitch_class == (5, 6)
    assert reading.standard == "ISO 1328-1:2013"


@editions
def test_figure_smaller_than_its_uncertainty_may_be_in_the_finest_class(edition):
    reading = class_range(edition, 1.0, 20, only("runout", 2.0, 3.0))
    low, high = reading.runout_class
    assert low == edition.finest
    assert high > low


@editions
def test_beyond_the_coarsest_class_is_one_more_and_said_so(edition):
    reading = class_range(edition, 1.0, 20, only("cumulative_pitch", 5000.0, 10.0))
    beyond = edition.coarsest + 1
    assert reading.cumulative_class == (beyond, beyond)
    assert f"{beyond} stands for coarser than {edition.coarsest}" in reading.note


def test_nothing_is_said_of_coarser_classes_where_none_was_met():
    reading = class_range(EDITION_2013, 1.0, 20, only("cumulative_pitch", 20.0, 1.0))
    assert "stands for" not in reading.note


@editions
def test_helix_is_said_not_to_be_graded(edition):
    assert "helix is not graded" in class_range(edition, 1.0, 20, FlankFigures()).note


@pytest.mark.parametrize(
    "figure", [Graded(), Graded(3.0, None), Graded(None, 1.0), Graded(float("nan"), 1.0)]
)
def test_figure_without_value_or_uncertainty_is_not_graded(figure):
    assert class_range(EDITION_2013, 1.0, 20, FlankFigures(single_pitch=figure)).pitch_class is None


def test_sign_of_a_slope_does_not_matter():
    up, down = (
        class_range(EDITION_2013, 1.0, 20, only("profile_slope", v, 1.0)) for v in (9.0, -9.0)
    )
    assert up == down


def test_profile_class_is_the_worst_of_its_figures():
    fine, coarse = Graded(1.0, 0.5), Graded(30.0, 8.0)
    alone = class_range(EDITION_2013, 1.0, 20, FlankFigures(profile_form=coarse))
    both = class_range(EDITION_2013, 1.0, 20, FlankFigures(profile_slope=fine, profile_form=coarse))
    assert both.profile_class == alone.profile_class


@editions
@given(value=st.floats(0, 300), expanded=st.floats(0, 100), more=st.floats(0, 50))
def test_range_widens_with_uncertainty(edition, value, expanded, more):
    narrow, wide = (
        class_range(edition, 1.0, 20, only("single_pitch", value, u)).pitch_class
        for u in (expanded, expanded + more)
    )
    assert wide[0] <= narrow[0] <= narrow[1] <= wide[1]


# --- outside the standard

REFUSALS = [
    (25.4 / 64, 30, "module 0.396875 mm is outside 0.5 to"),
    (0.5, 9, "reference diameter 4.5 mm is outside 5 to"),
    (80.0, 20, "module 80 mm is outside 0.5 to"),
]


@editions
@pytest.mark.parametrize(("module", "teeth", "reason"), REFUSALS)
def test_gear_outside_the_standard_is_not_graded_and_told_why(edition, module, teeth, reason):
    reading = class_range(edition, module, teeth, only("single_pitch", 5.0, 1.0))
    assert reason in reading.note
    assert reading.pitch_class is None
    with pytest.raises(UseError, match=reason):
        edition.tolerances(module, teeth, 7)


@pytest.mark.parametrize(
    ("module", "teeth", "reason"),
    [(2.0, 4, "number of teeth 4 is outside 5 to 1000"), (1.0, 1001, "teeth 1001 is outside")],
)
def test_2013_covers_5_to_1000_teeth(module, teeth, reason):
    assert reason in class_range(EDITION_2013, module, teeth, FlankFigures()).note


@pytest.mark.parametrize(("module", "teeth"), [(0.5, 10), (1.0, 5), (70.0, 200), (15.0, 1000)])
def test_2013_covers_its_own_limits(module, teeth):
    assert "Not graded" not in class_range(EDITION_2013, module, teeth, FlankFigures()).note


@editions
@pytest.mark.parametrize("beyond", [-1, 1])
def test_class_that_the_edition_does_not_have_is_refused(edition, beyond):
    missing = edition.finest - 1 if beyond < 0 else edition.coarsest + 1
    allowed = f"use {edition.finest} to {edition.coarsest}"
    with pytest.raises(UseError, match=f"class {missing} is not one of .*{allowed}"):
        edition.tolerances(1.0, 20, missing)
