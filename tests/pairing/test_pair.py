"""A pair's figures: backlash, running, rolling, room, start, window, and what is not known."""

from dataclasses import replace
from functools import cache
from math import cos, radians, tan

import numpy as np
import pytest

from cogloupe.numerics.angles import wrapped
from cogloupe.pairing.clearance import room
from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.mates import theoretical_gear, theoretical_mate
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.pairing.rolling import mesh_at
from cogloupe.pairing.starts import try_starts
from cogloupe.planning import meshing
from cogloupe.planning.plan import USUAL_BACKLASH
from cogloupe.simulation import Faults, GearSpec
from cogloupe_calibration.errors import UseError

from ..helpers.pair_gears import doubted, exact_reading, made_gear, perfect_gear
from ..helpers.tolerances import ROUNDING

ALPHA = radians(20)


@cache
def wheel(teeth, rotation=3.0, **faults):
    """A measured wheel of module 0.5 with stated faults."""
    spec = GearSpec(teeth=teeth, module_mm=0.5, bore_mm=2.0)
    return gear_from_reading(exact_reading(made_gear(spec, Faults(**faults), rotation)))


ECCENTRIC = {"eccentricity_um": 20.0, "eccentricity_direction_deg": 30.0, "tips_about": "teeth"}


@cache
def eccentric_pair():
    return pair_gears(wheel(20, **ECCENTRIC), perfect_gear(20))


def test_the_holes_for_a_perfect_pair_lie_where_a_plan_puts_them():
    a, b = perfect_gear(20), perfect_gear(31)
    found = pair_gears(a, b, Asked(backlash_mm=0.03)).drilling
    # Another way to the same geometry; to a tenth of a micrometre.
    wanted = meshing.centre_for_backlash(a.wheel, b.wheel, 0.03)
    assert found.distance.value == pytest.approx(wanted, abs=1e-5)
    assert found.distance.u == 0
    # To first order in a backlash of 0.03; the next term is 3 % of it.
    assert found.per_mm == pytest.approx(2 * tan(ALPHA), rel=0.1)


def test_clock_teeth_are_put_where_their_pitch_circles_touch():
    # A wheel of 64 for a pinion of 8, by the trade's rules; module 0.5.
    wheel = theoretical_gear(
        GearSpec(teeth=64, module_mm=0.5, form="cycloidal", generating_circle_mm=2.0).wheel()
    )
    found = pair_gears(wheel, theoretical_mate(wheel, 8))
    assert found.mesh.centre_mm == 18.0
    assert found.verdict == "free"  # half a module of backlash, which is cut in
    assert found.backlash.mean.value == pytest.approx(0.26, abs=0.01)
    # Drawn epicycloid on radial flank: even to what 48 places in a pitch show.
    assert found.ways[1].parts.rest.value < 1.0


def test_one_reading_for_both_gears_gets_two_names():
    found = pair_gears(wheel(20, **ECCENTRIC), wheel(20, **ECCENTRIC), Asked(distance_mm=10.1))
    assert found.mesh.a.name != found.mesh.b.name


def test_without_a_wish_the_usual_backlash_is_left_at_the_tightest_spot():
    found = eccentric_pair()
    # The curve is followed to the micrometre of arc, between whose points it falls by less.
    assert found.backlash.least.value == pytest.approx(USUAL_BACKLASH * 0.5, abs=2e-4)
    assert found.backlash.least.value < found.backlash.mean.value < found.backlash.most.value
    spot = found.backlash.tightest[0]
    assert spot.backlash == found.backlash.least.value


def test_backlash_reads_alike_along_the_circle_square_and_as_angles():
    backlash = eccentric_pair().backlash
    # The base circle's share of the working one: 0.1 mm further apart, 0.5 % less.
    assert backlash.square == pytest.approx(cos(ALPHA), rel=0.01)
    turn_a, turn_b = backlash.per_radian
    assert turn_a + turn_b == pytest.approx(eccentric_pair().mesh.centre_mm)


def test_an_eccentric_gear_rises_and_falls_on_a_rolling_fixture_by_twice_its_eccentricity():
    double = eccentric_pair().double
    assert double.total.value == pytest.approx(40.0, rel=0.03)  # 2 e
    assert double.mean.value == pytest.approx(10.0, abs=1e-3)


def test_run_outs_are_parted_from_what_comes_with_every_tooth():
    a = wheel(20, **ECCENTRIC)
    mate = wheel(30, rotation=4.0, eccentricity_um=10.0, eccentricity_direction_deg=-70.0)
    found = pair_gears(a, mate)
    for way in found.ways:
        # To second order in an eccentricity of a fiftieth of a module.
        assert way.parts.run_out_a.value == pytest.approx(2 * 20 / cos(ALPHA), rel=1e-3)
        assert way.parts.run_out_b.value == pytest.approx(2 * 10 / cos(ALPHA), rel=1e-3)
        assert way.parts.rest.value < 3
        times = {line.times: line.amplitude_um for line in way.spectrum}
        # In 60 teeth the first turns three times, the second twice.
        assert times[3] == pytest.approx(20 / cos(ALPHA), rel=0.02)
        assert times[2] == pytest.approx(10 / cos(ALPHA), rel=1e-3)


def test_the_run_out_of_a_gear_with_noise_on_its_flanks_has_its_u():
    a = doubted(wheel(20, **ECCENTRIC), place=0.002)
    part = pair_gears(a, perfect_gear(20), Asked(distance_mm=10.1)).ways[1].parts.run_out_a
    # Noise of 20 flanks on an amplitude, sqrt(2 / 20); a range is twice that, along the circle.
    assert part.u == pytest.approx(2 * 2.0 * (2 / 20) ** 0.5 / cos(ALPHA), rel=1e-3)


def test_equal_gears_are_put_together_so_that_their_run_outs_cancel():
    a, b = wheel(20, **ECCENTRIC), wheel(20, rotation=7.0, **ECCENTRIC)
    starts = try_starts(mesh_at(a, b, 10.08, 12))
    assert len(starts.start) == 20
    # At best high stands against low. One way round the drive lies to this side of the line of
    # centres and the other way to that, by 20 degrees on either gear: 2 sin(20) of it is left.
    run_out = 40 / cos(ALPHA)
    assert min(starts.total_um) == pytest.approx(2 * np.sin(ALPHA) * run_out, rel=0.25)
    # At worst both run-outs add.
    assert max(starts.total_um) == pytest.approx(2 * run_out, rel=1e-3)
    best = pair_gears(a, b, Asked(distance_mm=10.08))
    assert best.start == starts.best
    assert best.ways[1].parts.together < run_out


def test_without_a_common_divisor_there_is_one_start():
    starts = try_starts(mesh_at(perfect_gear(20), perfect_gear(21), 10.3, 4))
    assert starts.start == ((1, 1),)


def test_a_thick_tooth_is_tight_where_it_meets_a_narrow_gap():
    thick = tuple(-15.0 if k == 6 else 0.0 for k in range(24))
    a = wheel(24, left_um=thick, right_um=tuple(-v for v in thick))
    narrow = tuple(12.0 if k == 11 else 0.0 for k in range(36))
    follows = tuple(-12.0 if k == 12 else 0.0 for k in range(36))
    b = wheel(36, rotation=2.0, right_um=narrow, left_um=follows)
    # Tooth 7 comes to gap 12 from a start whose numbers leave the remainder of theirs by 12.
    found = pair_gears(a, b, Asked(distance_mm=15.03, start=(1, 6)))
    spot = found.backlash.tightest[0]
    assert spot.squeezed == ("a", 7, 12)
    assert found.verdict == "tight"
    # 30 and 24 µm of 2 tan(20°) 30 µm = 21.8 µm of backlash.
    assert 1000 * spot.backlash == pytest.approx(21.8 - 54, abs=1.0)


@pytest.mark.parametrize(
    ("distance", "verdict"),
    [(14.98, "tight"), (15.03, "free"), (15.16, "play"), (15.46, "ratio")],
)
def test_the_verdict_goes_with_the_centre_distance(distance, verdict):
    asked = Asked(distance_mm=distance)
    assert pair_gears(perfect_gear(24), perfect_gear(36), asked).verdict == verdict


def test_the_window_runs_from_tight_mesh_to_a_contact_ratio_of_one():
    a, b = perfect_gear(24), perfect_gear(36)
    window = pair_gears(a, b).window
    # From tight mesh the window is followed to a tenth of a micrometre or so.
    assert window.low.distance == pytest.approx(15.0, abs=3e-4)
    # Straight lines between nine distances: to a hundredth of a module.
    ratio = meshing.contact_ratio(a.wheel, b.wheel, window.high.distance)
    assert ratio == pytest.approx(1.0, abs=0.002)


def test_gears_that_lose_contact_before_they_come_free_cannot_run():
    a = perfect_gear(24)
    stubby = replace(a, tip=a.tip - 0.34)
    found = pair_gears(stubby, replace(stubby), Asked(distance_mm=12.02))
    assert found.window.empty
    assert found.verdict == "cannot_run"


def test_room_between_tips_and_floors_is_told_with_the_teeth_that_have_least():
    a, b = perfect_gear(24), perfect_gear(36)
    high, raised = a.tip.copy(), b.root.copy()
    high[4] += 0.03
    raised[9] += 0.04
    mesh = mesh_at(replace(a, tip=high), replace(b, root=raised), 15.05, 4)
    # Greatest common divisor 12: tooth 5 meets gap 10 from this start.
    found = room(mesh, (1, 2))
    clear = 15.05 - a.wheel.tip_radius - b.wheel.root_radius
    assert found.tips_a.value == pytest.approx(clear - 0.07)
    assert (found.tips_a.number_a, found.tips_a.number_b) == (5, 10)
    assert found.tips_b.value == pytest.approx(clear)


def test_tips_above_the_fillets_agree_with_the_plans_interference():
    a, b = perfect_gear(18), perfect_gear(60)
    found = room(mesh_at(a, b, 19.55, 4), (1, 1))
    for own, mate, seen in ((a, b, found.fillet_a), (b, a, found.fillet_b)):
        wanted = -meshing.interference(own.wheel, mate.wheel, 19.55)
        assert seen.value == pytest.approx(wanted, abs=ROUNDING)


def test_tips_pass_lowest_over_the_fillet_that_an_eccentric_gear_turns_towards_them():
    a, even, b = wheel(20, **ECCENTRIC), perfect_gear(20), perfect_gear(31)
    found = room(mesh_at(a, b, 12.8, 4), (1, 1)).fillet_a
    facing = a.start + a.pitch * (found.number_a - 0.5)
    # It lies within a pitch of the way in which the teeth's axis lies off the arbor.
    assert abs(wrapped(facing - np.angle(a.axis))) < a.pitch
    nearer = room(mesh_at(even, b, 12.8 - abs(a.axis), 4), (1, 1)).fillet_a
    # A quarter of a pitch off that way is 1.2 % less of 20 um; measured to a micrometre.
    assert found.value == pytest.approx(nearer.value, abs=2e-3)


def test_edges_that_err_alike_move_backlash_but_no_lead():
    a, b = (doubted(perfect_gear(20), edge=0.002, set_up=name) for name in ("one", "two"))
    found = pair_gears(a, b, Asked(distance_mm=10.1))
    # Both flanks of both gears, along the circle: 2 sqrt(2) e / cos(alpha).
    wanted = 2 * 2**0.5 * 0.002 / cos(ALPHA)
    assert found.backlash.least.u == pytest.approx(wanted, rel=0.25)  # a hundred draws
    assert found.ways[0].total.u == pytest.approx(0, abs=1e-3)


def test_one_set_up_adds_the_edges_of_both_pictures():
    same, other = (
        pair_gears(
            *(doubted(perfect_gear(20), edge=0.002, set_up=name) for name in names),
            Asked(distance_mm=10.1),
        ).backlash.mean.u
        for names in (("one", "one"), ("one", "two"))
    )
    # Some hundred draws each tell a standard deviation to 7 %.
    assert same / other == pytest.approx(2**0.5, rel=0.15)


def test_a_scale_that_both_share_parts_no_base_pitches():
    one, two = (
        pair_gears(
            doubted(perfect_gear(20), scale=0.003, set_up="one"),
            doubted(perfect_gear(20), scale=0.003, set_up=name), Asked(distance_mm=10.1),
        )
        for name in ("one", "two")
    )  # fmt: skip
    # A gear seen too large by 0.3 % has base pitches longer by 4.4 µm; shared, nothing is left.
    assert one.ways[1].tooth.u < 0.2
    assert two.ways[1].tooth.u > 2
    assert one.backlash.mean.u > 0.015


def test_noise_of_single_flanks_reaches_the_lead_but_hardly_the_mean_backlash():
    a = wheel(20, pitch_scatter_um=5.0)
    found = pair_gears(doubted(a, place=0.002), perfect_gear(20), Asked(distance_mm=10.1))
    assert 1 < found.ways[1].total.u < 12
    assert 1000 * found.backlash.mean.u < 1.5


REFUSED = {
    "other module": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20, 25.4 / 48)),
        r"0\.5 mm \(50\.8 DP\) and 0\.5292 mm \(48 DP\)",
    ),
    "other angle": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20, 0.5, "full-depth-14.5")),
        r"20° and 14\.5°",
    ),
    "miss": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20), Asked(distance_mm=11.2)),
        r"miss each other by 0\.200 mm",
    ),
    "overlap": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20), Asked(distance_mm=9.7)),
        r"overlap: .* 0\.300 mm nearer than tight mesh, at 10\.000 mm",
    ),
    "parted": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20), Asked(backlash_mm=0.9)),
        r"0\.9 mm would put the centres beyond 10\.\d+ mm",
    ),
    "no such tooth": (
        lambda: pair_gears(perfect_gear(20), perfect_gear(20), Asked(start=(21, 1))),
        "no tooth 21: it has 1 to 20",
    ),
    "too few teeth": (lambda: theoretical_mate(perfect_gear(20), 3), "3 teeth is outside 5"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_a_pair_is_refused_with_the_figures(what):
    work, told = REFUSED[what]
    with pytest.raises(UseError, match=told) as refused:
        work()
    assert "\n" not in str(refused.value)


def test_the_curve_of_a_period_has_no_place_without_a_pair():
    found = eccentric_pair()
    assert np.isfinite(found.rolled.free).all()
    assert found.backlash.known == 1
