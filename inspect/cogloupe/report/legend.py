"""The strip under the overlay: what its lines and marks mean, and two scale bars."""

from dataclasses import dataclass
from math import floor, log10

import numpy as np

from cogloupe.report.canvas import (
    Canvas,
    Label,
    arrow_head,
    circle_line,
    draw_lines,
    fill_areas,
    text_width,
    write_labels,
)
from cogloupe.report.styles import ALARM, INK, SIDE_STYLES
from cogloupe_calibration.arrays import Floats

_SIZE, _ROW, _LEFT, _GLYPH = 21, 38, 24, 46
"""Height of letters and rows, margin, and width of a sample, px of the drawing; layout only."""
EDGE = "#0a7d5a"


@dataclass(frozen=True)
class Key:
    """One entry of the legend.

    `sample` is the sample itself, where that is a text; `pen` and `width` are of a plain line.
    """

    glyph: str
    text: str
    sample: str = ""
    pen: str = INK
    width: int = 1


def legend_strip(keys: list[Key], width: int, px_per_mm: float, factor: float) -> Canvas:
    """Draw the legend with a scale bar for the picture and one for the deviations, drawn too long.

    `px_per_mm` is the scale of the picture above it, `factor` the exaggeration of the deviations.
    """
    places = _places(keys, width)
    bars_y = places[-1][1] + 1.25 * _ROW if places else _ROW
    strip = np.full((int(bars_y + 0.9 * _ROW), width, 3), 255, np.uint8)
    draw_lines(strip, [np.array([[0.0, 0.0], [width, 0.0]])], "#b5bcc2", 1)
    labels: list[Label] = []
    for key, (x, y) in zip(keys, places, strict=True):
        labels += draw_glyph(strip, key, np.array([x, y]))
        labels.append(Label(text=key.text, x=x + _GLYPH + 12, y=y, size=_SIZE, colour=INK))
    labels += _bar(strip, _LEFT, bars_y, px_per_mm, width / 5, "in the picture")
    labels += _bar(
        strip, width // 2, bars_y, px_per_mm * factor, width / 12, "of deviation, as drawn"
    )
    return write_labels(strip, labels)


def _places(keys: list[Key], width: int) -> list[tuple[float, float]]:
    """Set entries one after the other, in as many rows as they need."""
    places: list[tuple[float, float]] = []
    x, y = float(_LEFT), 0.9 * _ROW
    for key in keys:
        needed = _GLYPH + 12 + text_width(key.text, _SIZE)
        if x > _LEFT and x + needed > width - _LEFT:
            x, y = float(_LEFT), y + _ROW
        places.append((x, y))
        x += needed + 34
    return places


def round_length(largest: float) -> float:
    """Largest of 1, 2, 5, 10 ... times a power of ten that does not pass a length above zero."""
    decade = 10.0 ** floor(log10(largest))
    return max(s for s in (1.0, 2.0, 5.0) if s <= largest / decade * (1 + 1e-9)) * decade


def _bar(
    strip: Canvas, x: float, y: float, px_per_mm: float, longest: float, where: str
) -> list[Label]:
    """Draw a scale bar no longer than so many pixels."""
    stands_for = round_length(longest / px_per_mm)
    end = x + stands_for * px_per_mm
    draw_lines(strip, [np.array([[x, y], [end, y]])], INK, 3)
    for at in (x, end):
        draw_lines(strip, [np.array([[at, y - 7], [at, y + 7]])], INK, 2)
    size = f"{stands_for:g} mm" if stands_for >= 1 else f"{1e3 * stands_for:g} µm"
    return [Label(text=f"{size} {where}", x=end + 14, y=y, size=_SIZE, colour=INK)]


def draw_glyph(strip: Canvas, key: Key, at: Floats) -> list[Label]:
    """Draw the sample of a legend entry; gives what is to be written where the sample is a text.

    The sample's left end lies at `at`, pixels of the strip, which is changed in place.
    """
    glyph, middle = key.glyph, at + np.array([_GLYPH / 2, 0.0])
    if glyph in ("left", "right"):
        _flank_glyph(strip, at, glyph)
    elif glyph == "worst":
        x, y = middle.tolist()
        return [Label(text=key.sample, x=x, y=y, size=_SIZE, colour=ALARM, anchor="mm", bold=True)]
    elif glyph == "bore":
        draw_lines(strip, [circle_line(middle, 10)], EDGE, 2, closed=True)
    elif glyph == "arrow":
        draw_lines(strip, [at + np.array([[0.0, 0.0], [_GLYPH - 8, 0.0]])], ALARM, 3)
        end = at + np.array([_GLYPH, 0.0])
        fill_areas(strip, [arrow_head(end, np.array([1.0, 0.0]), 18)], ALARM, 1.0)
    elif glyph in ("partial", "obstructed", "not_seen"):
        draw_lines(strip, mark(glyph, middle, 8.0), ALARM, 2)
    else:
        _line_glyph(strip, at, middle, key)
    return []


def _flank_glyph(strip: Canvas, at: Floats, side: str) -> None:
    """Tinted band under a line, as a deviation is drawn."""
    style = next(style for style in SIDE_STYLES if style.side == side)
    band = at + np.array([[0.0, -6.0], [_GLYPH, -6.0], [_GLYPH, 6.0], [0.0, 6.0]])
    fill_areas(strip, [band], style.colour, 0.45)
    draw_lines(strip, [band[:2]], style.pen, 2)


def _line_glyph(strip: Canvas, at: Floats, middle: Floats, key: Key) -> None:
    across, up = np.array([_GLYPH, 0.0]), np.array([0.0, 12.0])
    if key.glyph == "cross":
        arms = [
            middle + np.array([[-12.0, 0.0], [12.0, 0.0]]),
            np.stack([middle - up, middle + up]),
        ]
        draw_lines(strip, arms, INK, 2)
    elif key.glyph == "dashed":
        ends = [np.stack([at + a * across, at + b * across]) for a, b in ((0, 0.3), (0.5, 0.8))]
        draw_lines(strip, ends, INK, 1)
    elif key.glyph == "cut":
        dots = np.linspace(0.1, 0.9, 7)[:, None] * across + at
        draw_lines(strip, [dot + np.array([[-1.5, 0], [1.5, 0]]) for dot in dots], ALARM, 2)
    else:
        draw_lines(strip, [np.stack([at, at + across])], key.pen, key.width)


def mark(status: str, at: Floats, size: float) -> list[Floats]:
    """Lines (n, 2) of the mark of a flank's status: a triangle, a cross or a ring.

    `at` is its middle, `size` half its width.
    """
    if status == "not_seen":
        ring = circle_line(at, size, 24)
        return [np.concatenate([ring, ring[:1]])]
    if status == "partial":
        return [at + size * np.array([[-1, -0.8], [1, -0.8], [0, 1], [-1, -0.8]])]
    return [at + size * np.array(arm) for arm in ([[-1, -1], [1, 1]], [[-1, 1], [1, -1]])]
