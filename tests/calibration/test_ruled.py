"""Ruled scales: rendered exactly (Gaussian-blurred strips), measured, compared with the truth."""

import datetime
from functools import cache

import numpy as np
import pytest
from scipy.special import ndtr

from cogloupe_calibration.calibration import Picture
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.ruled import RuledScale, measure_ruled_scale
from cogloupe_calibration.summary import calibration_from

HEIGHT, WIDTH = 340, 460


def strip(v, low, high, blur):
    return ndtr((v - low) / blur) - ndtr((v - high) / blur)


def ruled_picture(
    rng=None,
    period=12.0,
    width=3.0,
    blur=1.2,
    angle_deg=0.0,
    noise=0.02,
    gradient=0.0,
    missing=(),
    dark=True,
    number=60,
    stretch=0.0,
    fan=0.0,
    short=1.0,
):
    """Line k lies at period (k + stretch k^2) (1 + fan t): closed form, no resampling."""
    rng = rng or np.random.default_rng(0)
    y, x = np.indices((HEIGHT, WIDTH), dtype=float)
    x, y = x - (WIDTH - 1) / 2 - rng.uniform(-2, 2), y - (HEIGHT - 1) / 2
    a = np.deg2rad(angle_deg)
    u, t = x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)
    half = min(number // 2, int(np.hypot(HEIGHT, WIDTH) / 2 / period) + 1)
    lines = np.zeros_like(u)
    nearest = np.round(u / (period * (1 + fan * t)))
    # Further lines are ten blurs away and more.
    for k in (nearest + step for step in (-2, -1, 0, 1, 2)):
        seen = (np.abs(k) <= half) & ~np.isin(k, missing)
        top = np.where(k % 10 == 0, 150.0, np.where(k % 5 == 0, 120.0, 80.0))
        height = np.where(k % 5 == 0, 1.0, short)
        at = period * (k + stretch * k**2) * (1 + fan * t)
        across = strip(u, at - width / 2, at + width / 2, blur)
        lines += np.where(seen, height * across * strip(t, -90.0, top, blur), 0.0)
    light = 1 + gradient * (0.8 * x + 0.6 * y) / np.hypot(HEIGHT, WIDTH) * 2
    grey = 120 * light * (1 - 0.8 * lines if dark else 0.2 + 0.8 * lines)
    grey += rng.normal(0, noise * 96, grey.shape)
    return np.clip(np.round(grey), 0, 255).astype(np.uint8)


def random_case(seed):
    rng = np.random.default_rng(seed)
    period = rng.uniform(9, 28)
    case = {
        "period": period,
        "width": period * rng.uniform(0.15, 0.4),
        "blur": rng.uniform(0.7, min(3.0, period / 5)),
        "angle_deg": rng.uniform(-90, 90),
        "noise": rng.uniform(0.01, 0.05),
        "gradient": rng.uniform(-0.4, 0.4),
        "dark": bool(rng.integers(2)),
        "missing": tuple(rng.integers(-6, 7, 2)),
    }
    return rng, case


@cache
def random_errors(number):
    errors = []
    for seed in range(number):
        rng, case = random_case(seed)
        scale = measure_ruled_scale(ruled_picture(rng, **case), 0.1, u_division_rel=0.0)
        errors.append((scale.fit.period - case["period"], scale.fit.u_period))
    return np.array(errors)


# An honest U has errors of about u. The RMS of n of them lies within three sigma, 3 / sqrt(2 n), of
# it: 49 % for 18 cases; 60, which take a quarter of a minute, tell 27 %.
FEW, MANY = 18, pytest.param(60, marks=pytest.mark.slow)


@pytest.mark.parametrize("number", [FEW, MANY])
def test_true_period_lies_within_expanded_uncertainty_in_nine_of_ten_random_pictures(number):
    error, u = random_errors(number).T
    assert np.mean(np.abs(error) <= 2 * u) >= 0.9


@pytest.mark.parametrize("number", [FEW, MANY])
def test_stated_uncertainty_is_as_large_as_the_errors(number):
    error, u = random_errors(number).T
    assert np.sqrt(np.mean((error / u) ** 2)) == pytest.approx(1, abs=3 / np.sqrt(2 * number))


@pytest.mark.parametrize("angle_deg", [0.0, 3.0, 45.0, 90.0, -60.0])
def test_direction_of_the_scale_is_found(angle_deg):
    scale = measure_ruled_scale(ruled_picture(angle_deg=angle_deg), 0.1)
    off = (scale.angle_deg - angle_deg + 90) % 180 - 90
    # Places good to 0.01 px over lines 170 px long.
    assert abs(off) < np.rad2deg(0.01 / 170) * 3


@pytest.mark.parametrize("dark", [True, False])
def test_polarity_is_told_and_does_not_move_the_period(dark):
    scale = measure_ruled_scale(ruled_picture(dark=dark), 0.1)
    assert scale.dark_lines is dark
    assert abs(scale.fit.period - 12.0) <= 2 * scale.fit.u_period


@pytest.mark.parametrize(
    "convert",
    [lambda g: g, lambda g: g.astype(np.uint16) * 257, lambda g: g / 255.0],
    ids=["uint8", "uint16", "float"],
)
def test_number_type_of_the_picture_does_not_matter(convert):
    picture = ruled_picture()
    expected = measure_ruled_scale(picture, 0.1).fit.period
    assert measure_ruled_scale(convert(picture), 0.1).fit.period == pytest.approx(expected, 1e-9)


def test_missing_lines_leave_gaps_in_the_numbers():
    scale = measure_ruled_scale(ruled_picture(missing=(-3, -2, 4)), 0.1)
    assert scale.missing == 3
    assert set(np.diff(scale.fit.number)) == {1, 2, 3}
    # Some 0.01 px of a line over forty divisions.
    assert scale.fit.period == pytest.approx(12.0, abs=2e-4)


def test_dirt_is_left_out():
    rng = np.random.default_rng(3)
    picture = ruled_picture(rng, angle_deg=20.0)
    y, x = np.indices(picture.shape)
    for _ in range(40):
        cx, cy, r = rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT), rng.uniform(2, 8)
        picture[(x - cx) ** 2 + (y - cy) ** 2 < r**2] = rng.integers(0, 200)
    scale = measure_ruled_scale(picture, 0.1)
    assert abs(scale.fit.period - 12.0) <= 2 * scale.fit.u_period
    assert scale.fit.u_period < 0.003


def test_edge_of_the_rule_does_not_pull_the_direction():
    picture = ruled_picture(period=20.0, width=4.0)
    picture[310:] = 8
    scale = measure_ruled_scale(picture, 0.5)
    # The same.
    assert scale.fit.period == pytest.approx(20.0, abs=2e-4)


def test_scale_is_division_over_period_with_both_uncertainties():
    scale = measure_ruled_scale(ruled_picture(), 0.1, u_division_rel=0.002)
    assert scale.summary.scale.mm_per_px == pytest.approx(0.1 / scale.fit.period)
    relative = np.hypot(0.002, scale.fit.u_period / scale.fit.period)
    assert scale.summary.scale.u_mm_per_px / scale.summary.scale.mm_per_px == pytest.approx(
        relative
    )


def test_clean_picture_is_good():
    scale = measure_ruled_scale(ruled_picture(), 0.1)
    assert (scale.summary.verdict, scale.summary.reasons) == ("good", ())


def test_line_points_lie_on_the_lines():
    scale = measure_ruled_scale(ruled_picture(np.random.default_rng(1)), 0.1)
    assert np.all(np.diff(scale.line_xy_px[:, 0]) > 0)
    spacing = np.diff(scale.line_xy_px[:, 0]) / np.diff(scale.fit.number)
    # Noise tells a line to some 0.004 px; this is five times as much of two.
    np.testing.assert_allclose(spacing, 12.0, rtol=0, atol=0.03)


@pytest.mark.parametrize("stretch", [2e-4, -4e-4])
def test_growing_spacing_is_reported_as_gradient_and_widens_the_uncertainty(stretch):
    picture = ruled_picture(stretch=stretch)
    scale = measure_ruled_scale(picture, 0.1)
    true = 2 * stretch * (scale.fit.number[-1] - scale.fit.number[0])
    assert scale.fit.gradient == pytest.approx(true, abs=4 * scale.fit.u_gradient)
    assert scale.fit.u_period / scale.fit.period > abs(true) / 2 / np.sqrt(3) * 0.9


def test_fan_of_lines_is_reported():
    scale = measure_ruled_scale(ruled_picture(fan=1e-4), 0.1)
    # Lines reach from -90 to 150 px at the most: 240 px at 1e-4.
    assert scale.fit.fan == pytest.approx(0.024, rel=0.15)
    assert scale.summary.verdict == "take it again"
    assert any("tilt" in reason for reason in scale.summary.reasons)


def test_few_lines_are_to_be_taken_again():
    scale = measure_ruled_scale(ruled_picture(number=6, period=25.0, width=5.0), 0.1)
    assert scale.summary.verdict == "take it again"
    assert "7 lines" in " ".join(scale.summary.reasons)


@pytest.mark.parametrize("blur", [3.0, 3.6, 5.0])
def test_blurred_lines_are_not_called_good(blur):
    scale = measure_ruled_scale(ruled_picture(blur=blur, noise=0.01), 0.1)
    assert scale.summary.verdict != "good"
    assert any("blur" in reason for reason in scale.summary.reasons)


@pytest.mark.parametrize("short", [0.02, 0.04])
def test_lost_short_lines_are_noticed(short):
    # Only every fifth line stands out; taken for divisions they would be five times too long.
    scale = measure_ruled_scale(ruled_picture(period=14.0, short=short), 0.1)
    assert scale.fit.period == pytest.approx(70.0, abs=0.01)
    assert scale.summary.verdict == "take it again"
    assert any("in 5" in reason for reason in scale.summary.reasons)


def test_spaces_without_marks_are_left_alone():
    scale = measure_ruled_scale(ruled_picture(period=25.0, width=4.0), 0.1)
    assert not any("fainter" in reason for reason in scale.summary.reasons)


def noise_picture():
    return np.random.default_rng(4).normal(100, 5, (300, 400))


def one_edge():
    return np.where(np.arange(400) < 200, 20.0, 200.0) + 0 * noise_picture()


@pytest.mark.parametrize(
    ("picture", "message"),
    [
        (np.full((300, 400), 128, np.uint8), "blank"),
        (np.zeros((300, 400)), "blank"),
        (noise_picture(), "no .*rulings found"),
        (one_edge(), "no .*rulings found"),
        (ruled_picture(number=2, period=30.0, width=6.0), "3 lines seen"),
        (np.zeros((20, 20)), "32 x 32"),
        (np.zeros((100, 100, 3)), "grey picture"),
        (np.full((100, 100), np.nan), "not numbers"),
    ],
)
def test_pictures_without_a_scale_are_refused(picture, message):
    with pytest.raises(CalibrationError, match=message):
        measure_ruled_scale(picture, 0.1)


@pytest.mark.parametrize("seed", range(8))
def test_noise_never_gives_a_scale(seed):
    with pytest.raises(CalibrationError, match="rulings"):
        measure_ruled_scale(np.random.default_rng(seed).normal(100, 5, (300, 400)), 0.1)


@pytest.mark.parametrize("division", [0.0, -0.1, float("nan"), float("inf")])
def test_division_must_be_above_zero(division):
    with pytest.raises(CalibrationError, match="division is"):
        measure_ruled_scale(ruled_picture(), division)


@pytest.mark.parametrize("relative", [-0.1, float("nan"), 1.0])
def test_uncertainty_of_the_division_must_make_sense(relative):
    with pytest.raises(CalibrationError, match="uncertainty of the division"):
        measure_ruled_scale(ruled_picture(), 0.1, u_division_rel=relative)


def test_calibration_carries_the_measurement():
    scale = measure_ruled_scale(ruled_picture(), 0.1)
    picture = Picture(file="rule.png", sha256="0" * 64, width_px=WIDTH, height_px=HEIGHT)
    made = calibration_from(scale.summary, picture, datetime.date(2024, 5, 1), note="zoom 2x")
    assert isinstance(scale, RuledScale)
    assert (made.method, made.mm_per_px) == ("ruled_scale", scale.summary.scale.mm_per_px)
    assert made.details["lines"] == len(scale.fit.number)
    assert made.residual_rms_px == scale.summary.residual_rms_px


@pytest.mark.parametrize("angle_deg", [0.5, -14.0])
def test_a_rule_of_five_pixels_a_division_is_read(angle_deg):
    picture = ruled_picture(period=5.0, width=1.0, blur=1.0, number=200, angle_deg=angle_deg)
    scale = measure_ruled_scale(picture, 1.0)
    assert abs(scale.fit.period - 5.0) < 2 * scale.fit.u_period
    assert scale.fit.u_period < 5e-4


def test_divisions_that_blur_has_merged_are_not_passed_over():
    """What 2 px of blur leave of a wave of 5 px is 4 % of it, below the noise of any one line."""
    picture = ruled_picture(period=5.0, width=1.0, blur=2.0, number=200)
    scale = measure_ruled_scale(picture, 1.0)
    # Told by marks of every fifth line, 0.01 px each.
    assert scale.fit.period == pytest.approx(25.0, rel=1e-3)
    assert scale.summary.verdict == "take it again"
    assert any("in 5" in reason for reason in scale.summary.reasons)
