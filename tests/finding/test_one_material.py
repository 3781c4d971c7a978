"""Whether a side or a shadow is part of what was taken for a gear."""

import numpy as np
import pytest

from cogloupe.finding.one_material import one_material
from cogloupe.finding.region import Region

SIDE, CENTRE, TIP, ROOT, Z = 400, 200.0, 150.0, 120.0, 12
FACE, GROUND = 150.0, 130.0


def disc(shift=0.0):
    """Teeth need not be drawn: the outline of a disc has the same strip beside it."""
    y, x = np.mgrid[:SIDE, :SIDE] - CENTRE
    return np.hypot(x - shift, y) < TIP


def region_about(mask_radius, shift):
    turn = np.linspace(0, 2 * np.pi, 600, endpoint=False)
    ring = CENTRE + mask_radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # What a level takes in: the face, and what lies beside it on one side.
    ring[:, 0] += np.where(np.cos(turn) > 0, shift * np.cos(turn), 0.0)
    return Region(
        weights=None, threshold=np.zeros((4, 4), np.float32), bright=True, x=CENTRE, y=CENTRE,
        tip_radius=TIP, root_radius=ROOT, teeth=Z, share=1.0, cut_off=False, outline=ring,
    )  # fmt: skip


@pytest.mark.parametrize(("shade", "one"), [(20.0, False), (FACE, True)])
def test_a_shadow_that_a_level_took_in_is_another_material(shade, one):
    shift = 12.0
    picture = np.full((SIDE, SIDE), GROUND)
    picture[disc(shift)] = shade
    picture[disc()] = FACE
    picture += np.random.default_rng(1).normal(0, 3, picture.shape)
    assert one_material(picture.astype(np.float32), region_about(TIP, shift)) == one


def test_a_black_gear_on_a_lamp_is_one_material():
    picture = np.where(disc(), 4.0, 240.0) + np.random.default_rng(2).normal(0, 3, (SIDE, SIDE))
    assert one_material(picture.astype(np.float32), region_about(TIP, 0.0))
