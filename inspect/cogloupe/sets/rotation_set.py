"""Turned pictures and repeats: what stays with the gear told from what stays with the camera.

Each picture is measured through the lens as known so far, all are adjusted together, and the lens
that comes out is used for the next round, until it stands still: the gear is its own calibration
target, for the same teeth were seen in several places of the frame.
"""

from collections.abc import Sequence
from math import hypot, sqrt

import numpy as np

from cogloupe.fits.datum import Axes
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inputs.stated_scale import stated_scale
from cogloupe.sets.adjust import adjust, lens_stands_still
from cogloupe.sets.camera_map import camera_error
from cogloupe.sets.correspondence_choice import Compared, matched_starts
from cogloupe.sets.merging import SetOfPictures, settled
from cogloupe.sets.set_reading import (
    SetReading,
    check_set,
    measure_all,
    read_set,
    same_datum,
    see_all,
    sight_at,
)
from cogloupe.sets.views import Sight, nominal_of, start_of, view_of
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import TERMS, TERMS_IN_WORDS, frame_middle, ideal_points, make_lens
from cogloupe_calibration.scale import Scale

UNKNOWN_LENS = {
    "k1": 0.02, "k2": 0.01, "p1": 0.002, "p2": 0.002,
    "e1": 0.002, "e2": 0.002, "g1": 0.01, "g2": 0.01,
}  # fmt: skip
"""Standard uncertainty of each term of a lens that the pictures themselves are to tell: wide enough
for 3 % of distortion and a lean of several degrees, so that it binds little; common practice, no
source."""
ROUNDS, STANDS_STILL_PX = 6, 0.002
"""Rounds at the most, and the change of all teeth from which another is not worth its time: below
the noise of a flank on the cleanest picture (0.003 px)."""
HARDLY_TOLD_PX = 0.05
"""What is left of the camera's error on the teeth from which it is called hardly told apart, px."""


def inspect_rotation_set(
    photos: Sequence[Photo], settings: GearSettings, marks: Sequence[int] | None = None
) -> SetReading:
    """Read one gear from pictures between which it was turned.

    Parameters
    ----------
    photos : sequence of Photo
        Two or more, of one set-up.
    marks : sequence of int, optional
        Number of one and the same tooth in each picture, as read alone.

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where the pictures do not belong together, or their teeth cannot be matched.
    """
    check_set(photos, "--turned")
    stated = stated_scale(photos[0], settings)
    prior = stated.lens or unknown_lens(photos[0].width, photos[0].height)
    seen = see_all(photos, settings)
    lens, starts = prior, None
    scale = stated.scale
    for _ in range(ROUNDS):
        measured = measure_all(photos, seen, settings, scale, lens)
        axes = same_datum(measured, settings.datum)
        nominal = nominal_of(measured[0])
        if starts is None:
            plain = [
                Sight(m, a, np.arange(m.teeth.teeth)) for m, a in zip(measured, axes, strict=True)
            ]
            starts = matched_starts(Compared(photos, plain, nominal, prior, settings), marks)
        sights = [
            sight_at(m, a, nominal, s) for m, a, s in zip(measured, axes, starts, strict=True)
        ]
        starts = [start_of(sight, nominal) for sight in sights]
        views = [view_of(sight, nominal, lens) for sight in sights]
        adjusted = adjust(views, lens, prior)
        if lens_stands_still(views, lens, adjusted.lens, STANDS_STILL_PX):
            break
        lens = adjusted.lens
        if stated.scale is not None and stated.lens is None:
            scale = _between(stated.scale, _swell(sights[0], lens))
    pictures = SetOfPictures(
        kind="turned",
        photos=tuple(photos),
        sights=tuple(sights),
        views=tuple(views),
        nominal=nominal,
        adjusted=adjusted,
        lens=lens,
    )
    return read_set(pictures, settings, (*stated.notices, *_turn_notices(pictures, axes[0])))


def unknown_lens(width_px: int, height_px: int) -> Lens:
    """Lens that the pictures themselves are to tell.

    No distortion, with `UNKNOWN_LENS` as its allowance.

    Parameters
    ----------
    width_px, height_px : int
        The frame.
    """
    u = np.array([UNKNOWN_LENS[name] for name in TERMS])
    return make_lens(*frame_middle(width_px, height_px), np.zeros(len(TERMS)), np.diag(u**2))


def _swell(sight: Sight, lens: Lens) -> float:
    """How much larger a lens's undoing makes the circle of the teeth."""
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ring = sight.measured.teeth.tip_radius * way
    moved = ideal_points(lens, sight.axes.datum + ring)
    return float(np.mean(((moved - moved.mean(axis=0)) * way).sum(axis=1))) / float(
        sight.measured.teeth.tip_radius
    )


def _between(stated: Scale, swell: float) -> Scale:
    """Scale at the frame's middle, where a stated one held there, at the teeth, or between."""
    middle = 1 + (swell - 1) / 2
    u = hypot(stated.relative_u, abs(swell - 1) / 2 / sqrt(3))
    mm = stated.mm_per_px / middle
    return Scale(mm_per_px=mm, u_mm_per_px=mm * u, method=stated.method, details=stated.details)


def _turn_notices(pictures: SetOfPictures, axes: Axes) -> tuple[Notice, ...]:
    error = camera_error(pictures)
    notices = [flag("lens_by_turning", px=error.largest_px)]
    arm = pictures.sights[0].measured.fits.curve.measuring_arm
    words = set(TERMS_IN_WORDS.values())
    modes = [mode for mode in settled(pictures, axes).modes if mode.name in words]
    left = np.sqrt(np.nanmean(np.sum([(mode.position * arm) ** 2 for mode in modes], axis=0)))
    if left > HARDLY_TOLD_PX:
        um = 2000 * float(left) * pictures.sights[0].measured.scale.mm_per_px
        notices.append(flag("turned_little", um=um))
    return tuple(notices)
