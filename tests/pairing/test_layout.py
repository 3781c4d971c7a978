"""Where the holes go on the plate, and how a train is written down."""

import os
from math import cos, pi, radians, sin

import pytest

from cogloupe.pairing.layout import dial_moves, lay_out_pair, lay_out_train
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.pairing.train import load_train
from cogloupe_calibration.errors import UseError

from ..helpers.pair_gears import perfect_gear

TRAIN = """
name = "day train"
edge_x = "12mm"
edge_y = "0.5in"
[[gear]]
reading = "pinion"
hole = "2mm"
[[gear]]
reading = "wheel"
centre_distance = "10.1mm"
direction_deg = 30
[[gear]]
reading = "second-pinion"
same_arbor = true
[[gear]]
mate_teeth = 22
centre_distance = "9.6mm"
direction_deg = -90
"""


def train_of(tmp_path, text):
    path = tmp_path / "train.toml"
    path.write_text(text, "utf-8")
    return load_train(path)


@pytest.fixture(scope="module")
def pair():
    return pair_gears(perfect_gear(20), perfect_gear(20), Asked(distance_mm=10.1))


def test_two_holes_lie_as_far_apart_as_the_centres_with_room_to_the_edges(pair):
    first, second = lay_out_pair(pair).holes
    assert (second.x - first.x, second.y - first.y) == pytest.approx((10.1, 0))
    assert first.x > first.reach
    assert first.y > first.reach


def test_the_first_hole_keeps_stated_distances_from_the_edges(pair):
    layout = lay_out_pair(pair, (12.0, 15.0))
    assert [(hole.x, hole.y) for hole in layout.holes] == [(12, 15), pytest.approx((22.1, 15))]
    assert dial_moves(layout) == ((12, 15), pytest.approx((10.1, 0)))


def test_working_pitch_circles_touch(pair):
    radii = [hole.gears[0].pitch_radii for hole in lay_out_pair(pair).holes]
    assert sum(sum(own) for own in radii) == pytest.approx(10.1)


def test_a_train_goes_from_arbor_to_arbor_in_its_directions(tmp_path):
    told = train_of(tmp_path, TRAIN)
    layout = lay_out_train(told, [perfect_gear(z) for z in (20, 20, 16, 22)])
    here = (12.0, 12.7)
    there = (here[0] + 10.1 * cos(radians(30)), here[1] + 10.1 * sin(radians(30)))
    last = (there[0], there[1] - 9.6)
    assert [(h.x, h.y) for h in layout.holes] == [pytest.approx(p) for p in (here, there, last)]
    assert [[gear.teeth for gear in h.gears] for h in layout.holes] == [[20], [20, 16], [22]]
    assert layout.holes[0].diameter == 2
    assert [(i, j) for i, j, _ in layout.pairs] == [(0, 1), (1, 2)]


def test_errors_of_a_train_add_up_in_angle_and_are_geared_down(tmp_path):
    told = train_of(tmp_path, TRAIN)
    layout = lay_out_train(told, [perfect_gear(z) for z in (20, 20, 16, 22)])
    wheels = [pair.mesh.b.wheel.reference_radius for *_, pair in layout.pairs]
    each = [max(w.total.value for w in pair.ways) / 1000 for *_, pair in layout.pairs]
    wanted = each[0] / wheels[0] * 16 / 22 + each[1] / wheels[1]
    assert layout.error_at_last == pytest.approx(wanted)
    assert layout.error_at_last < radians(1 / 60) * pi  # perfect gears


def test_a_hole_off_the_plate_is_refused_with_its_place(tmp_path):
    off = TRAIN.replace('edge_y = "0.5in"', 'edge_y = "2mm"')
    with pytest.raises(UseError, match=r"hole 3 would lie at x 20\.75 mm, y -2\.55 mm, off the"):
        lay_out_train(train_of(tmp_path, off), [perfect_gear(z) for z in (20, 20, 16, 22)])


WRONG = {
    "one gear": ('[[gear]]\nreading = "a"\n', "gear.*two tables"),
    "no reading first": ('[[gear]]\nmate_teeth = 20\n[[gear]]\nreading = "a"\n', "first gear must"),
    "neither": ('[[gear]]\nreading = "a"\n[[gear]]\n', "gear 2.*either reading or mate_teeth"),
    "both distances": (
        '[[gear]]\nreading = "a"\n[[gear]]\nreading = "b"\nbacklash = "1mm"\n'
        'centre_distance = "9mm"\n',
        "gear 2.*either centre_distance or backlash",
    ),
    "no unit": (
        '[[gear]]\nreading = "a"\n[[gear]]\nreading = "b"\nbacklash = 0.02\n',
        "0.02.*unit",
    ),
    "unknown": ('[[gear]]\nreading = "a"\nteeth = 3\n[[gear]]\nreading = "b"\n', "gear 1.*teeth"),
    "direction": (
        '[[gear]]\nreading = "a"\n[[gear]]\nreading = "b"\ndirection_deg = -361\n',
        "gear 2.*degrees, from -360 to 360",
    ),
    "no TOML": ("[[gear]\n", "cannot be read as TOML"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_train_file_with_a_mistake_is_told_in_one_line(tmp_path, what):
    text, told = WRONG[what]
    with pytest.raises(UseError, match=told) as refused:
        train_of(tmp_path, text)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("direction", [-360, 360])
def test_a_gear_may_lie_anywhere_round_the_one_before(tmp_path, direction):
    text = f'[[gear]]\nreading = "a"\n[[gear]]\nmate_teeth = 20\ndirection_deg = {direction}\n'
    assert train_of(tmp_path, text).gear[1].direction_deg == direction


def test_a_train_file_is_read_as_every_other_one(tmp_path):
    text = '\ufeff[[gear]]\r\nreading = "a"\r\n[[gear]]\r\nmate_teeth = 20\r\nbacklash = 0.1mm\r\n'
    assert train_of(tmp_path, text).gear[1].backlash == pytest.approx(0.1)
    (tmp_path / "train.toml").unlink()
    os.mkfifo(tmp_path / "train.toml")  # opened, it would wait for ever
    with pytest.raises(UseError, match="no ordinary file"):
        load_train(tmp_path / "train.toml")
