"""A dividing level is trusted where both sides of its border lie clear of it, and only there."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.clear_level import _runs_along, level_is_clear
from cogloupe.optics.contour_following import border_chains, crossings_of, material_mask
from cogloupe.optics.greys import greys_of

from ..helpers.pictures import rendered

BRASS = {"look": "front-lit", "gamma": "srgb"}


@pytest.mark.parametrize(
    ("camera", "clear"),
    [
        ({}, True),
        ({"illumination": 0.8}, True),
        (BRASS | {"bevel_mm": 0.12}, True),
        ({"noise": 0.3}, False),
        ({"ground_texture": 0.4}, False),
    ],
    ids=["back-lit", "uneven light", "bevel", "noise", "coarse ground"],
)
def test_both_sides_must_lie_clear_of_the_level(camera, clear):
    image = rendered(**camera).image
    region = find_gears(image)[0]
    greys = greys_of(image, region)
    mask = material_mask(greys, region)
    border = crossings_of(mask, border_chains(mask, region, greys.corner)[0])
    # By more than three standard deviations each: noise of a sixth of the step is the least.
    assert level_is_clear(greys, border, region) == clear


@pytest.mark.parametrize(("reaches", "along"), [(0.0, True), (1.5, True), (3.0, False)])
def test_a_border_near_the_prediction_is_the_gear_s(reaches, along):
    turn = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    way, reach_px = np.stack([np.cos(turn), np.sin(turn)], axis=1), 4.0
    region = SimpleNamespace(outline=100 * way, reach_px=reach_px)
    border = SimpleNamespace(inside=(100 + reaches * reach_px) * way)
    assert _runs_along(SimpleNamespace(corner=(0, 0)), border, region) == along
