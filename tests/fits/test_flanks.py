"""Flanks fitted against the involute, on exact outlines and on noisy ones."""

from dataclasses import replace
from math import cos, pi, radians, sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.fits.flanks import _at_measuring_circle, _real_share, fit_flanks, rough_involute
from cogloupe.fits.teeth_axis import flank_angles, flank_angles_about, teeth_axis_shift
from cogloupe.forms.involute import involute_curve

from ..helpers.outlines import PX_PER_MM, traced
from ..helpers.tolerances import ROUNDING

Z = 24
SIGN = np.array([-1.0, 1.0])


def curve_of(gear, measuring_mm=None, low=1.001, high=0.97):
    """Evaluation range from just above the form circle to just below the tip."""
    return involute_curve(
        gear.base_radius * PX_PER_MM, (measuring_mm or gear.reference_radius) * PX_PER_MM,
        low * gear.form_radius * PX_PER_MM, high * gear.tip_radius * PX_PER_MM,
    )  # fmt: skip


def fitted(wheel, centre=None, curve=None):
    centre = wheel.centre if centre is None else centre
    return fit_flanks(wheel.edges, wheel.teeth(), centre, curve or curve_of(wheel.gear))


def true_angles(gear, left=0.0, right=0.0, rotation_deg=5.0, radius=None):
    half = gear.half_tooth_angle(radius or gear.reference_radius)
    centre = np.radians(rotation_deg) - pi / 2 + 2 * pi / gear.teeth * np.arange(gear.teeth)
    return centre[:, None] + half * SIGN + np.stack(np.broadcast_arrays(left, right), axis=-1)


def off_true(fits, gear, rotation_deg=5.0, **errors):
    """Places less the truth, px on the measuring circle; truth turned to the fits' numbers."""
    true = true_angles(gear, rotation_deg=rotation_deg, **errors)
    found = flank_angles(fits)
    pitch = 2 * pi / gear.teeth
    first = round(float(found[0].mean() - true[0].mean()) / pitch)
    off = found - np.roll(true, -first, axis=0)
    return np.angle(np.exp(1j * off)) * fits.curve.measuring_radius


def test_exact_flanks_are_found_where_they_are():
    wheel = traced()
    fits = fitted(wheel)
    # Chords of 1/160 flank, and points a pixel apart read linearly between: under 1e-3 px.
    assert np.abs(off_true(fits, wheel.gear)).max() < 1e-3
    assert np.abs(fits.slope).max() * wheel.gear.base_radius * PX_PER_MM < 1e-4
    assert (fits.coverage == 1).all()
    assert (fits.rejected < 0.1).all()


def test_each_flank_keeps_its_own_error():
    rng = np.random.default_rng(1)
    left, right = rng.normal(0, 2e-3, (2, Z))  # 0.6 px
    wheel = traced(left=left, right=right)
    found = off_true(fitted(wheel), wheel.gear, left=left, right=right)
    # As of exact flanks.
    assert np.abs(found).max() < 5e-4


def test_another_measuring_circle_finds_the_flanks_there():
    wheel = traced()
    for radius in (11.6, 12.6):
        fits = fitted(wheel, curve=curve_of(wheel.gear, radius))
        # As of exact flanks.
        assert np.abs(off_true(fits, wheel.gear, radius=radius)).max() < 5e-4


def test_stated_uncertainty_is_what_the_noise_scatters():
    noise = 0.05
    errors, stated = [], []
    for seed in range(6):
        wheel = traced(noise=noise, seed=seed)
        fits = fitted(wheel)
        errors.append(off_true(fits, wheel.gear))
        stated.append(fits.u_unwound * fits.curve.measuring_radius)
    errors, stated = np.array(errors), np.mean(stated)
    # 6 x 48 flanks tell a standard deviation to 1 / sqrt(576) = 4 %; three of these.
    assert errors.std() == pytest.approx(stated, rel=0.15)
    assert abs(errors.mean()) < 4 * errors.std() / sqrt(errors.size)


def test_a_wrong_base_circle_shows_as_slope_on_both_sides():
    wheel = traced()
    true = curve_of(wheel.gear)
    wrong = involute_curve(
        true.form.base_radius * 0.99, true.measuring_radius, true.low_radius, true.high_radius
    )  # fmt: skip
    fits = fitted(wheel, curve=wrong)
    relative = SIGN * fits.slope * wrong.form.base_radius
    # The flank's base circle is 1 % larger: it leaves the assumed involute outwards by about
    # 1 % of the roll, plus what the tangent's turn adds (second order).
    assert np.median(relative) == pytest.approx(0.01, rel=0.15)
    assert np.ptp(relative) < 0.002


def spoilt(wheel, where, by):
    """The outline with some points moved out of the material."""
    e = wheel.edges
    xy = e.xy + e.normal * np.where(where, by, 0.0)[:, None]
    return replace(e, xy=xy)


def on_flank(wheel, tooth, side, low, high):
    found = wheel.teeth()
    radius = np.hypot(*(wheel.edges.xy - wheel.centre).T) / PX_PER_MM
    return (found.tooth == tooth) & (found.side == side) & (radius > low) & (radius < high)


def test_dirt_on_part_of_a_flank_is_set_aside():
    wheel = traced(noise=0.02)
    dirty = spoilt(wheel, on_flank(wheel, 5, 1, 11.6, 12.0), 2.0)
    clean = fitted(wheel)
    fits = fit_flanks(dirty, wheel.teeth(), wheel.centre, curve_of(wheel.gear))
    moved = (flank_angles(fits) - flank_angles(clean)) * fits.curve.measuring_radius
    # A quarter of the flank is lost: the place there is less sure, but not drawn to the dirt.
    assert abs(moved[5, 1]) < 0.03
    assert fits.rejected[5, 1] == pytest.approx(0.25, abs=0.1)
    others = np.delete(moved.ravel(), 11)
    assert np.abs(others).max() < 0.005
    assert fits.rejected[5, 1] > 0.12
    assert np.delete(fits.rejected.ravel(), 11).max() < 0.12


def test_samples_that_are_no_clean_step_do_not_count():
    wheel = traced(noise=0.02)
    bad = on_flank(wheel, 5, 1, 11.0, 12.4)
    e = spoilt(wheel, bad, 1.0)
    e = replace(e, good=~bad)
    fits = fit_flanks(e, wheel.teeth(), wheel.centre, curve_of(wheel.gear))
    moved = (flank_angles(fits) - flank_angles(fitted(wheel))) * fits.curve.measuring_radius
    assert fits.coverage[5, 1] < 0.6
    # On a third of its length and noise of 0.02 px a flank is told to 0.03 px.
    assert np.isnan(moved[5, 1]) or abs(moved[5, 1]) < 0.1


def test_what_else_a_flank_may_be_is_in_its_uncertainty_alone():
    wheel = traced(noise=0.02)
    doubt = on_flank(wheel, 3, 0, 0.0, 99.0) * 0.8
    doubted = replace(wheel, edges=replace(wheel.edges, doubt=doubt))
    extra = fitted(doubted).u_unwound ** 2 - fitted(wheel).u_unwound ** 2
    radius = fitted(wheel).curve.measuring_radius
    expected = np.zeros_like(extra)
    expected[3, 0] = 0.8 / (radius * np.cos(np.radians(20)))
    np.testing.assert_allclose(np.sqrt(np.maximum(extra, 0)), expected, atol=ROUNDING)


def test_a_flank_without_points_is_not_seen():
    wheel = traced()
    hidden = on_flank(wheel, 5, 0, 0.0, 99.0)
    e = wheel.edges
    e = replace(e, good=~hidden)
    fits = fit_flanks(e, wheel.teeth(), wheel.centre, curve_of(wheel.gear))
    seen = np.isfinite(fits.unwound)
    assert not seen[5, 0]
    assert seen.sum() == 2 * Z - 1
    assert np.isnan(fits.u_unwound[5, 0])


@pytest.mark.parametrize("shift", [(0.8, 0.0), (-0.3, 1.1)])
def test_the_axis_of_the_teeth_is_found_from_a_wrong_start(shift):
    wheel = traced()
    centre = wheel.centre + shift
    for _ in range(3):
        centre = centre + teeth_axis_shift(fitted(wheel, centre))
    # One step leaves shift^2 / r; three leave the interpolation of the points.
    assert np.hypot(*(centre - wheel.centre)) < 1e-3


def test_the_axis_is_found_with_a_quarter_of_the_flanks_hidden():
    wheel = traced()
    tooth = wheel.teeth().tooth
    e = wheel.edges
    e = replace(e, good=tooth >= 6)
    centre = wheel.centre + np.array([0.5, -0.4])
    for _ in range(4):
        centre = centre + teeth_axis_shift(
            fit_flanks(e, wheel.teeth(), centre, curve_of(wheel.gear))
        )
    assert np.hypot(*(centre - wheel.centre)) < 2e-3


def test_a_once_a_turn_error_of_indexing_moves_the_axis_as_far_as_an_axis_can_explain_it():
    # Both flanks of a tooth move alike by A sin c. An axis moved by e shows e sin(c - b) on one
    # side and e sin(c + b) on the other, b the pressure angle less half a tooth, since the flanks
    # stand beside the tooth's centre c. Least squares over both leaves e = A cos b.
    turn = 2 * pi / Z * np.arange(Z)
    error = 3e-3 * np.sin(turn)
    wheel = traced(left=error, right=error)
    along_normal = 3e-3 * wheel.gear.base_radius * PX_PER_MM
    shift = teeth_axis_shift(fitted(wheel))
    assert np.hypot(*shift) == pytest.approx(along_normal * cos(radians(20) - pi / 48), rel=1e-5)


@pytest.mark.parametrize("offset", [(0.0, 0.0), (2.0, -1.5), (-0.4, 6.0)])
def test_places_about_another_axis_are_where_the_flanks_cross_its_circle(offset):
    wheel = traced()
    fits = fitted(wheel)
    datum = wheel.centre + offset
    angles = flank_angles_about(fits, datum)
    radius = fits.curve.measuring_radius
    xy = datum + radius * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    # Those points lie on the gear's own involutes.
    own = np.hypot(*np.moveaxis(xy - wheel.centre, -1, 0))
    angle = np.arctan2(*np.moveaxis(xy - wheel.centre, -1, 0)[::-1])
    centre = true_angles(wheel.gear).mean(axis=1)[:, None]
    wanted = centre + wheel.gear.half_tooth_angle(own / PX_PER_MM) * SIGN
    off = np.angle(np.exp(1j * (angle - wanted) * Z)) / Z  # whichever tooth is first
    assert np.abs(off * radius).max() < 2e-3


def test_about_its_own_centre_nothing_changes():
    fits = fitted(traced())
    np.testing.assert_allclose(
        flank_angles_about(fits, fits.centre), flank_angles(fits), atol=ROUNDING
    )


def test_away_from_where_it_was_seen_a_place_is_as_sure_as_its_line():
    # Of so few flanks no slope is drawn to the mean, and the line's own variance is all there is.
    line = np.array([[0.1, 0.2], [0.01, -0.02]])
    total, cross, square = np.full(2, 0.2), np.full(2, 0.3), np.full(2, 0.9)
    place, u, slope, u_slope = _at_measuring_circle(
        line, np.stack([total, cross, square]), np.full(2, 0.5)
    )
    np.testing.assert_allclose(place, line[0], rtol=ROUNDING)
    np.testing.assert_allclose(u, 0.5 * np.sqrt(square), rtol=ROUNDING)
    np.testing.assert_allclose(slope, line[1])
    np.testing.assert_allclose(u_slope, 0.5 * np.sqrt(total), rtol=ROUNDING)


def test_flanks_of_a_pinion_are_looked_at_outside_its_base_circle():
    teeth = SimpleNamespace(teeth=8, root_radius=55.0, tip_radius=105.0)
    curve = rough_involute(teeth, 20.0, np.radians(20))
    base = 80 * np.cos(np.radians(20))
    assert base < curve.low_radius < curve.high_radius < 105
    assert curve.roll_range[0] > 0


def test_slopes_that_noise_explains_are_taken_for_one():
    rng = np.random.default_rng(9)
    shares = [_real_share(rng.standard_normal(24), np.ones(24))[0] for _ in range(1500)]
    # 16 of 100 sample variances lie more than one standard deviation up; by chance 19.
    assert np.mean(np.array(shares) > 0) < 0.19
