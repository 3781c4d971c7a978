"""Fit every flank against its tooth form, all at once.

Unwound from the base circle, an involute is a constant: for a right flank ``angle + inv(a_r)``,
for a left one ``angle - inv(a_r)``, at every radius; another form is unwound by its own turn. So
each flank becomes a straight line of unwound angle against roll length, whose height is the
flank's place and whose slope is its profile slope deviation. Lines are fitted robustly (Tukey's
weights), with the mean form of all flanks of a side taken out before a point is judged, so that a
form common to all teeth is not mistaken for dirt. Lengths are px of the picture, angles rad.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from cogloupe.finding.tooth_map import LEFT, ToothMap
from cogloupe.forms.involute import involute_curve
from cogloupe.forms.tooth_form import BOTH_SIDES, OUT, FlankCurve
from cogloupe.numerics.angles import polar, wrapped
from cogloupe.numerics.grouped import grouped_medians
from cogloupe.optics.sampling import EdgePoints
from cogloupe_calibration import robust
from cogloupe_calibration.arrays import Bools, Floats, Ints

FORM_BINS = 24
"""Stretches of roll length over which a form is averaged."""
LEAST_COVERAGE = 0.25
"""A flank seen over less than this share of the evaluation range counts as not seen."""
SHORTEST_RUN = 5
"""Fewest neighbouring points that a thing lying on a flank covers."""
SMALLEST_LYING_PX, GRAIN_SCATTERS = 0.3, 6.0
"""Least distance from the flank at which a run of points is called something in the way: px, and
times the scatter of the flanks' points, beyond which grains of a texture do not reach."""
SHARPEST = 4.0
"""How much surer than the usual point any is taken to be."""
TUKEY = 4.685
"""Tuning constant of Tukey's biweight, 95 % efficient under normal noise (common practice)."""
USED_WEIGHT = 0.3
"""Weight below which a point is called set aside: some three standard deviations off."""
FACING = 0.25
"""Cosine between a point's normal and the way round from which it may lie on a flank (75 degrees):
flanks lean less, lands and floors more (our own judgement)."""
FILLET_SHARE, TIP_SHARE = 0.38, 0.14
"""Shares of a tooth's depth next to floor and tip that a first fit keeps out of, without a rack
that says where fillet and corner end (our own judgement)."""


@dataclass(frozen=True, kw_only=True)
class FlankPoints:
    """Points on the flanks within the evaluation range, unwound.

    Attributes
    ----------
    flank : ndarray, shape (n,), int
        ``2 * tooth + side``.
    roll : ndarray, shape (n,)
        Roll length, px.
    unwound : ndarray, shape (n,)
        Unwound angle, rad, less the nominal angle of its flank.
    xy, normal : ndarray, shape (n, 2)
        Positions corrected for curvature, px, and normals.
    good : ndarray, shape (n,), bool
        False where the grey profile was not a clean step.
    arm : ndarray, shape (n,)
        Movement along the normal for each radian of unwound angle, over that on the measuring
        circle; 1 all along an involute.
    sharp : ndarray, shape (n,)
        How much surer each is than the usual point: the inverse of its own uncertainty, in that of
        the usual one.
    doubt : ndarray, shape (n,)
        Standard uncertainty of the stretch that each lies in, as a whole, px.
    """

    flank: Ints
    roll: Floats
    unwound: Floats
    xy: Floats
    normal: Floats
    good: Bools
    arm: Floats
    sharp: Floats
    doubt: Floats

    @property
    def sign(self) -> Floats:
        """+1 on right flanks, -1 on left: turns unwound angle into distance out of material."""
        return np.where(self.flank % 2 == LEFT, -1.0, 1.0)


@dataclass(frozen=True, kw_only=True)
class FlankFits:
    """Fitted flanks; arrays over tooth index (0..z-1) and side (left, right).

    Attributes
    ----------
    centre : ndarray, shape (2,)
        Axis the flanks were unwound about: that of the teeth, px.
    unwound : ndarray, shape (z, 2)
        Unwound angle of the fitted flank at the measuring circle, rad; NaN where not seen.
    slope : ndarray, shape (z, 2)
        Change of unwound angle with roll length, rad/px.
    u_unwound, u_slope : ndarray, shape (z, 2)
        Standard uncertainties from the scatter of the points, their correlation included, and of
        places from what else they may be explained by.
    coverage : ndarray, shape (z, 2)
        Share of the evaluation range that good points cover.
    rejected : ndarray, shape (z, 2)
        Share of the points set aside in runs, as under something that lies on the flank.
    nominal : ndarray, shape (z, 2)
        Unwound angles that were taken off the points before fitting, rad.
    points : FlankPoints
        The points.
    used : ndarray, shape (n,), bool
        Points that kept weight.
    scatter : float
        Standard deviation of one point about its flank, px.
    correlation : float
        Factor by which neighbours' correlation raises the variance of a mean.
    form : ndarray, shape (2, FORM_BINS)
        Mean form of each side, out of material, px; bins over the evaluation range.
    curve : FlankCurve
        What was fitted against.
    """

    centre: Floats
    unwound: Floats
    slope: Floats
    u_unwound: Floats
    u_slope: Floats
    coverage: Floats
    rejected: Floats
    nominal: Floats
    points: FlankPoints
    used: Bools
    scatter: float
    correlation: float
    form: Floats
    curve: FlankCurve


def unwind(
    edges: EdgePoints, teeth: ToothMap, centre: Floats, curve: FlankCurve
) -> tuple[FlankPoints, Floats]:
    """Pick the points on the flanks and unwind them.

    Parameters
    ----------
    edges : EdgePoints
        The toothed outline.
    teeth : ToothMap
        Tooth and side of each of its points.
    centre : ndarray, shape (2,)
        Axis, px.
    curve : FlankCurve
        Form and evaluation range.

    Returns
    -------
    points : FlankPoints
    nominal : ndarray, shape (z, 2)
        Nominal unwound angle of each flank, rad, which has been taken off.
    """
    radius, angle = polar(edges.xy, centre)
    chosen = (radius > curve.low_radius) & (radius < curve.high_radius)
    if curve.tooth_high is not None:
        chosen &= radius < curve.tooth_high[teeth.tooth]
    chosen &= radius > curve.form.lowest * (1 + 1e-9)
    index = np.flatnonzero(chosen)
    picked, side = edges.take(index), teeth.side[index]
    bend = curve.form.bend(radius[index], side, float(np.median(edges.blur)))
    xy = picked.straightened(np.clip(bend, -1.0, 1.0))
    radius, angle = polar(xy, centre)
    sign = np.where(side == LEFT, -1.0, 1.0)
    nominal = teeth.centre_angle[:, None] + _half_angle(teeth, curve) * OUT
    flank = 2 * teeth.tooth[index] + side
    unwound = angle + sign * curve.form.turn(radius, side) - nominal.ravel()[flank]
    unwound = wrapped(unwound)
    # A point that faces the wrong way lies on something else (a chip, the far side of a burr).
    tangent = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    facing = (picked.normal * tangent).sum(axis=1) * sign > FACING
    roll = curve.form.along(radius)
    arm = curve.form.arm(radius, side) / curve.measuring_arm[side]
    good = picked.good & facing
    sharp = _sharpness(picked)
    return FlankPoints(
        flank=flank, roll=roll, unwound=unwound, xy=xy, normal=picked.normal, good=good, arm=arm,
        sharp=sharp, doubt=np.zeros(len(index)) if picked.doubt is None else picked.doubt,
    ), nominal  # fmt: skip


def _sharpness(picked: EdgePoints) -> Floats:
    """How much surer each point is than the usual one, as far as that was told."""
    if not picked.weighed or not picked.good.any():
        return np.ones(len(picked))
    usual = float(np.median(picked.u[picked.good]))
    return np.clip(usual / np.maximum(picked.u, 1e-9), 0.0, SHARPEST)


def _half_angle(teeth: ToothMap, curve: FlankCurve) -> Floats:
    """Rough half angles of a tooth to its two flanks, unwound: a quarter pitch at mid-height."""
    return pi / (2 * teeth.teeth) + curve.form.turn(np.full(2, teeth.mid_radius), BOTH_SIDES)


def fit_flanks(edges: EdgePoints, teeth: ToothMap, centre: Floats, curve: FlankCurve) -> FlankFits:
    """Fit a line of unwound angle against roll length to every flank.

    Parameters
    ----------
    edges, teeth, centre, curve
        As for `unwind`.

    Notes
    -----
    Distances along the normal, not angles, scatter alike all along a flank; where the two are not
    proportional (forms other than the involute), both sides of the line's equation are multiplied
    by the arm, and the slope is that of the distance.
    """
    points, nominal = unwind(edges, teeth, centre, curve)
    z, arm = teeth.teeth, curve.measuring_arm
    start = _flank_medians(points, 2 * z)
    roll_here = points.roll - curve.measuring_roll
    line = np.stack([start, np.zeros(2 * z)])
    form = _median_form(points, (points.unwound - start[points.flank]) * points.arm, curve)
    weight = points.good.astype(float)
    for turn in range(8):
        residual = _residual(points, line, roll_here)
        if turn > 0:
            form = _mean_form(points, residual, weight, curve, form)
        judged = _judged(points, residual, form, curve)
        typical = robust.scatter(judged[points.good]) if points.good.any() else 1.0
        weight = np.where(points.good, _tukey(judged / (TUKEY * max(typical, 1e-12))), 0.0)
        line, leverage = _weighted_lines(points, roll_here, weight * points.sharp**2, 2 * z)
    used = weight > USED_WEIGHT
    judged = _judged(points, _residual(points, line, roll_here), form, curve)
    scatter = float(np.std(judged[used])) if used.any() else float("nan")
    correlation = _correlation(points, judged, used)
    coverage, rejected = _coverage(points, judged, used, curve, 2 * z)
    line = np.where(coverage > LEAST_COVERAGE, line, np.nan)
    unit = np.tile(scatter / arm * sqrt(correlation), z)
    value, spread, slope, u_slope = _at_measuring_circle(line, leverage, unit)
    spread = np.hypot(spread, _doubt_of_flanks(points, used, 2 * z) / np.tile(arm, z))
    shape = (z, 2)
    return FlankFits(
        centre=centre,
        unwound=value.reshape(shape) + nominal,
        slope=slope.reshape(shape),
        u_unwound=spread.reshape(shape),
        u_slope=u_slope.reshape(shape),
        coverage=coverage.reshape(shape),
        rejected=rejected.reshape(shape),
        nominal=nominal,
        points=points,
        used=used,
        scatter=scatter,
        correlation=correlation,
        form=form * (arm * OUT)[:, None],
        curve=curve,
    )


def _doubt_of_flanks(points: FlankPoints, used: Bools, flanks: int) -> Floats:
    """Doubt of each flank as a whole, px: the mean of its points', which are not independent."""
    count, total = (np.bincount(points.flank, used * w, flanks) for w in (1.0, points.doubt))
    return np.asarray(total / np.maximum(count, 1), np.float64)


def _judged(points: FlankPoints, residual: Floats, form: Floats, curve: FlankCurve) -> Floats:
    """What is left of each point, px, as far as it would be off were it as sure as the usual."""
    off = (residual - _form_at(form, points, curve)) * curve.measuring_arm[points.flank % 2]
    return np.asarray(off * points.sharp)


def _residual(points: FlankPoints, line: Floats, roll_here: Floats) -> Floats:
    """What the lines leave of the points, rad on the measuring circle along the normal."""
    value, slope = line
    return np.asarray(
        (points.unwound - value[points.flank]) * points.arm - slope[points.flank] * roll_here
    )


def _at_measuring_circle(
    line: Floats, leverage: Floats, unit: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Place of every flank on the measuring circle, its u, and its slope with u.

    Where the middle of the seen flank lies away from the measuring circle, an error of the slope
    tilts the place there. Flanks cut by one tool have nearly one slope, so each side's slopes are
    drawn towards their mean, by as much as their spread is explained by noise (empirical Bayes);
    only the place uses the drawn slope, the flank's own slope is reported.
    """
    value, slope = line
    total, cross, square = leverage
    u_slope = unit * np.sqrt(total)
    middle = np.where(total > 0, -cross / np.where(total > 0, total, 1), 0.0)
    drawn, u_drawn = np.empty_like(slope), np.empty_like(slope)
    for side in (0, 1):
        own, u = slope[side::2], u_slope[side::2]
        seen = np.isfinite(own)
        share, mean = _real_share(own[seen], u[seen])
        drawn[side::2] = mean + share * (own - mean)
        u_drawn[side::2] = u * np.sqrt(share)
    at_circle = value + (drawn - slope) * -middle
    at_middle = unit**2 * np.maximum(square - total * middle**2, 0.0)
    spread = np.sqrt(at_middle + (middle * u_drawn) ** 2)
    return at_circle, np.where(np.isfinite(value), spread, np.nan), slope, np.where(
        np.isfinite(slope), u_slope, np.nan
    )  # fmt: skip


def _real_share(slope: Floats, u: Floats) -> tuple[float, float]:
    """Share of the slopes' variance that noise does not explain, and their mean."""
    if len(slope) < 4:
        return 1.0, float(slope.mean()) if len(slope) else 0.0
    noise = float(np.mean(u**2))
    # One standard deviation of a sample variance: what lies within it is not evidence of spread.
    excess = float(np.var(slope, ddof=1)) - noise * (1 + sqrt(2 / (len(slope) - 1)))
    return max(excess, 0.0) / (max(excess, 0.0) + noise + 1e-300), float(slope.mean())


def _flank_medians(points: FlankPoints, flanks: int) -> Floats:
    """Median unwound angle of each flank's good points; 0 where there are none."""
    good = points.good
    return np.nan_to_num(grouped_medians(points.flank[good], points.unwound[good], flanks)[0])


def _tukey(x: Floats) -> Floats:
    return np.where(np.abs(x) < 1, (1 - x**2) ** 2, 0.0)


def _weighted_lines(
    points: FlankPoints, x: Floats, weight: Floats, flanks: int
) -> tuple[Floats, Floats]:
    """Least-squares lines of every flank: value and slope, and the inverse normal matrix.

    The matrix is given as its entries for the slope, the cross term and the value.
    """
    arm, y = points.arm, points.unwound * points.arm

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(points.flank, weight * values, flanks), np.float64)

    w, wx, wxx = total(arm * arm), total(arm * x), total(x * x)
    wy, wxy = total(arm * y), total(x * y)
    det = w * wxx - wx**2
    det = np.where(det > 1e-9, det, np.inf)
    value = np.stack([(wxx * wy - wx * wxy) / det, (w * wxy - wx * wy) / det])
    return value, np.stack([w / det, -wx / det, wxx / det])


def _bin_of(points: FlankPoints, curve: FlankCurve, bins: int = FORM_BINS) -> Ints:
    low, high = curve.roll_range
    share = (points.roll - low) / max(high - low, 1e-9)
    return np.clip((share * bins).astype(np.int64), 0, bins - 1)


def _median_form(points: FlankPoints, residual: Floats, curve: FlankCurve) -> Floats:
    """Median residual of each side in bins of roll length, rad.

    A form that most flanks of a side share, however large, is the gear's and not dirt.
    """
    cell = (points.flank % 2) * FORM_BINS + _bin_of(points, curve)
    cells = FlankPoints(
        flank=cell,
        roll=points.roll,
        unwound=residual,
        xy=points.xy,
        normal=points.normal,
        good=points.good,
        arm=points.arm,
        sharp=points.sharp,
        doubt=points.doubt,
    )  # the medians are taken by cell instead of by flank
    return _level(_flank_medians(cells, 2 * FORM_BINS).reshape(2, FORM_BINS))


def _level(form: Floats) -> Floats:
    """A form without its mean and slope, which belong to the flanks' own lines."""
    x = np.arange(FORM_BINS) - (FORM_BINS - 1) / 2
    centred = form - form.mean(axis=1, keepdims=True)
    return np.asarray(centred - (centred @ x / (x @ x))[:, None] * x)


def _mean_form(
    points: FlankPoints, residual: Floats, weight: Floats, curve: FlankCurve, before: Floats
) -> Floats:
    """Mean residual of each side in bins of roll length, rad."""
    cell = (points.flank % 2) * FORM_BINS + _bin_of(points, curve)
    # Points far off are kept out of the mean by the weights of the turn before.
    total = np.bincount(cell, weight * residual, 2 * FORM_BINS)
    count = np.bincount(cell, weight, 2 * FORM_BINS)
    mean = np.where(count > 3, total / np.maximum(count, 1e-9), before.ravel())
    return _level(mean.reshape(2, FORM_BINS))


def _form_at(form: Floats, points: FlankPoints, curve: FlankCurve) -> Floats:
    """Mean form at each point, joined by straight lines between the bins' middles."""
    low, high = curve.roll_range
    place = (points.roll - low) / max(high - low, 1e-9) * FORM_BINS - 0.5
    middles = np.arange(FORM_BINS)
    left = points.flank % 2 == LEFT
    values = [np.interp(place, middles, side) for side in form]
    return np.asarray(np.where(left, *values))


def _correlation(points: FlankPoints, judged: Floats, used: Bools, lags: int = 12) -> float:
    """Variance factor of a mean from the points' correlation along the outline: 1 + 2 sum rho.

    JPEG blocks, demosaicing and tool marks make neighbours alike; it is measured, not assumed.
    """
    total = 1.0
    variance = float(np.mean(judged[used] ** 2)) if used.any() else 0.0
    if variance <= 0:
        return 1.0
    for lag in range(1, lags + 1):
        same = used[lag:] & used[:-lag] & (points.flank[lag:] == points.flank[:-lag])
        if same.sum() < 100:
            break
        rho = float(np.mean(judged[lag:][same] * judged[:-lag][same])) / variance
        if rho < 2 / sqrt(same.sum()):
            break
        total += 2 * rho
    return total


def _coverage(
    points: FlankPoints, judged: Floats, used: Bools, curve: FlankCurve, flanks: int
) -> tuple[Floats, Floats]:
    """Share of the range covered by used points, and share under something, per flank."""
    count = np.bincount(points.flank, minlength=flanks)
    # Stretches of about four points; where pixels are few, fewer and longer stretches.
    bins = int(np.clip(np.median(count) // 4, 3, 12))
    cell = points.flank * bins + _bin_of(points, curve, bins)
    filled = np.bincount(cell, used, flanks * bins).reshape(flanks, bins) >= 1
    rejected = np.bincount(points.flank, _in_the_way(points, judged, used), flanks)
    return filled.mean(axis=1), rejected / np.maximum(count, 1)


def _in_the_way(points: FlankPoints, judged: Floats, used: Bools) -> Floats:
    """Mark points that belong to a run set aside because something lies there.

    Texture makes single points stray; what lies on a flank sets a whole run of neighbours aside,
    and by more than the edge of a grain.
    """
    aside = ~used
    start = aside & ~np.concatenate([[False], aside[:-1] & (np.diff(points.flank) == 0)])
    run = np.cumsum(start) * aside
    runs = int(run.max(initial=0)) + 1
    length = np.bincount(run, minlength=runs)
    size = np.bincount(run, np.abs(np.nan_to_num(judged)), runs) / np.maximum(length, 1)
    scatter = float(np.std(judged[used])) if used.any() else 0.0
    lying = (length >= SHORTEST_RUN) & (size > max(SMALLEST_LYING_PX, GRAIN_SCATTERS * scatter))
    lying[0] = False
    return np.asarray(lying[run], np.float64)


def rough_involute(teeth: ToothMap, module: float, pressure_angle: float) -> FlankCurve:
    """Involute to fit flanks against before their size is known.

    Over the middle of the flanks, clear of any fillet and tip.

    Parameters
    ----------
    module : float
        Px.
    pressure_angle : float
        Rad.
    """
    depth = teeth.tip_radius - teeth.root_radius
    low, high = teeth.root_radius + FILLET_SHARE * depth, teeth.tip_radius - TIP_SHARE * depth
    base = module * teeth.teeth / 2 * np.cos(pressure_angle)
    return involute_curve(base, module * teeth.teeth / 2, max(low, base * 1.002), high)
