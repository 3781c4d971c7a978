"""Every sample picture: what its maker says is wrong is the first line that a reader gets."""

import json
from math import cos, hypot, radians, sin

import pytest

from ..helpers.samples import SAMPLES, reading_of

GOOD = ("nothing_to_mend", "nothing_resolved")

# Kind of the first line, and the size that the picture's maker states (README of the samples); a
# tenth of a size is left for the random scatter that every sample has besides.
STATED = {
    "clock-wheel-m05-64-cycloidal.jpg": ("runout", 22.0),
    "comet-wheel-m1-20-hob-off-centre.jpg": ("short_flanks", None),
    "crank-wheel-32dp-24-deep.jpg": ("too_deep", 70.0),
    "day-train-idler-m05-24.jpg": ("too_deep", 40.0),
    "day-train-pinion-m05-18.jpg": ("runout", 12.0),
    "day-train-wheel-m05-36.jpg": ("runout", 18.0),
    "day-wheel-48dp-21-eccentric.jpg": ("runout", 35.0),
    "idler-48dp-28-nick-and-swarf.jpg": ("dirt", None),
    "mars-wheel-m05-36-hob-lost-steps.jpg": ("step", 47.0),
    "tide-wheel-m08-20-soft.jpg": ("flank_angle", None),
    "venus-wheel-48dp-21-hob-pulses.jpg": ("wide_uneven_gaps", None),
    "winding-ratchet-30-straight.jpg": ("step", 45.0),
    "year-wheel-m05-30-lost-step.png": ("step", 28.0),
    "year-wheel-m05-30-wide-gaps.jpg": ("wide_uneven_gaps", None),
    "zodiac-wheel-m04-96-periodic.jpg": ("wave", 16.0),
}
SOUND = ("day-wheel-48dp-21.jpg", "hour-wheel-m05-30.tiff", "moon-pinion-m1-12.jpg")


@pytest.mark.parametrize("name", STATED)
def test_the_stated_fault_comes_first(name):
    kind, size = STATED[name]
    dominant = reading_of(name).verdict.dominant
    assert dominant.kind == kind, dominant.text
    if size is not None:
        assert abs(dominant.value_um - size) < max(2 * dominant.u_um, 0.1 * size)


@pytest.mark.parametrize("name", SOUND)
def test_on_a_good_gear_nothing_is_to_be_mended(name):
    reading = reading_of(name)
    assert reading.verdict.dominant.kind in GOOD, reading.verdict.dominant.text
    assert reading.causes.outcome in ("good", "nothing")
    assert reading.verdict.next_step.startswith("Nothing.")


def test_the_flank_angle_is_told_with_its_size():
    text = reading_of("tide-wheel-m08-20-soft.jpg").verdict.dominant.text
    found, u = (float(word.rstrip("°,")) for word in text.split()[4:7:2])
    assert abs(found - 20.5) < 2 * u
    assert u < 0.5


def test_where_flanks_carry_dirt_cleaning_comes_first():
    reading = reading_of("idler-48dp-28-nick-and-swarf.jpg")
    assert {6, 10, 15, 22} <= set(reading.verdict.dominant.teeth)
    assert reading.verdict.next_step.startswith("Brush teeth")
    venus = reading_of("venus-wheel-48dp-21-hob-pulses.jpg")
    assert venus.verdict.next_step.startswith("Brush teeth")


def test_the_machine_beside_the_pictures_gives_sizes_in_its_steps():
    causes = reading_of("year-wheel-m05-30-lost-step.png").causes
    assert causes.machine_known
    assert causes.causes[0].sizes[0].unit == "motor steps"


def test_the_eccentricity_points_where_the_truth_says():
    name = "day-wheel-48dp-21-eccentric"
    truth = json.loads((SAMPLES / "truth" / f"{name}.json").read_text("utf-8"))
    pattern = reading_of(f"{name}.jpg").causes.causes[0].pattern
    told = radians(float(pattern.split("towards ")[1].split("°")[0]))
    stated = radians(truth["made_eccentricity_direction_deg"])
    # 8 of 35 µm across the direction, as an unmeasured lens leaves them.
    assert hypot(cos(told) - cos(stated), sin(told) - sin(stated)) < 0.25
