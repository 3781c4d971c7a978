"""What a picture of a set says of its marks, against marks that are moved one by one."""

import numpy as np
import pytest

from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.inputs.settings import make_settings
from cogloupe.numerics.angles import ring
from cogloupe.sets.views import Sight, nominal_of, start_of, view_of
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.lens import TERMS, ideal_points, make_lens, observed_points
from cogloupe_calibration.scale import from_stated_scale

SIDE, Z, MM_PER_PX = 360, 16, 0.06
STEP = 1e-4
"""Growth of a lens term: moves marks by some 0.02 px, so that second order is below 1e-5 px."""
LENS = make_lens((179.5, 179.5), 254.0, np.full(len(TERMS), 5e-4), np.zeros((8, 8)))


@pytest.fixture(scope="module")
def measured():
    camera = Camera(
        mm_per_px=MM_PER_PX, width_px=SIDE, height_px=SIDE, bore_x_px=171.0, bore_y_px=186.0,
        rotation_deg=7, blur_px=1.0, noise=0.0, bits=16, gamma="linear", oversample=2,
    )  # fmt: skip
    spec = GearSpec(teeth=Z, module_mm=1.0, bore_mm=5.0)
    image = render(spec, Faults(), camera, np.random.default_rng(1)).image
    settings = make_settings({"teeth": Z, "module_mm": 1.0})
    return measure_gear(image, settings, from_stated_scale(1000 * MM_PER_PX), LENS)


def grown(term):
    terms = np.array(LENS.terms) + STEP * (np.arange(len(TERMS)) == term)
    return make_lens(LENS.centre_px, LENS.radius_px, terms, np.zeros((8, 8)))


def shown(points, lens):
    """Where points of a picture taken through `LENS` are put by one who knows of another lens."""
    return ideal_points(lens, observed_points(LENS, points))


@pytest.mark.parametrize("kind", ["bore", "tips", "teeth"])
@pytest.mark.parametrize("term", range(len(TERMS)))
def test_a_grown_lens_term_moves_the_marks_as_stated(measured, kind, term):
    axes = choose_datum(measured, kind)
    sight, nominal = Sight(measured, axes, np.arange(Z)), nominal_of(measured)
    view = view_of(sight, nominal, LENS)
    curve = measured.fits.curve
    turn = start_of(sight, nominal) + 2 * np.pi / Z * np.arange(Z)[:, None]
    angle = turn + np.array([-nominal.half, nominal.half, 0.0])
    radius = np.array([curve.measuring_radius, curve.measuring_radius, nominal.tip_radius])
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    marks = axes.datum + radius[:, None] * way
    moved = shown(marks.reshape(-1, 2), grown(term)).reshape(marks.shape) - marks
    if kind != "teeth":  # the datum is seen through the same lens
        size = measured.bore.radius if kind == "bore" else measured.teeth.tip_radius
        around = ring(axes.datum, size)
        moved -= (shown(around, grown(term)) - around).mean(axis=0)
    # A flank's normal stands square to its profile, which leans against the radius.
    lean = np.pi / 2 - np.append(curve.measuring_lean, np.pi / 2)
    facing = angle + np.array([-1, 1, 1]) * np.where(np.arange(3) == 2, 0.0, lean)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    expected = (moved * normal).sum(axis=-1) / STEP
    # Second order of the step, as a share of the largest movement a term makes.
    np.testing.assert_allclose(view.lens[..., term], expected, atol=2e-3 * np.abs(expected).max())


def test_pose_effects_are_those_of_a_gear_moved_by_hand(measured):
    axes = choose_datum(measured, "bore")
    view = view_of(Sight(measured, axes, np.arange(Z)), nominal_of(measured), LENS)
    turn, x, y, swell, edge = np.moveaxis(view.pose, -1, 0)
    # A turn moves left flanks into the material and right ones out of it, by the arm.
    np.testing.assert_allclose(turn[:, 0], -measured.fits.curve.measuring_arm[0])
    np.testing.assert_allclose(turn[:, 1], measured.fits.curve.measuring_arm[1])
    assert not turn[:, 2].any()
    # A shift and a growth act along each mark's normal, which has length 1.
    np.testing.assert_allclose(np.hypot(x, y), 1.0, rtol=1e-12)
    np.testing.assert_allclose(edge, 1.0)
    # Growing by a share moves a flank out by that share of its base circle's radius, a tip by
    # that of its own.
    arm, nominal = measured.fits.curve.measuring_arm[0], nominal_of(measured)
    np.testing.assert_allclose(swell[:, 2], nominal.tip_radius, rtol=1e-12)
    lean = measured.fits.curve.measuring_lean[0]
    expected = measured.fits.curve.measuring_radius * np.sin(lean)
    np.testing.assert_allclose(swell[:, :2], expected, rtol=1e-9)
    assert arm > expected
