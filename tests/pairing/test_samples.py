"""The day train among the samples: its pictures tell what its maker did to it."""

import pytest

from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.pairing.train import load_train
from cogloupe.simulation.scene import load_scene

from ..helpers.pair_gears import exact_reading, made_as_pictured
from ..helpers.samples import SAMPLES, reading_of

NAMES = ("day-train-pinion-m05-18", "day-train-wheel-m05-36")
BOOK_MM = 13.5  # half the sum of the pitch circles
THICK, NARROW = 7, 12  # the wheel's tooth and the pinion's gap that are out


@pytest.fixture(scope="module")
def read():
    return [gear_from_reading(reading_of(f"{name}.jpg")) for name in NAMES]


@pytest.fixture(scope="module")
def made():
    scenes = [load_scene(SAMPLES / "scenes" / f"{name}.toml") for name in NAMES]
    return [gear_from_reading(exact_reading(made_as_pictured(scene))) for scene in scenes]


def test_at_the_distance_of_the_book_the_thick_tooth_is_tight(read):
    found = pair_gears(*read, Asked(distance_mm=BOOK_MM))
    assert found.verdict == "tight"
    whose, tooth, _ = found.backlash.tightest[0].squeezed
    assert (whose, tooth) == ("b", THICK)


def test_put_together_wrongly_the_thick_tooth_meets_the_narrow_gap(read):
    # Gap 18 of the wheel over tooth 1 of the pinion: six pitches on, both are there.
    found = pair_gears(*read, Asked(distance_mm=BOOK_MM, start=(1, THICK + NARROW - 1)))
    assert found.backlash.tightest[0].squeezed == ("b", THICK, NARROW)


def test_what_the_pictures_tell_of_the_pair_is_true_within_its_u(read, made):
    asked = Asked(distance_mm=13.56, start=(1, 2))
    seen, true = (pair_gears(*gears, asked) for gears in (read, made))
    for figure in ("least", "mean", "most"):
        told, wanted = (getattr(found.backlash, figure) for found in (seen, true))
        assert abs(told.value - wanted.value) < 2 * told.u
    for told, wanted in zip(seen.ways, true.ways, strict=True):
        # Twice U: one pair of eight figures is no proof that one of them must lie inside.
        assert abs(told.total.value - wanted.total.value) < 4 * told.total.u


def test_the_train_names_gears_that_are_there():
    told = load_train(SAMPLES / "train.toml")
    for gear in told.gear:
        assert (SAMPLES / f"{gear.reading.rsplit('/', 1)[1]}.jpg").is_file()
