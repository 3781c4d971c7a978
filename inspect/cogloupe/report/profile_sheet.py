"""Profile traces of all flanks: the mean of either side in bold, then every tooth by itself."""

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np

from cogloupe.figures.drawing_data import ProfileSheet
from cogloupe.reading.models import Reading
from cogloupe.report.canvas import (
    Canvas,
    Label,
    draw_lines,
    stretches,
    text_width,
    write_labels,
)
from cogloupe.report.legend import round_length
from cogloupe.report.styles import FAINT, GRID, INK, SIDE_STYLES
from cogloupe_calibration.arrays import Floats

WIDTH = 1600
_TOP, _MEANS, _FOOT = 62, 330, 40
_EDGE = 14
_LEFT_ROOM = 76
_SIZE, _SMALL = 19, 15
_TINTS = ("#b3c4d4", "#f6d9ab")
"""Traces of single teeth behind the mean, left and right."""


@dataclass(frozen=True, kw_only=True)
class _Lane:
    """A box of the drawing that traces are drawn in: roll length across, deviation upwards.

    `reach` is the deviation, µm, at the upper edge; zero lies midway.
    """

    left: float
    top: float
    width: float
    height: float
    low: float
    high: float
    reach: float

    def place(self, roll: Floats, deviation: Floats) -> Floats:
        """Corners of a line, pixels of the drawing; what leaves the box stops at its edge."""
        x = self.left + (roll - self.low) / (self.high - self.low) * self.width
        share = np.clip(deviation / self.reach, -1.0, 1.0)
        y = self.top + self.height * (1 - share) / 2
        return np.stack(np.broadcast_arrays(x, y), axis=-1)

    def level(self, deviation: float) -> Floats:
        """A level line across the box."""
        return self.place(np.array([self.low, self.high]), np.full(2, deviation))


def profile_sheet(reading: Reading, sheet: ProfileSheet) -> Canvas:
    """Draw the profile traces of all flanks.

    Parameters
    ----------
    reading : Reading
    sheet : ProfileSheet

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        RGB; deviation against roll length, one scale for all.
    """
    reach = _reach(sheet)
    teeth = len(sheet.trace_um)
    columns = max(ceil(sqrt(1.7 * teeth)), 4)
    width = (WIDTH - 2 * _EDGE) / columns
    height = float(np.clip(0.75 * width, 44, 130))
    rows = ceil(teeth / columns)
    bottom = _TOP + _MEANS + 44
    canvas = np.full((int(bottom + rows * height + _FOOT), WIDTH, 3), 255, np.uint8)
    labels = [*_heading(reading), *_means(canvas, sheet, reach)]
    for k in range(teeth):
        left, top = _EDGE + k % columns * width, bottom + k // columns * height
        labels += _tooth(canvas, sheet, k, (left, top, width, height), reach)
    labels += _foot(canvas, reach, columns > 14)
    return write_labels(canvas, labels)


def _reach(sheet: ProfileSheet) -> float:
    """Deviation at the edge of every box, µm: a round one that holds nearly all traces."""
    size = np.abs(sheet.trace_um[np.isfinite(sheet.trace_um)])
    wanted = float(np.quantile(size, 0.995)) * 1.05 if size.size else 1.0
    step = round_length(max(wanted, 1e-3))
    return next(m * step for m in (1.0, 1.5, 2.0, 2.5) if m * step >= wanted * (1 - 1e-9))


def _heading(reading: Reading) -> list[Label]:
    profile = reading.profile
    title = "Profile deviation against length along the flank, about the axis of the teeth"
    labels = [Label(text=title, x=_EDGE, y=20, size=_SIZE + 2, colour=INK, bold=True)]
    if profile is None or profile.start_diameter_mm is None:
        return labels
    text = (
        f"Evaluated from ⌀ {profile.start_diameter_mm:.4g} to {profile.end_diameter_mm:.4g} mm "
        f"(length {profile.start_roll_mm:.3g} to {profile.end_roll_mm:.3g} mm); the usable flank "
        f"begins at ⌀ {profile.form_diameter_mm:.4g} mm. Above the line: outside the theoretical "
        "flank."
    )
    return [*labels, Label(text=text, x=_EDGE, y=46, size=_SMALL + 1, colour=INK)]


def _means(canvas: Canvas, sheet: ProfileSheet, reach: float) -> list[Label]:
    """Two large boxes: all traces of a side in a tint, their mean in bold."""
    labels: list[Label] = []
    half = (WIDTH - 2 * _EDGE) / 2
    for style in SIDE_STYLES:
        left = _EDGE + style.index * half + _LEFT_ROOM
        lane = _lane(sheet, (left, _TOP + 30, half - _LEFT_ROOM - 12, _MEANS - 62), reach)
        labels += _grid(canvas, lane)
        faint = [
            line
            for trace in sheet.trace_um[:, style.index]
            for line in _lines(lane, sheet.roll_mm, trace)
        ]
        draw_lines(canvas, faint, _TINTS[style.index], 1)
        draw_lines(canvas, _lines(lane, sheet.roll_mm, sheet.mean_um[style.index]), style.pen, 4)
        name = f"{style.side} flanks: mean in bold, every tooth behind it"
        labels.append(
            Label(text=name, x=left, y=_TOP + 16, size=_SIZE - 1, colour=style.pen, bold=True)
        )
    return labels


def _lane(sheet: ProfileSheet, box: tuple[float, float, float, float], reach: float) -> _Lane:
    half = (sheet.roll_mm[1] - sheet.roll_mm[0]) / 2
    left, top, width, height = box
    low, high = float(sheet.roll_mm[0] - half), float(sheet.roll_mm[-1] + half)
    return _Lane(left=left, top=top, width=width, height=height, low=low, high=high, reach=reach)


def _grid(canvas: Canvas, lane: _Lane) -> list[Label]:
    """Level lines with their figures, and the length along the flank under the box."""
    labels = []
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        level = lane.level(share * lane.reach)
        draw_lines(canvas, [level], FAINT if share == 0 else GRID, 1)
        text = f"{share * lane.reach:+.3g}".replace("-", "−") if share else "0 µm"
        labels.append(
            Label(
                text=text,
                x=lane.left - 8,
                y=float(level[0, 1]),
                size=_SMALL,
                colour=INK,
                anchor="rm",
            )
        )
    base = lane.top + lane.height + 16
    step = round_length((lane.high - lane.low) / 3)
    for roll in np.arange(ceil(lane.low / step), lane.high / step) * step:
        x = float(lane.place(np.array([roll]), np.zeros(1))[0, 0])
        if not lane.left + 70 < x < lane.left + lane.width - 70:  # room for root and tip
            continue
        draw_lines(canvas, [np.array([[x, base - 14], [x, base - 8]])], INK, 1)
        labels.append(
            Label(text=f"{roll:.4g} mm", x=x, y=base + 2, size=_SMALL, colour=INK, anchor="mm")
        )
    labels.append(Label(text="root", x=lane.left, y=base + 2, size=_SMALL, colour=INK, anchor="lm"))
    labels.append(
        Label(
            text="tip", x=lane.left + lane.width, y=base + 2, size=_SMALL, colour=INK, anchor="rm"
        )
    )
    return labels


def _tooth(
    canvas: Canvas,
    sheet: ProfileSheet,
    tooth: int,
    box: tuple[float, float, float, float],
    reach: float,
) -> list[Label]:
    """One tooth: its left flank above, its right flank below, the means in a tint behind."""
    left, top, width, height = box
    number = str(tooth + 1)
    room = text_width("000", _SMALL) if width > 70 else text_width(number, _SMALL - 3)
    for style in SIDE_STYLES:
        place = (left + room + 4, top + 3 + style.index * height / 2, width - room - 10)
        lane = _lane(sheet, (*place, height / 2 - 6), reach)
        draw_lines(canvas, [lane.level(0.0)], GRID, 1)
        tint = _TINTS[style.index]
        draw_lines(canvas, _lines(lane, sheet.roll_mm, sheet.mean_um[style.index]), tint, 2)
        traces = _lines(lane, sheet.roll_mm, sheet.trace_um[tooth, style.index])
        draw_lines(canvas, traces, style.pen, 1)
    size = _SMALL if width > 70 else _SMALL - 3
    return [
        Label(text=number, x=left + room, y=top + height / 2, size=size, colour=INK, anchor="rm")
    ]


def _lines(lane: _Lane, roll: Floats, trace: Floats) -> list[Floats]:
    """Stretches of a trace without a break."""
    return [lane.place(roll[part], trace[part]) for part in stretches(np.isfinite(trace))]


def _foot(canvas: Canvas, reach: float, crowded: bool) -> list[Label]:
    """What the small boxes show, and their scale."""
    y = canvas.shape[0] - 18.0
    text = (
        f"Small boxes: tooth by tooth, left flank above right flank, root to tip; half a box is "
        f"{reach:.3g} µm; the mean of the side in a tint"
    )
    return [
        Label(
            text=text + ("." if crowded else " behind."), x=_EDGE, y=y, size=_SMALL + 1, colour=INK
        )
    ]
