"""Turned pictures, repeats and their sets, on small rendered pictures."""

from functools import cache
from hashlib import sha256

import numpy as np
import pytest

from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.reading.files import reading_json
from cogloupe.reading.models import Reading
from cogloupe.report.set_table import set_table
from cogloupe.sets.camera_map import camera_map
from cogloupe.sets.correspondence_choice import parse_marks
from cogloupe.sets.repeats import inspect_repeats
from cogloupe.sets.rotation_set import (
    UNKNOWN_LENS,
    _between,
    inspect_rotation_set,
    unknown_lens,
)
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError
from cogloupe_calibration.lens import TERMS
from cogloupe_calibration.scale import from_stated_scale

from ..helpers.pictures import flanks, rms

Z, SIDE = 20, 480
MM_PER_PX = 0.06
SETTINGS = make_settings({"teeth": Z, "module_mm": 1.0, "scale_um_per_px": 1000 * MM_PER_PX})
PX_UM = 1000 * MM_PER_PX
SCATTERED = Faults(pitch_scatter_um=15)
TURNS = (4.0, 131.0, 245.0)
PLACES = ((262.0, 226.0), (219.0, 257.0), (241.5, 217.0))


@cache
def picture(turn, place, faults=SCATTERED, noise_seed=0, distortion=0.01, teeth=Z):
    """Photo and truth of the gear turned and put somewhere under a lens of 1 % distortion."""
    camera = Camera(
        mm_per_px=MM_PER_PX, width_px=SIDE, height_px=SIDE, bore_x_px=place[0],
        bore_y_px=place[1], rotation_deg=turn, blur_px=1.0, noise=0.0, bits=16, gamma="linear",
        oversample=2, distortion=distortion, tilt_deg=1.0, tilt_direction_deg=25,
    )  # fmt: skip
    spec = GearSpec(teeth=teeth, module_mm=1.0 * Z / teeth, bore_mm=5.0)
    made = render(spec, faults, camera, np.random.default_rng(6))
    # Noise of each picture's own: one gear's pictures share the seed of its faults.
    grain = np.random.default_rng([noise_seed, round(turn)]).normal(0, 1.6, (SIDE, SIDE))
    pixels = np.clip(np.rint(made.image / 257 + grain), 0, 255).astype(np.uint8)
    name = f"at-{turn:.0f}-{noise_seed}.png"
    return Photo(name, sha256(pixels.tobytes()).hexdigest(), pixels, {}), made.truth


def turned_photos(faults=SCATTERED):
    pairs = zip(TURNS, PLACES, strict=True)
    return [picture(turn, place, faults)[0] for turn, place in pairs]


@cache
def turned_set():
    return inspect_rotation_set(turned_photos(), SETTINGS)


def errors(reading, name="cumulative_pitch_um"):
    return flanks(reading, name) - flanks(picture(TURNS[0], PLACES[0])[1].about_bore, name)


def test_turning_takes_the_camera_out_of_cumulative_pitch():
    alone = inspect_photo(turned_photos()[0], SETTINGS)[0]
    assert rms(errors(alone)) > 0.1 * PX_UM
    # Flanks 30 px long in noise of 1 % are known to some 0.006 px each in one picture, and a
    # cumulative pitch holds two; three pictures bring that down to 0.005 px.
    assert rms(errors(turned_set().reading)) < 0.01 * PX_UM


def test_its_uncertainty_is_smaller_and_honest():
    reading = turned_set().reading
    alone = inspect_photo(turned_photos()[0], SETTINGS)[0]
    for name in ("single_pitch_um", "cumulative_pitch_um"):
        u = flanks(reading, f"u_{name}")
        assert rms(u) < rms(flanks(alone, f"u_{name}")) / 4
        # One set's errors hang together through tooth 1: 3 u is passed once in a few hundred.
        assert (np.abs(errors(reading, name)) <= 3 * u + 1e-9).all()


def test_the_reading_tells_of_its_pictures_and_their_turns():
    found = turned_set().reading.photo_set
    turns = [one.turn_deg for one in found.pictures]
    wanted = [0, TURNS[1] - TURNS[0], TURNS[2] - TURNS[0] - 360]
    # A thousandth of a degree is 0.003 px on the measuring circle.
    np.testing.assert_allclose(turns, wanted, atol=0.005)
    assert [one.tooth_1_is for one in found.pictures] == [1, 8, 14]
    assert all(row.cells[-1].text == "none" for row in set_table(found).rows)
    assert Reading.model_validate_json(reading_json(turned_set().reading)).photo_set == found


def test_the_camera_is_described():
    found = turned_set()
    terms = {term.name: term for term in found.reading.photo_set.camera.terms}
    # The picture moves points outwards by 1 % at the corner; undoing it moves them inwards.
    assert abs(terms["k1"].value + 0.01) < 4 * terms["k1"].u_value + 0.0005
    drawn = camera_map(found.pictures)
    assert drawn.along.shape == drawn.u_along.shape == (3, len(drawn.angle_deg))
    assert drawn.rms_px == pytest.approx(found.reading.photo_set.camera.rms_px)
    assert 0.1 < drawn.rms_px < 1.0


def test_even_teeth_need_a_mark():
    photos = turned_photos(Faults())
    with pytest.raises(PhotoError, match=r"which tooth is which cannot be told.*--mark"):
        inspect_rotation_set(photos, SETTINGS)
    marked = inspect_rotation_set(photos, SETTINGS, [1, 8, 14]).reading
    assert rms(flanks(marked, "cumulative_pitch_um")) < 0.02 * PX_UM


@pytest.mark.parametrize(
    ("marks", "message"),
    [
        ([1, 9, 14], r"tooth 1 of at-4-0.png is tooth 9 .* teeth themselves say it is tooth 8"),
        ([1, 8], "names 2 teeth for 3 pictures"),
        ([1, 8, 21], "names tooth 21, but the gear has teeth 1 to 20"),
    ],
)
def test_wrong_marks_are_told(marks, message):
    with pytest.raises(UseError, match=message):
        inspect_rotation_set(turned_photos(), SETTINGS, marks)


@pytest.mark.parametrize("text", ["3,x", "", "1/2/3,4", "-1,2"])
def test_marks_that_are_no_numbers_are_told(text):
    with pytest.raises(UseError, match="is not the number of a tooth"):
        parse_marks(text)


def test_marks_are_read():
    assert parse_marks("3, 17") == [(3, 3), (17, 17)]
    assert parse_marks("9,3/9") == [(9, 9), (3, 9)]


def cropped(photo):
    return Photo("cut.png", "1" * 64, np.ascontiguousarray(photo.pixels[:, :460]), {})


@pytest.mark.parametrize(
    ("pictures", "message"),
    [
        (lambda a, b: [a], "needs two pictures"),
        (lambda a, b: [a, b, a], "are the same picture"),
        (lambda a, b: [a, cropped(b)], "460 × 480 pixels"),
        (lambda a, b: [a, picture(30.0, PLACES[1], teeth=25)[0]], "25 teeth"),
    ],
    ids=["one", "twice", "cropped", "another gear"],
)
def test_pictures_that_do_not_belong_together_are_refused(pictures, message):
    settings, given = make_settings({"scale_um_per_px": PX_UM}), pictures(*turned_photos()[:2])
    with pytest.raises(CogloupeError, match=message):
        inspect_rotation_set(given, settings)


@cache
def repeats():
    photos = [picture(TURNS[0], PLACES[0], SCATTERED, seed, 0.0)[0] for seed in range(3)]
    return inspect_repeats(photos, SETTINGS)


def test_repeats_tell_their_repeatability():
    found = repeats().reading.photo_set
    alone = flanks(repeats().alone[0], "cumulative_pitch_um")
    other = flanks(repeats().alone[1], "cumulative_pitch_um")
    # Beside tooth 1, which all share, a difference of two cumulative pitches holds two flanks; 38
    # degrees of freedom know a scatter to an eighth, and it is compared within three times that.
    expected = np.sqrt(np.mean(np.var(alone - other, axis=0, ddof=1)) / 2)
    assert found.repeatability_um == pytest.approx(expected, rel=0.38)
    assert np.shape(found.flank_repeatability_um) == (Z, 2)


def test_repeats_put_type_a_with_its_freedom_into_the_budget():
    lines = {(b.figure, b.source): b for b in repeats().reading.budget}
    runout = lines["runout_um", "repeatability (type A, 3 pictures)"]
    values = [one.summary.runout_um for one in repeats().alone]
    # Student's t for 95 % and 2 degrees of freedom is 4.303; half of it stands in for k = 2.
    expected = 4.303 / 2 * np.std(values, ddof=1) / np.sqrt(3)
    assert runout.contribution == pytest.approx(expected, rel=1e-3)
    assert "2 degrees of freedom" in runout.distribution
    assert ("single_pitch_max_um", "scatter of 3 pictures (type A)") in lines


def test_repeats_refuse_a_gear_that_was_turned():
    with pytest.raises(PhotoError, match=r"turned by about 126°.*--turned"):
        inspect_repeats(turned_photos()[:2], SETTINGS)


def test_an_outlying_repeat_is_noticed():
    still = [picture(TURNS[0], PLACES[0], SCATTERED, seed, 0.0)[0] for seed in range(3)]
    shaken = picture(TURNS[0], PLACES[0], Faults(pitch_scatter_um=15, flank_scatter_um=6), 9, 0.0)
    notices = inspect_repeats([*still, shaken[0]], SETTINGS).reading.warnings
    named = [n.message for n in notices if n.code == "outlying_picture"]
    assert len(named) == 1
    assert named[0].startswith(shaken[0].name)


@pytest.mark.parametrize("swell", [1.03, 0.97])
def test_a_stated_scale_may_have_held_at_the_middle_or_at_the_teeth(swell):
    # Once the lens is undone the teeth take up more px, or fewer, of the same mm.
    found, ends = _between(from_stated_scale(40.0, 1e-6), swell), sorted((0.04, 0.04 / swell))
    # Anywhere between is as likely: half the range over the root of three, to 3 % of itself.
    assert found.mm_per_px == pytest.approx(np.mean(ends), rel=3e-4)
    assert found.u_mm_per_px == pytest.approx(np.ptp(ends) / np.sqrt(12), rel=0.03)


def test_each_term_of_an_unknown_lens_has_its_own_allowance():
    covariance = np.array(unknown_lens(SIDE, SIDE).covariance)
    allowed = dict(zip(TERMS, np.sqrt(np.diag(covariance)), strict=True))
    assert allowed == pytest.approx(UNKNOWN_LENS)
    assert np.count_nonzero(covariance) == len(TERMS)
