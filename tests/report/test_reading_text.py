import numpy as np
import pytest

from cogloupe.report.reading_text import at_worst, compare, over_turn, rack_depth_mm, verdict

from ..helpers.report_examples import (
    example_gear,
    example_reading,
    example_summary,
    nothing_seen,
    position_errors,
)


def one_flank_out(teeth=12, tooth=5, side=0, by_um=40.0):
    errors = np.zeros((teeth, 2))
    errors[tooth - 1, side] = by_um
    return errors


def said(reading):
    return " ".join(verdict(reading))


def test_worst_flank_is_named_with_the_pitch_that_is_wrong():
    reading = example_reading(12, errors=one_flank_out(tooth=5, side=1, by_um=-40.0))
    worst = at_worst(reading)
    assert (worst.tooth, worst.side, worst.long) == (5, "right", False)
    assert "40.0 ± 3.0 µm, at the right flank of tooth 5" in verdict(reading)[0]
    assert "from tooth 4 to tooth 5 is too short" in verdict(reading)[0]


def test_pitch_up_to_tooth_one_comes_from_the_last_tooth():
    errors = one_flank_out(teeth=12, tooth=12, by_um=30.0) + one_flank_out(tooth=1, by_um=-20.0)
    assert "from tooth 12 to tooth 1 is too short" in said(example_reading(12, errors=errors))


def test_small_errors_are_called_not_resolved():
    reading = example_reading(12, errors=one_flank_out(by_um=2.5))
    first, second, third = verdict(reading)[:3]
    assert first.startswith("No single pitch error is resolved: the largest reading, 2.5 µm")
    assert "U of 3.0 µm" in first
    assert "total over a turn is not resolved (U = 3.6 µm)" in second
    assert "Of 24 single pitch figures 24 are smaller" in third


def test_unresolved_flanks_are_counted():
    # One flank out makes two pitches wrong, so 22 of 24 are not resolved.
    assert "Of 24 single pitch figures 22 are" in said(example_reading(12, errors=one_flank_out()))


def test_ends_of_the_turn_are_those_of_the_worse_side():
    errors = one_flank_out(tooth=3, side=0, by_um=10.0) + one_flank_out(tooth=9, side=1, by_um=-60)
    ends = over_turn(example_reading(12, errors=errors))
    assert (ends.side, ends.low_tooth, ends.high_um, ends.low_um) == ("right", 9, 0.0, -60.0)


@pytest.mark.parametrize(
    ("gap", "tooth", "words"),
    [
        (1.62, 1.52, "the gaps are wider than the teeth are thick"),
        (1.52, 1.62, "the gaps are narrower"),
        (1.572, 1.570, "no difference between them is resolved"),
    ],
)
def test_gap_is_held_against_the_tooth(gap, tooth, words):
    summary = example_summary(gap_width_mean_mm=gap, thickness_mean_mm=tooth)
    assert words in said(example_reading(summary=summary))


def test_gap_and_tooth_are_not_held_against_each_other_off_the_reference_circle():
    gear = example_gear(22, measuring_diameter_mm=21.0)
    text = said(example_reading(gear=gear))
    assert "1.6202 ± 0.0084 mm wide" in text
    assert "the two would be equal" not in text


@pytest.mark.parametrize(
    ("depth", "words"),
    [(2.31, "deeper than that"), (2.19, "shallower than that"), (2.255, "no difference")],
)
def test_depth_is_held_against_the_rack(depth, words):
    # ISO 53:1998 A, from memory: addendum 1, dedendum 1.25, so 2.25 mm at module 1.
    text = said(example_reading(summary=example_summary(depth_mean_mm=depth)))
    assert "a whole depth of 2.25 mm" in text
    assert words in text


def test_unnamed_rack_gives_no_depth_to_hold_against():
    assert rack_depth_mm(example_gear(rack="17.5 degrees")) is None
    assert "whole depth" not in said(example_reading(gear=example_gear(rack="17.5 degrees")))


@pytest.mark.parametrize(
    ("ratio", "words"),
    [(1.12, "too wide and flat"), (0.9, "too narrow"), (1.01, "as a generated one does")],
)
def test_floor_is_held_against_the_generated_gap(ratio, words):
    assert words in said(example_reading(summary=example_summary(floor_ratio_mean=ratio)))


def test_eccentricity_is_given_with_its_direction_on_the_clock():
    text = said(example_reading())
    assert "off the bore's centre by 14.1 ± 1.2 µm, towards 2 o'clock on the picture" in text
    assert "(give or take 4.8°)" in text


def test_direction_of_an_unresolved_eccentricity_is_not_given():
    text = said(example_reading(summary=example_summary(eccentricity_um=1.0)))
    assert "not resolved (U = 1.2 µm)" in text
    assert "o'clock" not in text


def test_unseen_flanks_are_told():
    statuses = {(k, side): "not_seen" for k in (3, 4, 5, 9) for side in ("left", "right")}
    assert "8 flanks were not seen (teeth 3–5, 9)" in said(example_reading(statuses=statuses))
    one = example_reading(statuses={(3, "left"): "not_seen"})
    assert "1 flank was not seen (tooth 3)" in said(one)


def test_nothing_is_claimed_where_nothing_was_seen():
    text = said(nothing_seen(6))
    assert text.startswith("No pitch was measured")
    assert "Runout could not be measured." in text
    assert "Without a bore" in text
    assert "±" not in text


def test_unknown_uncertainty_decides_nothing():
    assert compare(2.0, 1.0, None) == "equal"
    assert compare(2.0, 1.0, 0.5) == "above"
    assert compare(0.0, 1.0, 0.5) == "below"
    assert compare(1.4, 1.0, 0.5) == "equal"


@pytest.mark.parametrize("teeth", [6, 22, 120])
def test_every_sentence_ends_as_one(teeth):
    sentences = verdict(example_reading(teeth, errors=position_errors(teeth)))
    assert len(sentences) >= 8
    assert all(s.endswith(".") and "None" not in s and "nan" not in s for s in sentences)
