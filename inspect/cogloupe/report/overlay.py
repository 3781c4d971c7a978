"""The photograph with the theoretical gear and the measured deviations drawn over it."""

from dataclasses import dataclass
from math import floor, log10, pi, radians

import numpy as np
from numpy.typing import NDArray

from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.reading.models import Reading
from cogloupe.report.canvas import (
    Canvas,
    Label,
    View,
    arrow_head,
    circle_line,
    dashes,
    direction,
    draw_lines,
    encoded,
    fill_areas,
    grey_toned,
    view_round,
    write_labels,
)
from cogloupe.report.detail_wording import interferes
from cogloupe.report.legend import EDGE, Key, legend_strip, mark
from cogloupe.report.reading_text import at_worst, flanks
from cogloupe.report.styles import ALARM, INK, SIDE_STYLES, SideStyle
from cogloupe.wording.numbers import resolved
from cogloupe_calibration.arrays import Floats

LONG_SIDE, _PANEL_HEIGHT, _MARGIN = 1600, 1400, 0.075
"""Largest sides of the drawing, px, and the room round the gear as a share; layout only."""
_FIGURES = 22
"""Height of the teeth's numbers, px; layout only."""
FORM_PEN, REACH_PEN = "#6a3fa0", "#1f8a8a"
_ROUND_FACTORS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
"""Exaggerations of a decade that a person can divide by in the head."""


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """Where the gear lies in the drawing, and how large.

    `centre` is the datum axis; lengths are pixels of the drawing.
    """

    view: View
    centre: Floats
    px_per_mm: float
    measuring: float
    tip: float
    factor: float


def overlay_png(reading: Reading, drawing: DrawingData, factor: float | None = None) -> bytes:
    """Draw the overlay as a PNG picture."""
    return encoded(overlay(reading, drawing, factor), ".png")


def overlay(reading: Reading, drawing: DrawingData, factor: float | None = None) -> Canvas:
    """Draw theory, deviations, tooth numbers, marks and a legend over the photograph.

    RGB, long side about 1600 pixels; deviations exaggerated by the factor, or by `round_factor`.
    """
    frame = _frame(reading, drawing, factor or round_factor(reading, drawing))
    canvas = grey_toned(drawing.picture, frame.view)
    draw_lines(canvas, [frame.view.place(drawing.theory_xy)], INK, 1, closed=True)
    keys = [Key("theory", "theoretical gear, on the axis of the teeth")]
    keys += _draw_deviations(canvas, drawing, reading.calibration.mm_per_px, frame)
    keys += _draw_circles(canvas, reading, frame)
    keys += _draw_limits(canvas, reading, frame)
    keys += _draw_eccentricity(canvas, reading, frame)
    keys += _draw_marks(canvas, reading, frame)
    keys += _worst_key(reading)
    canvas = write_labels(canvas, _tooth_labels(reading, frame))
    return np.vstack([canvas, legend_strip(keys, frame.view.width, frame.px_per_mm, frame.factor)])


def _worst_key(reading: Reading) -> list[Key]:
    worst = at_worst(reading)
    if worst is None:
        return []
    return [Key("worst", "tooth with the largest single pitch reading", str(worst.tooth))]


def round_factor(reading: Reading, drawing: DrawingData) -> float:
    """Round exaggeration that makes the largest deviation about a third of a tooth's thickness.

    At least 1; 100 where there is no deviation to draw.
    """
    used = np.abs(drawing.deviation_um[drawing.used])
    used = used[np.isfinite(used)]
    if used.size == 0 or used.max() == 0:
        return 100.0
    thickness_mm = reading.summary.thickness_mean_mm or pi / 2 * reading.gear.module_mm
    wanted = 1e3 * thickness_mm / 3 / float(used.max())
    if wanted <= 1:
        return 1.0
    decade = 10.0 ** floor(log10(wanted))
    return max(f for f in _ROUND_FACTORS if f <= wanted / decade * (1 + 1e-9)) * decade


def _frame(reading: Reading, drawing: DrawingData, factor: float) -> _Frame:
    h, w = drawing.picture.shape[:2]
    seen = np.concatenate([drawing.contour_xy, drawing.flank_xy])
    points = seen if len(seen) else np.array([[0.0, 0.0], [w - 1.0, h - 1.0]])
    view = view_round(points, _MARGIN, LONG_SIDE, _PANEL_HEIGHT)
    px_per_mm = view.scale / reading.calibration.mm_per_px
    datum = np.array([reading.datum.x_px, reading.datum.y_px])
    measuring = reading.gear.measuring_diameter_mm / 2 * px_per_mm
    # The drawn outline decides where the tips are; the figure is for a gear without one.
    reach = np.hypot(*(drawing.theory_xy - datum).T) * view.scale
    tip = float(reach.max()) if reach.size else measuring + reading.gear.module_mm * px_per_mm
    return _Frame(
        view=view,
        centre=view.place(datum),
        px_per_mm=px_per_mm,
        measuring=measuring,
        tip=tip,
        factor=factor,
    )


def _flank_lines(
    drawing: DrawingData, side: int, mm_per_px: float, frame: _Frame
) -> list[tuple[Floats, Floats]]:
    """Theoretical and exaggerated line of every stretch of flank measured without a break."""
    chosen = np.flatnonzero(drawing.side == side)
    radius = np.hypot(*(frame.view.place(drawing.flank_xy[chosen]) - frame.centre).T)
    order = chosen[np.lexsort((radius, drawing.tooth[chosen]))]
    off_mm = 1e-3 * drawing.deviation_um[order, None] * drawing.flank_normal[order]
    theory = drawing.flank_xy[order] - off_mm / mm_per_px
    drawn = theory + frame.factor * off_mm / mm_per_px
    return [
        (frame.view.place(theory[part]), frame.view.place(drawn[part]))
        for part in _stretches(drawing.tooth[order], drawing.used[order])
    ]


def _stretches(tooth: NDArray[np.int64], used: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Indices of runs of used points of one tooth."""
    breaks = np.flatnonzero((np.diff(tooth) != 0) | (np.diff(used.astype(int)) != 0)) + 1
    runs = np.split(np.arange(len(tooth)), breaks)
    return [run for run in runs if run.size > 1 and used[run[0]]]


def _draw_deviations(
    canvas: Canvas, drawing: DrawingData, mm_per_px: float, frame: _Frame
) -> list[Key]:
    width = 2 if len(np.unique(drawing.tooth)) <= 80 else 1
    for style in SIDE_STYLES:
        pairs = _flank_lines(drawing, style.index, mm_per_px, frame)
        fill_areas(canvas, [np.concatenate([a, b[::-1]]) for a, b in pairs], style.colour, 0.45)
        draw_lines(canvas, [drawn for _, drawn in pairs], style.pen, width)
    cut = frame.view.place(drawing.flank_xy[~drawing.used])
    draw_lines(canvas, list(cut[:, None] + np.array([[-1.5, 0.0], [1.5, 0.0]])), ALARM, 2)
    drawn = [
        Key(style.side, f"{style.side} flank, deviation × {frame.factor:g}")
        for style in SIDE_STYLES
    ]
    return [*drawn, *([Key("cut", "points left out")] if len(cut) else [])]


def _draw_circles(canvas: Canvas, reading: Reading, frame: _Frame) -> list[Key]:
    """Draw measuring circle, datum cross and bore."""
    draw_lines(canvas, dashes(circle_line(frame.centre, frame.measuring), 14, 9), INK, 1)
    arm = 18.0
    for across in ([arm, 0.0], [0.0, arm]):
        draw_lines(canvas, [frame.centre + np.array([[-1.0], [1.0]]) * across], INK, 2)
    keys = [
        Key("dashed", f"measuring circle, ⌀ {reading.gear.measuring_diameter_mm:.4g} mm"),
        Key("cross", f"datum axis ({reading.datum.kind})"),
    ]
    bore, diameter = reading.datum.bore_xy_px, reading.datum.bore_diameter_mm
    if bore is None or diameter is None:
        return keys
    circle = circle_line(frame.view.place(np.array(bore)), diameter / 2 * frame.px_per_mm)
    draw_lines(canvas, [circle], EDGE, 2, closed=True)
    return [*keys, Key("bore", f"bore, ⌀ {diameter:.4g} mm")]


def _draw_limits(canvas: Canvas, reading: Reading, frame: _Frame) -> list[Key]:
    """Draw the circles where the usable flank begins, and down to which a mating rack uses it."""
    theory, axis = reading.gap_theory, reading.datum.teeth_xy_px
    if theory is None or axis is None:
        return []
    centre = frame.view.place(np.array(axis))
    begins = "undercut ends" if theory.undercut else "usable flank begins"
    begins = f"form circle, {begins}"
    named = [(FORM_PEN, 1, begins, theory.form_diameter_mm)]
    if theory.rack_contact_diameter_mm is not None:
        reach = "a mating rack reaches down to"
        if interferes(theory):
            reach = "a mating rack reaches down to, and touches the fillet:"
        named.append((REACH_PEN, 2, reach, theory.rack_contact_diameter_mm))
    for pen, width, _, diameter in named:
        circle = circle_line(centre, diameter / 2 * frame.px_per_mm)
        # One is a line, the other dashed, for they often coincide.
        lines = dashes(circle, 4, 10) if width > 1 else [np.vstack([circle, circle[:1]])]
        draw_lines(canvas, lines, pen, width)
    return [Key("line", f"{t} ⌀ {d:.4g} mm", pen=pen, width=w) for pen, w, t, d in named]


def _draw_eccentricity(canvas: Canvas, reading: Reading, frame: _Frame) -> list[Key]:
    """Draw an arrow to where the teeth lie, seen from the bore; its length says nothing."""
    s = reading.summary
    if s.eccentricity_direction_deg is None or not resolved(s.eccentricity_um, s.u_eccentricity_um):
        return []
    ahead = direction(radians(s.eccentricity_direction_deg))
    start, end = (frame.centre + share * frame.measuring * ahead for share in (0.0, 0.5))
    draw_lines(canvas, [np.stack([start, end])], ALARM, 3)
    fill_areas(canvas, [arrow_head(end, ahead, 26)], ALARM, 1.0)
    return [Key("arrow", "the teeth lie off the bore this way")]


def nominal_deg(reading: Reading, number: int, side: SideStyle | None = None) -> float | None:
    """Where a tooth or flank should be, from the first tooth whose place is known.

    Polar angle, degrees; None where no tooth's place is known.

    Of a tooth its middle.
    """
    pitch = 360 / reading.gear.teeth
    known = next((t for t in reading.teeth if t.centre_deg is not None), None)
    if known is None or known.centre_deg is None:
        return None
    aside = 0.0 if side is None else (-0.25, 0.25)[side.index]
    return known.centre_deg + pitch * (number - known.number + aside)


_MARKS = {
    "partial": "only part of the flank measured",
    "obstructed": "flank obstructed",
    "not_seen": "flank not seen",
}


def _draw_marks(canvas: Canvas, reading: Reading, frame: _Frame) -> list[Key]:
    """Mark flagged flanks just outside the tips."""
    styles = {style.side: style for style in SIDE_STYLES}
    size = float(np.clip(pi * frame.tip / reading.gear.teeth / 3, 3.5, 8))
    for number, side, flank in flanks(reading):
        angle = nominal_deg(reading, number, styles[side])
        if flank.status != "ok" and angle is not None:
            at = frame.centre + (frame.tip + 6 + size) * direction(radians(angle))
            draw_lines(canvas, mark(flank.status, at, size), ALARM, 2)
    found = {flank.status for _, _, flank in flanks(reading)}
    return [Key(status, text) for status, text in _MARKS.items() if status in found]


def _tooth_labels(reading: Reading, frame: _Frame) -> list[Label]:
    """Numbers outside the tips: every tooth where there is room, or every fifth or tenth."""
    worst = at_worst(reading)
    step = number_step(reading.gear.teeth, 2 * pi * (frame.tip + 40) / reading.gear.teeth)
    labels = []
    for tooth in reading.teeth:
        angle = nominal_deg(reading, tooth.number)
        is_worst = worst is not None and worst.tooth == tooth.number
        if angle is None or not (is_worst or numbered(tooth.number, step, reading.gear.teeth)):
            continue
        x, y = (frame.centre + (frame.tip + 42) * direction(radians(angle))).tolist()
        labels.append(Label(
            text=str(tooth.number), x=x, y=y, size=_FIGURES, colour=ALARM if is_worst else INK,
            anchor="mm", bold=is_worst, halo=True,
        ))  # fmt: skip
    return labels


def number_step(teeth: int, pitch_px: float) -> int:
    """How many teeth lie from one number to the next, on a circle with so many pixels to a pitch.

    1, 5, 10, 20 or 50: the first that leaves room for the longest number.
    """
    needed = 14.0 * len(str(teeth)) + 20
    return next((step for step in (1, 5, 10, 20) if step * pitch_px >= needed), 50)


def numbered(number: int, step: int, teeth: int) -> bool:
    """Tell whether a tooth gets its number, where every so many teeth do.

    Tooth 1 always, then every multiple of the step that does not crowd tooth 1.
    """
    if number == 1 or step == 1:
        return True
    return number % step == 0 and teeth + 1 - number > step / 2
