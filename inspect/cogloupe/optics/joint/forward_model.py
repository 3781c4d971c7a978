"""What an edge looks like: the forward model of a grey profile across an outline.

Light of the material on one side and of the ground on the other, each even or changing with the
distance from the edge; between them, where a bevel or a raised burr lies along the outline, a band
with a light of its own; beside them, where the gear lies close to the ground, a shadow; and all of
it blurred by one Gaussian, pixel box included. For a given place, blur and width that is linear in
the amounts of light, so a profile is a sum of columns.
"""

from dataclasses import dataclass, replace

import numpy as np

from cogloupe.optics.joint.profiles import Profiles
from cogloupe.optics.response import unit_step
from cogloupe_calibration.arrays import Floats, Reals

SLOPE_PX = np.float32(4.0)
"""Length over which a change of light is counted, px, so that it is about as large as the light."""
WIDTHS_PX, SHADES, FALLS_PX, SOFTS_PX = (1.0, 14.0), (0.0, 0.95), (-15.0, 15.0), (0.5, 12.0)
"""Bands and shadows that may be."""
TURNS_PX, SHADE_TURN = 0.7, 0.2
"""How far a length, and a shadow's light, may change in one turn of a fit."""


@dataclass(frozen=True, kw_only=True)
class Shadow:
    """A shadow on the ground beside the edges.

    Attributes
    ----------
    shade : float
        Share of the ground's light that is lost.
    fall : (float, float)
        How far it is moved from the gear, px: away from the lamp, by the gear's height.
    soft_px : float
        Standard deviation of the Gaussian that its border is blurred by: the size of the lamp.
    """

    shade: float
    fall: tuple[float, float]
    soft_px: float


@dataclass(frozen=True, kw_only=True)
class Kind:
    """Which terms an edge has.

    Attributes
    ----------
    powers : (int, int)
        Powers of the distance from the edge by which the light of material and of ground changes.
    width_px : float
        Width of a band along the edge, px; 0 for none.
    held : bool
        The band's light only changes smoothly with the way it faces and over the frame.
    """

    powers: tuple[int, int] = (0, 0)
    width_px: float = 0.0
    shadow: Shadow | None = None
    held: bool = False

    @property
    def count(self) -> int:
        """Number of columns."""
        return 2 + sum(self.powers) + self.banded

    @property
    def banded(self) -> bool:
        """Whether there is a band; its light is the last column's."""
        return self.width_px > 0

    def changed(self, changes: Floats) -> "Kind":
        """Change the lengths and shares that all edges have in common, as `Drawn.common` lists."""
        kind, steps = self, list(changes)
        if self.banded:
            kind = replace(kind, width_px=_stepped(self.width_px, steps.pop(0), WIDTHS_PX))
        if self.shadow is not None:
            shade, x, y, soft = steps
            now = self.shadow
            shadow = Shadow(
                shade=_stepped(now.shade, shade, SHADES, SHADE_TURN),
                fall=(_stepped(now.fall[0], x, FALLS_PX), _stepped(now.fall[1], y, FALLS_PX)),
                soft_px=_stepped(now.soft_px, soft, SOFTS_PX),
            )
            kind = replace(kind, shadow=shadow)
        return kind


def _stepped(
    value: float, step: float, limits: tuple[float, float], most: float = TURNS_PX
) -> float:
    return float(np.clip(value + np.clip(step, -most, most), *limits))


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Columns that n profiles of k pixels are made of.

    Attributes
    ----------
    normal : ndarray, shape (n, 2)
    blur : ndarray, shape (n,)
    columns : ndarray, shape (p, k, n)
        Of the material and its powers, of the ground and its, and of the band.
    far, out : ndarray, shape (k, n)
        Distance of every pixel out of the inner and of the outer edge, px along the normal.
    inner, outer : ndarray, shape (k, n)
        Change of the two blurred steps with it, 1/px; of the outer one with what the shadow leaves.
    """

    kind: Kind
    normal: Floats
    blur: Reals
    columns: Reals
    far: Reals
    out: Reals
    inner: Reals
    outer: Reals
    fading: "_Fading | None"

    def grey(self, levels: Floats) -> Reals:
        """Profiles of given amounts of light, shape (p, n): shape (k, n)."""
        first, *others = zip(self.columns, levels.astype(np.float32), strict=True)
        grey = first[0] * first[1]
        for column, level in others:
            grey += column * level
        return np.asarray(grey)

    def rates(self, levels: Floats) -> tuple[Reals, Reals, list[tuple[Reals, Floats]]]:
        """Changes of the profiles with place, blur, and what all edges have in common.

        Parameters
        ----------
        levels : ndarray, shape (p, n)

        Returns
        -------
        by_place, by_blur : ndarray, shape (k, n)
            Per px.
        common : list of (ndarray, ndarray), shapes (k, n) and (n, m)
            With the band's width, and the shadow's shade, fall and softness; the latter by m terms.
        """
        first, last = self.kind.powers
        levels = levels.astype(np.float32)
        one = np.ones((len(self.normal), 1))
        material, inwards = _side(levels[: first + 1], self.far, self.columns[0])
        ground, outwards = _side(
            levels[first + 1 : first + last + 2], self.out, self.columns[first + 1]
        )
        common: list[tuple[Reals, Floats]] = []
        if self.kind.banded:
            inner = (levels[-1] - material) * self.inner
            outer = ground * self.outer - levels[-1] * self._bare_outer
            by_blur = (inner * self.far + outer * self.out) / -self.blur
            by_place = -(inner + outer + inwards + outwards)
            common.append((inner + inwards, one))
        else:
            rise = ground * self.outer - material * self._bare_outer
            by_blur, by_place = rise * self.out / -self.blur, -(rise + inwards + outwards)
        if self.fading is not None:
            by_place -= ground * self.fading.by_out
            dark = self.fading
            common += [
                (ground * dark.by_shade, one),
                (-ground * dark.by_out, self.normal),
                (ground * dark.by_soft, one),
            ]
        return by_place, by_blur, common

    @property
    def _bare_outer(self) -> Reals:
        return self.outer if self.fading is None else self.fading.bare


@dataclass(frozen=True, kw_only=True)
class _Fading:
    """What a shadow leaves of a blurred step's light, and how its part changes."""

    bare: Reals
    by_out: Reals
    by_shade: Reals
    by_soft: Reals


def _side(levels: Reals, distance: Reals, side: Reals) -> tuple[Reals, Reals]:
    """Light of one side at distances from its edge, and the change of its part with them."""
    light, change = levels[0], np.zeros((), np.float32)
    for power in range(1, len(levels)):
        term = levels[power] * (distance / SLOPE_PX) ** (power - 1)
        light = light + term * (distance / SLOPE_PX)
        change = change + term * (np.float32(power) / SLOPE_PX)
    return light, change * side


def draw(profiles: Profiles, out: Floats, blur: Floats, kind: Kind) -> Drawn:
    """Draw the columns of profiles.

    Parameters
    ----------
    out : ndarray, shape (n,)
        How far out of where the outline crosses each profile its edge lies, px along the normal.
    blur : ndarray, shape (n,)
        Px along the normal.
    """
    blur = blur.astype(np.float32)
    distance = profiles.distance - out.astype(np.float32)
    step, bell = unit_step(distance / blur)
    outer: Reals = bell / blur
    far, beyond, inner = distance, step, outer
    if kind.banded:
        far = distance + np.float32(kind.width_px)
        beyond, bell = unit_step(far / blur)
        inner = bell / blur
    ground: Reals = step
    fading: _Fading | None = None
    if kind.shadow is not None:
        ground, outer, fading = _shadowed(kind.shadow, profiles, distance, (step, outer), blur)
    columns: list[Reals] = []
    for side, place, powers in zip((1 - beyond, ground), (far, distance), kind.powers, strict=True):
        columns += [side, *(side * (place / SLOPE_PX) ** power for power in range(1, powers + 1))]
    if kind.banded:
        columns.append(beyond - step)
    stacked: Reals = np.stack(columns)
    if profiles.within is not None:
        stacked, inner, outer = (v * profiles.within for v in (stacked, inner, outer))
    return Drawn(
        kind=kind, normal=profiles.crossings.normal, blur=blur, columns=stacked,
        far=far, out=distance, inner=inner, outer=outer, fading=fading,
    )  # fmt: skip


def _shadowed(
    shadow: Shadow, profiles: Profiles, out: Reals, edge: tuple[Reals, Reals], blur: Reals
) -> tuple[Reals, Reals, _Fading]:
    """Ground's step with a shadow on it, its change at the edge, and the shadow's own changes.

    The lens blurs the edge and the shadow's border alike, so both go together: a bivariate normal
    distribution, to the second order of its tetrachoric series.
    """
    step, outer = edge
    shade, soft_px = np.float32(shadow.shade), np.float32(shadow.soft_px)
    soft = np.hypot(soft_px, blur)
    offset = (profiles.crossings.normal @ np.array(shadow.fall)).astype(np.float32)
    within = (offset - out) / soft
    fading, border = unit_step(within)
    alike, z = blur / soft, out / blur
    apart = np.sqrt(1 - alike**2)
    both = outer * blur * border
    dark = step * fading - alike * both * (1 - 0.5 * alike * z * within)
    at_edge = outer * unit_step(offset / soft / apart)[0]
    by_out = shade * border * unit_step(z * apart + offset / soft * (alike / apart))[0] / soft
    by_soft = (by_out * within - shade * alike * both / soft) * (soft_px / soft)
    return (
        step - shade * dark,
        outer - shade * at_edge,
        _Fading(bare=outer, by_out=by_out, by_shade=-dark, by_soft=by_soft),
    )
