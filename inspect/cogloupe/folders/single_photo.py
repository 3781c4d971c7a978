"""One photograph: read, its report made, and kept."""

import sys
import threading
import traceback
from concurrent.futures import Future, ThreadPoolExecutor
from importlib import import_module
from pathlib import Path

from cogloupe.folders.jobs import Job, Outcome, Part
from cogloupe.folders.photos import PhotoFile, stamp_of
from cogloupe.folders.places import PART
from cogloupe.folders.storing import keep_parts
from cogloupe.inputs.photo import Photo, read_photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.report.chart_process import Draw, charts_here
from cogloupe_calibration.errors import CogloupeError, PhotoError
from cogloupe_calibration.plain_text import printable, shown_name

HAND_OVER_SECONDS = 0.0005
"""A tenth of what threads may keep the interpreter by default."""


def load_ahead() -> None:
    """Begin to import the steps of the work in a thread of its own.

    Notes
    -----
    The functions here import them when the first photograph is decoded, which leaves the
    interpreter free for it.
    """

    def load() -> None:
        for step in ("cogloupe.inspection", "cogloupe.report.write", "filelock"):
            import_module(step)

    # Decoding hands the interpreter over a hundred times, and each time waits this long for it.
    sys.setswitchinterval(HAND_OVER_SECONDS)
    threading.Thread(target=load).start()


def read_job(job: Job, draw: Draw = charts_here) -> tuple[Outcome, ...]:
    """Read one photograph and write its report; whatever goes wrong is told, not raised.

    One for each gear that was read or could not be.
    """
    photo = PhotoFile(job.photo)
    before = photo.stamp
    parts = read_parts(job.photo, job.settings, job.every, draw)
    return keep_parts(job, parts, before if before == stamp_of(job.photo) else None)


def read_parts(
    path: Path,
    settings: GearSettings,
    every: bool,
    draw: Draw = charts_here,
    named: Path | None = None,
) -> tuple[Part, ...]:
    """Read one photograph and make its report, without writing anything.

    `named` is what the reading is to call its calibration file, where that lies elsewhere by now.
    """
    try:
        photo = read_photo(path)
        gears = _settings_of_each(photo, settings) if every else {"": settings}
    except Exception as error:
        return (_not_read("", shown_name(path), error),)
    return tuple(_read_gear(place, photo, known, draw, named) for place, known in gears.items())


def _settings_of_each(photo: Photo, settings: GearSettings) -> dict[str, GearSettings]:
    """Settings for each gear on a picture, by its place.

    Raises
    ------
    PhotoError
        Where none is seen, with the reason.
    """
    from cogloupe.finding.gear_selection import gears_on, refuse_none

    gears = gears_on(photo.pixels, settings.teeth, doubtful=True)
    refuse_none(gears)
    if len(gears) == 1:
        return {"": settings}
    numbers = range(1, len(gears) + 1)
    return {f"{PART}{n}": settings.model_copy(update={"pick": n}) for n in numbers}


def _read_gear(
    place: str, photo: Photo, settings: GearSettings, draw: Draw, named: Path | None
) -> Part:
    """Read a gear; a fault of ours in one photograph must not cost the others."""
    from cogloupe.inspection import inspect_photo
    from cogloupe.report.write import report_files

    try:
        with ThreadPoolExecutor(max_workers=1) as beside:
            charts: list[Future[dict[str, bytes]]] = []
            reading, drawing = inspect_photo(
                photo, settings, lambda figures: charts.append(beside.submit(draw, figures))
            )
            if named is not None:
                calibration = reading.calibration.model_copy(update={"file": printable(str(named))})
                reading = reading.model_copy(update={"calibration": calibration})
            files = report_files(reading, drawing, lambda _: charts[0].result())
    except Exception as error:
        return _not_read(place, photo.name, error)
    return Part(place=place, reading=reading, files=files)


def _not_read(place: str, name: str, error: Exception) -> Part:
    if isinstance(error, CogloupeError):
        return Part(place=place, error=error)
    what = f"{name} could not be read ({type(error).__name__}: {error})"
    told = PhotoError(f"{what}; please report it with the photograph")
    return Part(place=place, error=told, details="".join(traceback.format_exception(error)))
