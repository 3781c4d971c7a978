"""A reading straight from the truth of a made gear, with measuring errors of stated size.

Skips picture and edges: each figure is the true one plus a random error of the standard
uncertainty that the reading then states, with the correlations a picture has. Edges, scale, lens
and bore err once for the whole picture; only edge noise errs flank by flank.
"""

from dataclasses import dataclass
from math import cos, degrees, hypot, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe import __version__
from cogloupe.deviations import cumulative_pitch, gap_width, pin_radius, single_pitch, thickness
from cogloupe.gaps import NEAR_FLOOR, theoretical_widths
from cogloupe.numbers import atan2_deg, number
from cogloupe.rack import Gear
from cogloupe.reading import (
    CalibrationInfo,
    Datum,
    Flank,
    Gap,
    GearInfo,
    PerSide,
    PhotoInfo,
    Reading,
    Summary,
    Tooth,
)
from cogloupe.simulation.coverage import signed_area
from cogloupe.simulation.cutting import CutGear
from cogloupe.simulation.gauging import gap_pieces, side_angles
from cogloupe.simulation.making import Made
from cogloupe.simulation.measure import PIN_MODULES, evaluation_range, table
from cogloupe.simulation.truth import TrueTable
from cogloupe.uncertainty import FlankPlace, Mode, lens_modes, pitch_uncertainty, thickness_edge
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import make_lens, point_modes, unmeasured_lens
from cogloupe_calibration.units import MM_PER_INCH

Floats = NDArray[np.float64]


@dataclass(frozen=True)
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
        return MeasuringErrors(*(factor * getattr(self, name) for name in self.__annotations__))


FRAME_PX = 2000
PARTIAL_FORM_UM = 3.0
"""A flank whose form strays by more than this and five times its noise is called partial: a
reading then fits the part that follows the involute."""
_MIDDLE = np.full(2, (FRAME_PX - 1) / 2)
_BORE_SHARE = 0.3
_OUT = np.array([-1.0, 1.0])
"""Way round the gear that leads out of a left and of a right flank."""


def stated_reading(
    made: Made, errors: MeasuringErrors, rng: np.random.Generator | None, bore: bool = True
) -> Reading:
    """Read a made gear without a picture.

    Parameters
    ----------
    made : Made
        The gear.
    errors : MeasuringErrors
        Their sizes; they become the reading's uncertainties.
    rng : Generator or None
        Draws the errors; None leaves them out of the figures and keeps the uncertainties.
    bore : bool
        The bore is seen and the datum; without it the teeth are.

    Returns
    -------
    Reading
    """
    true = table(made.gear, "bore" if bore else "teeth", made.details)
    seen = _seen(made, true, errors, _Draw(rng), bore)
    z = made.gear.design.teeth
    size = seen.mm_per_px
    middle = float(_MIDDLE[0])
    return Reading(
        software_version=__version__,
        photo=PhotoInfo(file="gear.png", sha256="0" * 64, width_px=FRAME_PX, height_px=FRAME_PX),
        gear=_gear_info(made.gear.design),
        calibration=CalibrationInfo(
            mm_per_px=size, u_mm_per_px=size * errors.scale, method="stated scale", file=None
        ),
        datum=Datum(
            kind="bore" if bore else "teeth", x_px=middle, y_px=middle,
            bore_xy_px=(middle, middle) if bore else None,
        ),
        teeth=_teeth(seen),
        gaps=tuple(_gap(seen, k) for k in range(z)),
        summary=_summary(seen),
        tolerance=None,
    )  # fmt: skip


class _Draw:
    """Normal deviates of a size, or nothing but noughts."""

    def __init__(self, rng: np.random.Generator | None) -> None:
        self._rng = rng

    def __call__(self, size: float, *shape: int) -> Floats:
        if self._rng is None:
            return np.zeros(shape)
        return np.asarray(self._rng.normal(0, 1, shape) * size)


@dataclass(frozen=True)
class _Seen:
    """Figures with their errors, teeth in the order of the numbers; mm and rad unless named."""

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


def _seen(made: Made, true: TrueTable, errors: MeasuringErrors, draw: _Draw, bore: bool) -> _Seen:
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
    return _Seen(
        design, errors, bore, mm_per_px, modes, position + shift,
        radii([t.tip_diameter_mm for t in true.teeth], centre),
        radii([g.root_diameter_mm for g in true.gaps], gap),
        _reach(made.gear), _both(true, "profile_slope_um") + slope,
        np.abs(_both(true, "profile_form_um") + draw(errors.form_um, z, 2)),
        ratio, near, reference,
    )  # fmt: skip


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


def _gear_info(design: Gear) -> GearInfo:
    return GearInfo(
        teeth=design.teeth,
        module_mm=design.module_mm,
        diametral_pitch=MM_PER_INCH / design.module_mm,
        pressure_angle_deg=degrees(design.rack.pressure_angle),
        profile_shift=design.profile_shift,
        measuring_diameter_mm=2 * design.reference_radius,
        source="given",
        rack=design.rack.name,
    )


def _teeth(seen: _Seen) -> tuple[Tooth, ...]:
    radius, errors = seen.radius, seen.errors
    noise = np.full(seen.position.shape, errors.flank_um / 1000 / radius)
    u_single, u_cumulative = pitch_uncertainty(noise, seen.modes, 1000 * radius)
    u_place = np.sqrt(noise**2 + sum(mode.position**2 for mode in seen.modes))
    columns = {
        "position_deg": np.degrees(np.angle(np.exp(1j * seen.position))),
        "u_position_deg": np.degrees(u_place),
        "single_pitch_um": single_pitch(seen.position, 1000 * radius),
        "u_single_pitch_um": u_single,
        "cumulative_pitch_um": cumulative_pitch(seen.position, 1000 * radius),
        "u_cumulative_pitch_um": u_cumulative,
        "profile_form_um": seen.form_um,
        "u_profile_form_um": np.full(noise.shape, errors.form_um),
        "profile_slope_um": seen.slope_um,
        "u_profile_slope_um": np.full(noise.shape, seen.u_slope_um),
    }
    thick = thickness(seen.position, radius)
    u_thick = hypot(sqrt(2) * errors.flank_um / 1000, seen.common)
    u_tip = _u_radius(seen, float(seen.tip.mean()))
    blank = dict.fromkeys(Flank.model_fields)
    short = seen.form_um > PARTIAL_FORM_UM + 5 * errors.form_um

    def flank(k: int, side: int) -> Flank:
        figures = {name: number(column[k, side]) for name, column in columns.items()}
        status = "partial" if short[k, side] else "ok"
        return Flank.model_validate(blank | figures | {"status": status})

    return tuple(
        Tooth(
            number=k + 1, centre_deg=atan2_deg(float(seen.position[k].mean())),
            left=flank(k, 0), right=flank(k, 1),
            thickness_mm=float(thick[k]), u_thickness_mm=u_thick,
            tip_diameter_mm=2 * float(seen.tip[k]), u_tip_diameter_mm=2 * u_tip,
        )
        for k in range(len(thick))
    )  # fmt: skip


def _u_radius(seen: _Seen, radius: float) -> float:
    errors = seen.errors
    return hypot(errors.radius_um / 1000, errors.edge_um / 1000, errors.scale * radius)


def _gap(seen: _Seen, k: int) -> Gap:
    width = gap_width(seen.position, seen.radius)
    pins = pin_radius(
        seen.position, seen.design.base_radius, seen.radius, PIN_MODULES * seen.design.module_mm
    )
    root = float(seen.root[k])
    figures = {
        "width_mm": width[k],
        "u_width_mm": hypot(sqrt(2) * seen.errors.flank_um / 1000, seen.common),
        "root_diameter_mm": 2 * root, "u_root_diameter_mm": 2 * _u_radius(seen, root),
        "floor_ratio": seen.ratio[k], "u_floor_ratio": _u_ratio(seen), "pin_radius_mm": pins[k],
    }  # fmt: skip
    blank = dict.fromkeys(Gap.model_fields)
    numbers = {name: float(value) for name, value in figures.items()}
    return Gap.model_validate(blank | {"number": k + 1} | numbers)


def _u_ratio(seen: _Seen) -> float:
    """As a reading states it, which leaves out that both widths err by the same edge."""
    near = hypot(seen.errors.floor_um / 1000, seen.edge) / seen.near
    return hypot(near, seen.edge / seen.reference)


def _summary(seen: _Seen) -> Summary:
    z, errors = seen.design.teeth, seen.errors
    own = sqrt(2 / z) * errors.flank_um / 1000
    thick = float(thickness(seen.position, seen.radius).mean())
    tip, root = float(seen.tip.mean()), float(seen.root.mean())
    slope = seen.slope_um.mean(axis=0)
    u_slope = seen.u_slope_um
    blank: dict[str, object] = dict.fromkeys(Summary.model_fields)
    sides = [n for n, field in Summary.model_fields.items() if field.annotation is PerSide]
    blank |= dict.fromkeys(sides, PerSide(left=None, right=None))
    u_ecc = hypot(errors.bore_um / 1000, own / 2 / tan(seen.design.rack.pressure_angle))
    return Summary.model_validate(
        blank
        | {
            "thickness_mean_mm": thick, "u_thickness_mean_mm": hypot(own, seen.common),
            "tip_diameter_mean_mm": 2 * tip, "u_tip_diameter_mean_mm": 2 * _u_radius(seen, tip),
            "root_diameter_mean_mm": 2 * root, "u_root_diameter_mean_mm": 2 * _u_radius(seen, root),
            "floor_ratio_mean": float(seen.ratio.mean()), "u_floor_ratio_mean": _u_ratio(seen),
            "u_eccentricity_um": 1000 * u_ecc if seen.bore else None,
            "profile_slope_mean_um": PerSide(left=float(slope[0]), right=float(slope[1])),
            "u_profile_slope_mean_um": PerSide(left=u_slope, right=u_slope),
        }
    )  # fmt: skip
