"""The budget adds up, leaves out nothing, and agrees with draws through the non-linear model."""

from dataclasses import replace
from functools import cache
from math import cos, hypot, radians, tan

import numpy as np
import pytest

from cogloupe.evaluation.budget import _own_parts, judge_figures
from cogloupe.evaluation.deviations import cumulative_pitch, eccentricity, gap_width, single_pitch
from cogloupe.evaluation.measured_sizes import compute_sizes
from cogloupe.evaluation.pitch_and_runout import (
    compute_pitch,
    thickness_parts,
    thickness_uncertainty,
)
from cogloupe.evaluation.profile import _Slopes, _slopes, _traces
from cogloupe.evaluation.shapes import compute_gap_shapes
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.fits.teeth_axis import thickness
from cogloupe.forms.involute import angle_at_radius, involute
from cogloupe.inputs.settings import make_settings
from cogloupe.numerics.angles import wrapped
from cogloupe.simulation import Faults
from cogloupe.uncertainty.combination import of_draws, pitch_uncertainty, plausible
from cogloupe.uncertainty.flank_uncertainty import allowed_lens, flank_place, with_scale_at_gear
from cogloupe_calibration.lens import ideal_points, make_lens, unmeasured_lens
from cogloupe_calibration.scale import from_stated_scale

from ..helpers.pictures import KNOWN, flanks, read, rendered, wheel_reading
from ..helpers.tolerances import ROUNDING

MAIN = (
    "single_pitch_max_um", "cumulative_pitch_total_um", "thickness_mean_mm", "runout_um",
    "eccentricity_um",
)  # fmt: skip
# One pitch, one pair of teeth and one pair of gaps stand out, so that draws cannot change which.
STEPPED = Faults(step_um=120, step_tooth=9, eccentricity_um=40, flank_scatter_um=2)
OFF_CENTRE = {"width_px": 900, "bore_x_px": 520.0, "bore_y_px": 360.0}
DRAWS = 1500
# The spread of 1500 draws is known to 2 %: four standard deviations.
AGREES = 0.08


def parts_of(reading, figure):
    return [line for line in reading.budget if line.figure == figure]


@pytest.mark.parametrize("figure", MAIN)
def test_contributions_add_up_to_the_uncertainty(figure):
    reading = wheel_reading()
    whole = hypot(*(line.contribution for line in parts_of(reading, figure)))
    assert whole == pytest.approx(getattr(reading.summary, f"u_{figure}"), rel=ROUNDING)


@pytest.mark.parametrize("figure", MAIN)
def test_a_flank_s_own_part_is_its_value_times_its_sensitivity(figure):
    (line,) = (
        one for one in parts_of(wheel_reading(), figure) if one.source == "edge noise and fit"
    )
    value, each = (float(text.split()[0]) for text in (line.value, line.sensitivity))
    # The value is written to two figures.
    assert value * each == pytest.approx(line.contribution, rel=0.06)


@pytest.mark.parametrize("figure", MAIN)
def test_every_source_is_named_with_value_distribution_and_sensitivity(figure):
    lines = parts_of(wheel_reading(), figure)
    sources = {line.source for line in lines}
    assert {"edge noise and fit", "radial distortion", "lean, left to right"} <= sources
    assert ("scale" in sources) == (figure == "thickness_mean_mm")
    assert all(line.value and line.distribution and line.sensitivity for line in lines)
    assert {line.unit for line in lines} == {figure.rsplit("_", 1)[1]}
    assert all(line.contribution >= 0 for line in lines)


def test_a_scale_error_changes_thickness_but_no_pitch():
    true, off = wheel_reading(), read(rendered().image, scale_um_per_px=40.1)
    # The evaluation range moves by a fifth of a pixel: a thousandth of a pixel is 0.04 um.
    for name in ("single_pitch_um", "cumulative_pitch_um"):
        np.testing.assert_allclose(flanks(off, name), flanks(true, name), rtol=0, atol=0.1)
    grown = off.summary.thickness_mean_mm - true.summary.thickness_mean_mm
    # A gear taken for 0.25 % too large shows 2 r tan a of that more on its reference circle.
    assert grown == pytest.approx(0.0025 * 2 * 12 * tan(radians(20)), rel=0.02)


def test_doubt_about_the_scale_is_in_no_pitch():
    figures = [compute_pitch(*case) for case in (_case(0.001), _case(0.01))]
    sure, unsure = (pitch_uncertainty(f.noise, f.modes, f.measuring_radius) for f in figures)
    np.testing.assert_array_equal(sure, unsure)


def known_lens(frame):
    """Lens known five times better than without any calibration, so that effects stay linear."""
    rough = unmeasured_lens(*frame)
    covariance = np.array(rough.covariance) / 25
    return make_lens(rough.centre_px, rough.radius_px, np.zeros(8), covariance)


def _case(relative_u):
    picture = rendered(faults=STEPPED, **OFF_CENTRE)
    frame = picture.image.shape[1], picture.image.shape[0]
    settings = make_settings(KNOWN)
    scale = from_stated_scale(40.0, relative_u)
    lens = known_lens(frame)
    measured = with_scale_at_gear(measure_gear(picture.image, settings, scale), frame, lens)
    return measured, choose_datum(measured, "bore"), settings, frame, lens


class Drawn:
    """Points of the gear pushed through lens, lean, noise, edge level and scale, draw by draw."""

    def __init__(self, relative_u=0.002):
        self.measured, self.axes, settings, frame, self.lens = _case(relative_u)
        self.figures = compute_pitch(self.measured, self.axes, settings, frame, self.lens)
        self.place = flank_place(self.measured.fits, self.axes.datum)
        self.order = np.roll(np.arange(24), -self.figures.first)
        self.rng = np.random.default_rng(7)
        self.base = self.radius * cos(radians(20))
        self.drawn = [self._one() for _ in range(DRAWS)]
        self.exact = self._read(self.place.xy, self.axes.datum, 1.0)
        self.positions = [position for position, _ in self.drawn]

    @property
    def radius(self):
        return self.place.measuring_radius

    def _one(self):
        rng, bore = self.rng, self.measured.bore
        terms = np.sqrt(np.diag(self.lens.covariance)) * rng.standard_normal(8)
        lens = make_lens(self.lens.centre_px, self.lens.radius_px, terms, np.zeros((8, 8)))
        edge = self.figures.edge / 0.04 * rng.standard_normal()
        noise = np.empty((24, 2))
        noise[self.order] = self.figures.noise * self.place.arm
        out = edge + noise * rng.standard_normal((24, 2))
        xy = ideal_points(lens, self.place.xy + out[..., None] * self.place.normal)
        turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        ring = ideal_points(lens, self.axes.datum + bore.radius * way)
        design = np.column_stack([2 * ring, np.ones(60)])
        centre = np.linalg.lstsq(design, (ring**2).sum(axis=1), rcond=None)[0][:2]
        centre = centre + bore.u_centre * rng.standard_normal(2)
        grown = 1 + self._scale_u() * rng.standard_normal()
        return self._read(xy, centre, grown)

    def _scale_u(self):
        scale = self.measured.scale
        return np.sqrt(scale.relative_u**2 - scale.stretch**2)

    def _read(self, xy, centre, grown):
        """Angles at which involutes through the points cross the measuring circle about a centre,
        and how far from it a pin comes to rest in every gap, mm.

        The involutes are about the teeth's own axis, which keeps its place from the centre.
        """
        axis = self.measured.fits.centre - self.axes.datum
        arm = (xy - centre - axis) * grown
        sign, inv = np.array([-1.0, 1.0]), involute(np.full(2, radians(20)))
        reach = angle_at_radius(self.base, np.hypot(arm[..., 0], arm[..., 1]))
        unwound = np.arctan2(arm[..., 1], arm[..., 0]) + sign * involute(reach)
        own = (unwound - sign * inv)[self.order]
        seat = self.measured.wheel.flank.pin_radius(
            gap_width(own, 0.5), 0.04 * self.radius, self.figures.pin
        )[0]
        middle = own[:, 1] + gap_width(own, 0.5)
        pin = seat[:, None] * np.stack([np.cos(middle), np.sin(middle)], axis=1) + 0.04 * axis
        return self._crossings(unwound, axis)[self.order], np.hypot(*pin.T)

    def _crossings(self, unwound, axis):
        """Where the involutes meet the circle about the centre: by repeated correction."""
        sign = np.array([-1.0, 1.0])
        angle = unwound - sign * involute(np.full(2, radians(20)))
        for _ in range(12):
            on_circle = self.radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1) - axis
            reach = np.hypot(on_circle[..., 0], on_circle[..., 1])
            turn = unwound - sign * involute(angle_at_radius(self.base, reach))
            point = reach[..., None] * np.stack([np.cos(turn), np.sin(turn)], axis=-1) + axis
            angle = np.arctan2(point[..., 1], point[..., 0])
        return angle


@cache
def drawn():
    return Drawn()


def spread(values, exact):
    return np.sqrt(np.mean((np.asarray(values) - exact) ** 2, axis=0))


def test_drawn_pitches_spread_as_the_linear_budget_says():
    case, mm = drawn(), drawn().figures.measuring_radius
    single, cumulative = pitch_uncertainty(case.figures.noise, case.figures.modes, mm)
    for u, figure in ((single, single_pitch), (cumulative, cumulative_pitch)):
        seen = spread([figure(p, mm) for p in case.positions], figure(case.exact[0], mm))
        rest = u > 0
        assert np.sqrt(np.mean(seen[rest] ** 2)) == pytest.approx(
            np.sqrt(np.mean(u[rest] ** 2)), rel=AGREES
        )
        # Each flank by itself, too: where the budget says little, little moves.
        np.testing.assert_allclose(seen[rest], u[rest], rtol=2 * AGREES)


def test_drawn_thicknesses_spread_as_the_linear_budget_says():
    case, mm = drawn(), drawn().figures.measuring_radius
    seen = spread([thickness(p, mm) for p in case.positions], thickness(case.exact[0], mm))
    np.testing.assert_allclose(
        seen, thickness_uncertainty(case.measured, case.figures), rtol=AGREES
    )


def largest_pitch(position, pins, mm):
    return 1000 * np.abs(single_pitch(position, mm)).max()


def cumulative_total(position, pins, mm):
    return 1000 * np.ptp(cumulative_pitch(position, mm), axis=0).max()


def mean_thickness(position, pins, mm):
    return thickness(position, mm).mean()


def runout(position, pins, mm):
    return 1000 * np.ptp(pins)


def off_axis(position, pins, mm):
    return 1000 * abs(eccentricity(pins, position[:, 1] + gap_width(position, 0.5))[0])


@pytest.mark.parametrize(
    ("name", "figure"),
    list(
        zip(MAIN, (largest_pitch, cumulative_total, mean_thickness, runout, off_axis), strict=True)
    ),
)
def test_drawn_main_figures_spread_as_their_budget_says(name, figure):
    case, mm = drawn(), drawn().figures.measuring_radius
    seen = spread([figure(*one, mm) for one in case.drawn], figure(*case.exact, mm))
    u = judge_figures(case.measured, case.figures)[name].u
    assert seen == pytest.approx(u, rel=AGREES)


def test_slopes_of_a_sound_gear_scatter_by_what_each_is_uncertain_by_itself():
    found = _slopes(drawn().measured, drawn().lens)
    off = (found.rise - found.rise.mean(axis=0)) / found.own
    # 48 flanks tell a standard deviation to a tenth of itself; four of them.
    assert np.sqrt(np.mean(off**2)) == pytest.approx(1, abs=0.4)


def test_flanks_that_stand_out_by_a_tenth_of_a_pixel_do_so_all_along():
    measured = drawn().measured
    fits = measured.fits
    nominal = (fits.unwound - fits.nominal).ravel()[fits.points.flank]
    arm = fits.points.arm * fits.curve.measuring_arm[fits.points.flank % 2]
    unwound = nominal + fits.points.sign * 0.1 / arm
    out = replace(fits, points=replace(fits.points, unwound=unwound))
    trace = _traces(replace(measured, fits=out))[0]
    # A pixel is 40 um, here measured again at the gear.
    um = 1000 * measured.scale.mm_per_px
    np.testing.assert_allclose(trace[np.isfinite(trace)], 0.1 * um, rtol=1e-6)


def test_a_slope_is_what_a_flank_stands_out_more_at_its_tip_than_at_its_root():
    measured = drawn().measured
    fits = measured.fits
    low, high = fits.curve.roll_range
    # Half of the points at either end, on lines of one slope.
    roll = np.where(np.arange(len(fits.points.roll)) % 2, high, low)
    nominal = (fits.unwound - fits.nominal).ravel()[fits.points.flank]
    points = replace(fits.points, roll=roll, unwound=nominal + 1e-5 * (roll - low))
    leaning = replace(fits, slope=np.full_like(fits.slope, 1e-5), points=points)
    leaning = replace(measured, fits=leaning)
    trace = _traces(leaning)[0]
    rise = _slopes(leaning, drawn().lens).rise
    np.testing.assert_allclose(trace[..., -1] - trace[..., 0], rise, rtol=1e-6)


def test_a_chord_on_a_fixed_circle_grows_with_the_scale_as_a_thickness_does():
    measured, figures = drawn().measured, drawn().figures
    common = []
    for relative_u in (0.001, 0.01):
        scale = replace(measured.scale, u_mm_per_px=relative_u * measured.scale.mm_per_px)
        sizes = compute_sizes(replace(measured, scale=scale), figures, make_settings(KNOWN))
        common.append(sizes.chord.common)
    # 2 r tan a for each whole of the scale, whatever the edges add to both.
    grown = np.sqrt((common[1] ** 2 - common[0] ** 2) / (0.01**2 - 0.001**2))
    assert grown == pytest.approx(2 * 12 * tan(radians(20)), rel=1e-3)


def test_a_depth_is_as_sure_as_its_share_of_the_scale():
    measured, figures = drawn().measured, drawn().figures
    u = []
    for relative_u in (0.001, 0.01):
        scale = replace(measured.scale, u_mm_per_px=relative_u * measured.scale.mm_per_px)
        found = compute_gap_shapes(replace(measured, scale=scale), drawn().axes, figures)
        u.append(found.u_depth)
    grown = np.sqrt((u[1] ** 2 - u[0] ** 2) / (0.01**2 - 0.001**2))
    np.testing.assert_allclose(grown, found.depth, rtol=1e-6)


def test_a_stretch_that_common_sources_carry_is_not_counted_twice():
    measured, figures = drawn().measured, drawn().figures
    scale = replace(measured.scale, u_mm_per_px=0.0, stretch=0.003)
    modes = tuple(
        replace(mode, stretch=stretch)
        for mode, stretch in zip(figures.modes, (0.001, 0.002), strict=False)
    )
    alone, beside = (
        thickness_parts(replace(measured, scale=scale), replace(figures, modes=given))["stretch"]
        for given in ((), modes)
    )
    assert beside / alone == pytest.approx((9 - 1 - 4) ** 0.5 / 3)


def test_a_flank_is_as_sure_as_the_mean_of_its_points():
    fits = drawn().measured.fits
    (noise, *_) = _own_parts(drawn().measured, 1.0, "um", "each")
    many = np.median(np.bincount(fits.points.flank[fits.used]))
    a_point = fits.scatter * np.sqrt(fits.correlation / many)
    # The measuring circle lies off the middle of what is measured, which adds some of the slope's.
    assert float(noise.value.split()[0]) == pytest.approx(a_point, rel=0.3)


def test_a_mean_thickness_has_less_noise_than_one_by_the_root_of_the_teeth():
    (line,) = (
        one
        for one in parts_of(wheel_reading(), "thickness_mean_mm")
        if one.source == "edge noise and fit"
    )
    px_a_flank = float(line.value.split()[0])
    # Two flanks of 24 teeth, 0.04 mm a pixel; a flank's value is written to two figures.
    assert line.contribution == pytest.approx(0.04 * px_a_flank * (2 / 24) ** 0.5, rel=0.15)


def test_a_flank_that_something_lies_on_takes_no_part_in_the_mean_slope():
    rise = np.array([[1.0, 2.0], [3.0, 4.0], [-600.0, 6.0]])
    clear = np.array([[1.0, 1.0], [1.0, 1.0], [np.nan, 1.0]])
    slopes = _Slopes(rise, clear, np.full((3, 2), 0.5), np.zeros((1, 3, 2)), 0.0)
    mean = slopes.over_teeth()
    np.testing.assert_allclose(mean.mean, [2.0, 4.0])
    np.testing.assert_allclose(mean.u, 0.5 / np.sqrt([2, 3]))


def test_points_read_back_are_the_angles_measured():
    case = drawn()
    position, pins = case.exact
    # The involutes through the points leave out the flanks' own slopes: 0.02 px of 300 at the
    # pins' height.
    np.testing.assert_allclose(wrapped(position - case.figures.position), 0, atol=4e-6)
    # The same 0.02 px of a flank, to second order.
    np.testing.assert_allclose(pins, case.figures.pin_radius, rtol=0, atol=1e-4)


@pytest.mark.parametrize("true", [0.0, 1.0, 5.0])
@pytest.mark.parametrize("own", [np.ones(40), np.where(np.arange(40) % 7, 1.0, 15.0)])
def test_the_range_of_many_noisy_values_covers_the_true_one(true, own):
    """The largest of many is raised by noise, and U must say so: with no faults at all as well."""
    rng, turn = np.random.default_rng(3), np.linspace(0, 2 * np.pi, 40, endpoint=False)
    inside, ratio = [], []
    for _ in range(150):
        truth = true * rng.standard_normal(40)
        seen = truth + own * rng.standard_normal(40)
        error = np.ptp(seen) - np.ptp(truth)
        u = of_draws(np.ptp(seen), np.ptp(plausible(seen, own, turn), axis=1))
        inside.append(abs(error) <= 2 * u)
        ratio.append(error / u)
    # 150 trials at 95 %: three standard deviations are 5 %.
    assert np.mean(inside) > 0.9
    # And it is no blank cheque: errors are at least half of what is stated.
    assert np.sqrt(np.mean(np.square(ratio))) > 0.5


def test_what_is_left_open_of_one_flank_does_not_open_a_largest_step_elsewhere():
    """The range of a step of 70 seen to 1, with one value seen to 60 that lies among the others."""
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    own = np.ones(40)
    own[25] = 60.0
    seen = np.where(np.arange(40) < 20, 70.0, 0.0) + own * np.cos(np.arange(40)) * (own < 2)
    u = of_draws(np.ptp(seen), np.ptp(plausible(seen, own, turn), axis=1))
    # Values that lie on two steps leave the unseen one their own spread of some 20, not its 60.
    assert u < 15


@pytest.mark.parametrize(
    ("view", "greater"), [({"distortion": 0.01}, False), ({"tilt_deg": 9}, True)]
)
def test_oval_tips_add_to_the_allowance_only_beyond_what_it_makes_itself(view, greater):
    picture = rendered(**OFF_CENTRE, **view)
    frame = picture.image.shape[1], picture.image.shape[0]
    measured = measure_gear(picture.image, make_settings(KNOWN), from_stated_scale(40.0))
    usual, e1 = unmeasured_lens(*frame), 4
    allowed = np.sqrt(allowed_lens(measured, frame).covariance[e1][e1])
    if greater:
        # A lean of 9 degrees makes one diameter shorter by 1.2 %, half of it in e1 and e2; seen
        # from so near and off the middle, perspective adds a sixth.
        assert allowed == pytest.approx((1 - cos(radians(9))) / 2, rel=0.25)
    else:
        assert allowed == np.sqrt(usual.covariance[e1][e1])
