"""What is not known of where the flanks lie: each one's own doubt, and what moves them together.

Lengths px, angles rad.
"""

from dataclasses import dataclass, replace
from math import hypot, pi, sqrt

import numpy as np

from cogloupe.fits.datum import Axes
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured_gear import Measured, tips_oval
from cogloupe.fits.teeth_axis import flank_angles, flank_angles_about
from cogloupe.forms.tooth_form import OUT
from cogloupe.numerics.angles import ring
from cogloupe.optics.outlines import BEVEL_DOUBT
from cogloupe.uncertainty.modes import (
    FlankPlace,
    Mode,
    datum_modes,
    expected_oval,
    gear_stretch,
    lens_modes,
)
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import unmeasured_lens
from cogloupe_calibration.scale import Scale

BEVEL_FLANK_DOUBT = 0.02
"""Standard uncertainty that a bevel leaves in each flank by itself, as a share of its width,
besides what its own halves say (rendered gears show 0.003 to 0.02; common practice knows no
figure)."""
CORNER_DOUBT = 0.03
"""The same from the blur of the flank's ends, in squared blurs over the tooth's depth (from
rendered gears without noise, teeth 22 to 70 px deep, blur 0.8 to 2.2 px)."""
TEXTURE_DOUBT, GRAIN_PX = 1.6, 10.0
"""The same from texture: blurs a flank shifts for levels that vary by the whole contrast over
grains of so many px (from rendered gears with tool marks and in front light)."""


@dataclass(frozen=True)
class FlankUncertainty:
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


def single_image_uncertainty(
    measured: Measured, axes: Axes, frame: tuple[int, int], lens: Lens | None
) -> FlankUncertainty:
    """Uncertainties that one picture states by itself.

    Parameters
    ----------
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens or None
        Measured lens; without one an allowance is made.
    """
    fits = measured.fits
    own = flank_doubt(measured) / fits.curve.measuring_arm
    known = lens or allowed_lens(measured, frame)
    return FlankUncertainty(np.hypot(fits.u_unwound, own), _common_sources(measured, axes, known))


def allowed_lens(measured: Measured, frame: tuple[int, int]) -> Lens:
    """Lens of which nothing is known, with an allowance for a greater lean where the tips show it.

    What the tips are oval beyond twice what the usual allowance makes of a circle is allowed for as
    well.

    Parameters
    ----------
    frame : (int, int)
        Width and height of the picture, px.
    """
    plain = unmeasured_lens(*frame)
    usual = expected_oval(plain, ring(measured.fits.centre, measured.teeth.tip_radius))
    beyond = tips_oval(measured.tips, measured.teeth) ** 2 - (2 * usual) ** 2
    return unmeasured_lens(*frame, sqrt(beyond)) if beyond > 0 else plain


def _common_sources(measured: Measured, axes: Axes, lens: Lens) -> tuple[Mode, ...]:
    """Sources that move the flanks together: lens, lean, and the place of the datum."""
    place = flank_place(measured.fits, axes.datum)
    carried = datum_points(measured, axes)
    modes = lens_modes(place, carried, lens, _stretch(measured, lens))
    if axes.kind == "teeth":
        return modes
    u_px, along = datum_doubt(measured, axes)
    return modes + datum_modes(place, u_px, along)


def datum_doubt(measured: Measured, axes: Axes) -> tuple[float, Floats]:
    """Standard uncertainty of either coordinate of a datum that was seen by itself.

    Returns
    -------
    float
        Px; 0 where the datum is fitted to the flanks.
    ndarray, shape (2,)
        What two rims of a bore leave open besides, along the way in which they lie apart, where
        that is known.
    """
    if axes.kind == "teeth":
        return 0.0, np.zeros(2)
    bore, along = measured.bore, 0.0
    if axes.kind == "bore" and bore is not None:
        u, along = bore.u_centre, bore.u_along
    else:
        u = _tip_doubt(measured) * sqrt(2 / measured.wheel.teeth)
    u = hypot(u, BEVEL_DOUBT * measured.outlines.bevel_px)
    if bore is None or not bore.rims_way.any():
        return hypot(u, axes.u_bore_px), np.zeros(2)
    return u, hypot(along, axes.u_bore_px) * bore.rims_way


def _tip_doubt(measured: Measured) -> float:
    """Standard uncertainty of one tip; where lands are too small to tell theirs, their scatter."""
    if np.isfinite(measured.tips.u).any():
        return float(np.nanmedian(measured.tips.u))
    return 0.0 if measured.tip_circle is None else measured.tip_circle.rms


def flank_doubt(measured: Measured) -> float:
    """Standard uncertainty of each flank by itself that its own scatter does not show; px."""
    return hypot(*flank_doubts(measured).values())


def flank_doubts(measured: Measured) -> dict[str, float]:
    """Where that doubt comes from; px, by ``bevel``, ``corners`` and ``texture``.

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
        "bevel": hypot(BEVEL_FLANK_DOUBT * outlines.bevel_px, outlines.u_bevel_px),
        "corners": CORNER_DOUBT * outlines.blur_px**2 / depth,
        "texture": TEXTURE_DOUBT * outlines.texture * outlines.blur_px / sqrt(grains),
    }


def datum_points(measured: Measured, axes: Axes) -> Floats | None:
    """Points that carry the datum along when the picture is distorted.

    Returns
    -------
    ndarray, shape (n, 2), or None
        Px; None where the datum is fitted to the flanks themselves.
    """
    if axes.kind == "teeth":
        return None
    if axes.kind == "bore" and measured.bore is not None:
        return ring(axes.datum, measured.bore.radius)
    return ring(axes.datum, measured.teeth.tip_radius)


def flank_place(fits: FlankFits, datum: Floats) -> FlankPlace:
    """Where each flank crosses the measuring circle about a datum; in the order of the fits.

    Parameters
    ----------
    datum : ndarray, shape (2,)
        Px.
    """
    angle = flank_angles_about(fits, datum)
    radius = fits.curve.measuring_radius
    xy = datum + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    facing = flank_angles(fits) + OUT * (pi / 2 - fits.curve.measuring_lean)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    return FlankPlace(xy, normal, fits.curve.measuring_arm, radius)


def with_scale_at_gear(measured: Measured, frame: tuple[int, int], lens: Lens | None) -> Measured:
    """Widen the scale's uncertainty by how lens and lean may stretch the picture at the gear.

    The same but for the scale.

    Parameters
    ----------
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens or None
        Measured lens; without one an allowance is made.
    """
    scale = measured.scale
    stretch = float(np.sqrt(np.sum(_stretch(measured, lens or unmeasured_lens(*frame)) ** 2)))
    u = hypot(scale.u_mm_per_px, scale.mm_per_px * stretch)
    return replace(measured, scale=replace(scale, u_mm_per_px=u, stretch=stretch))


def _stretch(measured: Measured, lens: Lens) -> Floats:
    """How much each source of the lens stretches the gear against where its scale was taken."""
    scale, fits = measured.scale, measured.fits
    gear = anchor = ring(fits.centre, fits.curve.measuring_radius)
    if scale.method == "known_tip_diameter":
        anchor = ring(fits.centre, measured.teeth.tip_radius)
    elif scale.by_edge > 0 and measured.bore is not None:
        anchor = ring(measured.bore.centre, measured.bore.radius)
    return gear_stretch(lens, gear, None if _taken_elsewhere(scale) else anchor)


def _taken_elsewhere(scale: Scale) -> bool:
    """Whether the scale holds at the frame's middle, not at something on the gear."""
    return scale.by_edge == 0 and scale.method != "from_module"
