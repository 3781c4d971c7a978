"""Two explanations of an outline are compared by what they explain, and by nothing else."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.finding.colour import LUMA
from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.joint.crossings import crossings_of
from cogloupe.optics.joint.evidence import words
from cogloupe.optics.joint.explanation import Fit, look
from cogloupe.optics.joint.forward_model import Kind
from cogloupe.optics.joint.profiles import in_sight
from cogloupe.optics.joint.shared_terms import Frame
from cogloupe.optics.joint.wide_greys import WideGreys

from ...helpers.pictures import rendered

EVERY = 4


@cache
def settled():
    """Marked brass on a smooth ground, explained by plain edges."""
    image = rendered(look="front-lit", gamma="srgb", tool_marks=0.1).image
    region = find_gears(image)[0]
    greys = WideGreys.of(image, LUMA).by_curve(1.0)
    crossings = in_sight(greys, crossings_of(region.outline))
    fit = Fit(
        greys=greys, frame=Frame.about(region.outline), reach=8, every=EVERY, local=True,
        spread=np.array([1.2, 0, 0, 0, 0, 0]), kind=Kind(powers=(1, 1)),
    )  # fmt: skip
    first = look(fit, crossings.take(np.arange(0, len(crossings), EVERY)))
    return look(first.fit, first.crossings)


@pytest.mark.parametrize("moved", [-3, 0, 2])
def test_looks_are_compared_on_the_same_pixels(moved):
    rng = np.random.default_rng(4)
    offsets, step = np.arange(-7, 9), np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
    inside = rng.integers(20, 60, (4, 2))

    def taken_about(inside):
        xy = inside + offsets[:, None, None] * step
        of_pixel = xy[..., 0] + 1000.0 * xy[..., 1]  # so that a sum tells which they are
        return SimpleNamespace(
            profiles=SimpleNamespace(
                crossings=SimpleNamespace(inside=inside, step=step), offsets=offsets
            ),
            word_on=lambda pixels: (pixels * of_pixel).sum(axis=0),
        )

    one, two = words(taken_about(inside), taken_about(inside + moved * step))
    np.testing.assert_array_equal(one, two)
    assert np.all(one > 0)


def test_levels_that_were_free_stay_spent_however_long_a_fit_goes_on():
    spent = [
        float(np.mean(look(settled().fit, settled().crossings, rounds).placed.spent))
        for rounds in (1, 3, 6)
    ]
    assert spent == sorted(spent)


def test_an_edge_between_equal_lights_has_no_step():
    found = settled()
    alike = replace(found.state, levels=np.ones_like(found.state.levels))
    assert np.all(replace(found, state=alike).step == 0)
    assert np.all(found.step > 0)
