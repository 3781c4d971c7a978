"""Pitch, thickness and runout figures of a measured gear about its datum, with uncertainties.

Arrays run over teeth in the order of their numbers, tooth 1 first; lengths are
millimetres unless the name ends in px or um, angles radians unless it ends in deg.
"""

from dataclasses import dataclass, replace
from math import cos, hypot, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe.axis import flank_angles, flank_angles_about
from cogloupe.datum_axis import Axes
from cogloupe.deviations import (
    cumulative_pitch,
    eccentricity,
    first_tooth,
    gap_width,
    single_pitch,
    thickness,
    wrapped,
)
from cogloupe.edges import BEVEL_DOUBT
from cogloupe.flanks import FlankFits
from cogloupe.measure import Measured, tips_oval
from cogloupe.settings import GearSettings
from cogloupe.source_effects import (
    FlankPlace,
    Mode,
    datum_modes,
    expected_oval,
    gear_stretch,
    lens_modes,
)
from cogloupe.tooth_form import OUT
from cogloupe.uncertainty import combined, edge_shift, thickness_edge
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import unmeasured_lens
from cogloupe_calibration.scale import Scale

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

PIN_MODULES = 1.728
"""Usual pin for outside gears, in modules (handbook practice for over-pins sizes)."""
BEVEL_FLANK_DOUBT = 0.03
"""Standard uncertainty that a bevel leaves in each flank by itself, as a share of its width (from
rendered gears with tool marks; common practice knows no figure)."""
CORNER_DOUBT = 0.03
"""The same from the blur of the flank's ends, in squared blurs over the tooth's depth (from
rendered gears without noise, teeth 22 to 70 px deep, blur 0.8 to 2.2 px)."""
TEXTURE_DOUBT, GRAIN_PX = 1.6, 10.0
"""The same from texture: blurs a flank shifts for levels that vary by the whole contrast over
grains of so many px (from rendered gears with tool marks and in front light)."""
SHARED_LEVELS = 0.25
"""Correlation of neighbouring flanks' errors, out of the material, by the grey levels that they
share, where the camera's curve spreads the noise of the dark side (from rendered gears in sRGB with
noise of 1 to 2 % in linear light; none is seen where grey follows the light)."""
OBSTRUCTED_SHARE = 0.05
"""A flank with more of its points than this under something is called obstructed."""
PARTIAL_COVERAGE = 0.8


@dataclass(frozen=True)
class Settled:
    """Uncertainties of the flanks' angles as several pictures settle them, in the fits' order.

    Attributes
    ----------
    noise : ndarray, shape (z, 2)
        Standard uncertainty that each flank has to itself, rad.
    modes : tuple of Mode
        What moves the flanks together.
    """

    noise: Floats
    modes: tuple[Mode, ...]


@dataclass(frozen=True)
class Figures:
    """Pitch, thickness and runout figures about the datum, teeth in the order of their numbers.

    Attributes
    ----------
    first : int
        Index in the measured arrays of tooth 1.
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
    u_pin : float
        Noise of one pin radius.
    eccentricity : complex
        Teeth axis as seen from the datum, mm.
    edge : float
        Standard uncertainty of all edges together, mm along the normal.
    measuring_radius, pin : float
        Radius of the measuring circle, and diameter of the pin, mm.
    """

    first: int
    position: Floats
    noise: Floats
    modes: tuple[Mode, ...]
    single_um: Floats
    cumulative_um: Floats
    thickness: Floats
    gap_width: Floats
    pin_radius: Floats
    pin_modes: tuple[Floats, ...]
    u_pin: float
    eccentricity: complex
    edge: float
    measuring_radius: float
    pin: float

    @property
    def gap_middle(self) -> Floats:
        """Polar angle of the middle of every gap about the datum, rad, shape (z,)."""
        return self.position[:, 1] + self.gap_width / self.measuring_radius / 2


def work_out(
    measured: Measured,
    axes: Axes,
    settings: GearSettings,
    frame: tuple[int, int],
    lens: Lens | None = None,
    settled: Settled | None = None,
) -> Figures:
    """Work out the figures about the datum.

    Parameters
    ----------
    measured : Measured
    axes : Axes
    settings : GearSettings
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens, optional
        Measured lens; without one an allowance is made.
    settled : Settled, optional
        Uncertainties that several pictures together have settled, in place of one picture's own.

    Returns
    -------
    Figures

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
    settled = settled or settle_alone(measured, axes, frame, lens)
    noise = np.roll(settled.noise, -first, axis=0)
    modes = tuple(replace(m, position=np.roll(m.position, -first, axis=0)) for m in settled.modes)
    pin = settings.lengths_mm.get("pin_diameter", PIN_MODULES * wheel.module_mm)
    pins = _seated(measured, axes, radius, pin, first)
    if not measured.involute:  # in a wide gap between radial flanks the pin may rest on the floor
        pins = np.where(pins - pin / 2 > wheel.root_radius, pins, np.nan)
    about, lean = wheel.flank.pin_radius(gap_width(position, 0.5), radius, pin)
    pin_modes = tuple(
        wheel.flank.pin_radius(gap_width(position + mode.position, 0.5), radius, pin)[0] - about
        for mode in modes
    )
    alpha = float(np.nanmean(lean)) if np.isfinite(lean).any() else float("nan")
    shared = SHARED_LEVELS * measured.outlines.curve
    u_flank = float(np.sqrt(np.nanmean(noise**2)))
    u_pin = u_flank * sqrt(2 * (1 + shared)) * radius / (2 * tan(alpha))
    gap_middle = position[:, 1] + gap_width(position, 0.5)
    vector, _ = eccentricity(pins, gap_middle)
    edge = edge_shift(measured.outlines.blur_px, measured.outlines.u_level_px) * px
    # Nothing states how thick straight-sided teeth should be, or where; only their pitch is read.
    sized = 1.0 if wheel.flank.name != "straight" else float("nan")
    return Figures(
        first, position, noise, modes, single_pitch(position, radius) * 1000,
        cumulative_pitch(position, radius) * 1000, sized * thickness(position, radius),
        sized * gap_width(position, radius), pins, pin_modes, u_pin, vector, edge, radius, pin,
    )  # fmt: skip


def settle_alone(
    measured: Measured, axes: Axes, frame: tuple[int, int], lens: Lens | None
) -> Settled:
    """Uncertainties that one picture states by itself."""
    fits = measured.fits
    own = flank_doubt(measured) / fits.curve.measuring_arm
    known = lens or allowed_lens(measured, frame)
    return Settled(np.hypot(fits.u_unwound, own), _common_sources(measured, axes, known))


def allowed_lens(measured: Measured, frame: tuple[int, int]) -> Lens:
    """Lens of which nothing is known, with an allowance for a greater lean where the tips show it.

    Parameters
    ----------
    measured : Measured
    frame : (int, int)
        Width and height of the picture, px.

    Returns
    -------
    Lens
        What the tips are oval beyond twice what the usual allowance makes of a circle is allowed
        for as well.
    """
    plain = unmeasured_lens(*frame)
    usual = expected_oval(plain, _ring(measured.fits.centre, measured.teeth.tip_radius))
    beyond = tips_oval(measured.tips, measured.teeth) ** 2 - (2 * usual) ** 2
    return unmeasured_lens(*frame, sqrt(beyond)) if beyond > 0 else plain


def _common_sources(measured: Measured, axes: Axes, lens: Lens) -> tuple[Mode, ...]:
    """Sources that move the flanks together: lens, lean, and the place of the datum."""
    place = flank_place(measured.fits, axes.datum)
    carried = datum_points(measured, axes)
    modes = lens_modes(place, carried, lens, _stretch(measured, lens))
    if axes.kind == "teeth":
        return modes
    if axes.kind == "bore" and measured.bore is not None:
        u = measured.bore.u_centre
    else:
        u = float(np.nanmedian(measured.tips.u)) * sqrt(2 / measured.wheel.teeth)
    return modes + datum_modes(place, hypot(u, BEVEL_DOUBT * measured.outlines.bevel_px))


def flank_doubt(measured: Measured) -> float:
    """Standard uncertainty of each flank by itself that its own scatter does not show.

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    float
        Px.
    """
    return hypot(*flank_doubts(measured).values())


def flank_doubts(measured: Measured) -> dict[str, float]:
    """Where that doubt comes from.

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    dict
        Px, by ``bevel``, ``corners`` and ``texture``.

    Notes
    -----
    Tool marks shift a bevelled edge from flank to flank by a small share of the bevel; the blur
    of tip and fillet reaches the further into a flank, the shorter it is; grains of face and
    ground as long as a good part of the flank shift it as a whole.
    """
    teeth, outlines = measured.teeth, measured.outlines
    depth = teeth.tip_radius - teeth.root_radius
    grains = max(depth / GRAIN_PX, 1.0)
    return {
        "bevel": BEVEL_FLANK_DOUBT * outlines.bevel_px,
        "corners": CORNER_DOUBT * outlines.blur_px**2 / depth,
        "texture": TEXTURE_DOUBT * outlines.texture * outlines.blur_px / sqrt(grains),
    }


def _seated(measured: Measured, axes: Axes, radius: float, pin: float, first: int) -> Floats:
    """Distance from the datum of a pin seated in every gap, mm, tooth 1's gap first.

    The pin rests on flanks about the teeth's own axis; only its distance is about the datum.
    """
    px, z = measured.scale.mm_per_px, measured.wheel.teeth
    angles = flank_angles(measured.fits)
    seat, _ = measured.wheel.flank.pin_radius(gap_width(angles, 0.5), radius, pin)
    middle = angles[:, 1] + gap_width(angles, 0.5)
    xy = measured.fits.centre * px + (seat * np.stack([np.cos(middle), np.sin(middle)])).T
    distance = np.hypot(*(xy - axes.datum * px).T)
    return np.asarray(np.roll(distance, -(first % z)))


def _filled(centre: Floats, teeth: int) -> Floats:
    """Tooth centres with those not seen put in by the mean pitch."""
    index = np.arange(teeth)
    seen = np.isfinite(centre)
    start = np.nanmean(wrapped(centre - index * 2 * pi / teeth - centre[seen][0])) + centre[seen][0]
    return np.where(seen, centre, start + index * 2 * pi / teeth)


def datum_points(measured: Measured, axes: Axes) -> Floats | None:
    """Points that carry the datum along when the picture is distorted.

    Parameters
    ----------
    measured : Measured
    axes : Axes

    Returns
    -------
    ndarray, shape (n, 2), or None
        Px; None where the datum is fitted to the flanks themselves.
    """
    if axes.kind == "teeth":
        return None
    if axes.kind == "bore" and measured.bore is not None:
        return _ring(axes.datum, measured.bore.radius)
    return _ring(axes.datum, measured.teeth.tip_radius)


def _ring(centre: Floats, radius: float) -> Floats:
    """Points all round a circle."""
    turn = np.linspace(0, 2 * pi, 36, endpoint=False)
    return np.asarray(centre + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1))


def flank_place(fits: FlankFits, datum: Floats) -> FlankPlace:
    """Where each flank crosses the measuring circle about a datum.

    Parameters
    ----------
    fits : FlankFits
    datum : ndarray, shape (2,)
        Px.

    Returns
    -------
    FlankPlace
        In the order of the fits.
    """
    angle = flank_angles_about(fits, datum)
    radius = fits.curve.measuring_radius
    xy = datum + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    facing = flank_angles(fits) + OUT * (pi / 2 - fits.curve.measuring_lean)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    return FlankPlace(xy, normal, fits.curve.measuring_arm, radius)


def flank_status(fits: FlankFits) -> NDArray[np.str_]:
    """Status of every flank.

    Parameters
    ----------
    fits : FlankFits

    Returns
    -------
    ndarray, shape (z, 2), str
        'ok', 'partial', 'obstructed' or 'not_seen'.

    Notes
    -----
    Where most flanks of a side have points set aside, that is how the side was cut, not dirt;
    only those with more than the usual share are called obstructed.
    """
    status = np.full(fits.unwound.shape, "ok", dtype="<U10")
    status[fits.coverage < PARTIAL_COVERAGE] = "partial"
    beyond = fits.rejected - np.median(fits.rejected, axis=0)
    status[beyond > OBSTRUCTED_SHARE] = "obstructed"
    status[~np.isfinite(fits.unwound)] = "not_seen"
    return status


def at_the_gear(measured: Measured, frame: tuple[int, int], lens: Lens | None) -> Measured:
    """Widen the scale's uncertainty by how lens and lean may stretch the picture at the gear.

    Parameters
    ----------
    measured : Measured
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens or None
        Measured lens; without one an allowance is made.

    Returns
    -------
    Measured
        The same but for the scale.
    """
    scale = measured.scale
    stretch = float(np.sqrt(np.sum(_stretch(measured, lens or unmeasured_lens(*frame)) ** 2)))
    u = hypot(scale.u_mm_per_px, scale.mm_per_px * stretch)
    return replace(measured, scale=replace(scale, u_mm_per_px=u, stretch=stretch))


def _stretch(measured: Measured, lens: Lens) -> Floats:
    """How much each source of the lens stretches the gear against where its scale was taken."""
    scale, fits = measured.scale, measured.fits
    gear = anchor = _ring(fits.centre, fits.curve.measuring_radius)
    if scale.method == "known_tip_diameter":
        anchor = _ring(fits.centre, measured.teeth.tip_radius)
    elif scale.by_edge > 0 and measured.bore is not None:
        anchor = _ring(measured.bore.centre, measured.bore.radius)
    return gear_stretch(lens, gear, None if _taken_elsewhere(scale) else anchor)


def _taken_elsewhere(scale: Scale) -> bool:
    """Whether the scale holds at the frame's middle, not at something on the gear."""
    return scale.by_edge == 0 and scale.method != "from_module"


def thickness_uncertainty(measured: Measured, figures: Figures) -> Floats:
    """Standard uncertainty of every tooth's thickness (and of the gap's width beside it), mm.

    Parameters
    ----------
    measured : Measured
    figures : Figures

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

    Parameters
    ----------
    measured : Measured
    figures : Figures

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
    """Part of the thickness's uncertainty that all teeth share, a stretch included.

    Parameters
    ----------
    measured : Measured
    figures : Figures

    Returns
    -------
    float
        Mm.
    """
    stretched = _thicker(measured) * measured.scale.stretch
    return hypot(stretched, *thickness_parts(measured, figures).values())


def thickness_parts(measured: Measured, figures: Figures) -> dict[str, float]:
    """Sources of the thickness's uncertainty that all teeth share.

    Parameters
    ----------
    measured : Measured
    figures : Figures

    Returns
    -------
    dict
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
