"""Figures before cutting: against published values, and against sizes taken off the outline."""

import re
from dataclasses import replace
from itertools import pairwise
from math import cos, degrees, pi, radians

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.forms.basic_racks import RACK_NAMES, basic_rack, rack_for_angle
from cogloupe.forms.check_sizes import (
    chord,
    over_pins,
    pointed_radius,
    shift_without_undercut,
    span,
    teeth_to_span,
    tip_width,
    usable_spans,
)
from cogloupe.forms.rack import Gear, gear_outline, over_pins_size, span_size
from cogloupe.planning import meshing
from cogloupe.planning.hob_setting import feed_mark, form_cutter_number, hob_setting, scallop
from cogloupe.planning.machine import load_machine, make_machine
from cogloupe.planning.notices import notices
from cogloupe.planning.plan import make_plan, pass_depths
from cogloupe.planning.request import load_request, make_request
from cogloupe.report.plan_page import plan_html, plan_tables
from cogloupe.report.plan_rows import plan_title, sections
from cogloupe.report.plan_text import angle, fraction, lengths
from cogloupe.wording.cautions import CAUTIONS, cautions_for
from cogloupe_calibration.errors import UseError

from ..helpers.polygon_gauges import REFERENCE, reference_facts, reference_rows, seated_pin_centre
from ..helpers.tolerances import ROUNDING, SOLVED

SAMPLES = REFERENCE.parent.parent / "sample_images"
SIZES = reference_facts("gear_sizes")
CUTTING = reference_facts("cutting_errors")
RACK_FACTS = reference_facts("rack_facts")
ISO_A = basic_rack("iso53-a", 1.0)
MM_PER_INCH = 25.4

BENCH = {
    "encoder_pulses_per_revolution": 600,
    "motor_steps_per_revolution": 200,
    "microsteps": 4,
    "drive_ratio": 3,
}


def plan(machine=None, **fields):
    given_size = {} if "dp" in fields else {"module_mm": 1.0}
    request = make_request({"teeth": 21, **given_size, **fields})
    return make_plan(request, None if machine is None else make_machine(machine))


# Published, remembered and recomputed figures


@pytest.mark.parametrize("row", reference_rows("contact_ratio"))
def test_contact_ratio_at_the_tight_centre_distance(row):
    rack = rack_for_angle(float(row["pressure_angle_deg"]), 1.0, dp=False)
    gear, mate = (Gear(int(row[name]), 1.0, rack) for name in ("teeth_1", "teeth_2"))
    ratio = meshing.contact_ratio(gear, mate, meshing.centre_distance(gear, mate))
    assert ratio == pytest.approx(float(row["contact_ratio"]), abs=6e-5)  # half the last place


def test_backlash_of_a_widened_centre_distance():
    fact = SIZES["backlash_20_40"]
    gear, mate = (Gear(z, fact["module_mm"], ISO_A) for z in fact["teeth"])
    centre = meshing.centre_distance(gear, mate) + fact["centre_distance_growth_mm"]
    along = meshing.backlash_at(gear, mate, centre)
    # Half of the last place printed, and a little of the next.
    assert along == pytest.approx(fact["working_circle_backlash_mm"], abs=6e-7)
    across = meshing.normal_backlash(gear, mate, centre)
    assert across == pytest.approx(fact["normal_backlash_mm"], abs=6e-7)


def test_small_backlash_takes_the_published_share_of_centre_distance():
    fact = SIZES["backlash_per_centre_distance"]
    for angle_deg, ratio in zip(fact["pressure_angle_deg"], fact["ratio"], strict=True):
        rack = rack_for_angle(angle_deg, 1.0, dp=False)
        gear, mate = Gear(60, 1.0, rack), Gear(80, 1.0, rack)
        growth = meshing.centre_for_backlash(gear, mate, 1e-4) - 70.0
        # The published ratio is rounded to 5e-4 and holds for no backlash at all.
        assert growth / 1e-4 == pytest.approx(ratio, abs=1e-3)


@pytest.mark.parametrize("row", CUTTING["scallop"])
def test_flats_of_the_gashes(row):
    gear = Gear(row["teeth"], row["module_mm"], ISO_A)
    # Half of the last place printed, and a little of the next.
    assert 1000 * scallop(gear, 1, row["gashes"]) == pytest.approx(row["deviation_um"], abs=6e-4)


def test_feed_marks():
    fact = CUTTING["feed_mark"]
    depth = feed_mark(fact["feed_mm"], fact["hob_diameter_mm"], radians(fact["pressure_angle_deg"]))
    # Half of the last place printed, and a little of the next.
    assert 1000 * depth == pytest.approx(fact["deviation_um"], abs=6e-4)


def test_chord_of_the_published_example():
    fact = SIZES["chordal_thickness"]
    found = chord(Gear(fact["teeth"], fact["module_mm"], ISO_A, fact["profile_shift"]))
    # Half of the last place printed, and a little of the next.
    assert found.thickness_mm == pytest.approx(fact["chordal_thickness_mm"], abs=6e-5)
    assert found.height_mm == pytest.approx(fact["chordal_height_mm"], abs=6e-5)


@pytest.mark.parametrize("row", reference_rows("chordal_thickness"))
def test_chord_of_the_remembered_table(row):
    found = chord(Gear(int(row["teeth"]), 1.0, ISO_A))
    # Printed to 4 places, the last up to one out.
    assert found.thickness_mm == pytest.approx(float(row["thickness"]), abs=1.5e-4)
    assert found.height_mm == pytest.approx(float(row["height"]), abs=1.5e-4)


@pytest.mark.parametrize("row", reference_rows("span_sizes"))
def test_teeth_to_span_are_the_tables(row):
    gear = Gear(int(row["teeth"]), 1.0, ISO_A)
    assert teeth_to_span(gear) == int(row["teeth_spanned"])
    # Half of the last place printed, and a little of the next.
    assert span(gear, teeth_to_span(gear)).size_mm == pytest.approx(float(row["size"]), abs=6e-6)


def test_wheel_of_21_teeth_at_48_dp_is_as_the_trade_has_it():
    found = plan(dp=48, teeth=21, rack="full-depth-20", mate_teeth=21)
    pitch_circle = RACK_FACTS["pitch_circle_48_dp_21_teeth"]["diameter_in"] * MM_PER_INCH
    assert 2 * found.gear.reference_radius == pytest.approx(pitch_circle, rel=ROUNDING)
    assert found.mate.tight_mm == pytest.approx(pitch_circle, rel=ROUNDING)
    assert 2 * found.gear.tip_radius == pytest.approx(23 / 48 * MM_PER_INCH, rel=ROUNDING)
    # "About 45 thou" is good to half a thou.
    depth_in = RACK_FACTS["depth_of_cut_48_dp"]["value_in"]
    assert found.depth_mm / MM_PER_INCH == pytest.approx(depth_in, abs=5e-4)


def test_fine_pitch_depth_has_its_two_thou():
    fact = RACK_FACTS["fine_pitch_whole_depth"]
    depth_in = fact["per_diametral_pitch"] / 48 + fact["allowance_in"]
    assert plan(dp=48).depth_mm / MM_PER_INCH == pytest.approx(depth_in, rel=ROUNDING)


@pytest.mark.parametrize(
    ("teeth", "number"),
    [(11, None), (12, 8), (13, 8), (14, 7), (20, 6), (21, 5), (34, 4), (35, 3), (134, 2), (135, 1)],
)
def test_form_cutter_number_is_that_of_the_set(teeth, number):
    assert form_cutter_number(teeth) == number


# Against geometry taken off outlines


@pytest.mark.parametrize(
    ("teeth", "shift", "pin"), [(20, 0.0, 1.7), (13, 0.3, 1.9), (12, 0.0, 1.728), (40, -0.2, 1.6)]
)
def test_pin_touches_the_outline_where_it_is_said_to(teeth, shift, pin):
    gear = Gear(teeth, 1.0, ISO_A, shift)
    outline = gear_outline(gear, flank_points=600)
    gap = -pi / 2 + pi / teeth
    centre = seated_pin_centre(outline, gap, pin, gear.root_radius + 0.1)
    touch = shapely.shortest_line(shapely.Point(centre), shapely.LinearRing(outline)).coords[1]
    # Sides of the outline are up to 4 um long, and the point touched may be a corner.
    assert 2 * np.hypot(*touch) == pytest.approx(over_pins(gear, pin).contact_diameter_mm, abs=0.02)


@pytest.mark.parametrize(
    ("teeth", "pin", "fault"),
    [
        (20, 0.5, "touches the floor"),
        (6, 1.5, "touches the fillet"),
        (20, 1.5, "lies below the tips"),
        (20, 4.0, "rides on the tips"),
    ],
)
def test_pin_that_will_not_serve_is_refused_with_the_reason(teeth, pin, fault):
    found = over_pins(Gear(teeth, 1.0, ISO_A), pin)
    assert fault in found.fault
    assert np.isnan(found.size_mm)


@pytest.mark.parametrize("teeth", [20, 21, 35])
def test_depth_still_to_cut_brings_an_oversize_gear_to_size(teeth):
    gear = Gear(teeth, 1.0, ISO_A)
    shallow = replace(gear, profile_shift=0.01)
    pin = over_pins(gear, 1.728)
    over = over_pins_size(shallow, 1.728) - pin.size_mm
    # Second order in a depth of 0.01 mm; the size follows depth with slopes of order 1.
    assert over * pin.depth_per_size == pytest.approx(0.01, abs=1e-4)
    spanned = span(gear, 3)
    over = span_size(shallow, 3) - spanned.size_mm
    assert over * spanned.depth_per_size == pytest.approx(0.01, rel=SOLVED)


@given(st.integers(8, 80), st.sampled_from(RACK_NAMES))
def test_shift_without_undercut_is_the_limit(teeth, name):
    gear = Gear(teeth, 1.0, basic_rack(name, 1.0))
    limit = shift_without_undercut(gear)
    assert not replace(gear, profile_shift=limit + 1e-9).undercut
    assert replace(gear, profile_shift=limit - 1e-6).undercut


@given(st.integers(8, 80), st.floats(-0.3, 0.8))
def test_flanks_meet_where_the_tip_has_no_width(teeth, shift):
    gear = Gear(teeth, 1.0, ISO_A, shift)
    pointed = replace(gear, tip_radius_mm=pointed_radius(gear))
    # Of a radius up to 45 mm, after an inverse involute.
    assert tip_width(pointed) == pytest.approx(0, abs=1e-9)


def turned_until_touching(gear, mate, centre, way):
    """Angle by which the mate can be turned one way before it bites into the gear, rad."""
    # A gap of the gear and a tooth of the mate face each other on the line of centres.
    fixed = shapely.Polygon(gear_outline(gear, pi / gear.teeth, flank_points=300))
    loose = shapely.Polygon(gear_outline(mate, pi, flank_points=300))
    shapely.prepare(fixed)
    low, high = 0.0, 0.3 / mate.teeth
    for _ in range(30):
        middle = (low + high) / 2
        turned = shapely.affinity.rotate(loose, way * middle, origin=(0, 0), use_radians=True)
        moved = shapely.affinity.translate(turned, centre)
        low, high = (low, middle) if fixed.intersects(moved) else (middle, high)
    return low


@pytest.mark.parametrize(
    ("teeth", "mate_teeth", "shifts"), [(20, 40, (0.0, 0.0)), (15, 22, (0.35, 0.1))]
)
def test_backlash_is_the_play_between_two_outlines(teeth, mate_teeth, shifts):
    gear, mate = Gear(teeth, 1.0, ISO_A, shifts[0]), Gear(mate_teeth, 1.0, ISO_A, shifts[1])
    centre = meshing.centre_for_backlash(gear, mate, 0.08)
    play = sum(turned_until_touching(gear, mate, centre, way) for way in (-1, 1))
    working_radius = centre * mate_teeth / (teeth + mate_teeth)
    # Sagittas of sides under 10 um are far below 0.05 um; bisection ends below that too.
    assert play * working_radius == pytest.approx(0.08, abs=5e-5)


@given(st.integers(10, 60), st.integers(10, 60), st.floats(-0.2, 0.5), st.floats(0.001, 0.3))
def test_backlash_asked_for_is_backlash_found(teeth, mate_teeth, shift, backlash):
    gear, mate = Gear(teeth, 1.0, ISO_A, shift), Gear(mate_teeth, 1.0, ISO_A)
    centre = meshing.centre_for_backlash(gear, mate, backlash)
    assert meshing.backlash_at(gear, mate, centre) == pytest.approx(backlash, abs=SOLVED)
    assert centre > meshing.centre_distance(gear, mate)


def test_deeper_cut_gives_the_backlash_at_the_tight_distance():
    found = plan(mate_teeth=28, backlash="0.04mm")
    deeper = [
        replace(g, profile_shift=-found.mate.depth_each_mm) for g in (found.gear, found.mate.gear)
    ]
    # Exact, since the unshifted pair works on its reference circles.
    assert meshing.backlash_at(*deeper, found.mate.tight_mm) == pytest.approx(0.04, rel=1e-9)


# Passes


@given(
    st.floats(0.3, 5), st.integers(1, 50), st.floats(0, 2), st.floats(radians(10), radians(32))
)  # fmt: skip
def test_passes_grow_lighter_and_reach_the_depth(depth, count, tip, slope):
    passes = pass_depths(depth, count, tip, slope)
    infeeds = [p.infeed_mm for p in passes]
    assert [p.number for p in passes] == list(range(1, count + 1))
    assert passes[-1].depth_mm == depth
    assert sum(infeeds) == pytest.approx(depth)
    assert all(later < sooner for sooner, later in pairwise(infeeds))
    assert min(infeeds) > 0


def test_passes_before_the_last_take_the_same_area():
    tip, slope = 0.4, np.tan(radians(20))
    depths = np.array([0.0, *(p.depth_mm for p in pass_depths(2.25, 5, tip, radians(20))[:-1])])
    areas = np.diff(depths * (tip + depths * slope))
    np.testing.assert_allclose(areas, areas[0], rtol=ROUNDING)


# Plan as a whole


def test_sample_plan_on_the_sample_machine():
    found = make_plan(load_request(SAMPLES / "plan.toml"), load_machine(SAMPLES / "machine.toml"))
    assert found.indexing.division.pulse_pattern == (6, 5, 5, 5)
    assert found.indexing.division.closes
    assert not found.indexing.division.exact
    assert found.hob.lead_angle == pytest.approx(
        np.arcsin(found.gear.module_mm / (32 - 2 * 1.296 * found.gear.module_mm))
    )


def test_command_line_overrides_the_plan_file():
    found = load_request(SAMPLES / "plan.toml", {"module_mm": 0.5, "teeth": 30, "dp": None})
    assert (found.module, found.teeth, found.mate_teeth) == (0.5, 30, 28)


def test_depth_is_counted_from_the_blank_that_is_there():
    usual, large = plan(), plan(blank_diameter="23.2mm")
    assert large.depth_mm - usual.depth_mm == pytest.approx(0.1)
    assert large.gear.root_radius == usual.gear.root_radius
    assert any("0.200 mm larger" in sentence for sentence in notices(large))


def test_good_plan_has_nothing_to_look_at():
    # 30 teeth divide 2400 steps, and are enough for the mate and against undercut.
    assert notices(plan(BENCH, teeth=30, mate_teeth=40)) == ()


NOTICES = [
    ({"teeth": 12}, None, r"undercuts the flanks of these 12 teeth.*\+0\.298"),
    ({"teeth": 9, "profile_shift": 0.9}, None, r"meet in a point at 12\.5\d\d mm"),
    ({"teeth": 12, "profile_shift": 0.7}, None, r"tips are only 0\.113 mm wide"),
    ({"pin_diameter": "0.5mm"}, None, r"A pin of 0\.500 mm will not serve"),
    ({"mate_teeth": 12}, None, "mate's 12 teeth are undercut"),
    ({"teeth": 20, "mate_teeth": 20, "backlash": "1.2mm"}, None, "contact ratio of .* below 1.2"),
    ({"teeth": 30, "mate_teeth": 30, "profile_shift": 1.0, "mate_profile_shift": 1.0}, None,
     "Tip and floor come within"),
    ({}, BENCH, r"114\.286 steps to a tooth .* up to \d+\.\d µm"),
    ({}, {**BENCH, "step_rule": "fixed"}, "does not close: .* 120 steps too many .* 20 teeth"),
    ({}, {**BENCH, "drive_ratio": "37/13"}, "Steps or pulses to one turn .* no whole number"),
    ({}, {**BENCH, "encoder_pulses_per_revolution": 30}, "One pulse asks for more than one step"),
    ({"spindle_rpm": 600.0}, {**BENCH, "max_step_rate_hz": 1000}, r"at 500 rpm or less"),
    ({"spindle_rpm": 600.0}, {**BENCH, "max_pulse_rate_hz": 3000}, r"at 300 rpm or less"),
    ({"process": "form"}, {"worm_wheel_teeth": 40, "dividing_plate_holes": [20]},
     "No hole circle and no dividing wheel of this machine divides 21"),
]  # fmt: skip


@pytest.mark.parametrize(("fields", "machine", "sentence"), NOTICES)
def test_what_should_stop_a_person_is_said(fields, machine, sentence):
    found = notices(plan(machine, **fields))
    assert any(re.search(sentence, said) for said in found), found


def test_tips_below_the_involute_are_said():
    # The mate's blank is a module too large, so that its tips reach the gear's fillets.
    gear, mate = Gear(30, 1.0, ISO_A), Gear(40, 1.0, ISO_A, 0.0, 22.0)
    assert meshing.interference(gear, mate, 35.0) > 0.01
    assert meshing.interference(mate, gear, 35.0) < 0


def test_dividing_by_hand_names_plate_and_wheel():
    head = {
        "worm_wheel_teeth": 40,
        "dividing_plate_holes": [20, 21],
        "dividing_wheel_counts": [60, 84],
    }
    found = plan(head, process="form")
    assert [(s.circle, s.turns, s.holes) for s in found.indexing.plates] == [(21, 1, 19)]
    assert found.indexing.wheels == (84,)
    assert found.hob is None
    assert found.cutter_number == 5


WRONG = [
    ({"teeth": 4}, "teeth = 4 will not do: give a whole number from 5"),
    ({"teeth": 21.5}, "teeth = 21.5"),
    ({"dp": 48, "module_mm": 1.0}, "either module_mm or dp"),
    ({"module_mm": -1.0}, "module_mm = -1.0 .*0.05 to 25"),
    ({"module_mm": float("nan")}, "module_mm = nan"),
    ({"pressure_angle_deg": 45}, "pressure_angle_deg = 45 .*10 to 32"),
    ({"rack": "round"}, "rack 'round' is not known"),
    ({"profile_shift": 3.0}, "profile_shift = 3.0"),
    ({"backlash": "0.04"}, "backlash = '0.04' .*with its unit"),
    ({"pin_diameter": 1.7}, "pin_diameter = 1.7 .*with its unit"),
    ({"blank_diameter": "12mm"}, "blank of 12.000 mm is too small"),
    ({"passes": 0}, "passes = 0"),
    ({"process": "planing"}, "process = 'planing' .*form"),
    ({"hob_diameter": "3mm"}, "hob of 0.5 mm pitch diameter cannot carry"),
    ({"counts_from": 50, "counts_to": 20}, "below counts_from"),
    ({"counts_to": 1001}, "counts_to = 1001 .*5 to 1000"),
    ({"counts_from": 4}, "counts_from = 4 .*5 to 1000"),
    ({"colour": "brass"}, "colour is not known here: use teeth, "),
    ({"teeth": 5, "profile_shift": -1.0, "mate_teeth": 5, "mate_profile_shift": -1.0}, "no centre"),
    ({"mate_teeth": 30, "backlash": "40mm"}, "would part the teeth"),
]


@pytest.mark.parametrize(("fields", "answer"), WRONG)
def test_wrong_wish_is_answered_in_one_line(fields, answer):
    with pytest.raises(UseError, match=answer) as caught:
        make_plan(make_request({"teeth": 21, "module_mm": 1.0, **fields}))
    assert "\n" not in str(caught.value)


def test_counts_may_be_all_that_a_gear_can_have():
    request = make_request({"teeth": 21, "module_mm": 1.0, "counts_from": 5, "counts_to": 1000})
    assert (request.counts_from, request.counts_to) == (5, 1000)


def test_hobbing_without_an_encoder_is_refused():
    with pytest.raises(UseError, match="or plan for a form cutter"):
        plan({"motor_steps_per_revolution": 200})


# How it is shown


@pytest.mark.parametrize(
    ("mm", "shown"),
    [
        (25.4, ("25.400", "1.0000", "1000.0")),
        (11.1125, ("11.113", "0.4375", "437.5")),
        (0.0254, ("0.0254", "0.00100", "1.00")),
        (0.00254, ("0.00254", "0.000100", "0.100")),
        (0.0, ("0.000", "0.0000", "0.0")),
    ],
)
def test_length_stands_in_three_units(mm, shown):
    assert lengths(mm) == shown


def test_title_names_the_angle_of_the_rack():
    assert plan_title(plan(dp=32, teeth=24, rack="full-depth-14.5")) == "24 teeth, 32 DP, 14.5°"


def test_ratio_stands_exactly_and_as_a_decimal():
    half = make_machine({**BENCH, "drive_ratio": "5/2"}).motor_turns_per_work_turn
    third = make_machine({**BENCH, "drive_ratio": "1/3"}).motor_turns_per_work_turn
    assert (fraction(half), fraction(third)) == ("5/2 = 2.5", "1/3 ≈ 0.333333")


def test_angle_minutes_carry_into_degrees():
    assert angle(radians(1.9999)) == "2.00° (2° 0′)"


def text_of(plan):
    return " ".join(
        f"{row.name} {' '.join(row.values)} {row.say}" for s in sections(plan) for row in s.rows
    )


@pytest.fixture(scope="module")
def shown_plan():
    return plan(
        BENCH, dp=48, mate_teeth=28, passes=3, hob_diameter="32mm", hob_gashes=10,
        feed_per_turn="0.2mm", spindle_rpm=120.0, pin_diameter="0.9mm",
    )  # fmt: skip


def test_page_holds_every_figure_of_the_rows_and_loads_nothing(shown_plan):
    page = plan_html(shown_plan)
    cells = set(re.findall(r'<td class="length"[^>]*>([^<]+)</td>', page))
    rows = [row for s in sections(shown_plan) for row in s.rows if len(row.values) == 3]
    assert cells == {value for row in rows for value in row.values}
    assert not re.search(r"(src|href)=|https?:|@import|url\(", page)
    assert page.count("<rect") == 21
    for sentence in shown_plan.cautions:
        assert sentence in page


def test_tables_and_page_say_the_same(shown_plan):
    titles = [str(table.title) for table in plan_tables(shown_plan)]
    assert titles[: len(sections(shown_plan))] == [s.title for s in sections(shown_plan)]
    assert titles[-2:] == ["Look at this first", "At the machine"]


def test_page_escapes_the_machines_name():
    assert "<b>" not in plan_html(plan({**BENCH, "name": "<b>bench</b>"})).split("<body>")[1]


def test_undivided_counts_are_listed(shown_plan):
    assert "exactly 8, 10, 12, 15, 16, 20, 24, 25, 30, 32, 40" in text_of(shown_plan)


def test_cautions_are_those_named_and_always_the_limit_of_use():
    said = cautions_for("eyes", "isolate", "eyes")
    assert said == tuple(CAUTIONS[c] for c in ("isolate", "eyes", "not_for_acceptance"))
    with pytest.raises(KeyError, match="no caution is called gloves"):
        cautions_for("gloves")


def test_wiring_cautions_stand_where_there_is_something_wired():
    by_hand = plan({"worm_wheel_teeth": 40, "dividing_plate_holes": [21]}, process="form")
    assert CAUTIONS["mains"] not in by_hand.cautions
    assert {CAUTIONS["mains"], CAUTIONS["current"]} <= set(plan(BENCH).cautions)


def test_nothing_is_told_of_a_hob_that_nobody_described():
    found = hob_setting(Gear(21, 1.0, ISO_A), 1)
    assert (found.lead_angle, found.scallop_um, found.feed_mark_um) == (None, None, None)


def test_usable_spans_touch_the_involute():
    for size in usable_spans(Gear(21, 1.0, ISO_A)):
        gear = Gear(21, 1.0, ISO_A)
        assert 2 * gear.form_radius <= size.contact_diameter_mm <= 2 * gear.tip_radius


@pytest.mark.parametrize("name", ["working_pressure_angle_19_37", "working_pressure_angle_16_40"])
def test_working_angle_of_textbook_centre_distances(name):
    fact = SIZES[name]
    alpha = radians(fact["pressure_angle_deg"])
    grown = fact.get("centre_distance_ratio") or np.divide(*fact["centre_distance_in"][::-1])
    # The shift that fills the widened distance, from the inverse question.
    first, second = fact["teeth"]
    gear, mate = (Gear(z, 1.0, ISO_A) for z in (first, second))
    total = meshing.backlash_at(gear, mate, grown * (first + second) / 2)
    shift = total / grown / (2 * np.tan(alpha))
    filled = meshing.working_angle(replace(gear, profile_shift=shift), mate)
    # Half of the last place printed, and a little of the next.
    assert degrees(filled) == pytest.approx(fact["working_angle_deg"], abs=6e-4)
    assert cos(filled) * grown == pytest.approx(cos(alpha), rel=ROUNDING)
