"""Partial pictures joined into one reading, on rendered arcs."""

from functools import cache
from hashlib import sha256
from math import cos, pi, radians, sin

import numpy as np
import pytest

from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import make_settings
from cogloupe.sets import set_reading
from cogloupe.sets.stitching import inspect_stitched
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError

from ..helpers.pictures import flanks, rms

Z, MM_PER_PX = 20, 0.04
WIDTH, HEIGHT = 480, 300
PX_UM = 1000 * MM_PER_PX
KNOWN = {"teeth": Z, "module_mm": 1.0, "scale_um_per_px": PX_UM}
SCATTERED = Faults(pitch_scatter_um=15, flank_scatter_um=5)
FULL = (0, 52, 103, 155, 206, 258, 309)


@pytest.fixture(autouse=True, scope="module")
def seen_once():
    """Look for gear and edges on each arc once, though several tests join it."""
    look, seen = set_reading.see_gear, {}

    def see_gear(pixels, settings):
        asked = id(pixels), repr(settings)  # `arc` keeps the pixels, so that no other gets the id
        if asked not in seen:
            seen[asked] = look(pixels, settings)
        return seen[asked]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(set_reading, "see_gear", see_gear)
        yield


@cache
def arc(turn, faults=SCATTERED):
    """The teeth that the gear, turned clockwise, shows at the top; photo and truth."""
    radius = Z / 2 / MM_PER_PX
    camera = Camera(
        mm_per_px=MM_PER_PX, width_px=WIDTH, height_px=HEIGHT, bore_x_px=WIDTH / 2 + turn % 7,
        bore_y_px=120 + radius + turn % 5, rotation_deg=(turn + 2) % 360, blur_px=1.0, noise=0.0,
        bits=16, gamma="linear", oversample=2,
    )  # fmt: skip
    spec = GearSpec(teeth=Z, module_mm=1.0, bore_mm=3.0)
    made = render(spec, faults, camera, np.random.default_rng(4))
    grain = np.random.default_rng([3, turn]).normal(0, 1.6, made.image.shape)
    pixels = np.clip(np.rint(made.image / 257 + grain), 0, 255).astype(np.uint8)
    name = f"arc-{turn}.png"
    return Photo(name, sha256(pixels.tobytes()).hexdigest(), pixels, {}), made.truth


def arcs(turns, faults=SCATTERED):
    return [arc(turn, faults)[0] for turn in turns]


def join(turns, marks=None, faults=SCATTERED, **given):
    return inspect_stitched(arcs(turns, faults), make_settings(KNOWN | given), marks)


@cache
def whole():
    return join(FULL).reading


def true_places(truth):
    """True places of the flanks about the axis that takes the once-a-turn part out of both sides.

    The truth is about the axis that the gear was made about, which random errors of the teeth
    hide: no reading about the teeth themselves can know it.
    """
    place = flanks(truth, "cumulative_pitch_um")
    lean, sign = radians(20), np.array([-1.0, 1.0])
    angle = np.radians(flanks(truth, "position_deg"))
    facing = angle + sign * (pi / 2 - lean)
    design = np.stack([np.cos(facing), np.sin(facing), sign + 0 * angle, 1 + 0 * angle], axis=-1)
    out = sign * place * cos(lean)
    found = np.linalg.lstsq(design.reshape(-1, 4), out.ravel(), rcond=None)[0]
    left = place - sign * (design[..., :2] @ found[:2]) / cos(lean)
    return left - left[0]


def test_arcs_round_the_whole_gear_become_one_reading():
    reading = whole()
    error = flanks(reading, "cumulative_pitch_um") - true_places(arc(0)[1].about_teeth)
    assert np.isfinite(error).all()
    # Each flank is known to some 0.005 px; seven joints in a ring add no more than their like.
    assert rms(error) < 0.03 * PX_UM
    u = flanks(reading, "u_cumulative_pitch_um")
    # Twice U, as all flanks hang together through the few unknowns of the joints; and U no wider
    # than a ring that closes leaves it.
    assert (np.abs(error) <= 4 * u + 1e-9).all()
    assert rms(u) < 0.05 * PX_UM


def test_the_joint_has_its_own_rows_in_the_budget():
    sources = {line.source for line in whole().budget if line.figure.startswith("cumulative")}
    assert "places of the pictures" in sources
    found = whole().photo_set
    assert found.kind == "joined"
    assert len(found.pictures) == len(FULL)
    assert 0.5 < found.misfit < 1.5
    assert [w.message for w in whole().warnings if w.code == "joined"] == [
        "7 partial pictures were joined; 20 of 20 teeth are seen whole."
    ]


def test_what_no_picture_shows_stays_empty():
    reading = join(FULL[:2]).reading
    seen = np.isfinite(flanks(reading, "cumulative_pitch_um"))
    assert 8 <= seen.all(axis=1).sum() < Z
    first = flanks(reading, "single_pitch_um")
    both = np.isfinite(first) & np.isfinite(flanks(whole(), "single_pitch_um"))
    assert both.sum() >= 12
    gaps = [gap.depth_mm for gap in reading.gaps]
    assert None in gaps


def test_arcs_without_common_teeth_are_refused():
    with pytest.raises(PhotoError, match=r"arc-180.png cannot be joined to the other picture"):
        join((0, 180))


def test_even_arcs_are_refused_and_joined_by_marks():
    even = Faults()
    with pytest.raises(PhotoError, match=r"cannot be joined.*--mark"):
        join((0, 52), faults=even)
    # Turned on by 52 degrees, what was tooth 1 stands as tooth 4 (18 degrees a tooth).
    marked = join((0, 52), [(1, 1), (4, 4)], faults=even).reading
    error, u = flanks(marked, "single_pitch_um"), flanks(marked, "u_single_pitch_um")
    # The axis of nine teeth is poorly told; half a tenth of a pixel on a pitch is, and is stated.
    assert rms(error) < 0.1 * PX_UM
    assert (np.abs(error) <= 2 * u)[np.isfinite(error)].all()
    assert marked.photo_set.pictures[1].turn_deg == pytest.approx(52, abs=0.1)


def test_a_mark_on_a_tooth_out_of_sight_is_told():
    with pytest.raises(UseError, match=r"tooth 11 of arc-52.png, which is not seen there"):
        join((0, 52), [(1, 1), (11, 11)])


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"teeth": None}, r"--join needs the number of teeth \(--teeth\)"),
        ({"scale_um_per_px": None}, r"--join needs the scale"),
        ({"datum": "bore"}, "has the teeth as datum"),
    ],
)
def test_what_an_arc_does_not_tell_must_be_stated(given, message):
    with pytest.raises(CogloupeError, match=message):
        join((0, 52), **given)


def test_truth_is_freed_of_an_axis_alone():
    """The helper above leaves what comes twice a turn as it is, and takes an offset out."""
    truth = arc(0)[1].about_teeth
    assert abs(sin(radians(truth.teeth[0].centre_deg))) > 0.9
    assert rms(true_places(truth)) > 3
