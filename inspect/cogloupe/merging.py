"""One gear out of an adjusted set: measures and uncertainties in the first picture's frame."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.adjust import POSE, TIP, Adjusted, View
from cogloupe.axis import flank_angles, flank_angles_about
from cogloupe.deviations import wrapped
from cogloupe.figures import Axes, Settled
from cogloupe.flanks import FlankFits
from cogloupe.gaps import Radii
from cogloupe.measure import Measured
from cogloupe.photo import Photo
from cogloupe.photo_set import SetKind
from cogloupe.uncertainty import Mode
from cogloupe.views import Nominal, Sight, start_of
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS, TERMS_IN_WORDS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOTHING = 1e-7
"""A lens term surer than this moves no flank."""
PLACES = "places of the pictures"
SCALE = "scale"
"""Sources that sets have beside the lens."""


@dataclass(frozen=True)
class SetOfPictures:
    """Pictures of one gear, adjusted together.

    Attributes
    ----------
    kind : {'turned', 'repeats', 'joined'}
    photos : tuple of Photo
    sights : tuple of Sight
        Each picture as measured through `lens`.
    views : tuple of View
        What each says of the marks.
    nominal : Nominal
    adjusted : Adjusted
    lens : Lens or None
        Lens with which the pictures were measured; None for none.
    """

    kind: SetKind
    photos: tuple[Photo, ...]
    sights: tuple[Sight, ...]
    views: tuple[View, ...]
    nominal: Nominal
    adjusted: Adjusted
    lens: Lens | None


def merged_measured(pictures: SetOfPictures) -> Measured:
    """The first picture's measures with flanks and tips where all pictures together put them.

    Parameters
    ----------
    pictures : SetOfPictures

    Returns
    -------
    Measured
        In the first picture's order; marks that only others show are filled in.
    """
    sight, adjusted = pictures.sights[0], pictures.adjusted
    measured, datum = sight.measured, sight.axes.datum
    back = np.argsort(sight.order)
    angle = _merged_angles(pictures)[back]
    fits = measured.fits
    radius = pictures.nominal.tip_radius + adjusted.gear[:, TIP]
    middle = _first_start(pictures) + 2 * np.pi / len(back) * np.arange(len(back))
    radius = radius + np.stack([np.cos(middle), np.sin(middle)], axis=1) @ (datum - fits.centre)
    tips = Radii(radius[back], adjusted.noise[back, TIP])
    notices = dict.fromkeys(n for s in pictures.sights for n in s.measured.notices)
    if pictures.kind == "joined":  # what each arc says of itself is not so of the whole
        notices = {n: None for n in notices if n.code not in ("cut_off", "leaning")}
    seen = [s.measured.teeth.seen[s.order] for s in pictures.sights]
    teeth = replace(measured.teeth, seen=np.any(seen, axis=0)[back])
    return replace(
        measured, fits=_merged_fits(pictures, angle, back), tips=tips, teeth=teeth,
        notices=tuple(notices),
    )  # fmt: skip


def _first_start(pictures: SetOfPictures) -> float:
    """Polar angle of the set's first tooth in the first picture, as adjusted."""
    return start_of(pictures.sights[0], pictures.nominal) + float(pictures.adjusted.pose[0, 0])


def _merged_angles(pictures: SetOfPictures) -> Floats:
    """Flank angles about the first picture's datum, in the set's order, shape (z, 2)."""
    adjusted, z = pictures.adjusted, len(pictures.adjusted.gear)
    sign = np.array([-1.0, 1.0])
    ideal = 2 * np.pi / z * np.arange(z)[:, None] + pictures.nominal.half * sign
    arm = pictures.sights[0].measured.fits.curve.measuring_arm
    return np.asarray(_first_start(pictures) + ideal + sign * adjusted.gear[:, :TIP] / arm)


def _merged_fits(pictures: SetOfPictures, angle: Floats, back: Ints) -> FlankFits:
    """The first picture's fits with every flank at its merged angle about the datum."""
    sight, sign = pictures.sights[0], np.array([-1.0, 1.0])
    fits, datum = sight.measured.fits, sight.axes.datum
    old = flank_angles_about(fits, datum)
    moved = fits.unwound + wrapped(angle - old)
    # A flank the first picture does not show: seen from the datum it lies off by the axis's shift.
    facing = angle + sign * (np.pi / 2 - fits.curve.measuring_lean)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    wound = np.nanmedian(fits.unwound - flank_angles(fits), axis=0)
    filled = angle + sign * (normal @ (datum - fits.centre)) / fits.curve.measuring_arm + wound
    unwound = np.where(np.isfinite(moved), moved, filled)

    def over(name: str, how: Callable[..., Any]) -> Floats:
        values = np.stack([getattr(s.measured.fits, name)[s.order] for s in pictures.sights])
        seen = np.isfinite(np.stack([s.measured.fits.unwound[s.order] for s in pictures.sights]))
        held = np.ma.masked_array(values, ~seen)
        return np.asarray(how(held, axis=0).filled(np.nan))[back]

    return replace(
        fits, unwound=unwound, slope=over("slope", np.ma.mean),
        u_unwound=pictures.adjusted.noise[back, :TIP] / fits.curve.measuring_arm,
        coverage=np.nan_to_num(over("coverage", np.ma.max)),
        rejected=np.nan_to_num(over("rejected", np.ma.min)),
    )  # fmt: skip


def settled(pictures: SetOfPictures, axes: Axes) -> Settled:
    """Uncertainties of the merged flanks.

    Parameters
    ----------
    pictures : SetOfPictures
    axes : Axes
        Datum of the merged gear.

    Returns
    -------
    Settled
        In the first picture's order.
    """
    sight, adjusted = pictures.sights[0], pictures.adjusted
    arm, back = sight.measured.fits.curve.measuring_arm, np.argsort(sight.order)
    free = ("turn", "swell", "edge") if axes.kind == "bore" else POSE
    columns = [POSE.index(name) for name in free]
    effects = pictures.views[0].pose[:, :TIP, columns]
    seen = np.isfinite(adjusted.gear[:, :TIP])

    def left(mode: Floats) -> Floats:
        """What a mode leaves beside turn and thickness (and axis, where the teeth tell it)."""
        flanks = mode[:, :TIP]
        taken = np.linalg.lstsq(effects[seen], flanks[seen], rcond=None)[0]
        return np.asarray((np.array([-1.0, 1.0]) * (flanks - effects @ taken) / arm)[back])

    value, axis = np.linalg.eigh(np.array(adjusted.lens.covariance))
    modes = [
        Mode(
            TERMS_IN_WORDS[TERMS[int(np.argmax(np.abs(axis[:, -1 - k])))]],
            f"{100 * np.sqrt(max(value[-1 - k], 0.0)):.2g} %", left(mode),
        )
        for k, mode in enumerate(adjusted.lens_modes)
        if value[-1 - k] > NOTHING**2
    ]  # fmt: skip
    modes += [
        Mode(PLACES, "as adjusted", left(mode))
        for mode in adjusted.pose_modes
        if np.abs(mode).max() > 1e-4
    ]
    # A deviation in length is as uncertain as the scale; with several pictures that counts.
    relative = sight.measured.scale.relative_u
    modes.append(Mode(SCALE, f"{100 * relative:.2g} %", relative * left(adjusted.gear)))
    noise = adjusted.noise[:, :TIP] / arm
    return Settled(noise[back], tuple(modes))
