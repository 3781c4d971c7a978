"""What sets of pictures share: from an adjustment of all of them to one reading."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from cogloupe.assembling.drawing import build_drawing_data
from cogloupe.assembling.whole_reading import build_reading
from cogloupe.evaluation.details import compute_details
from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.evaluation.pitch_and_runout import Figures, compute_pitch
from cogloupe.fits.datum import Axes, choose_datum
from cogloupe.fits.measure import Seen, measure_seen, see_gear
from cogloupe.fits.measured_gear import Measured
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inspection import with_verdict
from cogloupe.numerics.angles import wrapped
from cogloupe.numerics.missing import number
from cogloupe.reading.models import DatumKind, Reading
from cogloupe.reading.photo_set import PhotoSet, PictureOfSet
from cogloupe.sets.adjust import TIP
from cogloupe.sets.camera_map import camera_error
from cogloupe.sets.merging import SetOfPictures, merged_measured, settled
from cogloupe.sets.set_mean import grouped, mean_of_the_rest
from cogloupe.sets.views import Nominal, Sight, start_of
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError
from cogloupe_calibration.scale import Scale

OUTLYING = 2.5
"""A picture whose marks stray so many times as far as the others' is called outlying."""
DISAGREE = 2.0
"""Pictures whose scatter is so many times what each states by itself disagree."""


@dataclass(frozen=True)
class SetReading:
    """One reading of a set of pictures, and what the drawings need.

    Attributes
    ----------
    drawing : DrawingData
        Of the first picture.
    alone : tuple of Reading
        Of each picture by itself, measured through the same lens.
    """

    reading: Reading
    drawing: DrawingData
    pictures: SetOfPictures
    alone: tuple[Reading, ...]


def check_set(photos: Sequence[Photo], option: str) -> None:
    """See that pictures can belong to one set.

    Parameters
    ----------
    option : str
        As the person gave it, for the message.

    Raises
    ------
    UseError
        Where there is only one, or one is given twice.
    PhotoError
        Where frames differ.
    """
    if len(photos) < 2:
        raise UseError(f"{option} needs two pictures of the gear or more, and got {len(photos)}")
    seen: dict[str, str] = {}
    first = photos[0]
    for photo in photos:
        if photo.sha256 in seen:
            raise UseError(
                f"{option}: {photo.name} and {seen[photo.sha256]} are the same picture: take each "
                "picture anew"
            )
        seen[photo.sha256] = photo.name
        if (photo.width, photo.height) != (first.width, first.height):
            raise PhotoError(
                f"{photo.name} has {photo.width} × {photo.height} pixels, {first.name} "
                f"{first.width} × {first.height}: pictures of a set must come from one camera at "
                "one setting, uncropped"
            )


@contextmanager
def naming(photo: Photo) -> Iterator[None]:
    """Name the picture in errors about it.

    Raises
    ------
    CogloupeError
        The one raised within, of its own kind.
    """
    try:
        yield
    except CogloupeError as error:
        raise type(error)(f"{photo.name}: {error}") from error


def see_all(photos: Sequence[Photo], settings: GearSettings) -> list[Seen]:
    """Find the gear and its edges on every picture.

    Raises
    ------
    PhotoError
        Naming the picture where it cannot be found.
    """
    seen = []
    for photo in photos:
        with naming(photo):
            seen.append(see_gear(photo.pixels, settings))
    return seen


def measure_all(
    photos: Sequence[Photo],
    seen: Sequence[Seen],
    settings: GearSettings,
    stated: Scale | None,
    lens: Lens | None,
) -> list[Measured]:
    """Measure every picture through one lens, at one scale.

    Parameters
    ----------
    stated : Scale or None
        None where the first picture itself must give the scale.

    Raises
    ------
    PhotoError, UseError
        Naming the picture that cannot be measured, or does not show the same gear.
    """
    measured: list[Measured] = []
    for photo, one in zip(photos, seen, strict=True):
        with naming(photo):
            scale = measured[0].scale if measured else stated
            measured.append(measure_seen(photo.pixels, one, settings, scale, lens))
    _check_same_gear(photos, measured)
    return measured


def _check_same_gear(photos: Sequence[Photo], measured: Sequence[Measured]) -> None:
    first = measured[0].teeth.teeth
    for photo, one in zip(photos, measured, strict=True):
        if one.teeth.teeth != first:
            raise PhotoError(
                f"{photo.name} shows {one.teeth.teeth} teeth, {photos[0].name} {first}: these are "
                "not pictures of one gear"
            )


def same_datum(measured: Sequence[Measured], wanted: DatumKind | None) -> list[Axes]:
    """One kind of datum for all pictures.

    Parameters
    ----------
    wanted : {'bore', 'teeth', 'tips'} or None
        None takes the bore where all pictures show one, else the teeth.
    """
    kind: DatumKind = wanted or ("bore" if all(m.bore is not None for m in measured) else "teeth")
    return [choose_datum(one, kind) for one in measured]


def sight_at(measured: Measured, axes: Axes, nominal: Nominal, start: float) -> Sight:
    """A measured picture with its teeth numbered from the one that stands at an angle.

    Parameters
    ----------
    start : float
        Polar angle of the set's first tooth in this picture, rad.
    """
    z = measured.teeth.teeth
    plain = Sight(measured, axes, np.arange(z))
    first = round(float((start - start_of(plain, nominal)) / (2 * np.pi / z)))
    return Sight(measured, axes, (np.arange(z) + first) % z)


def read_set(
    pictures: SetOfPictures, settings: GearSettings, notices: tuple[Notice, ...]
) -> SetReading:
    """Make one reading of an adjusted set; in the first picture's frame and numbering.

    Parameters
    ----------
    notices : tuple of Notice
        What is to be said beside what the figures give rise to.
    """
    sight, photo = pictures.sights[0], pictures.photos[0]
    merged = merged_measured(pictures)
    axes = choose_datum(merged, sight.axes.kind)
    frame = (photo.width, photo.height)
    figures = compute_pitch(merged, axes, settings, frame, pictures.lens, settled(pictures, axes))
    details = compute_details(merged, axes, figures, frame, pictures.lens, settings)
    reading = build_reading(photo, merged, axes, figures, notices, pictures.lens, details)
    found = [_alone(pictures, n, settings) for n in range(len(pictures.photos))]
    alone = tuple(one for one, _ in found)
    tooth_1 = int(np.flatnonzero(sight.order == figures.first)[0])
    offsets = [
        int(other.order[tooth_1] - own.first) % len(other.order)
        for other, (_, own) in zip(pictures.sights, found, strict=True)
    ]
    reading = mean_of_the_rest(reading, alone, offsets)
    info = _set_info(pictures, offsets, tooth_1)
    reading = reading.model_copy(
        update={
            "photo_set": info,
            "budget": grouped(reading.budget, info),
            "warnings": (*reading.warnings, *_set_notices(pictures)),
        }
    )
    reading = with_verdict(reading, settings)
    own = found[0][1]
    shown = compute_details(sight.measured, sight.axes, own, frame, pictures.lens, settings)
    drawing = build_drawing_data(photo, sight.measured, own, pictures.lens, shown)
    return SetReading(reading, drawing, pictures, alone)


def _alone(pictures: SetOfPictures, n: int, settings: GearSettings) -> tuple[Reading, Figures]:
    """Reading of one picture of the set by itself, and its figures."""
    sight, photo = pictures.sights[n], pictures.photos[n]
    frame = (photo.width, photo.height)
    figures = compute_pitch(sight.measured, sight.axes, settings, frame, pictures.lens)
    reading = build_reading(photo, sight.measured, sight.axes, figures, (), pictures.lens)
    return reading, figures


def _set_info(pictures: SetOfPictures, offsets: Sequence[int], tooth_1: int) -> PhotoSet:
    adjusted = pictures.adjusted
    start = [start_of(sight, pictures.nominal) for sight in pictures.sights]
    entries = tuple(
        PictureOfSet(
            file=photo.name,
            sha256=photo.sha256,
            turn_deg=float(np.degrees(wrapped(np.array(start[n] - start[0])))),
            tooth_1_is=offsets[n] + 1,
            teeth_seen=int(np.isfinite(adjusted.residual[n, :, :TIP]).any(axis=1).sum()),
            residual_rms_px=number(_rms(adjusted.residual[n, :, :TIP])),
            left_out=int((~adjusted.used[n] & np.isfinite(pictures.views[n].out)).sum()),
        )
        for n, photo in enumerate(pictures.photos)
    )
    scatter = np.roll(_flank_scatter(pictures), -tooth_1, axis=0)
    flanks = adjusted.residual[..., :TIP]
    # What each flank's own mean takes away of the scatter, the degrees of freedom give back.
    pooled = scatter_um(pictures, np.sqrt(np.nansum(flanks**2) / max(adjusted.freedom, 1)))
    return PhotoSet(
        kind=pictures.kind, pictures=entries, misfit=adjusted.misfit,
        degrees_of_freedom=adjusted.freedom,
        repeatability_um=number(float(pooled)) if adjusted.freedom else None,
        flank_repeatability_um=tuple((number(left), number(right)) for left, right in scatter),
        camera=camera_error(pictures) if pictures.kind == "turned" else None,
    )  # fmt: skip


def scatter_um(pictures: SetOfPictures, out_px: Floats | float) -> Floats:
    """Scatter along the measuring circle of what moves so far out of the material; µm."""
    measured = pictures.sights[0].measured
    curve = measured.fits.curve
    along = curve.measuring_radius / float(curve.measuring_arm.mean())
    return np.asarray(1000 * measured.scale.mm_per_px * along * out_px)


def _flank_scatter(pictures: SetOfPictures) -> Floats:
    """Standard deviation of every flank over the pictures, µm, shape (z, 2); NaN below two."""
    flanks = pictures.adjusted.residual[..., :TIP]
    count = np.isfinite(flanks).sum(axis=0)
    square = np.nansum(flanks**2, axis=0) / np.maximum(count - 1, 1)
    return scatter_um(pictures, np.where(count > 1, np.sqrt(square), np.nan))


def _rms(values: Floats) -> float:
    seen = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(seen**2))) if seen.size else float("nan")


def _set_notices(pictures: SetOfPictures) -> tuple[Notice, ...]:
    """What a person should know of how the pictures agree."""
    adjusted = pictures.adjusted
    found = []
    size = [_rms(adjusted.residual[n] / view.u) for n, view in enumerate(pictures.views)]
    for n, photo in enumerate(pictures.photos):
        others = [s for k, s in enumerate(size) if k != n]
        if len(others) > 1 and size[n] > OUTLYING * max(others):
            found.append(flag("outlying_picture", name=photo.name, times=size[n] / max(others)))
    if not found and adjusted.misfit > DISAGREE:
        found.append(flag("pictures_disagree", times=adjusted.misfit))
    return tuple(found)
