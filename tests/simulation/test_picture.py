"""Simulated pictures: levels, areas, lens, files and the committed samples."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps
from skimage.measure import find_contours

from cogloupe.simulation import (
    Camera,
    Faults,
    GearSpec,
    Scene,
    area_coverage,
    example_scene,
    load_scene,
    render,
    simulate_files,
)
from cogloupe.simulation.body import body
from cogloupe.simulation.cutting import cut_gear
from cogloupe.simulation.lens import blurred, to_level, to_linear, to_pixels
from cogloupe.simulation.making import make
from cogloupe.simulation.scene import Nick, Swarf
from cogloupe.simulation.true_sizes import table
from cogloupe.simulation.write import simulate
from cogloupe_calibration.errors import UseError

from ..helpers.tolerances import ROUNDING

SPEC = GearSpec(teeth=15, module_mm=1.0, bore_mm=5.0)
PLAIN = {"mm_per_px": 0.06, "width_px": 320, "height_px": 310, "noise": 0.0, "blur_px": 0.0}
SAMPLES = Path(__file__).parents[2] / "sample_images"


def picture(faults=None, seed=1, **camera):
    rng = np.random.default_rng(seed)
    return render(SPEC, faults or Faults(), Camera(**{**PLAIN, **camera}), rng)


@pytest.mark.parametrize(("blur_px", "oversample"), [(0.0, 1), (1.2, 1), (1.2, 2)])
def test_dark_in_a_noiseless_picture_sums_to_the_area_of_the_outline(blur_px, oversample):
    image = picture(bits=16, gamma="linear", blur_px=blur_px, oversample=oversample).image
    dark = (200 - image / 257.0) / 160  # ground 200 and gear 40 of 255 are whole levels of 16 bits
    gear = cut_gear(SPEC, Faults(), 0.0, np.random.default_rng(0))
    area = body(gear, SPEC, Faults(), 1e-6).area / 0.06**2
    # Some 2000 edge pixels are rounded by up to half a level of 41120: 0.0003 px^2 RMS. The chord
    # error of 0.0005 px along an outline of some 2000 px bounds the rest by 1 px^2.
    assert dark.sum() == pytest.approx(area, abs=1.0)


def test_edges_in_the_picture_lie_where_the_truth_says():
    faults = Faults(eccentricity_um=60, pitch_scatter_um=10)
    sharp = {"mm_per_px": 0.03, "width_px": 640, "height_px": 630, "rotation_deg": 8}
    camera = {**sharp, "bits": 16, "gamma": "linear", "blur_px": 0.8, "bore_x_px": 322.3}
    made = picture(faults, oversample=2, **camera)
    radius = made.truth.gear.measuring_diameter_mm / 2 / 0.03
    edge = np.concatenate(find_contours(made.image / 257.0, 120))[:, ::-1]
    x, y = (edge - made.truth.picture.bore_xy_px).T
    distance, angle = np.hypot(x, y), np.degrees(np.arctan2(y, x))
    for tooth in made.truth.about_bore.teeth:
        for flank in (tooth.left, tooth.right):
            off = (angle - flank.position_deg + 180) % 360 - 180
            near = (np.abs(distance - radius) < 6) & (np.abs(off) < 4)
            arc = np.radians(off[near]) * radius
            fitted = np.polynomial.Polynomial.fit(distance[near] - radius, arc, 2)(0.0)
            # Blur shrinks a flank of radius 85 px by 0.8^2 / 2R = 0.004 px; straight lines between
            # samples wander by about 0.006 px, and the worst of 30 flanks by three times that.
            assert fitted == pytest.approx(0, abs=0.025)


@pytest.mark.parametrize(
    ("look", "inside", "outside"), [("back-lit", 40, 200), ("light-on-dark", 200, 40)]
)
def test_levels_inside_and_outside_are_those_asked_for(look, inside, outside):
    image = picture(look=look, noise=0.004, blur_px=1.0).image
    # 800 px or more of noise under 2 levels: the mean is good to 0.1, and the bend of the sRGB
    # curve moves it by another 0.1.
    assert image[100:140, 205:225].mean() == pytest.approx(inside, abs=0.3)
    assert image[:50, :50].mean() == pytest.approx(outside, abs=0.3)


def test_noise_is_the_share_of_the_contrast_asked_for():
    image = picture(bits=16, gamma="linear", noise=0.02).image.astype(float)
    ground = image[:50, :50]
    # 2500 samples: the standard deviation is good to 1.4 %.
    assert ground.std() / (160 * 257) == pytest.approx(0.02, rel=0.05)


# Halfway points are exact by symmetry. Between them a straight line through two samples leaves an
# error function of 1.2 px by up to 0.01 px, and a kernel of whole pixels adds as much.
@pytest.mark.parametrize(
    ("edge", "within"), [(20.0, 1e-9), (20.5, 1e-9), (20.25, 0.02), (20.9, 0.02)]
)
def test_blur_leaves_the_half_level_crossing_where_the_edge_is(edge, within):
    plane = np.array([[edge, -50.0], [200.0, -50.0], [200.0, 50.0], [edge, 50.0]])
    profile = blurred(area_coverage(plane, (21, 41)), 1.2)[10]
    at = int(np.argmax(profile > 0.5 - 1e-12)) - 1
    crossing = at + (0.5 - profile[at]) / (profile[at + 1] - profile[at])
    assert crossing == pytest.approx(edge, abs=within)
    assert 40.5 - profile.sum() == pytest.approx(edge, abs=ROUNDING)


def test_far_blur_is_softer_on_the_right():
    image = picture(bits=16, gamma="linear", blur_px=0.8, far_blur_px=3.0).image / 65535
    steepest = np.abs(np.diff(image, axis=1))
    assert steepest[:, :60].max() > 2 * steepest[:, -60:].max()


def test_srgb_levels_come_back_from_light():
    levels = np.linspace(0, 1, 256)
    np.testing.assert_allclose(to_level(to_linear(levels, "srgb"), "srgb"), levels, atol=ROUNDING)


def test_lens_distortion_moves_the_corner_by_its_share_and_leaves_the_middle():
    camera = Camera(mm_per_px=0.1, width_px=401, height_px=301, distortion=0.01)
    moved = to_pixels(np.array([[0.0, 0.0], [20.0, 15.0], [10.0, 7.5]]), camera)
    expected = [[200, 150], [200 + 202, 150 + 151.5], [200 + 100.25, 150 + 75.1875]]
    np.testing.assert_allclose(moved, expected, rtol=0, atol=ROUNDING)


def test_tilt_shortens_the_leaning_direction_and_shrinks_what_is_far():
    camera = Camera(mm_per_px=0.1, width_px=401, height_px=301, tilt_deg=10, distance_mm=100)
    far, near, across = to_pixels(np.array([[10.0, 0], [-10.0, 0], [0, 10.0]]), camera) - [200, 150]
    reach, depth = 10 * np.cos(np.radians(10)), 10 * np.sin(np.radians(10))
    assert far[0] == pytest.approx(10 * reach * 100 / (100 + depth))
    assert near[0] == pytest.approx(-10 * reach * 100 / (100 - depth))
    np.testing.assert_allclose(across, [0, 100], atol=ROUNDING)


def test_the_same_seed_gives_the_same_picture_and_another_one_does_not():
    dirty = {
        "noise": 0.02,
        "dust": 8,
        "tool_marks": 0.1,
        "ground_texture": 0.1,
        "look": "front-lit",
    }
    faults = Faults(pitch_scatter_um=5)
    first, again, other = (picture(faults, seed, **dirty) for seed in (1, 1, 2))
    np.testing.assert_array_equal(first.image, again.image)
    assert first.truth == again.truth
    assert not np.array_equal(first.image, other.image)
    assert first.truth.about_bore != other.truth.about_bore


def test_the_camera_does_not_change_the_gear():
    faults = Faults(pitch_scatter_um=5)
    plain, textured = picture(faults), picture(faults, dust=5, tool_marks=0.1, noise=0.1)
    assert plain.truth.about_bore == textured.truth.about_bore


def test_spoilt_flanks_are_named_in_the_numbering_of_the_reading():
    nick = Nick(tooth=2, side="right", depth_um=80, width_um=300)
    swarf = Swarf(tooth=9, side="left", length_mm=0.8, width_mm=0.1)
    # Three pitches of 24 degrees on: tooth 2 of the scene is now tooth 5.
    truth = picture(Faults(nicks=(nick,)), swarf=(swarf,), rotation_deg=75).truth
    found = {(item.tooth, item.side, item.what) for item in truth.covered}
    assert found == {(5, "right", "nick"), (12, "left", "swarf")}


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_exif_orientation_turns_the_stored_picture_upright(tmp_path, orientation):
    camera = Camera(**PLAIN, exif_orientation=orientation, bore_x_px=140)
    scene = Scene(gear=SPEC, camera=camera)
    (path,) = simulate([("turned", scene)], tmp_path)
    upright = render(SPEC, Faults(), camera, np.random.default_rng(scene.seed)).image
    with Image.open(path) as stored:
        assert (stored.size == (310, 320)) == (orientation in (6, 8))
        np.testing.assert_array_equal(np.asarray(ImageOps.exif_transpose(stored)), upright)


def test_sixteen_bits_survive_the_tiff(tmp_path):
    scene = Scene(gear=SPEC, camera=Camera(**PLAIN, bits=16), format="tiff")
    (path,) = simulate([("deep", scene)], tmp_path)
    with Image.open(path) as stored:
        assert np.asarray(stored).max() == 200 * 257


def test_a_scene_file_makes_a_picture_and_its_truth(tmp_path):
    file = tmp_path / "little.toml"
    file.write_text(
        'about = "Little."\nformat = "jpg"\n[gear]\nteeth = 15\ndp = 25.4\n'
        "[camera]\nmm_per_px = 0.1\nwidth_px = 200\nheight_px = 200\n",
        encoding="utf-8",
    )
    (path,) = simulate_files([file], tmp_path / "out")
    truth = json.loads((tmp_path / "out/truth/little.json").read_text(encoding="utf-8"))
    assert path.name == truth["picture"]["file"] == "little.jpg"
    assert truth["about"] == "Little."
    assert len(truth["about_bore"]["teeth"]) == 15


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[gear\n", "line 1: .* cannot be read"),
        ("[gear]\nteeth = 15\n[camera]\nmm_per_px = 0.1\n", "either module_mm or dp"),
        ("[gear]\nteeth = 15\nmodule_mm = 1\nbores = 3\n[camera]\nmm_per_px = 0.1\n", "gear.bores"),
        (
            "[gear]\nteeth = 15\nmodule_mm = 1\n[camera]\nmm_per_px = 0.1\n"
            "[faults]\nstep_tooth = 16\n",
            "tooth 16, but there are only 15",
        ),
    ],
)
def test_a_bad_scene_is_refused_with_the_place(tmp_path, text, message):
    file = tmp_path / "bad.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UseError, match=message):
        load_scene(file)


def test_a_missing_scene_is_refused(tmp_path):
    with pytest.raises(UseError, match="cannot be read"):
        load_scene(tmp_path / "none.toml")


def test_the_example_scene_fits_its_frame():
    scene = example_scene()
    tips_px = 2 * scene.gear.gear().tip_radius / scene.camera.mm_per_px
    assert tips_px < 0.95 * min(scene.camera.shape)


@pytest.mark.parametrize("file", sorted((SAMPLES / "scenes").glob("*.toml")), ids=lambda p: p.stem)
def test_committed_truth_is_that_of_the_committed_scene(file):
    scene = load_scene(file)
    cutting = np.random.default_rng(scene.seed).spawn(4)[0]
    made = make(scene.gear, scene.faults, scene.process, scene.camera.rotation_deg, cutting, 1e-5)
    stored = json.loads((SAMPLES / f"truth/{file.stem}.json").read_text(encoding="utf-8"))
    assert stored["about"] == scene.about
    summary = table(made.gear, "bore", made.details).summary.model_dump(mode="json")
    for name, value in summary.items():
        # Written to six decimals; the last may differ between processors.
        assert value == pytest.approx(stored["about_bore"]["summary"][name], abs=2e-6), name


@pytest.mark.parametrize("file", sorted((SAMPLES / "scenes").glob("*.toml")), ids=lambda p: p.stem)
def test_every_sample_scene_has_its_picture(file):
    scene = load_scene(file)
    with Image.open(SAMPLES / f"{file.stem}.{scene.format}") as stored:
        upright = ImageOps.exif_transpose(stored)
    assert (upright.height, upright.width) == scene.camera.shape


def test_a_scale_that_the_folder_states_otherwise_stays_the_only_one(tmp_path):
    scene = Scene(gear=SPEC, camera=Camera(**PLAIN), format="png")
    (tmp_path / "gear.toml").write_text('[photo."gear.png"]\nknown_bore = "4mm"\n', "utf-8")
    simulate([("gear", scene), ("other", scene)], tmp_path)
    told = tomllib.loads((tmp_path / "gear.toml").read_text("utf-8"))["photo"]
    assert (told["gear.png"]["known_bore"], told["gear.png"]["teeth"]) == ("4mm", 15)
    assert "scale_um_per_px" not in told["gear.png"]
    assert "scale_um_per_px" in told["other.png"]


@pytest.mark.parametrize(
    ("sizes", "told"),
    [
        ({"hub_mm": 0.0, "spoke_mm": 2.0, "rim_mm": 2.0}, "spokes need hub_mm"),
        ({"hub_mm": 12.0, "spoke_mm": 2.0, "rim_mm": 4.0}, "no room for spokes"),
    ],
    ids=["no hub", "no room"],
)
def test_spokes_that_cannot_be_are_refused(sizes, told):
    def drawn():
        spec = GearSpec(teeth=30, module_mm=0.5, spokes=5, **sizes)
        return body(cut_gear(spec, Faults(), 0.0, np.random.default_rng(1)), spec, Faults(), 1e-4)

    with pytest.raises((UseError, ValueError), match=told):
        drawn()
