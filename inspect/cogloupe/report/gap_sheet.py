"""All gaps laid over one another with the theoretical gap, their deviations exaggerated."""

from dataclasses import dataclass

import numpy as np

from cogloupe.figures.drawing_data import GapSheet
from cogloupe.reading.models import GapTheory, Reading
from cogloupe.report.canvas import Canvas, Label, draw_lines, stretches, write_labels
from cogloupe.report.legend import Key, legend_strip, round_length
from cogloupe.report.styles import FAINT, INK
from cogloupe_calibration.arrays import Floats

WIDTH, HEIGHT = 1600, 1000
_EDGE, _TOP = 40, 60
GAP_PEN, MEAN_PEN = "#8fa9c0", "#c46a00"
_SHARE = 0.12
"""Share of the gap's width at the top that a large deviation takes up."""


@dataclass(frozen=True)
class _View:
    """Where the gap lies in the drawing: pixels per mm, and the axis of the gear."""

    scale: float
    x: float
    y: float

    def place(self, xy: Floats) -> Floats:
        """Turn mm in the gap's frame into pixels of the drawing."""
        return np.asarray(np.array([self.x, self.y]) + self.scale * xy * [1.0, -1.0])


def gap_sheet(reading: Reading, sheet: GapSheet) -> Canvas:
    """Draw all gaps over one another.

    Parameters
    ----------
    reading : Reading
    sheet : GapSheet

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        RGB, the exaggeration stated in the legend.
    """
    factor, view = exaggeration(sheet), _view(sheet)
    canvas = np.full((HEIGHT, WIDTH, 3), 255, np.uint8)
    labels = [_title(sheet)]
    if reading.gap_theory is not None:
        labels += _circles(canvas, reading.gap_theory, sheet, view)
    for off in sheet.off_um:
        draw_lines(canvas, _outlines(sheet, off, factor, view), GAP_PEN, 1)
    draw_lines(canvas, [view.place(sheet.xy_mm)], INK, 2)
    draw_lines(canvas, _outlines(sheet, sheet.mean_um, factor, view), MEAN_PEN, 4)
    keys = [
        Key("line", "theoretical gap at the depth that was found", width=2),
        Key("line", f"each gap, deviation × {factor:g}", pen=GAP_PEN),
        Key("line", f"mean of all gaps, deviation × {factor:g}", pen=MEAN_PEN, width=4),
    ]
    strip = legend_strip(keys, WIDTH, view.scale, factor)
    return np.vstack([write_labels(canvas, labels), strip])


def exaggeration(sheet: GapSheet) -> float:
    """Round factor by which deviations are drawn larger.

    Parameters
    ----------
    sheet : GapSheet

    Returns
    -------
    float
        A large deviation then takes up an eighth of the gap's opening; 1 at least.
    """
    size = np.abs(sheet.off_um[np.isfinite(sheet.off_um)])
    large = float(np.quantile(size, 0.98)) if size.size else 0.0
    opening = float(np.ptp(sheet.xy_mm[:, 0]))
    return max(round_length(_SHARE * opening * 1000 / max(large, 1e-6)), 1.0)


def _view(sheet: GapSheet) -> _View:
    low, high = sheet.xy_mm.min(axis=0), sheet.xy_mm.max(axis=0)
    room = _SHARE * (high - low)[0] * 1.3
    scale = min(
        (WIDTH * 0.62 - 2 * _EDGE) / (high[0] - low[0] + 2 * room),
        (HEIGHT - _TOP - 2 * _EDGE) / (high[1] - low[1] + 2 * room),
    )
    return _View(float(scale), WIDTH / 2, _TOP + _EDGE + float((high[1] + room) * scale))


def _outlines(sheet: GapSheet, off_um: Floats, factor: float, view: _View) -> list[Floats]:
    """Stretches of one gap's outline without a break, drawn off the theoretical one."""
    places = view.place(sheet.xy_mm + factor * 1e-3 * off_um[:, None] * sheet.normal)
    return [places[part] for part in stretches(np.isfinite(off_um))]


def _title(sheet: GapSheet) -> Label:
    seen = int(np.isfinite(sheet.off_um).any(axis=1).sum())
    text = f"{seen} gaps laid over one another, each turned about the axis of the teeth to its own "
    return Label(
        text=text + "middle; material below and on both sides",
        x=_EDGE,
        y=28,
        size=21,
        colour=INK,
        bold=True,
    )


def _circles(canvas: Canvas, theory: GapTheory, sheet: GapSheet, view: _View) -> list[Label]:
    """Circles that widths are taken on, with the diameters at their ends."""
    half = (WIDTH / 2 - _EDGE - 330) / view.scale
    labels = []
    named = (
        ("tip", theory.tip_diameter_mm),
        ("form circle", theory.form_diameter_mm),
        ("near the floor", theory.near_floor_diameter_mm),
        ("floor", theory.root_diameter_mm),
    )
    last = -np.inf
    for name, diameter in sorted(named, key=lambda item: -item[1]):
        x = np.linspace(-half, half, 120)
        y = np.sqrt(np.maximum((diameter / 2) ** 2 - x**2, 0.0))
        line = view.place(np.stack([x, y], axis=1))
        draw_lines(canvas, [line[k : k + 2] for k in range(0, 118, 3)], FAINT, 1)
        at = max(float(line[-1, 1]), last + 26)
        last = at
        labels.append(
            Label(
                text=f"{name}, ⌀ {diameter:.4g} mm",
                x=float(line[-1, 0]) + 12,
                y=at,
                size=18,
                colour=INK,
            )
        )
    return labels
