"""Outlines of a gear in true size, measured and theoretical: SVG, and DXF made from it."""

import io
import re
from collections.abc import Mapping
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from cogloupe.evaluation.drawing_data import Outlines
from cogloupe.reading.models import Reading
from cogloupe.report.gear_name import gear_name
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:  # slow to import
    from ezdxf.document import Drawing

MOST_POINTS = 6000
"""Points kept of a measured outline: on a gear of 40 mm they lie 20 µm apart."""
_MARGIN_MM = 1.0
"""Room round the outlines; layout only."""
_LAYERS = {"measured": 5, "theoretical": 1, "axis": 3}
"""Layers of the DXF file and their colour numbers (blue, red, green, as the format has them)."""
_PATH = re.compile(r'<path id="(measured|theoretical)"[^>]* d="M([^"Z]*)Z"')


def outline_svg(reading: Reading, outlines: Outlines) -> str:
    """Write both outlines as a drawing in true size.

    SVG in millimetres as the picture shows the gear, the axis of the teeth at the origin.
    """
    kept = outlines.measured_mm[:: ceil(len(outlines.measured_mm) / MOST_POINTS) or 1]
    drawn = {"measured": kept, "theoretical": outlines.theory_mm}
    everything = np.concatenate(list(drawn.values()))
    if not len(everything):
        everything = np.zeros((1, 2))
    low, high = everything.min(axis=0) - _MARGIN_MM, everything.max(axis=0) + _MARGIN_MM
    (left, top), (width, height) = low, high - low
    paths = "\n".join(_path(name, points) for name, points in drawn.items() if len(points))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="{left:.3f} {top:.3f} {width:.3f} {height:.3f}" fill="none" '
        'stroke-width="0.02">\n'
        f"<title>{gear_name(reading.gear)}, true size</title>\n"
        f'{paths}\n<path id="axis" stroke="#888" d="M-1,0H1M0,-1V1"/>\n</svg>\n'
    )


_PENS = {"measured": "#1d4e79", "theoretical": "#a3006d"}


def _path(name: str, points: Floats) -> str:
    corners = " ".join(f"{x:.4f},{y:.4f}" for x, y in points.tolist())
    return f'<path id="{name}" stroke="{_PENS[name]}" d="M{corners}Z"/>'


def read_outlines(svg: str) -> Outlines:
    """Read both outlines back from `outline_svg`.

    Raises
    ------
    UseError
        Where the text holds none.
    """
    found = {
        name: np.array([corner.split(",") for corner in corners.split()], dtype=np.float64)
        for name, corners in _PATH.findall(svg)
    }
    if not found:
        raise UseError("the file holds no outline: read the photograph again")
    none = np.empty((0, 2))
    return Outlines(found.get("measured", none), found.get("theoretical", none))


def outline_dxf(outlines: Outlines) -> bytes:
    """Write both outlines as a DXF file, a layer each.

    In millimetres; y upwards, so that the gear looks as on the picture.
    """
    document = dxf_document(_LAYERS)
    space = document.modelspace()
    for name, points in (("measured", outlines.measured_mm), ("theoretical", outlines.theory_mm)):
        if len(points):
            corners = (points * [1.0, -1.0]).tolist()
            space.add_lwpolyline(corners, close=True, dxfattribs={"layer": name})
    for start, end in (((-1, 0), (1, 0)), ((0, -1), (0, 1))):
        space.add_line(start, end, dxfattribs={"layer": "axis"})
    return dxf_bytes(document)


def dxf_document(layers: Mapping[str, int]) -> "Drawing":
    """A new DXF file in millimetres, with layers and their colour numbers."""
    from ezdxf.document import Drawing

    document = Drawing.new("R2010")
    document.units = 4  # how the format says millimetres
    for name, colour in layers.items():
        document.layers.add(name, color=colour)
    return document


def dxf_bytes(document: "Drawing") -> bytes:
    """A DXF file as it is written."""
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode("utf-8")
