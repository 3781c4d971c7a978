"""What moves all flanks together: displacements of the picture, and their effect on each flank.

Each source is a displacement field over the picture (a lens that was not calibrated, a gear that
leans). Its effect on every flank is worked out where that flank really lies in the picture, so
that what is common to all teeth stays apart from what differs between them. Effects are those of
one standard uncertainty (k = 1). Angles rad, lengths px unless named otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from cogloupe.forms.tooth_form import OUT
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS_IN_WORDS, point_modes, term_names

LEAST_LEAN = 0.1
"""Sine of a flank's lean on the measuring circle below which it does not tell a stretch."""
Field = Callable[[Floats], Floats]
"""A displacement field: points (..., 2) to displacements (..., 2), px."""


@dataclass(frozen=True)
class FlankPlace:
    """Where each flank lies in the picture, for working out effects on it.

    Attributes
    ----------
    xy : ndarray, shape (z, 2, 2)
        Crossing of each flank with the measuring circle, px (last axis x, y).
    normal : ndarray, shape (z, 2, 2)
        Unit normal out of the material.
    arm : float or ndarray, shape (2,)
        Movement along the normal for each radian that a flank turns, px: an involute's base radius.
    measuring_radius : float
        Px.
    """

    xy: Floats
    normal: Floats
    arm: Floats | float
    measuring_radius: float


@dataclass(frozen=True)
class Mode:
    """One source, as effects of one standard uncertainty.

    Attributes
    ----------
    name : str
        What a person reads in the budget.
    size : str
        The allowance, in words.
    position : ndarray, shape (z, 2)
        Change of each flank's angle on the measuring circle about the datum, rad; a stretch of
        the whole gear is left out of it.
    stretch : float
        That stretch: how much larger than its scale says the gear is seen, relatively.
    """

    name: str
    size: str
    position: Floats
    stretch: float = 0.0


def lens_modes(
    place: FlankPlace, datum_points: Floats | None, lens: Lens, stretch: Floats | None = None
) -> tuple[Mode, ...]:
    """Effects of what is not known of the lens and the lean.

    One for each independent source, named after the term that has most of it.

    Parameters
    ----------
    datum_points : ndarray, shape (n, 2), or None
        Points all round a circle that carries the datum along (the bore's edge), px; None where
        the datum is fitted to the flanks themselves.
    lens : Lens
        Calibrated, or with an allowance for what was not measured.
    stretch : ndarray, shape (sources,), optional
        From `gear_stretch`.
    """
    found = []
    for k, (name, u) in enumerate(lens_sources(lens)):
        if u > 0:
            effect = _flank_effect(place, _source(lens, k), datum_points)
            grown = 0.0 if stretch is None else float(stretch[k])
            found.append(Mode(name, f"{100 * u:.2g} %", effect, grown))
    return tuple(found)


def lens_sources(lens: Lens) -> list[tuple[str, float]]:
    """Independent sources of what is not known of a lens.

    Words of the term that has most of each, and its standard uncertainty; largest first, as
    `point_modes` has them.
    """
    value, axis = np.linalg.eigh(np.array(lens.covariance))
    sizes = np.sqrt(np.maximum(value, 0.0))
    words = [TERMS_IN_WORDS[name] for name in term_names(len(lens.terms))]
    return [
        (words[int(np.argmax(np.abs(column)))], float(u))
        for column, u in zip(axis.T[::-1], sizes[::-1], strict=True)
    ]


def lens_tilts(place: FlankPlace, low: FlankPlace, high: FlankPlace, lens: Lens) -> Floats:
    """How far what is not known of the lens tilts every flank about the axis of the teeth.

    Parameters
    ----------
    place, low, high : FlankPlace
        Where the flanks lie on the measuring circle and at both ends of the evaluation range.
    lens : Lens
        Calibrated, or with an allowance.

    Returns
    -------
    ndarray, shape (sources, z, 2)
        Change of the deviation from the low end to the high one, px out of the material, with one
        standard uncertainty of each source.
    """
    tilts = []
    for k in range(len(lens.terms)):
        field = _source(lens, k)
        residual = _residual(place, field, None)
        tilts.append(residual(high) - residual(low))
    return np.asarray(tilts)


def _source(lens: Lens, k: int) -> Field:
    """Displacement by one standard uncertainty of a lens's k-th independent source."""
    return lambda points: np.asarray(point_modes(lens, points)[k])


def _flank_effect(place: FlankPlace, field: Field, datum_points: Floats | None) -> Floats:
    """Change of every flank's angle when the picture is displaced by a field, its scale kept."""
    out = _residual(place, field, datum_points)(place)
    return np.asarray(OUT * out / place.arm)


def _residual(
    place: FlankPlace, field: Field, datum_points: Floats | None
) -> Callable[[FlankPlace], Floats]:
    """What a field moves flanks by, out of the material, once scale, turn and axis follow it.

    A mean stretch belongs to the scale, a mean turn to the numbering, and a mean shift to an axis
    that is fitted to the flanks; none of them is a deviation. They are told on the measuring
    circle, `place`, and taken off anywhere. Flanks that stand along the radius there do not feel
    a stretch; then the radii of their places tell it.
    """
    carried = np.zeros(2) if datum_points is None else _centre_shift(datum_points, field)
    centre = np.nanmean(place.xy, axis=(0, 1))

    def free(at: FlankPlace) -> Floats:
        arm = at.xy - centre
        ways = [arm, np.stack([-arm[..., 1], arm[..., 0]], axis=-1)]
        if datum_points is None:
            ways += [np.broadcast_to(axis, arm.shape) for axis in np.eye(2)]
        return np.stack([(way * at.normal).sum(axis=-1) for way in ways], axis=-1)

    def out(at: FlankPlace) -> Floats:
        return np.asarray(((field(at.xy) - carried) * at.normal).sum(axis=-1))

    design, wanted = free(place), out(place)
    outwards = (place.xy - centre) / np.linalg.norm(place.xy - centre, axis=-1, keepdims=True)
    if np.nanmean(np.abs((outwards * place.normal).sum(axis=-1))) < LEAST_LEAN:
        radial = replace(place, normal=outwards)
        design = np.concatenate([design, free(radial)])
        wanted = np.concatenate([wanted, out(radial)])
    seen = np.isfinite(wanted)
    taken = np.linalg.lstsq(design[seen], wanted[seen], rcond=None)[0]
    return lambda at: np.asarray(out(at) - free(at) @ taken)


def _radial(ring: Floats, field: Field) -> tuple[Floats, Floats]:
    """Movement outwards of points all round a circle, and their directions."""
    arm = ring - ring.mean(axis=0)
    way = arm / np.hypot(arm[:, 0], arm[:, 1])[:, None]
    return (field(ring) * way).sum(axis=1), way


def _centre_shift(ring: Floats, field: Field) -> Floats:
    """Movement of the circle fitted to points all round it: the first harmonic of theirs."""
    outwards, way = _radial(ring, field)
    return np.asarray(2 * (outwards[:, None] * way).mean(axis=0))


def datum_modes(place: FlankPlace, u_px: float, along: Floats) -> tuple[Mode, ...]:
    """Effects of what is not known of the place of a datum that was seen by itself.

    Left to right, top to bottom, and along that way where there is one.

    Parameters
    ----------
    u_px : float
        Standard uncertainty of either of its coordinates, px.
    along : ndarray, shape (2,)
        What is besides not known of it in one way, px; noughts for nothing.
    """
    moves = {"left to right": np.array([u_px, 0.0]), "top to bottom": np.array([0.0, u_px])}
    if along.any():
        moves["along the bore's rims"] = along
    turn = np.broadcast_to(np.array([1.0, -1.0]) / place.arm, 2)
    return tuple(
        Mode(f"place of the datum, {way}", f"{np.hypot(*move):.2g} px", place.normal @ move * turn)
        for way, move in moves.items()
    )


def gear_stretch(lens: Lens, gear: Floats, anchor: Floats | None) -> Floats:
    """How much larger or smaller than its scale says a gear may be seen, from lens and lean.

    Parameters
    ----------
    lens : Lens
        Calibrated, or with an allowance for what was not measured.
    gear : ndarray, shape (n, 2)
        Points all round the measuring circle, px.
    anchor : ndarray, shape (m, 2), or None
        Points all round the circle that gave the scale, px; None where the scale holds at the
        frame's middle, as a stated or a calibrated one does.

    Returns
    -------
    ndarray, shape (sources,)
        Relative, for one standard uncertainty of each source of the lens.
    """

    def stretch(ring: Floats, field: Field) -> float:
        radius = np.hypot(*(ring - ring.mean(axis=0)).T)
        return float(_radial(ring, field)[0].mean() / radius.mean())

    fields = [_source(lens, k) for k in range(len(lens.terms))]
    parts = [
        stretch(gear, field) - (stretch(anchor, field) if anchor is not None else 0.0)
        for field in fields
    ]
    return np.array(parts)


def expected_oval(lens: Lens, ring: Floats) -> float:
    """How oval what is not known of the lens and the lean makes a circle.

    Longest over shortest diameter less one; root mean square over the sources.

    Parameters
    ----------
    ring : ndarray, shape (n, 2)
        Points all round it, px.
    """
    arm = ring - ring.mean(axis=0)
    twice = np.exp(-2j * np.arctan2(arm[:, 1], arm[:, 0]))
    lobes = [np.mean(_radial(ring, _source(lens, k))[0] * twice) for k in range(len(lens.terms))]
    radius = float(np.hypot(arm[:, 0], arm[:, 1]).mean())
    return 4 * float(np.sqrt(np.sum(np.abs(lobes) ** 2))) / radius
