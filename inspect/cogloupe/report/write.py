"""Writes the files of a reading, whole or not at all."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import MappingProxyType

from cogloupe.figures.drawing_data import DrawingData
from cogloupe.reading.files import reading_json, teeth_csv
from cogloupe.reading.models import Reading
from cogloupe.reading.whole_folder import write_folder
from cogloupe.report.canvas import encoded
from cogloupe.report.chart_process import Draw, charts_here
from cogloupe.report.gap_sheet import gap_sheet
from cogloupe.report.overlay import overlay
from cogloupe.report.page import report_html
from cogloupe.report.profile_sheet import profile_sheet
from cogloupe_calibration.errors import UseError


def write_report(
    reading: Reading,
    drawing: DrawingData,
    folder: Path,
    draw: Draw = charts_here,
    extra: Mapping[str, bytes] = MappingProxyType({}),
) -> None:
    """Write reading.json, teeth.csv, report.html and the pictures of a reading.

    Parameters
    ----------
    reading : Reading
        The figures.
    drawing : DrawingData
        The picture, and the points measured on it.
    folder : Path
        Where to; made where it is not there.
    draw : callable, optional
        Draws the charts.
    extra : mapping of str to bytes, optional
        Further pictures by file name; the page shows those it has a caption for.

    Raises
    ------
    UseError
        Where the folder cannot be written.

    Notes
    -----
    The folder is written whole beside the one that is there, which it then replaces; what else lay
    in that one stays.
    """
    files = report_files(reading, drawing, draw, extra)
    try:
        write_folder(folder, files)
    except OSError as error:
        reason = error.strerror or str(error)
        raise UseError(
            f"the report cannot be written to {folder}: {reason}; choose another folder with --out"
        ) from error


def report_files(
    reading: Reading,
    drawing: DrawingData,
    draw: Draw = charts_here,
    extra: Mapping[str, bytes] = MappingProxyType({}),
) -> dict[str, bytes]:
    """Make the files of a reading in memory.

    Parameters
    ----------
    reading : Reading
        The figures.
    drawing : DrawingData
        The picture, and the points measured on it.
    draw : callable, optional
        Draws the charts.
    extra : mapping of str to bytes, optional
        Further pictures by file name.

    Returns
    -------
    dict of str to bytes
        Contents by file name.
    """
    # OpenCV draws and packs without holding the interpreter, so the charts go on beside it.
    with ThreadPoolExecutor(max_workers=1) as beside:
        drawn = beside.submit(_overlays, reading, drawing)
        sheets = beside.submit(_sheets, reading, drawing)
        charts = draw(reading)
        overlay_png, overlay_jpg = drawn.result()
        extra = {**extra, **sheets.result()}
    shown = {Path(name).stem: picture for name, picture in extra.items()}
    page = report_html(reading, {"overlay": overlay_jpg, **charts, **shown})
    return {
        **extra,
        "teeth.csv": teeth_csv(reading).encode(),
        "overlay.png": overlay_png,
        "chart.png": charts["chart"],
        "report.html": page.encode(),
        "reading.json": reading_json(reading).encode(),
    }


def _overlays(reading: Reading, drawing: DrawingData) -> tuple[bytes, bytes]:
    """The overlay for its own file, and a smaller one for the page."""
    drawn = overlay(reading, drawing)
    return encoded(drawn, ".png"), encoded(drawn, ".jpg")


def _sheets(reading: Reading, drawing: DrawingData) -> dict[str, bytes]:
    """Profiles and gaps, by file name, where they were measured."""
    drawn = {}
    if drawing.profiles is not None:
        drawn["profiles.png"] = encoded(profile_sheet(reading, drawing.profiles), ".png")
    if drawing.gaps is not None:
        drawn["gaps.png"] = encoded(gap_sheet(reading, drawing.gaps), ".png")
    return drawn
