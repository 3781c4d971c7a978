"""Writes the files of a reading, whole or not at all."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import MappingProxyType

from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.reading.atomic_folder import write_folder
from cogloupe.reading.files import reading_json
from cogloupe.reading.models import Reading
from cogloupe.reading.teeth_table import teeth_csv
from cogloupe.report.chart_process import Draw, charts_here
from cogloupe.report.markup import shared_script
from cogloupe.report.outline_files import outline_svg
from cogloupe.report.overlay import overlay_png
from cogloupe.report.page import report_html
from cogloupe.report.page_data import photo_window, thumbnail
from cogloupe.report.ring_picture import forum_picture
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import write_whole

BESIDE = (
    ("chart.png", "picture for a forum (chart.png)"),
    ("teeth.csv", "table for a spreadsheet (teeth.csv)"),
    ("outline.svg", "outlines in true size (outline.svg)"),
    ("overlay.png", "theory over the photograph (overlay.png)"),
    ("reading.json", "all figures (reading.json)"),
)
"""Files that the page links to, and what they are for."""


def write_report(
    reading: Reading,
    drawing: DrawingData,
    folder: Path,
    draw: Draw = charts_here,
    extra: Mapping[str, bytes] = MappingProxyType({}),
) -> None:
    """Write reading.json, teeth.csv, report.html and the pictures of a reading.

    `draw` draws the charts. Of further pictures by file name the page shows those it has a caption
    for. The folder is made where it is not there.

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
        write_shared(folder.parent)
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
    """Make the files of a reading in memory, with further pictures: contents by file name."""
    # OpenCV draws and packs without holding the interpreter, so the charts go on beside it.
    with ThreadPoolExecutor(max_workers=1) as beside:
        drawn = beside.submit(overlay_png, reading, drawing)
        window = photo_window(reading, drawing)
        pictures = {Path(name).stem: picture for name, picture in extra.items()}
        page = report_html(reading, drawing, pictures, BESIDE, window)
        picture = forum_picture(reading, window, draw(reading)["chart"])
    outlines = {}
    if drawing.outlines is not None:
        outlines["outline.svg"] = outline_svg(reading, drawing.outlines).encode()
    return {
        **extra,
        **outlines,
        "thumbnail.jpg": thumbnail(window),
        "teeth.csv": teeth_csv(reading).encode(),
        "overlay.png": drawn.result(),
        "chart.png": picture,
        "report.html": page.encode(),
        "reading.json": reading_json(reading).encode(),
    }


def write_shared(folder: Path) -> None:
    """Write the script that the reports in a folder's folders share, where it is not there yet.

    Raises
    ------
    OSError
        Where it cannot be written.
    """
    name, text = shared_script()
    if not (folder / name).exists():
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / name, text.encode())
