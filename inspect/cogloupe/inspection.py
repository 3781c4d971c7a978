"""One photograph from file to reading: the whole job in the order of its steps."""

from collections.abc import Callable

from cogloupe.assembling.drawing import build_drawing_data
from cogloupe.assembling.whole_reading import build_reading
from cogloupe.cutting.gap_findings import gap_findings, settings_by_sight
from cogloupe.figures.details import compute_details
from cogloupe.figures.drawing_data import DrawingData
from cogloupe.figures.pitch import compute_pitch
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_seen, see_gear
from cogloupe.fits.measured import Measured
from cogloupe.fits.size import CirclesSeen, compare_scales
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inputs.stated_scale import StatedScale, reach_notices, stated_scale
from cogloupe.reading.models import Reading
from cogloupe.uncertainty.flank_uncertainty import allowed_lens, with_scale_at_gear
from cogloupe.wording.notices import Notice
from cogloupe_calibration.lens import unmeasured_lens


def inspect_photo(
    photo: Photo, settings: GearSettings, figured: Callable[[Reading], object] | None = None
) -> tuple[Reading, DrawingData]:
    """Read the gear on a photograph.

    Parameters
    ----------
    photo : Photo
        Upright photograph.
    settings : GearSettings
        What is known of gear and picture.
    figured : callable, optional
        Given the reading as soon as all its figures are there, so that charts can be begun: what
        cut the gear is worked out after that, and takes a third of the time.

    Returns
    -------
    Reading
    DrawingData
        What the drawings need beside the figures.

    Raises
    ------
    PhotoError, CalibrationError, UseError
        Where photograph, calibration or settings cannot serve, in one line.
    """
    stated, frame = stated_scale(photo, settings), (photo.width, photo.height)
    lens = stated.lens
    if settings.unknown:
        settings = settings_by_sight(photo.pixels, settings, stated.scale, lens)
    seen = see_gear(photo.pixels, settings)
    measured = with_scale_at_gear(measure_seen(seen, settings, stated.scale, lens), frame, lens)
    axes = choose_datum(measured, settings.datum)
    figures = compute_pitch(measured, axes, settings, frame, lens)
    details = compute_details(measured, axes, figures, frame, lens, settings)
    notices = (*stated.notices, *_scale_notices(measured, settings, stated))
    doubted = lens or allowed_lens(measured, frame)
    reading = build_reading(
        photo, measured, axes, figures, notices, lens, details, stated.file, doubted
    )
    if figured is not None:
        figured(reading)
    cutting, identity = gap_findings(measured, figures, settings, lens or unmeasured_lens(*frame))
    reading = reading.model_copy(update={"cutting": cutting, "identity": identity})
    return reading, build_drawing_data(photo, measured, figures, lens, details)


def _scale_notices(
    measured: Measured, settings: GearSettings, stated: StatedScale
) -> tuple[Notice, ...]:
    """Whether what was stated of the scale agrees with the gear, and serves where it lies."""
    region = measured.region
    circles = CirclesSeen(measured.teeth, measured.outlines, measured.bore)
    return (
        *compare_scales(settings, measured.scale, circles),
        *reach_notices(stated.calibration, region.x, region.y, region.tip_radius),
    )
