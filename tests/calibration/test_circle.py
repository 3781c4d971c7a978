"""Scale and x to y ratio from one circle: points made in closed form, compared with the truth."""

import datetime

import numpy as np
import pytest

from cogloupe_calibration.calibration import Picture
from cogloupe_calibration.circle import measure_circle
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.lens import TERMS, ideal_points, unmeasured_lens
from cogloupe_calibration.summary import calibration_from

from ..helpers.tolerances import ROUNDING, SOLVED

FRAME = (640, 480)


def oval(rng, e1=0.0, e2=0.0, noise=0.01, radius=180.0, count=900, span=(0.0, 360.0), lobes=()):
    """A round outline seen through A^-1; `lobes` are (number, amplitude px) of the thing's form."""
    turn = np.radians(np.linspace(*span, count, endpoint=False))
    length = np.full(count, radius) + sum(size * np.cos(k * turn + k) for k, size in lobes)
    flat = length[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    seen = flat @ np.linalg.inv([[1 + e1, e2], [e2, 1 - e1]])
    way = seen / np.hypot(*seen.T)[:, None]
    return seen + way * rng.normal(0, noise, (count, 1)) + [321.3, 238.7]


def measured(xy, **options):
    return measure_circle(xy, 3.6, FRAME, **({"u_diameter_mm": 0.0} | options))


@pytest.mark.parametrize(("e1", "e2"), [(0.0, 0.0), (0.003, -0.002), (-0.01, 0.005)])
def test_scale_and_aspect_are_exact_without_noise(e1, e2):
    circle = measured(oval(np.random.default_rng(0), e1, e2, noise=0.0))
    assert circle.radius_px == pytest.approx(180.0, abs=SOLVED)
    assert (circle.e1, circle.e2) == pytest.approx((e1, e2), abs=ROUNDING)
    assert circle.centre_px == pytest.approx((321.3, 238.7), abs=SOLVED)
    assert circle.summary.scale.mm_per_px == pytest.approx(0.01, rel=ROUNDING)
    assert circle.ratio == pytest.approx((1 + e1) / (1 - e1), rel=ROUNDING)


def test_true_values_lie_within_u():
    """60 cases of 3 values; where 95 % are right, fewer than 90 % come once in 300."""
    inside = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        e1, e2 = rng.normal(0, 0.003, 2)
        circle = measured(oval(rng, e1, e2, noise=rng.uniform(0.005, 0.1)))
        limits = 2 * np.array([circle.u_radius_px, circle.u_e, circle.u_e])
        errors = np.array([circle.radius_px - 180, circle.e1 - e1, circle.e2 - e2])
        inside += (np.abs(errors) < limits).tolist()
    assert np.mean(inside) >= 0.9


def test_lobes_of_the_thing_widen_the_doubt_about_its_ovalness():
    rng = np.random.default_rng(1)
    round_one = measured(oval(rng))
    lobed = measured(oval(rng, lobes=((3, 0.3), (5, 0.2))))
    # Mean square of the twelve coefficients: (0.3^2 + 0.2^2) / 12.
    assert lobed.u_e == pytest.approx(np.sqrt((0.3**2 + 0.2**2) / 12) / 180, rel=0.1)
    assert lobed.u_e > 3 * round_one.u_e


def test_gauging_in_one_direction_is_in_the_doubt():
    circle = measured(oval(np.random.default_rng(2)), u_diameter_mm=0.012)
    assert circle.u_e >= 0.012 / 3.6 / 2
    # Noise of 0.01 px on 400 points adds 3e-6, in square.
    assert circle.summary.scale.relative_u == pytest.approx(0.012 / 3.6, rel=1e-4)


def test_doubt_about_the_edge_goes_into_the_scale():
    circle = measured(oval(np.random.default_rng(2)), u_edge_px=0.18)
    # The same.
    assert circle.summary.scale.relative_u == pytest.approx(0.001, rel=1e-4)


def test_lens_holds_the_aspect_only_where_it_stands_out():
    rng = np.random.default_rng(3)
    plain, stretched = measured(oval(rng)), measured(oval(rng, 0.004, 0.001))
    assert plain.summary.lens == unmeasured_lens(*FRAME)
    # Noise of 0.01 px on 400 points round 180 px, four times over.
    assert stretched.summary.lens.terms[TERMS.index("e1")] == pytest.approx(0.004, abs=2e-5)
    flat = ideal_points(stretched.summary.lens, stretched.xy_px)
    length = np.hypot(*(flat - flat.mean(axis=0)).T)
    # Noise of 0.01 px alone is left of 0.7 px.
    assert np.std(length) < 0.02


def test_specks_on_the_rim_are_left_out():
    rng = np.random.default_rng(4)
    xy = oval(rng)
    xy[100:130] += 3.0
    circle = measured(xy)
    # Four times 0.01 px over the root of 370 points.
    assert circle.radius_px == pytest.approx(180.0, abs=0.002)
    assert not circle.used[105:125].any()


@pytest.mark.parametrize(
    ("case", "verdict", "words"),
    [
        ({}, "good", ""),
        ({"span": (0, 300)}, "usable", "60 degrees of the outline are not seen, 30 is the most"),
        ({"lobes": ((3, 0.6),)}, "usable", "off an oval by 0.43 px RMS, 0.24 % of its radius"),
        ({"lobes": ((3, 6.0),)}, "take it again", "off an oval by 4.2 px RMS, 2.4 %"),
        ({"e1": 0.004}, "usable", "differ by 0.8 %: a lean, or a thing that is not round"),
        ({"radius": 50.0}, "usable", "21 % of the frame's height, 25 % or more"),
    ],
)
def test_verdict_says_what_is_wrong_and_how_much(case, verdict, words):
    circle = measured(oval(np.random.default_rng(5), **case))
    assert circle.summary.verdict == verdict
    assert words in " ".join(circle.summary.reasons)


@pytest.mark.parametrize(
    ("xy", "diameter", "words"),
    [
        (np.zeros((10, 2)), 1.0, "10 points on the outline, at least 30"),
        (np.zeros((40, 3)), 1.0, "shape"),
        (oval(np.random.default_rng(0), span=(0, 200)), 1.0, "160 degrees .* 120 is the most"),
        (oval(np.random.default_rng(0)), -1.0, "known diameter is -1 mm"),
    ],
)
def test_what_cannot_be_a_circle_is_refused(xy, diameter, words):
    with pytest.raises(CalibrationError, match=words):
        measure_circle(xy, diameter, FRAME)


def test_calibration_carries_ratio_lens_and_method():
    circle = measured(oval(np.random.default_rng(6), 0.004), method="known_bore")
    picture = Picture(file="pin.png", sha256="ab", width_px=640, height_px=480)
    made = calibration_from(circle.summary, picture, datetime.date(2024, 5, 1))
    assert made.method == "known_bore"
    assert made.lens == circle.summary.lens
    # Twice the aspect, which noise leaves to 1.5e-5, three times over.
    assert made.details["ratio_x_to_y"] == pytest.approx(1.008, abs=1e-4)
    assert made.details["diameter_mm"] == 3.6
