"""Gears found by the rhythm of their edges, where no grey level parts them from the ground."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree
from skimage import data

from cogloupe.finding.edge_directions import edge_directions
from cogloupe.finding.gear_selection import choose_gear
from cogloupe.finding.outline_fit import Pose
from cogloupe.finding.periodicity import Rhythm
from cogloupe.finding.periodicity_search import (
    _near_numbers,
    bore_outline,
    gears_by_theory,
    lean_of,
)
from cogloupe.finding.segmentation import find_gears
from cogloupe.inputs.settings import make_settings
from cogloupe_calibration.errors import PhotoError

from ..helpers.composites import Look, compose

SHADED = Look(ground_level=0.75, contrast=0.03, shadow=(9.0, 6.0, 0.5), shade=0.3)
LOOKS = {
    "white on white, with a shadow": SHADED,
    "as light as wood, turned": Look(teeth=41, ground="wood", contrast=0.05, marks=0.1),
    "on gravel, with holes and a hand": Look(
        teeth=23, ground="gravel", contrast=0.1, holes=5, hidden=1
    ),
    "seen aslant": Look(teeth=29, lean_deg=15.0, lean_towards_deg=40.0, distance=2000.0),
    "two teeth broken off": Look(teeth=27, missing=2, contrast=0.1),
}


@cache
def found(name):
    made = compose(LOOKS[name])
    return made, gears_by_theory(made.image)


@pytest.mark.parametrize("name", LOOKS)
def test_hard_looks_are_counted_and_placed(name):
    made, regions = found(name)
    (region,) = regions
    assert region.teeth == made.look.teeth
    assert region.rivals == ()
    assert np.hypot(region.x - made.look.x, region.y - made.look.y) < 2
    assert not region.cut_off


@pytest.mark.parametrize("name", LOOKS)
def test_the_predicted_outline_runs_along_the_true_one(name):
    made, (region,) = found(name)
    x, y = (region.outline - [region.x, region.y]).T
    up = (np.hypot(x, y) - region.root_radius) / (region.tip_radius - region.root_radius)
    apart = cKDTree(made.outline).query(region.outline)[0][up > 0.25]
    # 3 px are asked for where flanks are measured. Broken-off and hidden teeth are put by theory;
    # floors are less sure under turned rings, which run as they do.
    assert np.mean(apart < 3) > 0.9
    assert np.sum(np.diff(np.unwrap(np.arctan2(y, x)))) > 0  # clockwise, y down


@pytest.mark.parametrize("name", LOOKS)
def test_the_dividing_level_lies_between_gear_and_ground(name):
    made, (region,) = found(name)
    x, y = np.rint(region.outline).astype(int).T
    on_edge = np.median(made.image[y, x] @ region.weights)
    assert abs(np.median(region.threshold[y, x]) - on_edge) < region.contrast


def test_a_bore_is_found_as_a_hole():
    made, (region,) = found("white on white, with a shadow")
    (hole,) = region.holes
    radius = np.hypot(*(hole - [made.look.x, made.look.y]).T)
    # An outline is told to a pixel.
    assert np.median(radius) == pytest.approx(made.look.bore * made.look.tip_radius, abs=1)


@pytest.mark.parametrize("bore_radius", [5, 8, 11])
def test_a_bore_is_found_on_the_smallest_of_gears(bore_radius):
    grey = np.full((60, 60), 200, np.float32)
    cv2.circle(grey, (30, 30), bore_radius, 40, cv2.FILLED)
    pose = Pose(teeth=9, x=30.0, y=30.0, tip_radius=22.0, turn=0.0, depth=5.0)
    (hole,) = bore_outline(grey, pose)  # looked for up to 15 px from the axis
    np.testing.assert_allclose(np.hypot(*(hole - 30).T), bore_radius, atol=1.5)


@pytest.mark.parametrize("depth", [19.0, 20.5, 22.0])
def test_where_no_face_is_left_under_the_teeth_there_is_no_bore(depth):
    pose = Pose(teeth=6, x=30.0, y=30.0, tip_radius=22.0, turn=0.0, depth=depth)
    assert bore_outline(np.full((60, 60), 200, np.float32), pose) == ()


def test_a_lean_is_told_in_degrees():
    made, (region,) = found("seen aslant")
    # At 15 degrees the gear is 3.4 % shorter one way; half a percent more or less is a degree.
    assert region.lean_deg == pytest.approx(made.look.lean_deg, abs=1)
    assert lean_of((0.0, 0.0)) == 0


@pytest.mark.parametrize("turn", [1, 2])
def test_the_count_is_the_same_turned_and_mirrored(turn):
    image = compose(replace(SHADED, teeth=45, x=330.0)).image
    turned = np.ascontiguousarray(np.rot90(image, turn)[:, ::-1])
    assert [region.teeth for region in gears_by_theory(turned)] == [45]


@pytest.mark.parametrize("picture", [data.coins, data.page])
def test_what_is_no_gear_has_no_rhythm(picture):
    assert not any(region.sure for region in gears_by_theory(picture()))


def test_what_comes_nearest_is_told():
    # Eleven teeth of which most lie under hands.
    image = compose(Look(teeth=11, contrast=0.1, hidden=7, seed=5)).image
    nearest = find_gears(image, doubtful=True)
    assert not nearest[0].sure
    told = (
        r"nearest come .* teeth round the place \d+, \d+ px.*: \d+ % of their flanks .* full scale"
    )
    with pytest.raises(PhotoError, match=told):
        choose_gear(nearest, make_settings({}), image.shape)


def test_a_gear_is_found_beside_a_smaller_one_that_is_clearer():
    # The smaller one is black and has 17 teeth.
    made = compose(Look(teeth=31, ground="text", contrast=-0.05, tip_radius=180.0, second=True))
    first = find_gears(made.image)[0]
    assert first.teeth == 31


def test_teeth_are_counted_under_scratches_that_run_one_way():
    made = compose(Look(teeth=33, ground="wood", contrast=0.03, texture=0.4, hidden=1))
    (region,) = find_gears(made.image)
    assert (region.teeth, region.rivals) == (33, ())


def test_a_stated_number_that_is_not_there_is_not_believed():
    made, _ = found("two teeth broken off")
    (region,) = gears_by_theory(made.image, teeth=31)
    assert region.teeth == 27


def test_directions_of_edges_do_not_ask_which_side_is_brighter():
    image = cv2.GaussianBlur(np.eye(90, dtype=np.float32) * 180 + 30, (0, 0), 3).astype(np.uint8)
    there, inverse = edge_directions(image), edge_directions(255 - image)
    np.testing.assert_allclose(there, inverse, atol=1e-5)  # float32
    assert np.abs(there).max() <= 1


def test_an_outline_whose_own_number_was_not_told_leaves_all_open_that_were():
    told = [
        Rhythm(strength=0.02, teeth=teeth, x=30, y=30, tip_radius=20, turn=0) for teeth in (15, 17)
    ]
    followed = SimpleNamespace(pose=SimpleNamespace(teeth=16, x=30, y=30, tip_radius=20))
    assert _near_numbers(told, followed, 1.25) == {15, 17}
