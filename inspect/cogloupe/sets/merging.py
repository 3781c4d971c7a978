"""One gear out of an adjusted set: measures and uncertainties in the first picture's frame."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from cogloupe.fits.datum import Axes
from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.radii import Radii
from cogloupe.fits.teeth_axis import flank_angles, flank_angles_about
from cogloupe.forms.tooth_form import OUT
from cogloupe.inputs.photo import Photo
from cogloupe.numerics.angles import wrapped
from cogloupe.reading.photo_set import SetKind
from cogloupe.sets.adjust import POSE, TIP, Adjusted, View
from cogloupe.sets.views import Nominal, Sight, flank_doubt_of, ideal_angles, start_of
from cogloupe.uncertainty.flank_uncertainty import FlankUncertainty
from cogloupe.uncertainty.modes import Mode, lens_sources
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import independent_sources

NOTHING_PX = 1e-4
"""Sources that move no flank by more are left out."""
WHOLE = 0.75
"""With more than this share of the teeth seen, the flanks alone tell the axis."""
PLACES = "places of the pictures"
AXIS = "axis of the teeth that are seen"
SCALE = "scale"
"""Sources that sets have beside the lens."""


@dataclass(frozen=True, kw_only=True)
class SetOfPictures:
    """Pictures of one gear, adjusted together.

    Attributes
    ----------
    kind : {'turned', 'repeats', 'joined'}
    sights : tuple of Sight
        Each picture as measured through `lens`.
    views : tuple of View
        What each says of the marks.
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
    sight = pictures.sights[0]
    ideal, arm = ideal_angles(sight, pictures.nominal), sight.measured.fits.curve.measuring_arm
    return np.asarray(_first_start(pictures) + ideal + OUT * pictures.adjusted.gear[:, :TIP] / arm)


def _merged_fits(pictures: SetOfPictures, angle: Floats, back: Ints) -> FlankFits:
    """The first picture's fits with every flank at its merged angle about the datum."""
    sight = pictures.sights[0]
    fits, datum = sight.measured.fits, sight.axes.datum
    old = flank_angles_about(fits, datum)
    moved = fits.unwound + wrapped(angle - old)
    # A flank the first picture does not show: seen from the datum it lies off by the axis's shift.
    facing = angle + OUT * (np.pi / 2 - fits.curve.measuring_lean)
    normal = np.stack([np.cos(facing), np.sin(facing)], axis=-1)
    wound = np.nanmedian(fits.unwound - flank_angles(fits), axis=0)
    filled = angle + OUT * (normal @ (datum - fits.centre)) / fits.curve.measuring_arm + wound
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


def settled(pictures: SetOfPictures, axes: Axes) -> FlankUncertainty:
    """Uncertainties of the merged flanks; in the first picture's order.

    Parameters
    ----------
    axes : Axes
        Datum of the merged gear.
    """
    sight, adjusted = pictures.sights[0], pictures.adjusted
    arm, back = sight.measured.fits.curve.measuring_arm, np.argsort(sight.order)
    told = axes.kind == "teeth" and seen_whole(adjusted.gear)
    free = POSE if told else ("turn", "swell", "edge")
    effects = pictures.views[0].pose[:, :TIP, [POSE.index(name) for name in free]]
    seen = np.isfinite(adjusted.gear[:, :TIP])

    def left(mode: Floats) -> Floats:
        """What a mode leaves beside turn and thickness (and axis, where the teeth tell it)."""
        flanks = mode[:, :TIP]
        taken = np.linalg.lstsq(effects[seen], flanks[seen], rcond=None)[0]
        return np.asarray((OUT * (flanks - effects @ taken) / arm)[back])

    sources = zip(lens_sources(adjusted.lens), adjusted.lens_modes, strict=True)
    modes = [Mode(name, f"{100 * u:.2g} %", left(mode)) for (name, u), mode in sources]
    modes += [Mode(PLACES, "as adjusted", left(mode)) for mode in adjusted.pose_modes]
    if not told and axes.kind == "teeth":
        modes += [Mode(AXIS, "as the teeth stray", left(mode)) for mode in _axis_modes(pictures)]
    # A deviation in length is as uncertain as the scale; with several pictures that counts.
    relative = sight.measured.scale.relative_u
    modes.append(Mode(SCALE, f"{100 * relative:.2g} %", relative * left(adjusted.gear)))
    modes = [mode for mode in modes if np.nanmax(np.abs(mode.position * arm)) > NOTHING_PX]
    # What a picture's scatter does not show of a flank (its corners, its bevel) is the flank's
    # own: it turns with the gear, and no number of pictures averages it out.
    noise = np.hypot(adjusted.noise[:, :TIP], flank_doubt_of(pictures.sights))
    return FlankUncertainty((noise / arm)[back], tuple(modes))


def axis_design(gear: Floats, pose: Floats) -> tuple[Floats, Floats]:
    """What tells the axis of the teeth: equations of x, y, turn, flanks' and tips' level.

    Parameters
    ----------
    gear : ndarray, shape (z, 3)
        Marks out of the material, px.
    pose : ndarray, shape (z, 3, 5)
        Effects of `POSE` on them.

    Returns
    -------
    design : ndarray, shape (n, 5)
    wanted : ndarray, shape (n,)
        Of the flanks alone where the gear is seen whole; the tips help where it is not.
    """
    tips = np.zeros(gear.shape)
    tips[:, TIP] = 1.0
    columns = [pose[..., POSE.index(name)] for name in ("x", "y", "turn")]
    design = np.stack([*columns, 1 - tips, tips], axis=-1)
    used = np.isfinite(gear) & ((tips == 0) | (not seen_whole(gear)))
    return design[used], gear[used]


def seen_whole(gear: Floats) -> bool:
    """Tell whether enough teeth are seen for the flanks alone to tell their axis.

    Parameters
    ----------
    gear : ndarray, shape (z, 3)
    """
    return bool(np.isfinite(gear[:, :TIP]).all(axis=1).mean() > WHOLE)


def _axis_modes(pictures: SetOfPictures) -> list[Floats]:
    """Changes of the marks by what the teeth's own errors leave open of their axis."""
    pose = pictures.views[0].pose
    design, wanted = axis_design(pictures.adjusted.gear, pose)
    left = wanted - design @ np.linalg.lstsq(design, wanted, rcond=None)[0]
    stray = float(np.sum(left**2)) / max(len(wanted) - design.shape[1], 1)
    shifts = independent_sources(stray * np.linalg.pinv(design.T @ design)[:2, :2])
    x, y = POSE.index("x"), POSE.index("y")
    return [pose[..., x] * shift[0] + pose[..., y] * shift[1] for shift in shifts.T]
