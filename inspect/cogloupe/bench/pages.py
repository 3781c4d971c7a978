"""Pages that answer a form: plan, comparison, causes, a target to print; made anew at each call."""

import datetime
from collections.abc import Mapping, Sequence

import numpy as np

from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.comparing.attempts import gather
from cogloupe.comparing.series import compare_series
from cogloupe.planning.machine import Machine, load_machine
from cogloupe.planning.plan import make_plan
from cogloupe.planning.request import make_request
from cogloupe.reading.files import load_reading
from cogloupe.report.compare_page import compare_html
from cogloupe.report.outline_files import outline_dxf, read_outlines
from cogloupe.report.plan_page import plan_html
from cogloupe.report.spreadsheet import teeth_xlsx
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.targets import make_target
from cogloupe_calibration.units import as_typed, parse_length
from cogloupe_calibration.vector_page import page_pdf


def machine_of(folder: GearsFolder) -> Machine | None:
    """The folder's machine, where there is a file for it."""
    return load_machine(folder.machine) if folder.machine.is_file() else None


def plan_page(folder: GearsFolder, fields: Mapping[str, str]) -> str:
    """The plan of a gear as HTML, from a plan file's fields; empty ones are left out."""
    request = make_request({name: as_typed(text) for name, text in fields.items() if text})
    return plan_html(make_plan(request, machine_of(folder)))


def compare_page(folder: GearsFolder, names: Sequence[str], changed: str, same_gear: bool) -> str:
    """Whether a change helped, from readings of the list in their order, as HTML.

    What was changed before the last is logged where it is not empty.
    """
    if len(names) < 2:
        raise UseError("choose two readings or more, the earlier one first")
    paths = [folder.reading(name) for name in names]
    log = folder.trials if changed or folder.trials.is_file() else None
    attempts = gather(paths, log, changed, "", datetime.date.today())
    series = compare_series(
        [attempt.reading for attempt in attempts],
        same_gear=same_gear,
        rng=np.random.default_rng(0),
        marks=None,
        unchanged=[attempt.trial is not None and attempt.trial.repeats for attempt in attempts],
    )
    return compare_html(attempts, series)


def causes_page(folder: GearsFolder, name: str) -> str:
    """What on the machine would leave a reading's pattern, as HTML."""
    from cogloupe.causes.diagnosis import diagnose
    from cogloupe.report.causes_page import causes_html

    reading = load_reading(folder.reading(name) / "reading.json")
    return causes_html(reading, diagnose(reading, machine_of(folder)))


def target_pdf(kind: str, pitch: str, paper: str) -> bytes:
    """A target to print, as PDF."""
    if kind not in ("checkerboard", "dots", "ruled") or paper not in ("A4", "Letter"):
        raise UseError("a target is a checkerboard, dots or a ruled scale, on A4 or Letter")
    return page_pdf(make_target(kind, parse_length(pitch), paper, None))  # type: ignore[arg-type]


def export(folder: GearsFolder, name: str, kind: str) -> bytes:
    """A reading as a spreadsheet, or its outlines for CAD."""
    place = folder.reading(name)
    if kind == "teeth.xlsx":
        return teeth_xlsx(load_reading(place / "reading.json"))
    drawing = place / "outline.svg"
    if kind != "outline.dxf" or not drawing.is_file():
        raise UseError(f"{kind} cannot be made of {name}")
    return outline_dxf(read_outlines(drawing.read_text("utf-8")))
