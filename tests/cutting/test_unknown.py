"""Which gear an unknown one is: exact gaps with noise, and a picture from end to end."""

from dataclasses import replace
from math import cos, hypot, pi

import pytest

from cogloupe.commands.inspect import _told_by_gaps
from cogloupe.cutting.cutting_text import build_identity
from cogloupe.cutting.unknown import (
    STANDARD_PIN,
    angle_of,
    identify,
    measures,
    size_of,
    system_of,
)
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.check_sizes import chord, usable_spans
from cogloupe.forms.rack import Gear, over_pins_size, span_size
from cogloupe.report.gap_tables import chance
from cogloupe.report.page import report_html
from cogloupe.simulation import Faults, GearSpec
from cogloupe_calibration.errors import UseError

from ..helpers.mean_gaps import generated, mean_gap
from ..helpers.pictures import read, read_whole, rendered

STATED_U = 0.003
"""Relative standard uncertainty of a scale that a person states."""
RACKS = {
    ("module 0.5 mm", 20.0): ("iso53-a", 0.5),
    ("module 0.5 mm", 14.5): ("full-depth-14.5", 0.5),
    ("48 DP", 20.0): ("dp-fine-20", 25.4 / 48),
    ("48 DP", 14.5): ("full-depth-14.5", 25.4 / 48),
}


def gear_of(size="48 DP", angle=20.0, teeth=24, shift=0.0):
    name, module = RACKS[size, angle]
    return Gear(teeth, module, basic_rack(name, module), shift)


def found(gear, relative_u=STATED_U, **gap):
    made = mean_gap(generated(gear), gear, relative_u=relative_u or STATED_U, **gap)
    return identify(made, gear.teeth, gear.base_radius, relative_u), made


def sizes_of(identified, gap, gear):
    base = (gear.base_radius, 1e-4 * gear.base_radius)
    return {s.name: s for s in measures(identified.tried[0], gap, base, STATED_U)}


@pytest.mark.parametrize("teeth", [12, 24, 60])
@pytest.mark.parametrize(("size", "angle"), RACKS)
def test_module_and_pitch_and_angle_are_told_apart(size, angle, teeth):
    shift = {12: 0.2, 24: 0.0, 60: -0.1}[teeth]
    gear = gear_of(size, angle, teeth, shift)
    identified, _ = found(gear)
    assert identified.alike(size_of) == [size]
    assert identified.alike(angle_of) == [f"{angle:g}°"]
    assert RACKS[size, angle][0] in identified.alike(system_of)
    best = identified.tried[0]
    assert abs(best.gear.profile_shift - shift) < 2 * best.u_shift


@pytest.mark.parametrize("angle", [14.5, 20.0])
def test_without_a_scale_the_angle_is_told_and_the_size_left_open(angle):
    identified, gap = found(gear_of("48 DP", angle), None)
    assert identified.alike(angle_of) == [f"{angle:g}°"]
    assert len(identified.alike(size_of)) > 1
    told = build_identity(identified, list(sizes_of(identified, gap, gear_of()).values()))
    assert "of a size not told" in told.sentence
    assert any("--known-tip-diameter" in sentence for sentence in told.unsettled)


def test_every_gear_that_has_a_chance_is_shown():
    identified, gap = found(gear_of(), None)
    alike = tuple(replace(row, share=0.1) for row in identified.tried[:10])
    sizes = list(sizes_of(identified, gap, gear_of()).values())
    told = build_identity(replace(identified, tried=alike), sizes)
    assert [row.probability for row in told.candidates] == [0.1] * 10


def test_a_scale_too_poor_for_the_difference_leaves_both_sizes():
    # 48 and 44 DP differ by 9 %: a scale good to 5 % cannot tell them apart, one to 0.3 % can.
    poor, gap = found(gear_of(), 0.05)
    assert {"48 DP", "44 DP"} <= set(poor.alike(size_of))
    told = build_identity(poor, list(sizes_of(poor, gap, gear_of()).values()))
    assert any("cannot be told apart: they differ by" in sentence for sentence in told.unsettled)


def test_a_blank_turned_down_is_not_taken_for_another_module():
    whole = gear_of("module 0.5 mm")
    turned = replace(whole, tip_radius_mm=whole.tip_radius - 0.1)
    identified, gap = found(turned)
    assert identified.alike(size_of) == ["module 0.5 mm"]
    told = build_identity(identified, list(sizes_of(identified, gap, turned).values()))
    assert any("lower than the rack" in sentence for sentence in told.unsettled)


def test_sizes_for_a_twin_are_those_of_the_gear():
    gear = gear_of(shift=-0.06)
    identified, gap = found(gear)
    sizes = sizes_of(identified, gap, gear)
    true = {
        "base pitch": pi * gear.module_mm * cos(gear.rack.pressure_angle),
        "tip diameter": 2 * gear.tip_radius,
        "whole depth": gear.tip_radius - gear.root_radius,
        f"over two pins of {1.728 * gear.module_mm:.4g} mm": over_pins_size(
            gear, 1.728 * gear.module_mm
        ),
    }
    true |= {
        f"span over {span.teeth_spanned} teeth": span_size(gear, span.teeth_spanned)
        for span in usable_spans(gear)
    }
    off = {
        name: abs(sizes[name].value - value) / (2 * sizes[name].u) for name, value in true.items()
    }
    assert max(off.values()) < 1, off


def test_sizes_for_a_twin_are_as_sure_as_its_shift():
    identified, gap = found(gear_of(shift=-0.06))
    best = identified.tried[0]
    sizes = {s.name: s for s in measures(best, gap, (5.9, 1e-3), STATED_U)}
    low, high = (
        replace(best.gear, profile_shift=best.gear.profile_shift + way * best.u_shift)
        for way in (-1, 1)
    )
    pin = STANDARD_PIN * best.gear.module_mm
    apart = {"chordal thickness": chord(high).thickness_mm - chord(low).thickness_mm}
    apart[f"over two pins of {pin:.4g} mm"] = over_pins_size(high, pin) - over_pins_size(low, pin)
    for span in usable_spans(best.gear):
        n = span.teeth_spanned
        apart[f"span over {n} teeth"] = span_size(high, n) - span_size(low, n)
    for name, difference in apart.items():
        # First order in the shift; a chord is shorter than its arc by 1 - cos of a quarter pitch.
        assert 2 * sizes[name].u == pytest.approx(difference, rel=0.01), name


def test_a_base_pitch_is_as_sure_as_the_base_circle_and_the_scale():
    identified, gap = found(gear_of())
    base = (5.9, 0.02)
    pitch = next(iter(measures(identified.tried[0], replace(gap, stretch=0.0), base, STATED_U)))
    assert pitch.u / pitch.value == pytest.approx(hypot(base[1] / base[0], STATED_U))


def test_teeth_of_no_standard_kind_are_said_to_be_none():
    odd = replace(basic_rack("iso53-a", 0.5), pressure_angle=0.29, dedendum=1.05, fillet_radius=0.1)
    identified, gap = found(Gear(24, 0.463, odd))
    told = build_identity(identified, list(sizes_of(identified, gap, gear_of()).values()))
    assert told.sentence.startswith("No standard gear explains this one")


@pytest.fixture(scope="module")
def old_wheel():
    """Picture of an older wheel, 21 teeth, 48 DP, 14.5 degrees; settings of its scale."""
    spec = GearSpec(teeth=21, dp=48, pressure_angle_deg=14.5, bore_mm=4.0)
    return rendered(spec, Faults(pitch_scatter_um=4), mm_per_px=0.02).image


def unknown(image, **given):
    return read_whole(image, **{"teeth": None, "module_mm": None, "scale_um_per_px": None} | given)


@pytest.fixture(scope="module")
def named(old_wheel):
    """Its reading as an unknown gear, the scale stated."""
    return unknown(old_wheel, unknown=True, scale_um_per_px=20.0)


def test_six_gears_are_shown_whatever_their_chance_and_others_that_have_one(named):
    shown = named.identity.candidates
    assert len(shown) >= 6
    assert all(row.probability > 1e-4 for row in shown[6:])


def test_an_unknown_gear_is_read_against_the_gear_it_is(named):
    gear = named.gear
    assert (gear.teeth, gear.rack) == (21, "full-depth-14.5")
    assert gear.diametral_pitch == pytest.approx(48)
    assert named.identity.sizes[0].name == "48 DP"
    assert named.identity.candidates[0].probability > 0.95
    kinds = {row.situation: row.kind for row in named.cutting.situations}
    assert "rack" in {kinds[name] for name in named.cutting.alike}


def test_an_unknown_gear_can_be_shown_without_any_scale(old_wheel):
    told = unknown(old_wheel, unknown=True).identity
    assert not told.scale_known
    assert told.pressure_angles[0].name == "14.5°"
    assert told.sizes[1].probability > told.sizes[0].probability / 20


def test_the_page_names_the_gear_and_what_cut_it(named):
    page = report_html(named)
    for heading in ("Which gear this is", "What this picture leaves open", "What cut it"):
        assert heading in page
    assert "48 DP (module 0.5292 mm)" in page.replace("\u00a0", " ")


def test_an_unknown_gear_of_another_tooth_form_is_refused(old_wheel):
    with pytest.raises(UseError, match="involute teeth, not cycloidal"):
        unknown(old_wheel, unknown=True, form="cycloidal", scale_um_per_px=20.0)


def test_the_angle_fitted_to_the_flanks_is_that_of_the_cutter():
    spec = GearSpec(teeth=12, module_mm=1.0, bore_mm=4.0)
    faults = Faults(pressure_angle_error_deg=0.8)
    # Teeth 200 px deep; the scale is right, so that its uncertainty plays no part.
    image = rendered(
        spec, faults, mm_per_px=0.01125, width_px=1360, height_px=1360, oversample=1
    ).image
    reading = read(image, teeth=12, scale_um_per_px=11.25)
    assert reading.summary.pressure_angle_mean_deg == pytest.approx(20.8, abs=0.1)


def test_the_screen_tells_of_an_unknown_gear_and_of_a_cutter_that_is_not_the_stated_one(named):
    lines = _told_by_gaps(named)
    assert lines[0].startswith("By its gaps and tips this gear has 21 teeth, 48 DP, 14.5°")
    assert "span over" in lines[1]
    assert named.cutting.sentence not in lines
    others = named.cutting.model_copy(update={"alike": ("a 20° cutter",)})
    odd = named.model_copy(update={"cutting": others, "identity": None})
    assert _told_by_gaps(odd) == [named.cutting.sentence]


@pytest.mark.parametrize(("share", "text"), [(0.999, "over 99 %"), (0.4, "40 %"), (0.001, "under")])
def test_a_probability_is_written_no_surer_than_a_picture_gives(share, text):
    assert chance(share).startswith(text)
