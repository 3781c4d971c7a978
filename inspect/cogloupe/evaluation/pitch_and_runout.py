"""Pitch, thickness and runout figures of a measured gear about its datum, with uncertainties.

Arrays run over teeth in the order of their numbers, tooth 1 first; lengths are
millimetres unless the name ends in px or um, angles radians unless it ends in deg.
"""

from dataclasses import dataclass, replace
from math import cos, hypot, pi, sqrt, tan

import numpy as np

from cogloupe.evaluation.deviations import (
    cumulative_pitch,
    eccentricity,
    first_tooth,
    gap_width,
    single_pitch,
)
from cogloupe.fits.datum import Axes
from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import flank_angles, flank_angles_about, thickness
from cogloupe.forms.check_sizes import STANDARD_PIN
from cogloupe.forms.tooth_form import OUT
from cogloupe.inputs.settings import GearSettings
from cogloupe.numerics.angles import wrapped
from cogloupe.numerics.missing import mean_seen
from cogloupe.uncertainty.combination import combined, thickness_edge
from cogloupe.uncertainty.flank_uncertainty import FlankUncertainty, single_image_uncertainty
from cogloupe.uncertainty.modes import Mode
from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError


@dataclass(frozen=True, kw_only=True)
class Figures:
    """Pitch, thickness and runout figures about the datum, teeth in the order of their numbers.

    Attributes
    ----------
    first : int
        Index in the measured arrays of tooth 1.
    counts : ndarray, shape (z, 2), bool
        Flanks that the gear is judged by; False under something that lies on them.
    position : ndarray, shape (z, 2)
        Flank angles on the measuring circle, rad.
    noise : ndarray, shape (z, 2)
        Their standard uncertainty from edge noise and fit, rad.
    modes : tuple of Mode
        Common sources (lens, lean), in the order of the numbers.
    single_um, cumulative_um : ndarray, shape (z, 2)
    thickness, gap_width, pin_radius : ndarray, shape (z,)
    pin_modes : tuple of ndarray, shape (z,)
        Change of the pin radii with each mode.
    u_pin : ndarray, shape (z,)
        Their standard uncertainty from the noise of the flanks they rest on.
    eccentricity : complex
        Teeth axis as seen from the datum, mm.
    edge : float
        Standard uncertainty of all edges together, mm along the normal.
    measuring_radius, pin : float
        Radius of the measuring circle, and diameter of the pin, mm.
    """

    first: int
    counts: Bools
    position: Floats
    noise: Floats
    modes: tuple[Mode, ...]
    single_um: Floats
    cumulative_um: Floats
    thickness: Floats
    gap_width: Floats
    pin_radius: Floats
    pin_modes: tuple[Floats, ...]
    u_pin: Floats
    eccentricity: complex
    edge: float
    measuring_radius: float
    pin: float

    @property
    def gap_middle(self) -> Floats:
        """Polar angle of the middle of every gap about the datum, rad, shape (z,)."""
        return self.position[:, 1] + self.gap_width / self.measuring_radius / 2


def counted(figures: Figures) -> Figures:
    """The figures without those of flanks that something lies on.

    With NaN for pitches, thicknesses and seated pins that such a flank takes part in.
    """
    counts = figures.counts
    pitch = counts & np.roll(counts, 1, axis=0)
    gap = counts[:, 1] & np.roll(counts[:, 0], -1)
    return replace(
        figures,
        single_um=np.where(pitch, figures.single_um, np.nan),
        cumulative_um=np.where(counts, figures.cumulative_um, np.nan),
        thickness=np.where(counts.all(axis=1), figures.thickness, np.nan),
        pin_radius=np.where(gap, figures.pin_radius, np.nan),
    )


def compute_pitch(
    measured: Measured,
    axes: Axes,
    settings: GearSettings,
    frame: tuple[int, int],
    lens: Lens | None = None,
    settled: FlankUncertainty | None = None,
) -> Figures:
    """Work out the figures about the datum.

    Parameters
    ----------
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens, optional
        Measured lens; without one an allowance is made.
    settled : FlankUncertainty, optional
        Uncertainties that several pictures together have settled, in place of one picture's own.

    Raises
    ------
    PhotoError
        Where no tooth shows both its flanks.
    """
    fits, wheel, px = measured.fits, measured.wheel, measured.scale.mm_per_px
    radius = fits.curve.measuring_radius * px
    angles = flank_angles_about(fits, axes.datum)
    centre = angles.mean(axis=1)
    if not np.isfinite(centre).any():
        raise PhotoError(
            "no tooth shows both its flanks well enough to measure: look at focus, exposure and "
            "what lies on the gear"
        )
    tolerance = max(1e-3 * 2 * pi / wheel.teeth, 2 * float(np.nanmedian(fits.u_unwound)))
    first = first_tooth(_filled(centre, wheel.teeth), tolerance)
    position = np.roll(angles, -first, axis=0)
    settled = settled or single_image_uncertainty(measured, axes, frame, lens)
    noise = np.roll(settled.noise, -first, axis=0)
    modes = tuple(replace(m, position=np.roll(m.position, -first, axis=0)) for m in settled.modes)
    pin = settings.lengths_mm.get("pin_diameter", STANDARD_PIN * wheel.module_mm)
    pins = _seated(measured, axes, radius, pin, first)
    pin_modes, lean = _pins_moved(measured, position, modes, radius, pin)
    u_pin = np.hypot(noise[:, 1], np.roll(noise[:, 0], -1)) * radius / (2 * tan(lean))
    counts = np.roll(flank_status(fits) != "obstructed", -first, axis=0)
    gap_middle = position[:, 1] + gap_width(position, 0.5)
    clear = counts[:, 1] & np.roll(counts[:, 0], -1)
    vector, _ = eccentricity(np.where(clear, pins, np.nan), gap_middle)
    edge = measured.outlines.u_edge_px * px
    # Nothing states how thick straight-sided teeth should be, or where; only their pitch is read.
    sized = 1.0 if wheel.flank.name != "straight" else float("nan")
    return Figures(
        first=first,
        counts=counts,
        position=position,
        noise=noise,
        modes=modes,
        single_um=single_pitch(position, radius) * 1000,
        cumulative_um=cumulative_pitch(position, radius) * 1000,
        thickness=sized * thickness(position, radius),
        gap_width=sized * gap_width(position, radius),
        pin_radius=pins,
        pin_modes=pin_modes,
        u_pin=u_pin,
        eccentricity=vector,
        edge=edge,
        measuring_radius=radius,
        pin=pin,
    )


def _seated(measured: Measured, axes: Axes, radius: float, pin: float, first: int) -> Floats:
    """Distance from the datum of a pin seated in every gap, mm, tooth 1's gap first.

    The pin rests on flanks about the teeth's own axis; only its distance is about the datum.
    """
    px, wheel = measured.scale.mm_per_px, measured.wheel
    angles = flank_angles(measured.fits)
    seat, _ = wheel.flank.pin_radius(gap_width(angles, 0.5), radius, pin)
    middle = angles[:, 1] + gap_width(angles, 0.5)
    xy = measured.fits.centre * px + (seat * np.stack([np.cos(middle), np.sin(middle)])).T
    distance: Floats = np.roll(np.hypot(*(xy - axes.datum * px).T), -(first % wheel.teeth))
    if measured.involute:
        return distance
    # In a wide gap between radial flanks the pin may rest on the floor.
    return np.where(distance - pin / 2 > wheel.root_radius, distance, np.nan)


def _pins_moved(
    measured: Measured, position: Floats, modes: tuple[Mode, ...], radius: float, pin: float
) -> tuple[tuple[Floats, ...], float]:
    """Change of the pins' distances with each source, mm, and the mean lean they rest at, rad."""
    flank = measured.wheel.flank
    seat, lean = flank.pin_radius(gap_width(position, 0.5), radius, pin)
    moved = (flank.pin_radius(gap_width(position + m.position, 0.5), radius, pin) for m in modes)
    sunk = [other - seat for other, _ in moved]
    if not measured.involute:
        carried = _carried(measured, position, modes)
        sunk = [own + along for own, along in zip(sunk, carried, strict=True)]
    return tuple(sunk), mean_seen(lean)


def _carried(measured: Measured, position: Floats, modes: tuple[Mode, ...]) -> list[Floats]:
    """How far each source carries the pins with the axis of the teeth, mm.

    Involute flanks tell a shift of their axis by the width of the gaps; where flanks stand along
    the radius a pin keeps its seat, and goes where its gap goes.
    """
    curve = measured.fits.curve
    facing = position + OUT * (pi / 2 - curve.measuring_lean)
    turns = np.stack([OUT * way(facing) / curve.measuring_arm for way in (np.cos, np.sin)])
    columns = np.concatenate([turns.reshape(2, -1), np.ones((1, position.size))]).T
    seen = np.isfinite(columns).all(axis=1) & np.isfinite(position.ravel())
    middle = position[:, 1] + gap_width(position, 0.5)
    found = []
    for mode in modes:
        shift = np.linalg.lstsq(columns[seen], mode.position.ravel()[seen], rcond=None)[0][:2]
        along = shift[0] * np.cos(middle) + shift[1] * np.sin(middle)
        found.append(np.asarray(along * measured.scale.mm_per_px))
    return found


def _filled(centre: Floats, teeth: int) -> Floats:
    """Tooth centres with those not seen put in by the mean pitch."""
    index = np.arange(teeth)
    seen = np.isfinite(centre)
    start = np.nanmean(wrapped(centre - index * 2 * pi / teeth - centre[seen][0])) + centre[seen][0]
    return np.where(seen, centre, start + index * 2 * pi / teeth)


def thickness_uncertainty(measured: Measured, figures: Figures) -> Floats:
    """Standard uncertainty of every tooth's thickness (and of the gap's width beside it), mm.

    Returns
    -------
    ndarray, shape (z,)
    """
    own = np.hypot(figures.noise[:, 0], figures.noise[:, 1]) * figures.measuring_radius
    parts = thickness_parts(measured, figures)
    modes = thickness_modes(measured, figures)
    return combined((own, *modes, *(np.full(own.shape, part) for part in parts.values())))


def thickness_modes(measured: Measured, figures: Figures) -> list[Floats]:
    """Change of every tooth's thickness with each common source.

    Returns
    -------
    list of ndarray, shape (z,)
        Mm; a stretch of the whole gear included.
    """
    grown = _thicker(measured)
    return [
        (mode.position[:, 1] - mode.position[:, 0]) * figures.measuring_radius
        + grown * mode.stretch
        for mode in figures.modes
    ]


def _thicker(measured: Measured) -> float:
    """Growth of a tooth's thickness per share by which the gear is taken for too large, mm."""
    curve = measured.fits.curve
    return 2 * curve.stretched()[0] * measured.scale.mm_per_px / cos(curve.mean_lean)


def common_thickness(measured: Measured, figures: Figures) -> float:
    """Part of the thickness's uncertainty that all teeth share, a stretch included; mm."""
    stretched = _thicker(measured) * measured.scale.stretch
    return hypot(stretched, *thickness_parts(measured, figures).values())


def thickness_parts(measured: Measured, figures: Figures) -> dict[str, float]:
    """Sources of the thickness's uncertainty that all teeth share.

    Mm, by ``edges``, ``scale`` and ``stretch`` (what the common sources do not carry of it).

    Notes
    -----
    A gear that is larger on the picture by a share e than its scale says shows thicker teeth on a
    circle of fixed radius r, by ``2 r e tan a`` for an involute: its flanks stand further out.
    Where the scale was taken from edges of the same picture, what moves all edges moves it too.
    """
    scale, grown = measured.scale, _thicker(measured)
    level = figures.edge / scale.mm_per_px
    along = thickness_edge(figures.edge, measured.fits.curve.mean_lean)
    apart = scale.relative_u**2 - scale.stretch**2 - (scale.by_edge * level) ** 2
    left = scale.stretch**2 - sum(mode.stretch**2 for mode in figures.modes)
    return {
        "edges": abs(along + grown * scale.by_edge * level),
        "scale": grown * sqrt(max(apart, 0.0)),
        "stretch": grown * sqrt(left) if left > 1e-6 * scale.stretch**2 else 0.0,
    }
