"""One photograph from file to reading: the whole job in the order of its steps."""

from collections.abc import Callable

from cogloupe.assembling.drawing import build_drawing_data
from cogloupe.assembling.whole_reading import build_reading
from cogloupe.cutting.gap_findings import gap_findings, settings_by_sight
from cogloupe.evaluation.details import compute_details
from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.evaluation.pitch_and_runout import compute_pitch
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.size import CirclesSeen, compare_scales
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inputs.stated_scale import StatedScale, reach_notices, stated_scale
from cogloupe.judging.judge import judge
from cogloupe.planning.machine import load_machine
from cogloupe.reading.models import Reading
from cogloupe.uncertainty.flank_uncertainty import allowed_lens, with_scale_at_gear
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.errors import UseError
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

    Examples
    --------
    >>> from pathlib import Path
    >>> from cogloupe import inspect_photo, make_settings, read_photo
    >>> photo = read_photo(Path("sample_images/day-wheel-48dp-21.jpg"))
    >>> settings = make_settings({"teeth": 21, "dp": 48, "known_tip_diameter": "0.4792in"})
    >>> reading, drawing = inspect_photo(photo, settings)
    >>> reading.verdict.dominant.kind
    'nothing_to_mend'
    >>> round(reading.summary.single_pitch_max_um)
    8
    """
    stated, frame = stated_scale(photo, settings), (photo.width, photo.height)
    lens = stated.lens
    if settings.unknown:
        settings = settings_by_sight(photo.pixels, settings, stated.scale, lens)
    measured = with_scale_at_gear(
        measure_gear(photo.pixels, settings, stated.scale, lens), frame, lens
    )
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
    known = lens or unmeasured_lens(*frame)

    def with_cutting(reading: Reading) -> Reading:
        cutting, identity = gap_findings(measured, figures, settings, known)
        return reading.model_copy(update={"cutting": cutting, "identity": identity})

    reading = or_left_out(reading, "what cut the gaps", with_cutting)
    reading = with_verdict(reading, settings)
    return reading, build_drawing_data(photo, measured, figures, lens, details)


def or_left_out(reading: Reading, part: str, more: Callable[[Reading], Reading]) -> Reading:
    """Add a part to a reading whose figures are there already; they stand whatever comes of it.

    Parameters
    ----------
    reading : Reading
    part : str
        Its name, for the notice.
    more : callable
        Gives the reading with the part.

    Returns
    -------
    Reading
        With a notice in place of a part that failed.
    """
    try:
        return more(reading)
    except Exception as error:  # a fault of ours behind the figures must not take them along
        why = f"{type(error).__name__}: {error}".replace("\n", " ")
        return _noted(reading, flag("left_out", part=part, why=why))


def _noted(reading: Reading, notice: Notice) -> Reading:
    return reading.model_copy(update={"warnings": (*reading.warnings, notice)})


def with_verdict(reading: Reading, settings: GearSettings) -> Reading:
    """Add to a reading what it comes to, and what on the machine may have done it.

    Parameters
    ----------
    reading : Reading
    settings : GearSettings
        Its wanted class and its machine.

    Returns
    -------
    Reading
        A machine file that cannot be read is told, and the causes are ranked without it.
    """
    machine = None
    if settings.machine is not None:
        try:
            machine = load_machine(settings.machine)
        except UseError as error:
            reading = _noted(reading, flag("machine_not_read", why=error))
    return or_left_out(
        reading, "verdict and causes", lambda known: judge(known, machine, settings.wanted_class)
    )


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
