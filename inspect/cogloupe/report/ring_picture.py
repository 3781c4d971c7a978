"""The picture for a forum: title, photograph with its ring of errors, and the chart beside it."""

from collections.abc import Mapping
from datetime import date
from math import pi, radians
from types import MappingProxyType

import cv2
import numpy as np

from cogloupe.reading.models import Flank, Reading, Tooth
from cogloupe.report.canvas import (
    Canvas,
    Label,
    circle_line,
    direction,
    draw_lines,
    encoded,
    fill_areas,
    text_width,
    write_labels,
)
from cogloupe.report.gear_name import gear_name
from cogloupe.report.legend import round_length
from cogloupe.report.overlay import nominal_deg, number_step, numbered
from cogloupe.report.page import title_block
from cogloupe.report.page_data import Window
from cogloupe.report.reading_text import at_worst, flanks, verdict
from cogloupe.report.styles import ALARM, FAINT, GRID, INK, SIDE_STYLES, SideStyle
from cogloupe.wording.numbers import COVERAGE, resolved
from cogloupe_calibration.arrays import Floats

WIDTH, HEIGHT, _HEAD = 1800, 1060, 150
"""Size of the picture and of the title over it, px; layout only."""
_SIDE = HEIGHT - _HEAD
_TIP = 0.276 * _SIDE
"""Tip radius on the drawing; the ring and its numbers need the rest."""
_ZERO, _REACH, _NUMBERS, _LENS = 1.31 * _TIP, 0.2 * _TIP, 1.63 * _TIP, 1.07 * _TIP
"""Radius of the ring's zero, how far its scale reaches, and the radii of the numbers and of the
photograph, px: they just do not touch."""
_MIDDLE = np.array([_SIDE / 2, _HEAD + _SIDE / 2])
"""Middle of the ring, px."""
_MOST_WIDE = 0.032 * _TIP
"""Half the width of a bar of a gear with few teeth."""


def forum_picture(reading: Reading, window: Window, chart: bytes) -> bytes:
    """Put the ring and the chart under one title, so that the picture can stand alone.

    A PNG picture, 1800 x 1060 pixels.
    """
    canvas = np.full((HEIGHT, WIDTH, 3), 255, np.uint8)
    _lay_photograph(canvas, reading, window)
    labels = [*_title(reading), *_ring(canvas, reading)]
    beside = np.asarray(cv2.imdecode(np.frombuffer(chart, np.uint8), cv2.IMREAD_COLOR))[..., ::-1]
    part = canvas[_HEAD:, WIDTH - beside.shape[1] :]
    part[: beside.shape[0]] = beside[: part.shape[0]]
    return encoded(write_labels(canvas, labels), ".png")


def _title(reading: Reading) -> list[Label]:
    """Gear, what is wrong first, and the scale, date and class that belong to it."""
    first = reading.verdict.dominant.text if reading.verdict else verdict(reading)[0]
    facts = "   ·   ".join(_facts(dict(title_block(reading))))
    sizes = (
        (gear_name(reading.gear), 34, True, 34.0), (first, 22, False, 78.0),
        (facts, 18, False, 116.0),
    )  # fmt: skip
    return [
        Label(text=_cut(text, size), x=30, y=y, size=size, colour=INK, bold=bold)
        for text, size, bold, y in sizes
    ]


def _facts(block: Mapping[str, str]) -> list[str]:
    """What a stranger needs; the day of the reading where the photograph's file tells none."""
    day = f"taken {block['taken']}" if "taken" in block else f"read {date.today().isoformat()}"
    found = [block["photograph"], block["scale"], f"datum {block['datum']}", day]
    return [*found, f"class {block['class']}"] if "class" in block else found


def _cut(text: str, size: int) -> str:
    """A line no longer than the picture is wide."""
    share = (WIDTH - 60) / text_width(text, size)
    return text if share >= 1 else text[: int(share * len(text)) - 1] + "…"


def _lay_photograph(canvas: Canvas, reading: Reading, window: Window) -> None:
    """Lay the photograph under a round glass."""
    tip = reading.summary.tip_diameter_mean_mm or reading.gear.measuring_diameter_mm * 1.1
    scale = _TIP / (tip / 2 / reading.calibration.mm_per_px * window.scale)
    centre = window.place(np.array([reading.datum.x_px, reading.datum.y_px]))
    move = np.column_stack([scale * np.eye(2), _MIDDLE - scale * centre])
    image = (
        window.image if window.image.ndim == 3 else cv2.cvtColor(window.image, cv2.COLOR_GRAY2RGB)
    )
    if scale < 0.5:  # else fine detail would turn to noise
        image = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        move[:, :2] *= 2
    placed = cv2.warpAffine(image, move, (WIDTH, HEIGHT), borderValue=(242, 242, 238))
    glass = np.zeros((HEIGHT, WIDTH), np.uint8)
    cv2.circle(glass, tuple(int(v) for v in _MIDDLE), int(_LENS), 255, -1, cv2.LINE_AA)
    cv2.copyTo(placed, glass, canvas)
    draw_lines(canvas, [circle_line(_MIDDLE, _LENS)], INK, 3, closed=True)


def _scale_um(reading: Reading) -> float:
    """What the ring's reach stands for: a round figure no smaller than the largest with its U."""
    ends = [
        abs(f.place_um) + COVERAGE * (f.u_place_um or 0.0)
        for _, _, f in flanks(reading)
        if f.place_um is not None
    ]
    largest = max(ends, default=1.0) or 1.0
    down = round_length(largest)
    return next(n * down for n in (1.0, 2.0, 2.5) if n * down >= largest * (1 - 1e-9))


def _ring(canvas: Canvas, reading: Reading) -> list[Label]:
    """Draw circles and bars; gives the numbers of the teeth and of the circles."""
    scale, worst = _scale_um(reading), at_worst(reading)
    for share in (-1.0, -0.5, 0.5, 1.0):
        draw_lines(canvas, [circle_line(_MIDDLE, _ZERO + share * _REACH)], GRID, 1, closed=True)
    draw_lines(canvas, [circle_line(_MIDDLE, _ZERO)], INK, 2, closed=True)
    z = reading.gear.teeth
    half = min(radians(360 / z) * 0.19, _MOST_WIDE / _ZERO)
    for style in SIDE_STYLES:
        for tooth in reading.teeth:
            _draw_flank(canvas, reading, tooth, style, half, scale)
    labels = [
        _ring_label(f"{'+' if sign > 0 else '−'}{scale:g} µm", _ZERO + sign * _REACH, -90.0, FAINT)
        for sign in (-1, 1)
    ]
    step = number_step(z, 2 * pi * _NUMBERS / z)
    for tooth in reading.teeth:
        angle = nominal_deg(reading, tooth.number)
        first = worst is not None and worst.tooth == tooth.number
        if angle is not None and (first or numbered(tooth.number, step, z)):
            labels.append(
                _ring_label(str(tooth.number), _NUMBERS, angle, ALARM if first else INK, first)
            )
    return labels


def _ring_label(
    text: str, radius: float, angle_deg: float, colour: str, bold: bool = False
) -> Label:
    x, y = _MIDDLE + radius * direction(radians(angle_deg))
    return Label(
        text=text, x=float(x), y=float(y), size=17, colour=colour, anchor="mm", bold=bold, halo=True
    )


_ASIDE = MappingProxyType({"left": -0.23, "right": 0.23})
"""Where a flank's bar stands from the middle of its tooth, in pitches."""


def _draw_flank(
    canvas: Canvas, reading: Reading, tooth: Tooth, style: SideStyle, half: float, scale: float
) -> None:
    """One bar with its U: outwards where the flank stands ahead of its place."""
    flank: Flank = getattr(tooth, style.side)
    middle = nominal_deg(reading, tooth.number)
    if flank.place_um is None or middle is None:
        return
    angle = radians(middle + _ASIDE[style.side] * 360 / reading.gear.teeth)
    end = _ZERO + _REACH * flank.place_um / scale
    corners = _piece(_ZERO, end, angle - half, angle + half)
    if resolved(flank.place_um, flank.u_place_um):
        fill_bar(canvas, corners, style.colour)
    draw_lines(canvas, [corners], style.pen, 1, closed=True)
    u = _REACH * COVERAGE * (flank.u_place_um or 0.0) / scale
    draw_lines(
        canvas, [np.stack([_MIDDLE + r * direction(angle) for r in (end - u, end + u)])], INK, 1
    )


def fill_bar(canvas: Canvas, corners: Floats, colour: str) -> None:
    """Fill one bar; only its surroundings are touched, as there are hundreds."""
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 3
    fill_areas(canvas[low[1] : high[1], low[0] : high[0]], [corners - low], colour, 1.0)


def _piece(inner: float, outer: float, start: float, end: float) -> Floats:
    """Corners of a piece of a ring about the drawing's middle."""
    turn = np.linspace(start, end, 5)
    return np.concatenate(
        [_MIDDLE + outer * direction(turn), _MIDDLE + inner * direction(turn[::-1])]
    )
