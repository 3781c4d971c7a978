"""Fit a supposed gap to the mean gap, and weigh how well it explains it.

A situation supposes a gap with a few free sizes, each with a stated spread beforehand. Its weight
is the probability of the measured gap under it, the free sizes integrated out (Laplace's
approximation: a situation with more to choose from must earn it). What moves all places of the
gap together (edge level, scale, lens, turn) is part of the covariance, so that it neither counts
for nor against anyone. Lengths mm.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log

import numpy as np

from cogloupe.evaluation.mean_gap import MeanGap
from cogloupe.forms.gap_outline import GapOutline, blurred, off_outline
from cogloupe_calibration.arrays import Floats

ROUGH_MODULES, ROUGH_PX, ROUGH_LENGTH = 0.003, 0.015, 0.2
"""What any real cut or picture strays from any theory: facets of a hob and the cutter's own errors
(share of a module; gears of the generating model with a dozen gashes show 0.002), edges the
picture shows wrongly (px, rendered gears), alike over this length (modules)."""
ROUGH_OWN = 0.1
"""Share of that variance that neighbours do not have in common."""
CUTTER_TIP, TIP_HEIGHT = 0.02, 0.25
"""Standard uncertainty of the height of a cutter's tooth over its pitch line, in modules (no maker
and no sharpening keeps a dedendum to the micrometre; our own judgement), and the height above the
floor, in modules, below which its tip has cut."""
TURN = 0.02
"""How far, rad, the middle of the gap may have been laid wrongly; left free on purpose."""
OBLIQUE = 1.066
"""Rows and columns cross a curved edge at all angles, which raises blur's squared effect by the
mean of ``1 + tan^2 t / 2`` over 0 to 45 degrees: 1.137, the square of this."""
STEPS = 6
"""Gauss-Newton steps of a situation, two for each slope that is worked out."""
HOPELESS = 200.0
"""Log weight by which a situation may lag behind after its first step and still be followed up."""


@dataclass(frozen=True, kw_only=True)
class Free:
    """A free size of a situation.

    Attributes
    ----------
    start : float
        Where the search begins.
    mean, spread : float
        Normal distribution beforehand.
    low, high : float
        Bounds.
    one_sided : bool
        Only values above zero are meant: half a normal distribution.
    """

    name: str
    start: float
    mean: float
    spread: float
    low: float
    high: float
    one_sided: bool = False


@dataclass(frozen=True)
class Supposed:
    """A gap that a situation would leave.

    Attributes
    ----------
    outline : callable
        Free sizes to the whole gap's outline in mm, sharp.
    tip : callable or None
        Free sizes to the tip radius the system asks for, mm, where that is to count.
    """

    outline: Callable[[Floats], GapOutline]
    free: tuple[Free, ...]
    tip: Callable[[Floats], float] | None = None


@dataclass(frozen=True, kw_only=True)
class GapFit:
    """A situation's best gap.

    Attributes
    ----------
    values : ndarray, shape (k,)
        Free sizes.
    covariance : ndarray, shape (k, k)
        Theirs.
    log_weight : float
        Logarithm of the gap's probability under the situation.
    chi_square : float
        Squared misfit in standard deviations, of `count` places.
    misfit : float
        Root mean square distance that nothing common to all places explains, mm.
    """

    values: Floats
    covariance: Floats
    log_weight: float
    chi_square: float
    count: int
    misfit: float

    @property
    def u(self) -> Floats:
        """Standard uncertainties of the free sizes."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


class Comparison:
    """A mean gap with the covariance that situations are judged by.

    Parameters
    ----------
    relative_u : float, optional
        Relative standard uncertainty of the scale, if not the picture's own.
    tip_spread : float, optional
        Standard uncertainty of the blank, mm, where the tip radius is to count.
    """

    def __init__(
        self,
        gap: MeanGap,
        module_mm: float,
        relative_u: float | None = None,
        tip_spread: float | None = None,
    ) -> None:
        self.gap = gap
        self.tip = tip_spread is not None
        relative_u = gap.relative_u if relative_u is None else relative_u
        n = len(gap.xy) + self.tip
        covariance = np.zeros((n, n))
        places = slice(0, len(gap.xy))
        covariance[places, places] = gap.covariance + _roughness(gap, module_mm)
        if tip_spread is not None:
            covariance[-1, -1] = tip_spread**2 + gap.u_tip**2
        for mode in _common(gap, module_mm, relative_u, self.tip):
            covariance += np.outer(mode, mode)
        self.inverse = np.linalg.inv(covariance)
        self.log_det = float(np.linalg.slogdet(covariance)[1])

    def fit(self, supposed: Supposed, best: float = -inf) -> GapFit:
        """Fit a situation.

        Parameters
        ----------
        best : float
            Log weight of another one; what lags far behind it is not followed to the end.
        """
        free = supposed.free
        low, high = (np.array([getattr(f, side) for f in free]) for side in ("low", "high"))
        mean = np.array([f.mean for f in free])
        prior = np.array([f.spread**-2 for f in free])
        values = np.clip([f.start for f in free], low, high)
        rest = self._rest(supposed, values)
        for turn in range(STEPS):
            if turn % 2 == 0:  # a slope serves for two steps
                slope = self._slope(supposed, values, rest)
                normal = slope.T @ self.inverse @ slope + np.diag(prior)
            step = np.linalg.solve(normal, slope.T @ self.inverse @ rest + prior * (mean - values))
            before, values = values, np.clip(values + step, low, high)
            rest = self._rest(supposed, values)
            small = np.all(np.abs(values - before) * np.sqrt(np.diag(normal)) < 0.05)
            lags = -0.5 * (rest @ self.inverse @ rest + self.log_det) < best - HOPELESS
            if small or lags:
                break
        chi_square = float(rest @ self.inverse @ rest)
        penalty = float(prior @ (values - mean) ** 2)
        occam = float(np.linalg.slogdet(normal)[1]) - float(np.log(prior).sum())
        sided = 2 * log(2) * sum(f.one_sided for f in free)
        weight = -0.5 * (chi_square + penalty + occam - sided + self.log_det)
        found = np.asarray(np.linalg.inv(normal), np.float64)
        return GapFit(
            values=values,
            covariance=found,
            log_weight=weight,
            chi_square=chi_square,
            count=len(rest),
            misfit=self._misfit(rest),
        )

    def _rest(self, supposed: Supposed, values: Floats) -> Floats:
        """Measured less supposed, out of the material."""
        seen = blurred(supposed.outline(values), OBLIQUE * self.gap.blur)
        off, _ = off_outline(seen, self.gap.xy)
        if not self.tip:
            return off
        assert supposed.tip is not None  # a comparison with tips is for systems that state them
        return np.append(off, self.gap.tip - supposed.tip(values))

    def _slope(self, supposed: Supposed, values: Floats, rest: Floats) -> Floats:
        """Change of the supposed places with each free size."""
        columns = []
        for k, free in enumerate(supposed.free):
            way = 1.0 if values[k] + 0.02 * free.spread <= free.high else -1.0
            step = np.zeros(len(values))
            step[k] = way * 0.02 * free.spread
            columns.append((rest - self._rest(supposed, values + step)) / step[k])
        return np.stack(columns, axis=1)

    def _misfit(self, rest: Floats) -> float:
        """Root mean square of what is left when edge level and turn have been fitted out."""
        places = rest[: len(self.gap.xy)]
        free = np.stack([np.ones(len(places)), _across(self.gap)], axis=1)
        taken = np.linalg.lstsq(free, places, rcond=None)[0]
        return float(np.sqrt(np.mean((places - free @ taken) ** 2)))


def _across(gap: MeanGap) -> Floats:
    """Movement of each place along its normal for a turn of the gap about the axis."""
    return np.asarray(gap.xy[:, 1] * gap.normal[:, 0] - gap.xy[:, 0] * gap.normal[:, 1])


def _common(gap: MeanGap, module_mm: float, relative_u: float, tip: bool) -> tuple[Floats, ...]:
    """Displacements of all places by one standard uncertainty of each common source."""
    radius = np.hypot(*gap.xy.T)
    outwards = (gap.xy * gap.normal).sum(axis=1)
    middle = float(np.median(radius))
    along = outwards * (radius - middle) / radius
    height = (radius - gap.floor) / (TIP_HEIGHT * module_mm)
    by_tip = CUTTER_TIP * module_mm * np.clip(1 - height, 0, 1) * outwards / radius
    modes = [
        (np.full(len(radius), gap.edge), gap.edge),
        (outwards * relative_u, gap.tip * relative_u),
        (along * gap.stretch, (gap.tip - middle) * gap.stretch),
        (_across(gap) * TURN, 0.0),
        (by_tip, 0.0),
    ]
    return tuple(np.append(places, end) if tip else places for places, end in modes)


def _roughness(gap: MeanGap, module_mm: float) -> Floats:
    """Covariance of what any cut or picture strays from theory."""
    apart = np.subtract.outer(gap.station, gap.station) / (ROUGH_LENGTH * module_mm)
    size = (ROUGH_MODULES * module_mm) ** 2 + (ROUGH_PX * gap.px) ** 2
    # Facets have corners, so what is alike falls off at once, and a part is each place's own.
    return size * ((1 - ROUGH_OWN) * np.exp(-np.abs(apart)) + ROUGH_OWN * np.eye(len(apart)))


def shares(log_weights: Floats, temper: float = 1.0) -> Floats:
    """Weights as shares of their sum.

    Parameters
    ----------
    temper : float
        What differences are divided by; above 1 where not even the best explains the gap to within
        its uncertainty, so that no one is called sure on a misfit.
    """
    off = (log_weights - log_weights.max()) / max(temper, 1.0)
    share = np.exp(off)
    return np.asarray(share / share.sum())
