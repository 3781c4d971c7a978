"""Partial pictures of one gear joined into one reading.

Every picture shows an arc of teeth about a centre that it tells poorly. Teeth seen in two pictures
tie them together; all pictures are adjusted at once, each then measured anew about the centre that
came out, until nothing moves. Round the whole turn the chain closes: each tooth has one place only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cogloupe.finding.tooth_map import half_tip, map_teeth
from cogloupe.fits.datum import Axes, own_uncertainties
from cogloupe.fits.evaluation_range import evaluation_range
from cogloupe.fits.flanks import fit_flanks
from cogloupe.fits.measure import Seen, undistorted
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.radii import tip_radii
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inputs.stated_scale import stated_scale
from cogloupe.sets.adjust import POSE, TIP, Adjusted, View, adjust, lens_stands_still
from cogloupe.sets.correspondence_choice import Compared
from cogloupe.sets.merging import SetOfPictures, axis_design
from cogloupe.sets.overlap_alignment import linked_starts
from cogloupe.sets.set_reading import (
    SetReading,
    check_set,
    measure_all,
    naming,
    read_set,
    see_all,
    sight_at,
)
from cogloupe.sets.views import Nominal, Sight, nominal_of, start_of, view_of
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.lens import unmeasured_lens
from cogloupe_calibration.scale import Scale

ROUNDS, STANDS_STILL_PX = 12, 0.005
"""Rounds at the most, and the change of all teeth from which another is not worth its time: a tenth
of what joints of slid arcs leave (see `tests/benchmarks/results/join.md`)."""


def inspect_stitched(
    photos: Sequence[Photo],
    settings: GearSettings,
    marks: Sequence[tuple[int, int]] | None = None,
) -> SetReading:
    """Read one gear from pictures of parts of it that overlap.

    Parameters
    ----------
    photos : sequence of Photo
        Two or more of one set-up, best in their order round the gear, each sharing three teeth or
        more with the next.
    settings : GearSettings
        With the number of teeth, module and scale: an arc does not tell them.
    marks : sequence of (int, int), optional
        For each picture, the tooth shared with the picture before and with the next, as read alone.

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where the pictures do not belong together, or cannot be joined.
    """
    check_set(photos, "--join")
    stated = stated_scale(photos[0], settings)
    scale = _known_size(settings, stated.scale)
    settings = settings.model_copy(update={"partial": True})
    lens = stated.lens or unmeasured_lens(photos[0].width, photos[0].height)
    seen = see_all(photos, settings)
    measured = measure_all(photos, seen, settings, scale, lens)
    nominal = nominal_of(measured[0])
    z = measured[0].teeth.teeth
    plain = [Sight(m, _teeth_axes(m), np.arange(z)) for m in measured]
    starts = linked_starts(Compared(photos, plain, nominal, lens, settings), marks)
    sights = [
        sight_at(m, _teeth_axes(m), nominal, s) for m, s in zip(measured, starts, strict=True)
    ]
    joint = _Joint(tuple(photos), tuple(seen), settings, lens)
    sights, views, adjusted, used = _joined(joint, sights, nominal)
    pictures = SetOfPictures(
        kind="joined",
        photos=tuple(photos),
        sights=tuple(sights),
        views=tuple(views),
        nominal=nominal,
        adjusted=adjusted,
        lens=used,
    )
    return read_set(pictures, settings, (*stated.notices, _seen_notice(adjusted)))


def _known_size(settings: GearSettings, stated: Scale | None) -> Scale:
    """The scale, where everything that an arc does not tell was stated."""
    missing = [
        name
        for name, given in (
            ("the number of teeth (--teeth)", settings.teeth),
            ("module or pitch (--module, --dp)", settings.module),
            ("the scale (--scale or --calibration)", stated),
        )
        if given is None
    ]
    if missing or stated is None:
        raise UseError(f"--join needs {', '.join(missing)}: parts of a gear do not tell it")
    if settings.datum not in (None, "teeth"):
        raise UseError(f"--join has the teeth as datum: leave --datum {settings.datum} out")
    return stated


@dataclass(frozen=True)
class _Joint:
    """What stays the same from round to round."""

    photos: tuple[Photo, ...]
    seen: tuple[Seen, ...]
    settings: GearSettings
    prior: Lens


def _teeth_axes(measured: Measured) -> Axes:
    centre = measured.fits.centre
    u_px = own_uncertainties(measured)
    return Axes(kind="teeth", datum=centre, teeth=centre, bore=None, tips=None, u_px=u_px)


def _joined(
    joint: _Joint, sights: list[Sight], nominal: Nominal
) -> tuple[list[Sight], list[View], Adjusted, Lens]:
    """Adjust, move every picture's centre to where that puts it, measure anew, and again."""
    lens = joint.prior
    for _ in range(ROUNDS):
        views = [view_of(sight, nominal, lens) for sight in sights]
        adjusted = adjust(views, lens, joint.prior)
        starts = [start_of(sight, nominal) for sight in sights]
        moves = adjusted.pose + _common_pose(adjusted, views, starts)
        still = bool(np.abs(moves[:, 1:3]).max() < STANDS_STILL_PX)
        if still and lens_stands_still(views, lens, adjusted.lens, STANDS_STILL_PX):
            break
        lens = adjusted.lens
        sights = [
            _about(joint, n, sights[n], nominal, moves[n], starts[n], lens)
            for n in range(len(sights))
        ]
    return sights, views, adjusted, lens


def _common_pose(adjusted: Adjusted, views: Sequence[View], starts: Sequence[float]) -> Floats:
    """Turn and shift, in every picture, that bring the joined gear to the axis of its teeth."""
    design, wanted = axis_design(adjusted.gear, views[0].pose)
    x, y, turn = np.linalg.lstsq(design, wanted, rcond=None)[0][:3]
    moves = np.zeros((len(views), len(POSE)))
    for n, start in enumerate(starts):
        by = start - starts[0]
        moves[n, :3] = turn, x * np.cos(by) - y * np.sin(by), x * np.sin(by) + y * np.cos(by)
    return moves


def _about(
    joint: _Joint, n: int, sight: Sight, nominal: Nominal, move: Floats, start: float, lens: Lens
) -> Sight:
    """A picture measured anew about the centre that the adjustment found."""
    settings = joint.settings
    outlines = undistorted(joint.seen[n].outlines, lens)
    fresh = replace(sight.measured, outlines=outlines)
    centre, outer = sight.axes.datum + move[1:3], fresh.outlines.outer
    depth = fresh.teeth.tip_radius - fresh.teeth.root_radius
    rough = (nominal.tip_radius - depth, nominal.tip_radius)
    cut = fresh.region.cut_off
    with naming(joint.photos[n]):
        teeth = map_teeth(outer.xy, centre, rough, settings.teeth, whole=not cut)
        tips, circle = tip_radii(outer, teeth, centre, half_tip(teeth))
        px = fresh.scale.mm_per_px
        curve = evaluation_range(sight.measured.wheel, tips, fresh.outlines.blur_px, px)
        curve = replace(curve, measuring_radius=sight.measured.fits.curve.measuring_radius)
        fits = fit_flanks(outer, teeth, centre, curve)
    measured = replace(
        fresh, teeth=teeth, fits=fits, tips=tips, tip_circle=circle, wheel=sight.measured.wheel
    )
    return sight_at(measured, _teeth_axes(measured), nominal, start + float(move[0]))


def _seen_notice(adjusted: Adjusted) -> Notice:
    z = len(adjusted.gear)
    seen = int(np.isfinite(adjusted.gear[:, :TIP]).all(axis=1).sum())
    return flag("joined", count=len(adjusted.pose), seen=seen, teeth_count=z)
