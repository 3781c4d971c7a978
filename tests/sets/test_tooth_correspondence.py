"""Which tooth is which: evidence from the teeth, from the face, along chains of pictures."""

from math import pi, radians

import numpy as np
import pytest

from cogloupe.sets.tooth_correspondence import (
    RAYS_A_TOOTH,
    SURE,
    Match,
    best_match,
    face_evidence,
    face_rings,
    pattern_evidence,
    placed,
)

from ..helpers.synthetic_sets import faulty_gear, view, wide_lens

Z = 24


def pair(gear, shift, rng, **changes):
    """Two views, each in its own order; tooth k of the first is k + shift of the second."""
    first = view(gear, 0.1, (800, 600), rng=rng, **changes)
    turned = np.roll(gear, shift, axis=0)
    # The gear turned clockwise: the second picture's own first tooth stands at the same angle.
    return first, view(turned, 0.14, (770, 640), rng=rng, **changes)


@pytest.mark.parametrize("size_px", [0.02, 0.1, 1.0])
@pytest.mark.parametrize("shift", [1, 7, 20])
def test_the_fault_pattern_tells_the_tooth(size_px, shift):
    rng = np.random.default_rng(shift)
    first, second = pair(faulty_gear(Z, rng, size_px), shift, rng)
    match = best_match(pattern_evidence(first, second, wide_lens()))
    assert match.shift == shift
    assert match.sure > SURE


def test_even_teeth_are_never_matched_by_chance():
    """Camera errors common to both pictures are large here, and must not count as a pattern."""
    rng = np.random.default_rng(8)
    sure = []
    for shift in range(1, 21):
        first, second = pair(np.zeros((Z, 3)), shift, rng)
        sure.append(best_match(pattern_evidence(first, second, wide_lens())).sure)
    assert max(sure) < SURE


def test_what_is_believed_is_right():
    """Faults near the noise: some pairs are told, some are not, none is told wrong."""
    rng = np.random.default_rng(9)
    told = []
    for trial in range(40):
        shift = 1 + trial % (Z - 1)
        first, second = pair(faulty_gear(Z, rng, 0.012), shift, rng)
        match = best_match(pattern_evidence(first, second, wide_lens()))
        if match.sure > SURE:
            told.append(match.shift == shift)
    assert told
    assert all(told)


def test_an_overlap_of_a_few_teeth_is_told_and_none_is_not_invented():
    rng = np.random.default_rng(11)
    gear = faulty_gear(30, rng, 0.3)
    arcs = []
    for start in (0, 6, 15):
        # Each arc shows ten teeth; its own order begins elsewhere.
        one = view(gear, radians(12 * start), (800, 600), rng=rng, u_shift=5.0)
        out = np.full(one.out.shape, np.nan)
        out[start : start + 10] = one.out[start : start + 10]
        arcs.append(type(one)(out, one.u, one.pose, one.lens, one.u_pose))
    together = best_match(np.append(pattern_evidence(arcs[0], arcs[1], wide_lens(), 3), 0.0))
    assert (together.shift, together.sure > SURE) == (0, True)
    apart = best_match(np.append(pattern_evidence(arcs[0], arcs[2], wide_lens(), 3), 0.0))
    assert apart.shift == 30 or apart.sure < SURE


def face(turn, keyway=True, shade=0.0):
    """A face with a bore of two keys' width at an angle, under light from one side."""
    rows, columns = np.mgrid[0:300, 0:300] - 150.0
    radius, angle = np.hypot(rows, columns), np.arctan2(rows, columns)
    off = np.abs((angle - turn + pi) % (2 * pi) - pi)
    hole = (radius < 40) | (keyway & (radius < 60) & (off * radius < 9))
    grain = np.random.default_rng(int(1000 * turn)).normal(0, 0.01, radius.shape)
    return hole + grain + shade * np.cos(5 * (angle - 0.4)) * (radius > 60)


def rings(picture, first_tooth):
    return face_rings(picture, np.array([150.0, 150.0]), first_tooth, 120.0, Z)


def test_a_keyway_tells_the_tooth():
    turn = 7 * 2 * pi / Z + 0.05
    evidence = face_evidence(rings(face(0.3), 0.0), rings(face(0.3 + turn), 0.05), 0.05)
    match = best_match(evidence)
    assert (match.shift, match.sure > SURE) == (7, True)


def test_a_round_bore_and_light_that_stays_prove_nothing():
    turn = 7 * 2 * pi / Z
    plain = face_evidence(
        rings(face(0.3, keyway=False, shade=0.3), 0.0),
        rings(face(0.3 + turn, keyway=False, shade=0.3), 0.0), 0.0,
    )  # fmt: skip
    assert best_match(plain).sure < SURE


def test_unrolled_faces_turn_by_whole_teeth():
    one, other = rings(face(0.3), 0.0), rings(face(0.3), 2 * pi / Z)
    # The same pixels, read from one tooth further on.
    np.testing.assert_allclose(np.roll(one, -RAYS_A_TOOTH, axis=1), other, atol=0.05)


def test_pictures_are_placed_along_the_surest_links():
    links = [(0, 2, Match(5, 1.0, 0)), (1, 2, Match(3, 0.9999, 0)), (3, 4, Match(1, 1.0, 0))]
    assert placed(links, 5, 30) == [0, 2, 5, None, None]
