"""What is said of a pair: the verdict, the next thing to do, what was taken for granted."""

from dataclasses import replace

import pytest

from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.report.pair_text import findings, headline, next_step, notes

from ..helpers.pair_gears import doubted, perfect_gear

TOLD = {
    14.98: ("Tight at tooth", "put the centres 15.000 mm apart or more"),
    15.03: ("Runs freely at 15.030 mm", "drill the holes 15.03 mm (0.5917 in) apart, if they are"),
    15.16: ("Too much play: ", "put the centres nearer, from 15.000 mm on"),
    15.46: ("Contact ratio below one: at 15.460 mm", "put the centres nearer"),
}


@pytest.mark.parametrize("distance", TOLD)
def test_the_verdict_and_the_next_step_go_with_the_distance(distance):
    found = pair_gears(perfect_gear(24), perfect_gear(36), Asked(distance_mm=distance))
    verdict, todo = TOLD[distance]
    assert headline(found).startswith(verdict)
    assert next_step(found).startswith(todo)


def test_an_empty_window_is_told_with_both_its_ends():
    stubby = replace(perfect_gear(24), tip=perfect_gear(24).tip - 0.34)
    found = pair_gears(stubby, replace(stubby, name="other"), Asked(distance_mm=12.02))
    assert headline(found).startswith("These two can't run: teeth are tight up to 12.00")
    assert "no centre distance serves" in next_step(found)


def test_backlash_inside_its_u_is_not_called_free():
    a = doubted(perfect_gear(20), edge=0.01)
    found = pair_gears(a, perfect_gear(20), Asked(backlash_mm=0.01))
    assert headline(found).startswith("Cannot tell whether it runs freely")
    assert "with one centre adjustable, and set it by feel" in next_step(found)


def test_what_was_not_seen_and_taken_for_granted_is_said():
    a = replace(doubted(perfect_gear(20)), axis_seen=False, covered=((4, "left"),), name="wheel")
    a.off[7, 1] = float("nan")
    said = " ".join(notes(pair_gears(a, perfect_gear(21), Asked(distance_mm=10.3))))
    assert "No bore of wheel was seen" in said
    assert "Something lies on flanks of wheel (4 left)" in said
    assert "% of the mesh positions a flank that might touch was not seen" in said


def test_teeth_without_a_choice_are_not_to_be_marked():
    said = " ".join(findings(pair_gears(perfect_gear(20), perfect_gear(21))))
    assert "It does not matter which teeth start together" in said
