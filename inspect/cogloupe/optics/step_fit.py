"""Fit a blurred step to many grey profiles at once: each its own place, the rest shared.

Profiles come in the order of the outline, so neighbours share their grey levels and their blur;
averaged over a stretch about as long as a flank, these cost the position next to nothing. Where
tool marks or a grained ground make the levels wander within a few pixels, what the picture's own
plateaus say of their correlation weights the pixels of each profile (generalised least squares).
"""

from dataclasses import dataclass
from functools import cached_property
from math import pi

import numpy as np

from cogloupe.numerics.moving_average import (
    LEVEL_WINDOW,
    PIECE,
    along,
    by_piece,
    dot,
    mean_of_pieces,
    running_mean,
)
from cogloupe.optics.contour_following import bend
from cogloupe.optics.grain import PLATEAU_BLURS, Grain, grains_beside, weighed_products
from cogloupe.optics.levels import (
    LEVEL_WINDOWS,
    Levelled,
    beyond_chance,
    common_levels,
    least_squares_amplitude,
    solve_levels,
)
from cogloupe.optics.response import BrokenEdge, UnitStep, blurs_out, broken_step, unit_step
from cogloupe_calibration.arrays import Bools, Floats, Ints, Reals
from cogloupe_calibration.robust import median

MOST_TURNS, SETTLED_PX, SETTLED_BLUR = 8, 0.001, 0.01
"""Turns that places, levels and blurs are given to settle; the mean move of a place, and the mean
share of a blur, from which the next turn would change a third and a twentieth of it at most."""
BLURS_PX = 0.3, 8.0
"""Least and most blur that is looked for."""
PLACES_PX, BESIDE_BAND_PX = (-2.0, 3.0), (-3.0, 4.0)
"""Least and most place from the pixel inside. An edge lies between that and the next; two px more
allow for a level that is off, and one more where a band, whose width is added, draws it."""
FURTHEST_PX, WIDEST_SHARE = 1.0, 0.3
"""Furthest move of a place and change of a blur, by itself, in one turn: within that a blurred step
changes about evenly, and beyond it the turns could overshoot."""
FLAT, HALF_WAY_PX = 1e-3, (-0.5, 1.5)
"""Rise between the middle pixels, in greys, that none could round to; and where half way is looked
for: between them, or half a pixel beyond."""
FIRST_STEP_BLURS = 0.25
"""How finely the first place of a banded edge is looked for: a tenth of a grey step."""
LEAST_OWN = 0.1
"""Share of what a wider blur does that its levels may not take up at least: where they take more,
the stretch hardly tells it."""
LEAST_GRAINED = 1e-3
"""Variance of a level, by that of a pixel, at least, so that one without grain has an inverse."""
PLACES_ALIKE, SLANTS_ALIKE = 8, 20
"""Samples of one kind: an eighth of a pixel, a twentieth of slant, blur and a band's light, over
which a profile changes by less than grain is known."""
STRAIGHT = 0.87
"""Cosine of an outline's bend within reach, 30 degrees, beyond which a sample is at a corner."""
PLATEAU = 0.02
"""Share of the step within which a pixel shows the level of one side: two blurs out."""
UNLIKE = 5.0
"""Median departures of a level from its neighbours' beyond which a sample is dirt or a mark: 3.4
standard deviations, one of 1,400 by chance."""
GRAINED_TURNS = 3
"""Turns with weights of the grain, from places that are nearly there; they end by `SETTLED_PX`."""
LEAST_PLATEAU_PX = 2.5
"""Plateau that a profile must reach for grain to be told from it."""
LEAST_GRAIN = 0.1
"""Variance that neighbouring pixels share, by what each has for itself, from which it is used."""


@dataclass(frozen=True, kw_only=True)
class Band:
    """A bevel along the profiles' edge and the shadow beside it, as they meet them.

    Attributes
    ----------
    width_px : float
        Width of the bevel.
    light : ndarray, shape (n,)
        0 for the light of the material, 1 for that of the ground.
    shade : float
        Change of the ground's light in the shadow, on the same scale.
    offset_px : ndarray, shape (n,)
        How far out of the edge the shadow's border lies.
    soft_px : float
        Softness of that border.
    blur : ndarray, shape (n,)
        Blur that was found with it, px.
    """

    width_px: float
    light: Reals
    shade: float
    offset_px: Reals
    soft_px: float
    blur: Reals

    def in_blurs(self, s: Reals) -> BrokenEdge:
        """Give the same in blurs of each profile."""
        shade = np.full_like(s, self.shade)
        # The lens blurs the shadow too.
        soft = np.hypot(self.soft_px / s, 1.0)
        return BrokenEdge(self.width_px / s, self.light, shade, self.offset_px / s, soft)


@dataclass(frozen=True)
class Steps:
    """Blurred steps fitted to n profiles of k pixels.

    Attributes
    ----------
    place : ndarray, shape (n,)
        Edge position along the profile, px from its pixel inside.
    blur : ndarray, shape (n,)
        Blur along the normal, px.
    levels : ndarray, shape (2, n)
        Grey of material and ground.
    residual : ndarray, shape (n, k)
        Grey values less the steps'.
    """

    place: Floats
    blur: Floats
    levels: Floats
    residual: Reals


def fit_steps(
    profiles: Reals,
    offsets: Reals,
    cosine: Reals,
    normal: Floats,
    blur: float,
    band: Band | None = None,
    grained: bool = True,
) -> Steps:
    """Fit a blurred step to every profile: positions apart, levels and blur shared by neighbours.

    Parameters
    ----------
    profiles : ndarray, shape (n, k)
    offsets : ndarray, shape (k,)
    cosine : ndarray, shape (n,)
        Cosine between profile and edge normal.
    normal : ndarray, shape (n, 2)
        Edge normals, to tell corners.
    blur : float
        Start value, px along the normal.
    band : Band or None
        A bevel along the edge.
    grained : bool
        Weigh the pixels by the grain beside the edge; False is faster.
    """
    t = _half_way(profiles, offsets) - _beyond(band, blur) * blur / cosine
    s = np.full(len(profiles), blur, profiles.dtype) if band is None else band.blur
    least, most = PLACES_PX if band is None else BESIDE_BAND_PX
    limits = (least, most + (0.0 if band is None else band.width_px))
    plain = _plain(normal, profiles, _unit_steps(offsets, cosine, t, s, band).step)

    def compared(t: Reals, s: Reals) -> _Compared:
        unit = _unit_steps(offsets, cosine, t, s, band)
        return _Compared(profiles, unit, common_levels(profiles, unit, plain), cosine / s)

    wrong_blur = band is None
    for _ in range(MOST_TURNS):
        now = compared(t, s)
        move = least_squares_amplitude(now.slope, now.residual)
        move = np.clip(move, -FURTHEST_PX, FURTHEST_PX)
        t = np.clip(t + move, *limits)
        if wrong_blur:
            widest = WIDEST_SHARE * s
            change = np.clip(_widening(now, s, plain), -widest, widest)
            s = np.clip(s + change, *BLURS_PX)
            wrong_blur = bool(np.mean(np.abs(change) / s) > SETTLED_BLUR)
        elif np.mean(np.abs(move[plain])) < SETTLED_PX:
            break
    # Grain is told by plateaus.
    seen = offsets[-1] > PLATEAU_BLURS * median(s) + LEAST_PLATEAU_PX
    grains = grains_beside(now.residual, now.unit.z, now.rise, plain) if grained and seen else None
    if grains and any(grain.variance > LEAST_GRAIN * grain.own for grain in grains):
        s = np.clip(_smooth(s, np.ones(len(s))), *BLURS_PX) if band is None else s
        for _ in range(GRAINED_TURNS):
            now = compared(t, s)
            move, by_blur, wider = _weighted_moves(now, s, grains, _kinds(now.unit.z, band))
            if band is None:
                move -= by_blur * wider
                s = np.clip(s + wider, *BLURS_PX)
            move = np.clip(move, -FURTHEST_PX, FURTHEST_PX)
            t = np.clip(t + move, *limits)
            if np.mean(np.abs(move[plain])) < SETTLED_PX:
                break
    place, blurs, greys = (values.astype(np.float64) for values in (t, s, now.levelled.levels))
    return Steps(place, blurs, greys, now.residual)


def _half_way(profiles: Reals, offsets: Reals) -> Reals:
    """Where profiles pass half way between the levels at their ends, between the middle pixels."""
    middle = running_mean((profiles[:, 0] + profiles[:, -1]) / 2)
    inside = int(np.flatnonzero(offsets == 0)[0])
    first, second = profiles[:, inside], profiles[:, inside + 1]
    rise = np.where(np.abs(second - first) > FLAT, second - first, 1.0)
    return np.clip((middle - first) / rise, *HALF_WAY_PX)


def _beyond(band: Band | None, blur: float) -> Reals | float:
    """How far out of the true edge a step passes half way, in blurs; the outermost place."""
    if band is None:
        return 0.0
    edge = band.in_blurs(np.full(len(band.light), blur))
    z = np.arange(3.0, -2.0 - float(edge.width[0]), -FIRST_STEP_BLURS)
    step = broken_step(np.broadcast_to(z, (len(edge.band), len(z))), edge).step
    return np.asarray(z[np.argmax(step < 0.5, axis=1)] + FIRST_STEP_BLURS / 2)


@dataclass(frozen=True, kw_only=True)
class _Unit(UnitStep):
    """Unit steps at distances z, in blurs.

    `rate` and `spread` are their change with place and with blur, in blurs.
    """

    z: Reals
    rate: Reals
    spread: Reals


def _unit_steps(offsets: Reals, cosine: Reals, t: Reals, s: Reals, band: Band | None) -> _Unit:
    z = blurs_out(offsets, t, cosine / s)
    if band is None:
        step, rate = unit_step(z)
        return _Unit(step=step, material=None, ground=None, z=z, rate=rate, spread=rate * z)
    edge = band.in_blurs(s)
    at = broken_step(z, edge)
    spread = at.both * z + at.inner * edge.width[:, None]
    return _Unit(
        step=at.step, material=at.material, ground=at.ground, z=z, rate=at.both, spread=spread
    )


@dataclass(frozen=True)
class _Compared:
    """Profiles beside the steps that were laid against them; `scale` is blurs a pixel."""

    profiles: Reals
    unit: _Unit
    levelled: Levelled
    scale: Reals

    @property
    def rise(self) -> Reals:
        """From material to ground."""
        return self.levelled.rise

    @cached_property
    def residual(self) -> Reals:
        """What is left of the profiles."""
        return np.asarray(self.profiles - self.levelled.grey)

    @cached_property
    def slope(self) -> Reals:
        """Change of the steps with their places, px."""
        return np.asarray(self.unit.rate * (-self.rise * self.scale)[:, None])


def _widening(now: _Compared, s: Reals, plain: Bools) -> Reals:
    """Change of the blur that takes up most of the residuals, shared along the outline.

    Like the levels: a short stretch corrects a long one where chance does not explain it.

    Places and levels follow a change of the blur. What they would take up of its effect is taken
    out first, so that all settle in a few turns.
    """
    slope, step, residual = now.slope, now.unit.step, now.residual
    widen = now.unit.spread * (-now.rise / s)[:, None]
    widen = widen - slope * least_squares_amplitude(slope, widen)[:, None]
    on_step, crossed = dot(widen, step), dot(step, step)
    on_rest, grounds = np.einsum("nk->n", widen) - on_step, np.einsum("nk->n", step)
    sums = plain * np.stack(
        [step.shape[1] - 2 * grounds + crossed, grounds - crossed, crossed, on_rest, on_step,
         dot(widen, widen), dot(widen, residual)]
    )  # fmt: skip
    pieces = by_piece(sums)
    far, near = (_solve_widening(pieces, window) for window in LEVEL_WINDOWS)
    # Chance scatter of a stretch's wish from that of short ones, within which marks err together.
    short = running_mean(sums[-1] - running_mean(sums[-1]), PIECE)
    own = np.maximum(running_mean(sums[-2]), 1e-12)
    by_chance = np.mean((short / own) ** 2) * PIECE / LEVEL_WINDOW
    difference = near - far
    change = far + difference * beyond_chance(np.mean(difference**2), by_chance)
    return np.asarray(along(change[None], len(s))[0])


def _solve_widening(pieces: Reals, window: int) -> Reals:
    """Change of the blur for stretches of the outline, from sums over pieces of it."""
    # A plain running mean turns the sign of some ripples along the outline, which would grow.
    half = window // 2
    *levels, on_rest, on_step, own, wanted = mean_of_pieces(mean_of_pieces(pieces, half), half)
    dark, bright = solve_levels(np.stack([*levels, on_rest, on_step]), 0.0)
    left = np.maximum(own - dark * on_rest - bright * on_step, LEAST_OWN * own + 1e-12)
    return np.asarray(wanted / left)


def _smooth(values: Reals, weights: Reals) -> Reals:
    """Values as they change round an outline with the lean and the curvature of its plane.

    Where marks disturb a blur, what is finer is theirs, and would move the edges: where the face
    tells little, they are placed by the foot of the step, which a wider blur puts further out.
    """
    turn = 2 * pi * np.arange(len(values)) / len(values)
    terms = np.stack([np.ones_like(turn), *(w(k * turn) for k in (1, 2) for w in (np.cos, np.sin))])
    weighted = terms * weights
    found = np.linalg.solve(weighted @ terms.T + 1e-9 * np.eye(5), weighted @ values)
    return np.asarray(found @ terms, values.dtype)


def _weighted_moves(
    now: _Compared, s: Reals, grains: tuple[Grain, Grain], kind: Ints
) -> tuple[Reals, Reals, Reals]:
    """Moves of places, how they change with the blurs, and changes of those.

    Aitken's generalised least squares: noise and the grain of both sides weigh the pixels. A mark
    under the blurred edge cannot be seen for the edge, but it reaches out to where it can. Each
    sample has levels of its own besides, and the blur is common to all, as smooth as the lens makes
    it.
    """
    unit, sides = now.unit, now.unit.sides
    spread = unit.spread * (-now.rise / s)[:, None]
    values = np.stack([v.T for v in (now.slope, *sides, now.residual, spread)])
    products = weighed_products(values, grains, *sides, kind)
    # A level strays no further from the common one than its grain lets it.
    for side, grain in enumerate(grains, start=1):
        products[side, side] += 1 / max(grain.variance, LEAST_GRAINED * grain.own)
    # What place and levels take up of the residuals, and of a change of the blur.
    taken = _solve_three(products[:3, :3], products[:3, 3:])
    wanted, known = products[4, 3:] - (products[4, :3, None] * taken).sum(axis=0)
    wider = _smooth(wanted / np.maximum(known, 1e-12), np.maximum(known, 1e-12))
    return taken[0, 0], taken[0, 1], wider


def _solve_three(normal: Floats, right: Floats) -> Floats:
    """Solve n sets of three equations, shapes (3, 3, n) and (3, m, n), by Cramer's rule."""
    one, two, three = normal
    across = [np.cross(a, b, axis=0) for a, b in ((two, three), (three, one), (one, two))]
    size = (one * across[0]).sum(axis=0)
    adjoint = np.stack(across, axis=1) / np.where(np.abs(size) > 1e-300, size, np.inf)
    return np.asarray((adjoint[:, :, None] * right).sum(axis=1))


def _kinds(z: Reals, band: Band | None) -> Ints:
    """Samples that lie nearly alike on their pixels: by place, slant, blur and a bevel's light."""
    scale = z[:, 1] - z[:, 0]
    place = np.rint(PLACES_ALIKE * z[:, 0] / scale).astype(np.int64)
    kind = 1000 * place + np.rint(SLANTS_ALIKE * np.log(scale)).astype(np.int64)
    if band is not None:
        kind = 1000 * kind + np.rint(SLANTS_ALIKE * band.light).astype(np.int64)
    return np.asarray(kind)


def _plain(normal: Floats, profiles: Reals, step: Reals) -> Bools:
    """Samples on smooth stretches of the outline whose grey values match their neighbours'."""
    smooth = bend(normal, profiles.shape[1] // 2) > STRAIGHT
    if not smooth.any():
        smooth = np.ones(len(normal), bool)
    plain = smooth.copy()
    for beyond in (step < PLATEAU, step > 1 - PLATEAU):
        side = beyond.astype(profiles.dtype)
        count = np.einsum("nk->n", side)
        own = dot(side, profiles) / np.maximum(count, 1)
        usable = smooth & (count > 0)
        if not usable.any():
            continue
        middle = running_mean(np.where(usable, own, 0.0)) / np.maximum(
            running_mean(usable * 1.0), 1e-9
        )
        away = np.abs(own - middle)
        plain &= (count > 0) & (away <= UNLIKE * median(away[usable]) + 1e-9)
    return np.asarray(plain if plain.any() else smooth)
