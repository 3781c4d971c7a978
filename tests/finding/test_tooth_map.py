"""Counting the teeth on an outline and sharing its points out."""

import numpy as np
import pytest

from cogloupe.finding.tooth_map import LEFT, RIGHT, map_teeth, tips_centre
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.numerics.angles import polar
from cogloupe_calibration.errors import PhotoError

from ..helpers.outlines import PX_PER_MM, evenly, traced


@pytest.mark.parametrize("teeth", [6, 12, 24, 97])
@pytest.mark.parametrize("rotation_deg", [0.0, 5.0, -100.0])
def test_whole_outlines_are_counted_wherever_they_begin(teeth, rotation_deg):
    wheel = traced(teeth, rotation_deg=rotation_deg)
    start = len(wheel.edges) // 3
    found = map_teeth(np.roll(wheel.edges.xy, start, axis=0), wheel.centre, wheel.rough)
    assert found.teeth == teeth
    assert found.seen.all()
    steps = np.diff(found.centre_angle)
    np.testing.assert_allclose(steps, 2 * np.pi / teeth, atol=2 / wheel.rough[1])  # within 2 px
    first = np.radians(rotation_deg) - np.pi / 2
    away = (found.centre_angle[0] - first) * teeth / (2 * np.pi)
    # Points a pixel apart tell a tooth of some 40 px to a few tenths of one.
    assert away == pytest.approx(round(away), abs=0.005)


def test_every_point_goes_to_its_own_tooth_and_side():
    wheel = traced(24)
    found = wheel.teeth()
    angle = polar(wheel.edges.xy, wheel.centre)[1]
    away = np.angle(np.exp(1j * (angle - found.centre_angle[found.tooth])))
    # Borders lie midway between centres, which are found to the spacing of the points.
    assert np.abs(away).max() <= np.pi / 24 + 1 / wheel.rough[0]
    assert (found.side[away < -1e-9] == LEFT).all()
    assert (found.side[away > 1e-9] == RIGHT).all()
    counts = np.bincount(found.tooth, minlength=24)
    assert np.ptp(counts) <= 3


def test_radii_are_those_of_tips_and_floors():
    wheel = traced(24)
    found = wheel.teeth()
    # The outline's own points.
    assert found.tip_radius == pytest.approx(13.0 * PX_PER_MM, abs=0.01)
    # Beside the short floors their roundings stand higher by up to a pixel.
    assert found.root_radius == pytest.approx(10.75 * PX_PER_MM, abs=1)
    assert found.root_radius < found.mid_radius < found.tip_radius


def test_a_pitch_far_out_does_not_shift_the_count():
    late = np.zeros(24)
    late[9:] = 0.3 * 2 * np.pi / 24  # a third of a pitch lost, and regained at the end
    assert traced(24, left=late, right=late).teeth().teeth == 24


def test_a_stated_number_must_be_the_one_that_is_seen():
    wheel = traced(24)
    assert wheel.teeth(24).teeth == 24
    with pytest.raises(PhotoError, match="24 teeth are seen, not 25: check --teeth"):
        wheel.teeth(25)


def covered(wheel, teeth, radius):
    """The outline with a blob over some teeth and the gaps between them."""
    angle = polar(wheel.edges.xy, wheel.centre)[1]
    found = wheel.teeth()
    half = np.pi / found.teeth * len(teeth)
    middle = found.centre_angle[teeth].mean()
    away = np.angle(np.exp(1j * (angle - middle)))
    under = np.abs(away) < half * 0.95
    xy = wheel.edges.xy[~under]
    arc = middle + np.linspace(-0.95, 0.95, 200) * half
    blob = wheel.centre + radius * np.stack([np.cos(arc), np.sin(arc)], axis=1)
    order = np.flatnonzero(under)[0]
    return np.insert(xy, order, blob, axis=0)


@pytest.mark.parametrize("hidden", [[7], [7, 8], [7, 8, 9]])
def test_teeth_under_something_are_counted_and_said_not_to_be_seen(hidden):
    wheel = traced(24)
    found = map_teeth(covered(wheel, hidden, wheel.rough[1] * 1.02), wheel.centre, wheel.rough)
    assert found.teeth == 24
    assert (~found.seen).sum() in (len(hidden), len(hidden) - 1, len(hidden) + 1)
    np.testing.assert_allclose(
        np.diff(found.centre_angle), 2 * np.pi / 24, atol=0.1 * 2 * np.pi / 24
    )


def test_teeth_broken_off_are_counted_too():
    wheel = traced(24)
    found = map_teeth(covered(wheel, [4, 5], wheel.rough[0] * 1.01), wheel.centre, wheel.rough)
    assert found.teeth == 24


def test_a_speck_in_a_gap_is_not_a_tooth():
    wheel = traced(24)
    radius, angle = polar(wheel.edges.xy, wheel.centre)
    gap = wheel.teeth().centre_angle[3] + np.pi / 24
    away = np.angle(np.exp(1j * (angle - gap)))
    mid = (wheel.rough[0] + wheel.rough[1]) / 2
    # A spike on the floor, 3 px wide, up to above mid-height.
    spike = np.abs(away) * radius < 1.5
    radius = np.where(spike, mid * 1.03, radius)
    xy = wheel.centre + radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    assert map_teeth(xy, wheel.centre, wheel.rough).teeth == 24


def test_what_is_no_sure_edge_need_not_be_counted():
    wheel = traced(24)
    radius, angle = polar(wheel.edges.xy, wheel.centre)
    gap = wheel.teeth().centre_angle[3] + np.pi / 24
    # A line on the ground that runs into a gap, a third as wide.
    line = np.abs(np.angle(np.exp(1j * (angle - gap)))) < 0.17 * np.pi / 24
    radius = np.where(line, wheel.rough[1], radius)
    xy = wheel.centre + radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    assert map_teeth(xy, wheel.centre, wheel.rough).teeth == 25
    found = map_teeth(xy, wheel.centre, wheel.rough, 24, sure=~line)
    assert found.teeth == 24
    assert len(found.tooth) == len(xy)


def test_a_smooth_outline_has_no_teeth():
    turn = np.linspace(0, 2 * np.pi, 800, endpoint=False)
    wavy = 200 + 5 * np.cos(2 * turn)
    xy = wavy[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    with pytest.raises(PhotoError, match="only 2 teeth stand out on the gear's outline"):
        map_teeth(xy, np.zeros(2), (195.0, 205.0))


def arc_of(wheel, share):
    """The first share of the turn of an outline, ends left open."""
    angle = np.mod(polar(wheel.edges.xy, wheel.centre)[1] + np.pi / 2, 2 * np.pi)
    return wheel.edges.xy[angle < share * 2 * np.pi]


def test_part_of_a_gear_needs_the_number_and_places_its_teeth():
    wheel = traced(40)
    xy = arc_of(wheel, 0.5)
    with pytest.raises(PhotoError, match=r"only part of the gear is seen .* give --teeth"):
        map_teeth(xy, wheel.centre, wheel.rough, whole=False)
    found = map_teeth(xy, wheel.centre, wheel.rough, 40, whole=False)
    assert found.teeth == 40
    assert 17 <= found.seen.sum() <= 20
    with pytest.raises(PhotoError, match="pitch of about 40 teeth, not 52: check --teeth"):
        map_teeth(xy, wheel.centre, wheel.rough, 52, whole=False)


def normals_of(xy):
    along = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    return np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]


@pytest.mark.parametrize(("teeth", "shift"), [(8, 0.5), (10, 0.55), (12, 0.75)])
def test_flanks_that_end_nearly_in_a_point_are_no_lands(teeth, shift):
    gear = Gear(teeth, 1.0, basic_rack("iso53-a", 1.0), shift)
    xy = evenly(PX_PER_MM * gear_outline(gear, 0.1, 0.0, 0.0, flank_points=160), 1.0)
    root, tip = PX_PER_MM * gear.root_radius, PX_PER_MM * gear.tip_radius
    centre, (_, found) = tips_centre(xy, normals_of(xy), np.array([2.0, -1.0]), (root, tip))
    # Lands of two to four pixels are told by their ends.
    np.testing.assert_allclose(centre, 0, atol=0.05)
    assert found == pytest.approx(tip, abs=0.05)


def test_what_stands_a_tooth_s_depth_above_the_tips_is_no_tip():
    wheel = traced(24)
    root, tip = wheel.rough
    xy = covered(wheel, range(14), 2 * tip - root)
    centre, (_, found) = tips_centre(
        xy, normals_of(xy), wheel.centre + np.array([2.0, -1.0]), wheel.rough
    )
    np.testing.assert_allclose(centre, wheel.centre, atol=0.1)
    assert found == pytest.approx(tip, abs=0.1)
