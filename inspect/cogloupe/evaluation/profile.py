"""Profile deviations of every flank over the evaluation range.

Deviations are about the axis of the teeth, so that an eccentric bore does not come into them;
signs after ISO 1328-1: positive out of the material, a slope positive where the flank leaves the
material towards the tip.
"""

from dataclasses import dataclass, replace
from math import cos, hypot, pi, sqrt, tan

import numpy as np

from cogloupe.fits.edge_model_check import UNLIKE_PX, unlike_px
from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import slope_per_shift, teeth_axis_covariance
from cogloupe.numerics.grouped import grouped_means
from cogloupe.numerics.missing import mean_seen
from cogloupe.uncertainty.flank_uncertainty import flank_doubts, flank_place
from cogloupe.uncertainty.modes import FlankPlace, lens_tilts
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS

POINTS_A_CELL, CELLS = 3, (5, 24)
"""Points that a stretch of the trace is averaged over, and the fewest and most stretches."""
EVENLY = sqrt(12)
"""What errors spread evenly along a flank do to the rise of its line, over that of its place."""
ENDS_APART = 2 * sqrt(3)
"""How far the ends of a flank that leans lie off each other, in its root mean square departure."""
ENDS_OWN, ENDS_COMMON = 0.36, 0.15
"""Standard uncertainty of that rise from the blur of the flank's ends, in squared blurs over the
tooth's depth: flank by flank, and of all flanks alike (from rendered gears with teeth 12 to 45 px
deep, blur 0.7 to 1.6 px)."""


@dataclass(frozen=True)
class SideFigure:
    """One figure of both flank sides: mean over the teeth, its standard uncertainty, and spread.

    Each is an array of shape (2,); the spread is the standard deviation from tooth to tooth.
    """

    mean: Floats
    u: Floats
    spread: Floats


@dataclass(frozen=True, kw_only=True)
class ProfileFigures:
    """Profile deviations of every flank, teeth in the order of their numbers, µm.

    Attributes
    ----------
    trace : ndarray, shape (z, 2, cells)
        Deviation out of the material over the evaluation range, mean taken off.
    mean_trace : ndarray, shape (2, cells)
        Mean over the teeth.
    roll : ndarray, shape (cells,)
        Roll length of the cells, mm.
    total, form, slope : ndarray, shape (z, 2)
        F_a, f_fa, f_Ha, and their standard uncertainties u_total, u_form, u_slope.
    angle : ndarray, shape (z, 2)
        Pressure angle of the involute each flank follows, rad; NaN for other forms of tooth.
    u_angle : ndarray, shape (z, 2)
    noise : float
        Standard uncertainty of one value of a trace.
    own_slope : ndarray, shape (z, 2)
        Standard uncertainty that each slope has to itself.
    tilts : ndarray, shape (sources, z, 2)
        Change of the slopes with each source of the lens.
    slopes, angles, totals, forms : SideFigure
        The same over all teeth of a side, the angles rad.
    mean_total, mean_form : SideFigure
        F_a and f_fa of the mean trace; their spread is 0.
    roll_range, diameters : (float, float)
        Where the evaluation begins and ends: lengths of roll, and diameters, mm.
    """

    trace: Floats
    mean_trace: Floats
    roll: Floats
    total: Floats
    u_total: Floats
    form: Floats
    u_form: Floats
    slope: Floats
    u_slope: Floats
    angle: Floats
    u_angle: Floats
    noise: float
    own_slope: Floats
    tilts: Floats
    slopes: SideFigure
    angles: SideFigure
    totals: SideFigure
    forms: SideFigure
    mean_total: SideFigure
    mean_form: SideFigure
    roll_range: tuple[float, float]
    diameters: tuple[float, float]

    @property
    def angle_mean(self) -> tuple[float, float]:
        """Mean pressure angle of all flanks and its standard uncertainty, rad.

        The sides share scale and lens, so their uncertainty does not average out.
        """
        seen = np.isfinite(self.angles.mean)
        if not seen.any():
            return float("nan"), float("nan")
        u = float(np.sqrt(np.mean(self.angles.u[seen] ** 2)))
        return float(self.angles.mean[seen].mean()), u


@dataclass(frozen=True)
class _Slopes:
    """Rise of every flank's line over the range, µm, and what it is uncertain by.

    `own` differs from flank to flank, `sources` act on all of them together, shape (n, z, 2), those
    of the lens first, and `alike` (scale, blurred ends) the same on each. `clear` is 1, and
    NaN where something lies on the flank.
    """

    rise: Floats
    clear: Floats
    own: Floats
    sources: Floats
    alike: float

    @property
    def u(self) -> Floats:
        """Standard uncertainty of each flank's rise."""
        return np.asarray(np.sqrt(self.own**2 + (self.sources**2).sum(axis=0) + self.alike**2))

    def over_teeth(self) -> SideFigure:
        """Mean of each side, in which what the flanks do not share averages out."""
        mean, spread, count = _over_teeth(self.rise * self.clear)
        own = np.sqrt(_over_teeth(self.own**2)[0] / np.maximum(count, 1))
        seen = np.isfinite(self.rise * self.clear)
        sources = np.where(seen, self.sources, 0.0).sum(axis=1) / np.maximum(count, 1)
        u = np.sqrt(own**2 + np.sum(sources**2, axis=0) + self.alike**2)
        return SideFigure(mean, np.where(count > 0, u, np.nan), spread)


def compute_profiles(measured: Measured, first: int, lens: Lens) -> ProfileFigures:
    """Profile deviations of every flank over the evaluation range.

    Parameters
    ----------
    first : int
        Index of tooth 1 in the measured arrays.
    lens : Lens
        Calibrated, or with an allowance for what was not measured.

    Notes
    -----
    Flanks that something lies on keep their own figures and take no part in those over all teeth.
    f_Ha is the rise of the fitted line over the range. f_fa and F_a are ranges of the averaged
    trace without and with that line; noise alone gives such ranges a size, which is put into their
    uncertainty so that it is not taken for form.
    """
    curve, um = measured.fits.curve, 1000 * measured.scale.mm_per_px
    low, high = curve.roll_range
    raw, level = _traces(measured)
    slopes = _slopes(measured, lens)
    if curve.form.name == "straight":  # nobody states what their sides should be
        raw, slopes = raw * np.nan, replace(slopes, rise=slopes.rise * np.nan)
    cells = raw.shape[-1]
    share = (np.arange(cells) + 0.5) / cells
    rising = slopes.rise[..., None] * (share - 0.5)
    centred = raw - _mean_along(raw)
    seen = np.isfinite(slopes.rise)
    total, form = _range(centred), _range(centred - rising)
    u_form = np.where(seen, _range_doubt(level, cells), np.nan)
    u_total = np.hypot(u_form, slopes.u)
    angle, u_angle, angles = _angles(measured, slopes, (high - low) * um)
    clear = slopes.clear[..., None]
    mean_trace, mean_form = (_over_teeth(t * clear)[0] for t in (centred, centred - rising))
    noise = np.sqrt(_over_teeth(level**2)[0] / np.maximum(seen.sum(axis=0), 1))
    u_mean = _range_doubt(noise, cells)
    side = slopes.over_teeth()
    none = np.zeros(2)

    def in_order(values: Floats) -> Floats:
        return np.roll(values, -first, axis=0)

    return ProfileFigures(
        trace=in_order(centred),
        mean_trace=mean_trace,
        roll=(low + share * (high - low)) * um / 1000,
        total=in_order(total),
        u_total=in_order(u_total),
        form=in_order(form),
        u_form=in_order(u_form),
        slope=in_order(slopes.rise),
        u_slope=in_order(slopes.u),
        angle=in_order(angle),
        u_angle=in_order(u_angle),
        noise=mean_seen(level),
        own_slope=in_order(slopes.own),
        tilts=np.roll(slopes.sources[: len(TERMS)], -first, axis=1),
        slopes=side,
        angles=angles,
        totals=_side_figure(total * slopes.clear, u_total, side.u),
        forms=_side_figure(form * slopes.clear, u_form, none),
        mean_total=SideFigure(_range(mean_trace), np.hypot(u_mean, side.u), none),
        mean_form=SideFigure(_range(mean_form), u_mean, none),
        roll_range=(low * um / 1000, high * um / 1000),
        diameters=(2 * curve.low_radius * um / 1000, 2 * curve.high_radius * um / 1000),
    )


def _traces(measured: Measured) -> tuple[Floats, Floats]:
    """Deviation averaged in cells of roll length, µm, shape (z, 2, cells), and its noise (z, 2)."""
    fits, um = measured.fits, 1000 * measured.scale.mm_per_px
    points, z = fits.points, len(fits.unwound)
    low, high = fits.curve.roll_range
    many = float(np.median(np.bincount(points.flank, minlength=2 * z)))
    cells = int(np.clip(many / POINTS_A_CELL, *CELLS))
    cell = np.clip(((points.roll - low) / (high - low) * cells).astype(int), 0, cells - 1)
    line = (fits.unwound - fits.nominal).ravel()[points.flank]
    arm = points.arm * fits.curve.measuring_arm[points.flank % 2]
    out = points.sign * (points.unwound - line) * arm * um
    use = fits.used & np.isfinite(out)
    index = (points.flank * cells + cell)[use]
    trace, count = grouped_means(index, out[use], 2 * z * cells)
    share = np.where(count > 0, 1 / np.maximum(count, 1), np.nan).reshape(z, 2, cells)
    typical = _mean_along(share)[..., 0]
    return trace.reshape(z, 2, cells), fits.scatter * um * np.sqrt(fits.correlation * typical)


def _slopes(measured: Measured, lens: Lens) -> _Slopes:
    fits, um = measured.fits, 1000 * measured.scale.mm_per_px
    low, high = fits.curve.roll_range
    arm, length = fits.curve.measuring_arm, (high - low) * um
    rise = np.array([-1.0, 1.0]) * fits.slope * arm * length
    doubts = flank_doubts(measured)
    grains = EVENLY * hypot(doubts["bevel"], doubts["texture"])
    own = hypot(ENDS_OWN * _blurred_ends(measured), grains) * um
    noise = np.hypot(fits.u_slope * arm * length, own)
    value, way = np.linalg.eigh(teeth_axis_covariance(fits))
    shifts = (way * np.sqrt(np.maximum(value, 0.0))).T
    axis = np.einsum("kx,xzs->kzs", shifts, slope_per_shift(fits))
    low_end = _end_place(fits, fits.curve.low_radius)
    high_end = _end_place(fits, fits.curve.high_radius)
    sources = lens_tilts(flank_place(fits, fits.centre), low_end, high_end, lens) * um
    stretch = measured.scale.relative_u * abs(fits.curve.stretched()[1])
    alike = hypot(stretch, common_slope_doubt(measured)) * length
    clear = np.where(flank_status(fits) != "obstructed", 1.0, np.nan)
    return _Slopes(rise, clear, noise, np.concatenate([sources, axis * length]), alike)


def common_slope_doubt(measured: Measured) -> float:
    """Standard uncertainty of all flanks' slopes together, deviation for each unit of roll.

    From the blur of their ends; and where flanks lean unlike each other, what makes them do so may
    lean them all alike by as much.
    """
    low, high = measured.fits.curve.roll_range
    unlike = unlike_px(measured.fits)
    light = ENDS_APART * unlike if unlike > UNLIKE_PX else 0.0
    return hypot(ENDS_COMMON * _blurred_ends(measured), light) / (high - low)


def _blurred_ends(measured: Measured) -> float:
    """Squared blur over the tooth's depth, px."""
    return measured.outlines.blur_px**2 / (measured.teeth.tip_radius - measured.teeth.root_radius)


def _end_place(fits: FlankFits, radius: float) -> FlankPlace:
    """Where the flanks lie on a circle, and how they face there."""
    curve, sign = fits.curve, np.array([-1.0, 1.0])
    circle = np.full(2, radius)
    arm = curve.form.arm(circle, np.arange(2))
    angle = fits.unwound - sign * curve.form.turn(circle, np.arange(2))
    lean = np.arccos(np.clip(arm / radius, -1.0, 1.0))
    facing = angle + sign * (pi / 2 - lean)
    xy = fits.centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return FlankPlace(xy, np.stack([np.cos(facing), np.sin(facing)], axis=-1), arm, radius)


def _angles(
    measured: Measured, slopes: _Slopes, length: float
) -> tuple[Floats, Floats, SideFigure]:
    """Pressure angle that each flank follows, and over all flanks of a side, rad.

    An involute of base radius ``r_b (1 + s)`` runs along a flank of slope s, so
    ``cos a' = cos a (1 + s)``.
    """
    if not measured.involute:
        nothing = np.full(slopes.rise.shape, np.nan)
        return nothing, nothing, SideFigure(nothing[0], nothing[0], nothing[0])
    alpha = measured.gear.rack.pressure_angle
    angle = np.arccos(np.clip(cos(alpha) * (1 + slopes.rise / length), -1.0, 1.0))
    steep = length * tan(alpha)
    mean, spread, _ = _over_teeth(angle * slopes.clear)
    return angle, slopes.u / steep, SideFigure(mean, slopes.over_teeth().u / steep, spread)


def _range_doubt(level: Floats, cells: int) -> Floats:
    """Standard uncertainty of the range of a trace whose cells have some noise.

    The range of n normal values is about ``1.64 sqrt(2 ln n)`` of their standard deviations.
    """
    chance = 1.64 * sqrt(2 * np.log(cells))
    return np.asarray(level * hypot(chance / 2, sqrt(2)))


def _side_figure(values: Floats, u: Floats, common: Floats) -> SideFigure:
    """Mean over teeth of figures that noise raises, so that their doubt does not average out."""
    mean, spread, _ = _over_teeth(values)
    return SideFigure(mean, np.maximum(np.sqrt(_over_teeth(u**2)[0]), common), spread)


def _over_teeth(values: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean, standard deviation and number over the teeth seen; NaN where there is none."""
    seen = np.isfinite(values)
    count = seen.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(seen, values, 0.0).sum(axis=0) / np.where(count > 0, count, np.nan)
        off = np.where(seen, values - mean, 0.0)
        spread = np.sqrt((off**2).sum(axis=0) / np.where(count > 1, count - 1, np.nan))
    return mean, spread, count.astype(np.float64)


def _mean_along(rows: Floats) -> Floats:
    seen = np.isfinite(rows)
    total = np.where(seen, rows, 0.0).sum(axis=-1, keepdims=True)
    return np.asarray(total / np.maximum(seen.sum(axis=-1, keepdims=True), 1))


def _range(rows: Floats) -> Floats:
    """Highest less lowest along the last axis; NaN with fewer than three values."""
    seen = np.isfinite(rows)
    high = np.where(seen, rows, -np.inf).max(axis=-1)
    low = np.where(seen, rows, np.inf).min(axis=-1)
    return np.where(seen.sum(axis=-1) >= 3, high - low, np.nan)
