"""Synthetic views of one gear: what pictures would say of its teeth, without the pictures."""

from math import pi

import numpy as np

from cogloupe.sets.adjust import View
from cogloupe_calibration.lens import TERMS, frame_middle, make_lens, term_effects

FRAME = (1600, 1200)
RADIUS, TIP_RADIUS, LEAN = 420.0, 455.0, np.radians(20)
WIDE = {"k1": 0.02, "k2": 0.01, "p1": 0.002, "p2": 0.002, "e1": 0.002, "e2": 0.002, "g1": 0.01,
        "g2": 0.01}  # fmt: skip
# A lens with about 1 % of distortion at the corner and a lean of a degree or two.
TRUE_TERMS = np.array([-0.01, 0.002, 2e-4, -1e-4, 1.5e-4, -2e-4, 2e-3, -1e-3])


def wide_lens():
    """No distortion, with a wide allowance."""
    u = np.array([WIDE[name] for name in TERMS])
    return make_lens(*frame_middle(*FRAME), np.zeros(len(TERMS)), np.diag(u**2))


def view(gear, turn, place, noise=0.005, rng=None, terms=TRUE_TERMS, u_shift=0.01):
    """View of a gear that stands turned at a place, in the gear's own order of teeth.

    `gear` is (z, 3), px out of the material: left flank, right flank, tip.
    """
    z = len(gear)
    sign = np.array([-1.0, 1.0])
    tooth = turn + 2 * pi / z * np.arange(z)
    flank = tooth[:, None] + sign * 0.5 * pi / z
    angle = np.column_stack([flank, tooth])
    facing = np.column_stack([flank + sign * (pi / 2 - LEAN), tooth])
    radius = np.array([RADIUS, RADIUS, TIP_RADIUS])[:, None]
    arm = radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    reach = RADIUS * np.cos(LEAN)
    turned = np.broadcast_to([-reach, reach, 0.0], arm.shape[:2])
    swell = (arm * normal).sum(axis=-1)
    pose = np.stack([turned, normal[..., 0], normal[..., 1], swell, np.ones_like(swell)], axis=-1)
    centre, half = frame_middle(*FRAME)
    effects = term_effects(np.zeros(len(TERMS)), centre, half, np.asarray(place) + arm)
    bore = term_effects(
        np.zeros(len(TERMS)), centre, half,
        np.asarray(place) + 80 * np.stack([np.cos(tooth), np.sin(tooth)], axis=-1),
    ).mean(axis=0)  # fmt: skip
    lens = np.einsum("kmxt,kmx->kmt", effects - bore, normal)
    out = gear - lens @ terms
    if rng is not None:
        out = out + noise * rng.standard_normal(out.shape)
    u_pose = np.array([2 * pi / z, u_shift, u_shift, 1e-3, 0.05])
    return View(out, np.full(out.shape, noise), pose, lens, u_pose)


def faulty_gear(z, rng, size=0.2):
    """Random errors of flanks, and smaller ones of tips, px."""
    return rng.standard_normal((z, 3)) * np.array([size, size, size / 4])
