"""A drilling drawing in true size: holes, pitch circles and coordinates, as DXF, SVG and PDF.

Plate frame: millimetres from the left and the lower edge, x to the right, y up; a sheet's frame is
the same from its own lower left corner.
"""

import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from math import atan2, degrees, hypot
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from cogloupe.pairing.layout import Hole, Layout, dial_moves
from cogloupe.report.outline_files import dxf_bytes, dxf_document
from cogloupe.report.styles import ALARM, FAINT, INK, PAPER
from cogloupe_calibration.units import MM_PER_INCH

SHEETS = (("A4", 210.0, 297.0), ("A4", 297.0, 210.0), ("A3", 420.0, 297.0), ("A2", 594.0, 420.0),
          ("A1", 841.0, 594.0), ("A0", 1189.0, 841.0))  # fmt: skip
"""Sheets by name, width and height (ISO 216); the first that holds the plate is taken."""
MARGIN, BELOW, HEAD, ROW, LINE = 14.0, 66.0, 24.0, 8.0, 4.5
"""Room of a sheet to its sides, below the plate for the check square, above it for the title, and
for each line of the table and of the text there."""
CHECK_MM, CHECK_IN = 50.0, 2.0
"""Side of the square that shows whether the sheet came out in true size, and the bar beside it."""
_CROSS = 4.0
"""Half of a centre's cross at least, mm: a punch is set by it."""
_MM_POINTS = 72 / MM_PER_INCH
"""Points, of 1/72 inch, to a millimetre."""
_LAYERS = {"HOLES": 7, "CENTRES": 1, "PITCH_CIRCLES": 3, "TIP_CIRCLES": 8, "EDGES": 5, "TEXT": 2}
"""Layers of the DXF file and their colour numbers."""


@dataclass(frozen=True)
class Sheet:
    """A sheet of paper, and where on it the plate's corner lies."""

    name: str
    width: float
    height: float
    corner: tuple[float, float]


@dataclass(frozen=True)
class HoleRow:
    """A hole's line in the table of coordinates; lengths mm."""

    hole: Hole
    move: tuple[float, float]

    @property
    def lengths(self) -> tuple[float, float, float, float, float | None]:
        """Place from the edges, move of the dials from the hole before, bore."""
        return (self.hole.x, self.hole.y, *self.move, self.hole.diameter)

    @property
    def gears(self) -> str:
        """What turns there."""
        return ", ".join(f"{gear.name} ({gear.teeth} teeth)" for gear in self.hole.gears)


ROW_HEADS = ("x", "y", "move x", "move y", "bore")
_ROW_PLACES, _GEARS_PLACE = (12.0, 34.0, 56.0, 78.0, 100.0), 120.0
"""Where columns of the table begin, mm from its left; layout only."""


def hole_rows(layout: Layout) -> tuple[HoleRow, ...]:
    """Lines of the table of coordinates."""
    moves = dial_moves(layout)
    return tuple(HoleRow(hole, move) for hole, move in zip(layout.holes, moves, strict=True))


def distance_text(layout: Layout, pair: int) -> str:
    """Centre distance of a pair with how far off it may come out."""
    drilling = layout.pairs[pair][2].drilling
    inches = drilling.distance.value / MM_PER_INCH
    told = f"{drilling.distance.value:.3f} mm ({inches:.4f} in)"
    known = "" if drilling.distance.u == 0 else f", U {2000 * drilling.distance.u:.0f} µm"
    kept = f", to be kept within ± {1000 * drilling.tolerance:.0f} µm" if drilling.tolerance else ""
    return f"{told}{known}{kept}"


def sheet_for(layout: Layout) -> Sheet:
    """The smallest sheet that holds a plate in true size.

    One of its own size where none of the usual is large enough.
    """
    (wide, _), (_, up) = _edge_ends(layout)
    above = HEAD + LINE * len(layout.pairs) + ROW * (len(layout.holes) + 1)
    high = up + BELOW + above
    fitting = [s for s in SHEETS if wide + 2 * MARGIN <= s[1] and high <= s[2]]
    own = ("a sheet of its own size", max(wide + 2 * MARGIN, SHEETS[0][1]), high)
    name, width, height = fitting[0] if fitting else own
    return Sheet(name, width, height, (MARGIN, height - above - up))


def drilling_sheet(layout: Layout, kind: str) -> bytes:
    """Write the drawing as ``svg`` or ``pdf``, sized so that it prints in true size at 100 %."""
    out = io.BytesIO()
    figure = drilling_figure(layout)
    FigureCanvasAgg(figure)
    dated = {"svg": "Date", "pdf": "CreationDate"}[kind]
    figure.savefig(out, format=kind, metadata={dated: None, "Creator": "Cogloupe"})
    return out.getvalue()


def drilling_figure(layout: Layout) -> Figure:
    """Draw the sheet in its own size, its axes in millimetres."""
    sheet = sheet_for(layout)
    figure = Figure(figsize=(sheet.width / MM_PER_INCH, sheet.height / MM_PER_INCH))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, sheet.width), ylim=(0, sheet.height))
    axes.axis("off")
    _draw_edges(axes, layout, sheet)
    for hole in layout.holes:
        _draw_hole(axes, hole, sheet)
    for number in range(len(layout.pairs)):
        _draw_distance(axes, layout, number, sheet)
    _draw_table(axes, layout, sheet)
    _draw_check(axes, sheet)
    return figure


def _write(axes: Axes, x: float, y: float, text: str, size_mm: float = 2.6, **more: Any) -> None:
    style: dict[str, Any] = {"color": INK, "va": "baseline", "ha": "left"} | more
    axes.text(x, y, text, fontsize=size_mm * _MM_POINTS, **style)


def _draw_edges(axes: Axes, layout: Layout, sheet: Sheet) -> None:
    x, y = sheet.corner
    (wide, _), (_, high) = _edge_ends(layout)
    axes.plot([x, x, x + wide], [y + high, y, y], color=INK, lw=1.4, solid_joinstyle="miter")
    _write(axes, x + 1, y - 4, "lower edge: y from here", 2.2, color=FAINT)
    _write(
        axes, x - 1.5, y + 1, "left edge: x from here", 2.2, color=FAINT, rotation=90, ha="right"
    )


def _draw_hole(axes: Axes, hole: Hole, sheet: Sheet) -> None:
    x, y = hole.x + sheet.corner[0], hole.y + sheet.corner[1]
    for gear in hole.gears:
        _draw_circle(axes, (x, y), gear.tip_radius, ec=FAINT, lw=0.4, ls=(0, (4, 3)))
        for radius in gear.pitch_radii:
            _draw_circle(axes, (x, y), radius, ec=INK, lw=0.5, ls=(0, (12, 3, 2, 3)))
    reach = max(_CROSS, (hole.diameter or 0.0) / 2 + 1.5)
    axes.plot([x - reach, x + reach], [y, y], color=ALARM, lw=0.35)
    axes.plot([x, x], [y - reach, y + reach], color=ALARM, lw=0.35)
    if hole.diameter:
        _draw_circle(axes, (x, y), hole.diameter / 2, ec=INK, lw=0.9)
    _write(axes, x, y + hole.reach + 1.0, str(hole.number), 2.8, ha="center", weight="bold")


def _draw_circle(axes: Axes, centre: tuple[float, float], radius: float, **style: Any) -> None:
    axes.add_patch(Circle(centre, radius, fill=False, **style))


def _draw_distance(axes: Axes, layout: Layout, number: int, sheet: Sheet) -> None:
    """The line from centre to centre with the distance written along it."""
    here, there = (layout.holes[k] for k in layout.pairs[number][:2])
    (x0, y0), (x1, y1) = ((h.x + sheet.corner[0], h.y + sheet.corner[1]) for h in (here, there))
    axes.plot([x0, x1], [y0, y1], color=ALARM, lw=0.35, ls=(0, (8, 2, 1, 2)))
    angle = degrees(atan2(y1 - y0, x1 - x0))
    upright = angle - 180 if angle > 90 else angle + 180 if angle < -90 else angle
    _write(
        axes, (x0 + x1) / 2, (y0 + y1) / 2 - 1.0, f"{hypot(x1 - x0, y1 - y0):.3f}", 2.4,
        ha="center", va="top", rotation=upright, rotation_mode="anchor",
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
    )  # fmt: skip


def _draw_table(axes: Axes, layout: Layout, sheet: Sheet) -> None:
    left, line = MARGIN, sheet.height - MARGIN
    title = f"{layout.name}: drilling drawing, true size on {sheet.name}"
    _write(axes, left, line, title, 3.2, weight="bold")
    for number, (here, there, _) in enumerate(layout.pairs):
        line -= LINE
        ends = f"{layout.holes[here].number} to {layout.holes[there].number}"
        _write(axes, left, line, f"Centres {ends}: {distance_text(layout, number)}", 2.4)
    line -= ROW
    for place, head in zip(_ROW_PLACES, ROW_HEADS, strict=True):
        _write(axes, left + place, line, head, 2.2, color=FAINT)
    _write(axes, left, line, "hole", 2.2, color=FAINT)
    for row in hole_rows(layout):
        line -= ROW
        _write(axes, left, line, str(row.hole.number), 2.6, weight="bold")
        _write(axes, left + _GEARS_PLACE, line, row.gears, 2.2)
        for place, length in zip(_ROW_PLACES, row.lengths, strict=True):
            if length is not None:
                _write(axes, left + place, line, f"{length:.3f} mm", 2.4)
                inch = f"{length / MM_PER_INCH:.4f} in"
                _write(axes, left + place, line - 3, inch, 2.0, color=FAINT)


def _draw_check(axes: Axes, sheet: Sheet) -> None:
    """The square and the bar by which the print is checked."""
    left, low = sheet.width - MARGIN - CHECK_MM, 6.0
    axes.plot(
        [left, left + CHECK_MM, left + CHECK_MM, left, left],
        [low, low, low + CHECK_MM, low + CHECK_MM, low], color=INK, lw=0.5,
    )  # fmt: skip
    _write(
        axes, left + CHECK_MM / 2, low + CHECK_MM / 2, f"{CHECK_MM:g} mm square", 2.4, ha="center"
    )
    inch = CHECK_IN * MM_PER_INCH
    start = left - inch - 6
    axes.plot([start, start + inch], [low + 2, low + 2], color=INK, lw=0.5)
    for end in (start, start + inch):
        axes.plot([end, end], [low, low + 4], color=INK, lw=0.5)
    _write(axes, start + inch / 2, low + 4, f"{CHECK_IN:g} in", 2.4, ha="center")
    _write(
        axes, MARGIN, low,
        "Print at 100 %, without fitting to the page.\nMeasure the square and the bar first.\n"
        "Drill by the coordinates; the paper\nis good for marking out only.\n"
        "Clamp the work; wear eye protection.", 2.2, color=INK,
    )  # fmt: skip


def drilling_dxf(layout: Layout) -> bytes:
    """Write the drawing as DXF, in millimetres, the plate's corner at the origin.

    A layer each for holes, centres, pitch circles, tip circles, edges and text.
    """
    document = dxf_document(_LAYERS)
    space = document.modelspace()
    for hole in layout.holes:
        for layer, radius in _circles(hole):
            space.add_circle((hole.x, hole.y), radius, dxfattribs={"layer": layer})
        space.add_point((hole.x, hole.y), dxfattribs={"layer": "CENTRES"})
        place = (hole.x + 1, hole.y + 1)
        label = {"layer": "TEXT", "height": 2.0, "insert": place}
        space.add_text(f"{hole.number}", dxfattribs=label)
    for here, there, _ in layout.pairs:
        start, end = ((layout.holes[k].x, layout.holes[k].y) for k in (here, there))
        space.add_line(start, end, dxfattribs={"layer": "CENTRES"})
    for corner in _edge_ends(layout):
        space.add_line((0, 0), corner, dxfattribs={"layer": "EDGES"})
    return dxf_bytes(document)


def _circles(hole: Hole) -> Iterator[tuple[str, float]]:
    if hole.diameter:
        yield "HOLES", hole.diameter / 2
    for gear in hole.gears:
        yield "TIP_CIRCLES", gear.tip_radius
        for radius in gear.pitch_radii:
            yield "PITCH_CIRCLES", radius


def _edge_ends(layout: Layout) -> tuple[tuple[float, float], tuple[float, float]]:
    wide = max(hole.x + hole.reach for hole in layout.holes) + MARGIN / 2
    high = max(hole.y + hole.reach for hole in layout.holes) + MARGIN / 2
    return (wide, 0.0), (0.0, high)


DRAWINGS: Mapping[str, Callable[[Layout], bytes]] = {
    "drilling.pdf": partial(drilling_sheet, kind="pdf"),
    "drilling.svg": partial(drilling_sheet, kind="svg"),
    "drilling.dxf": drilling_dxf,
}
"""Files of the drawing, and what writes them."""
