"""Figures of a made gear with measuring errors of stated size, as if it had been photographed.

Edges, scale, lens and bore err once for the whole picture; only edge noise errs flank by flank.
"""

from dataclasses import dataclass
from math import cos, hypot, pi, tan

import numpy as np

from cogloupe.forms.gap_theory import NEAR_FLOOR, theoretical_widths
from cogloupe.forms.rack import Gear
from cogloupe.simulation.coverage import signed_area
from cogloupe.simulation.cutting import CutGear
from cogloupe.simulation.making import Made
from cogloupe.simulation.outline_truth import gap_pieces, side_angles
from cogloupe.simulation.true_sizes import evaluation_range, table
from cogloupe.simulation.truth import TrueTable
from cogloupe.uncertainty.combination import thickness_edge
from cogloupe.uncertainty.modes import FlankPlace, Mode, lens_modes
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import make_lens, point_modes, unmeasured_lens

FRAME_PX = 2000
MIDDLE_PX = (FRAME_PX - 1) / 2
"""Where the gear's axis stands in the frame, both ways."""
_MIDDLE = np.full(2, MIDDLE_PX)
_BORE_SHARE = 0.3
_OUT = np.array([-1.0, 1.0])
"""Way round the gear that leads out of a left and of a right flank."""


@dataclass(frozen=True, kw_only=True)
class MeasuringErrors:
    """Standard uncertainties of a reading (k = 1).

    Attributes
    ----------
    flank_um : float
        Of each flank by itself, along the measuring circle.
    edge_um : float
        Of all edges together, along their normals.
    scale : float
        Of the scale, as a share.
    lens : float
        Of the lens, as a share of the usual allowance for one that was not measured.
    bore_um : float
        Of the bore's centre, each way.
    radius_um : float
        Of each tip and floor by itself.
    slope_um, form_um : float
        Of each flank's profile slope and form.
    slope_common_um : float
        Of the slope, shared by all flanks of a side.
    floor_um : float
        Of the width near each floor by itself.
    """

    flank_um: float = 1.0
    edge_um: float = 1.0
    scale: float = 2e-4
    lens: float = 0.3
    bore_um: float = 0.3
    radius_um: float = 1.0
    slope_um: float = 2.0
    form_um: float = 1.0
    slope_common_um: float = 0.5
    floor_um: float = 2.0

    def times(self, factor: float) -> "MeasuringErrors":
        """All of them larger by a factor.

        Parameters
        ----------
        factor : float

        Returns
        -------
        MeasuringErrors
        """
        return MeasuringErrors(
            **{name: factor * getattr(self, name) for name in self.__annotations__}
        )


class _Draw:
    """Normal deviates of a size, or nothing but noughts."""

    def __init__(self, rng: np.random.Generator | None) -> None:
        self._rng = rng

    def __call__(self, size: float, *shape: int) -> Floats:
        if self._rng is None:
            return np.zeros(shape)
        return np.asarray(self._rng.normal(0, 1, shape) * size)


@dataclass(frozen=True, kw_only=True)
class StatedFigures:
    """Figures with their errors, teeth in the order of the numbers; mm and rad unless named.

    Attributes
    ----------
    design : Gear
    errors : MeasuringErrors
    bore : bool
        The bore is the datum.
    mm_per_px : float
    modes : tuple of Mode
        What the lens may do to the flanks.
    position : ndarray, shape (z, 2)
        Polar angles of the flanks on the measuring circle.
    tip, root : ndarray, shape (z,)
        Radii.
    reach : float
        Length of roll over which slopes are taken.
    slope_um, form_um : ndarray, shape (z, 2)
        Of the profiles.
    ratio : ndarray, shape (z,)
        Floor ratios.
    near, reference : float
        Theoretical widths of the gap near its floor and on the reference circle.
    """

    design: Gear
    errors: MeasuringErrors
    bore: bool
    mm_per_px: float
    modes: tuple[Mode, ...]
    position: Floats
    tip: Floats
    root: Floats
    reach: float
    slope_um: Floats
    form_um: Floats
    ratio: Floats
    near: float
    reference: float

    @property
    def radius(self) -> float:
        """Of the measuring circle."""
        return self.design.reference_radius

    @property
    def u_slope_um(self) -> float:
        """Standard uncertainty of a profile slope."""
        errors = self.errors
        return hypot(errors.slope_um, errors.slope_common_um, 1000 * errors.scale * self.reach)

    @property
    def edge(self) -> float:
        """Thickness by which the edges may err together, mm."""
        return thickness_edge(self.errors.edge_um / 1000, self.design.rack.pressure_angle)

    @property
    def common(self) -> float:
        """The same with the scale."""
        scale = 2 * tan(self.design.rack.pressure_angle) * self.radius * self.errors.scale
        return hypot(self.edge, scale)


def stated_figures(
    made: Made, errors: MeasuringErrors, rng: np.random.Generator | None, bore: bool
) -> StatedFigures:
    """Take the figures of a made gear and draw their errors.

    Parameters
    ----------
    made : Made
    errors : MeasuringErrors
    rng : Generator or None
        None leaves the errors out.
    bore : bool
        The bore is the datum, else the teeth are.

    Returns
    -------
    StatedFigures
    """
    true, draw = table(made.gear, "bore" if bore else "teeth", made.details), _Draw(rng)
    design = made.gear.design
    z, alpha = design.teeth, design.rack.pressure_angle
    edge, scale = float(draw(errors.edge_um / 1000, 1)[0]), float(draw(errors.scale, 1)[0])
    mm_per_px = 2 * design.tip_radius / (0.8 * FRAME_PX)
    position = np.radians(_both(true, "position_deg"))
    # A tooth that stands across the direction of 180 degrees keeps its flanks side by side.
    position[:, 1] = position[:, 0] + np.mod(position[:, 1] - position[:, 0], 2 * pi)
    lens = _lens(errors.lens)
    modes = _lens_on_flanks(lens, position, design, mm_per_px, bore)
    sizes = [float(draw(1.0, 1)[0]) for _ in modes]
    moved = draw(errors.bore_um / 1000, 2) * bore
    # A scale too large lays the measuring circle nearer to the axis, where teeth are thicker.
    out = edge / cos(alpha) / design.reference_radius + tan(alpha) * scale
    shift = _OUT * out + draw(errors.flank_um / 1000 / design.reference_radius, z, 2)
    shift = shift + sum(s * mode.position for s, mode in zip(sizes, modes, strict=True))
    shift = shift + eccentric_flanks(position, alpha, *moved) / design.reference_radius
    centre = position.mean(axis=1)
    gap = centre + pi / z

    def radii(values: list[float], angle: Floats) -> Floats:
        radius = np.array(values) / 2
        bent = _outwards(lens, sizes, radius, angle, mm_per_px, bore) + _unit(angle) @ moved
        return np.asarray(radius * (1 + scale) + edge + bent + draw(errors.radius_um / 1000, z))

    near, reference, ratio = _floors(made, edge, draw(errors.floor_um / 1000, z))
    slope = draw(errors.slope_um, z, 2) + draw(errors.slope_common_um, 1, 2)
    # An involute seen too large has too large a base circle.
    slope = slope + 1000 * scale * _reach(made.gear)
    return StatedFigures(
        design=design,
        errors=errors,
        bore=bore,
        mm_per_px=mm_per_px,
        modes=modes,
        position=position + shift,
        tip=radii([t.tip_diameter_mm for t in true.teeth], centre),
        root=radii([g.root_diameter_mm for g in true.gaps], gap),
        reach=_reach(made.gear),
        slope_um=_both(true, "profile_slope_um") + slope,
        form_um=np.abs(_both(true, "profile_form_um") + draw(errors.form_um, z, 2)),
        ratio=ratio,
        near=near,
        reference=reference,
    )


def _reach(gear: CutGear) -> float:
    """Length of roll over which slopes are taken, mm."""
    start, end = evaluation_range(gear)
    return end - start


def _lens(share: float) -> Lens:
    """Lens known to a share of the usual allowance."""
    usual = unmeasured_lens(FRAME_PX, FRAME_PX)
    covariance = np.array(usual.covariance) * share**2
    return make_lens(usual.centre_px, usual.radius_px, usual.terms, covariance)


def _lens_on_flanks(
    lens: Lens, position: Floats, design: Gear, mm_per_px: float, bore: bool
) -> tuple[Mode, ...]:
    radius, alpha = design.reference_radius / mm_per_px, design.rack.pressure_angle
    facing = position + _OUT * (pi / 2 - alpha)
    place = FlankPlace(
        _MIDDLE + radius * _unit(position), _unit(facing), radius * cos(alpha), radius
    )
    return lens_modes(place, _ring(radius) if bore else None, lens)


def _ring(radius: float) -> Floats:
    """Points of the bore's edge, px, for teeth of a radius."""
    turn = np.linspace(0, 2 * pi, 36, endpoint=False)
    return np.asarray(_MIDDLE + _BORE_SHARE * radius * _unit(turn))


def _outwards(
    lens: Lens, sizes: list[float], radius: Floats, angle: Floats, mm_per_px: float, bore: bool
) -> Floats:
    """Apparent change of radii about the datum by the lens, mm; its mean belongs to the scale."""
    at = _MIDDLE + radius[:, None] / mm_per_px * _unit(angle)
    shift = np.zeros_like(at)
    ring = _ring(float(radius.mean()) / mm_per_px)
    for k, size in enumerate(sizes):
        carried = point_modes(lens, ring)[k].mean(axis=0) if bore else 0.0
        shift += size * (point_modes(lens, at)[k] - carried)
    out = (shift * _unit(angle)).sum(axis=1)
    return np.asarray((out - out.mean()) * mm_per_px)


def eccentric_flanks(position: Floats, pressure_angle: float, x: float, y: float) -> Floats:
    """Shift of flanks along the measuring circle when the teeth's axis is moved.

    Parameters
    ----------
    position : ndarray, shape (z, 2)
        Polar angles, rad.
    pressure_angle : float
        On the measuring circle, rad.
    x, y : float
        Movement of the teeth against the datum.

    Returns
    -------
    ndarray, shape (z, 2)
        In the movement's unit, positive clockwise: the movement along the flank's normal, over
        the cosine of the pressure angle.
    """
    facing = position + _OUT * (pi / 2 - pressure_angle)
    return np.asarray(_OUT * (x * np.cos(facing) + y * np.sin(facing)) / cos(pressure_angle))


def _floors(made: Made, edge: float, own: Floats) -> tuple[float, float, Floats]:
    """Theoretical widths near the floor and on the reference circle, and every floor ratio.

    As a reading takes them: near the floor that was found, against the gap that the rack
    generates at that depth.
    """
    design, floor = made.gear.design, made.details.lowest
    narrower = thickness_edge(edge, design.rack.pressure_angle)
    shift = (floor.mean() - design.reference_radius) / design.module_mm + design.rack.dedendum
    at_depth = Gear(design.teeth, design.module_mm, design.rack, float(shift))
    near, reference = theoretical_widths(at_depth)
    true = table(made.gear, "teeth", made.details)
    centre = np.radians([t.centre_deg for t in true.teeth])
    outline = made.outline if signed_area(made.outline) > 0 else made.outline[::-1]
    pieces = gap_pieces(outline - made.gear.axis, centre)
    circles = floor + NEAR_FLOOR * design.module_mm
    low = np.array([_width(p, c) for p, c in zip(pieces, circles, strict=True)])
    high = np.array([gap.width_mm for gap in true.gaps])
    ratio = (low - narrower + own) / (high - narrower) / (near / reference)
    return near, reference, np.asarray(ratio)


def _width(piece: Floats, radius: float) -> float:
    down, up = side_angles(piece, np.array([radius]))
    return float(np.mod(up - down, 2 * pi)[0]) * radius


def _unit(angle: Floats) -> Floats:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _both(true: TrueTable, name: str) -> Floats:
    return np.array([[getattr(t.left, name), getattr(t.right, name)] for t in true.teeth])
