"""Drawing on a photograph: a view of part of it, anti-aliased lines, and text.

Points are picture pixels, (n, 2), pixel (0, 0) having its centre at (0, 0), until a `View` turns
them into pixels of the drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from math import pi
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from cogloupe.report.styles import PAPER, rgb
from cogloupe_calibration.arrays import Floats

Canvas = NDArray[np.uint8]

_SHIFT = 4
"""Binary places of coordinates: lines lie to a sixteenth of a pixel."""
_FAR = 1e6
"""Pixels: far outside any drawing, and in sixteenths still within 32 bits."""


@dataclass(frozen=True, kw_only=True)
class View:
    """The part of a photograph that is drawn, and how large.

    `left`, `top`: picture pixel at the drawing's upper left corner, which may lie outside the
    picture; `columns`, `rows`: size of the part in picture pixels; `width`, `height`: of the
    drawing in its own.
    """

    left: int
    top: int
    columns: int
    rows: int
    width: int
    height: int

    @property
    def scale(self) -> float:
        """Drawing pixels per picture pixel."""
        return self.width / self.columns

    def place(self, points: Floats) -> Floats:
        """Turn picture pixels (..., 2) into pixels of the drawing."""
        scale = np.array([self.width / self.columns, self.height / self.rows])
        return np.asarray((points - [self.left, self.top] + 0.5) * scale - 0.5)


def view_round(points: Floats, margin: float, width: int, height: int) -> View:
    """View that holds points (n, 2) and a margin, as large as a drawing's size allows, in pixels.

    The margin is a share of the points' larger extent.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    room = margin * float((high - low).max())
    left, top = (int(v) for v in np.floor(low - room))
    right, bottom = (int(v) for v in np.ceil(high + room))
    columns, rows = right - left + 1, bottom - top + 1
    scale = min(width / columns, height / rows)
    return View(
        left=left,
        top=top,
        columns=columns,
        rows=rows,
        width=round(columns * scale),
        height=round(rows * scale),
    )


def grey_toned(picture: NDArray[Any], view: View) -> Canvas:
    """Draw a view of a photograph in light greys (h, w, 3), so that colours laid over it stand out.

    The photograph is grey or RGB of 8 or 16 bits, and only read; what lies outside it stays plain.
    """
    h, w = picture.shape[:2]
    x0, x1 = np.clip([view.left, view.left + view.columns], 0, w)
    y0, y1 = np.clip([view.top, view.top + view.rows], 0, h)
    part = np.full((view.rows, view.columns), 255, np.uint8)
    if x1 > x0 and y1 > y0:
        seen = picture[y0:y1, x0:x1]
        grey = seen if seen.ndim == 2 else cv2.cvtColor(seen, cv2.COLOR_RGB2GRAY)
        part[y0 - view.top : y1 - view.top, x0 - view.left : x1 - view.left] = cv2.convertScaleAbs(
            grey, alpha=0.38 * 255 / np.iinfo(picture.dtype).max, beta=156
        )
    how = cv2.INTER_AREA if view.scale < 1 else cv2.INTER_CUBIC
    sized = cv2.resize(part, (view.width, view.height), interpolation=how)
    return np.asarray(cv2.cvtColor(sized, cv2.COLOR_GRAY2RGB), dtype=np.uint8)


def _fixed_point(points: Floats) -> NDArray[np.int32]:
    """Coordinates as OpenCV takes them: whole sixteenths of a pixel."""
    return np.asarray(np.round(np.clip(points, -_FAR, _FAR) * 2**_SHIFT), dtype=np.int32)


def draw_lines(
    canvas: Canvas, lines: Sequence[Floats], colour: str, width: int, closed: bool = False
) -> None:
    """Draw anti-aliased lines some pixels wide, placed to a sixteenth of one.

    Corners (n, 2) are pixels of the drawing (h, w, 3), which is changed in place.
    """
    fixed = [_fixed_point(line) for line in lines if len(line) > 1]
    cv2.polylines(canvas, fixed, closed, rgb(colour), width, cv2.LINE_AA, _SHIFT)


def fill_areas(canvas: Canvas, areas: Sequence[Floats], colour: str, share: float) -> None:
    """Tint areas (n, 2) of a drawing (h, w, 3), in place, laying on a share of the colour."""
    over = canvas.copy()
    for area in areas:
        if len(area) > 2:
            cv2.fillPoly(over, [_fixed_point(area)], rgb(colour), cv2.LINE_AA, _SHIFT)
    cv2.addWeighted(over, share, canvas, 1 - share, 0, dst=canvas)


def circle_line(centre: Floats, radius: float, corners: int = 720) -> Floats:
    """Corners (n, 2) of a circle; the first is not repeated."""
    return centre + radius * direction(np.arange(corners) * 2 * pi / corners)


def direction(angle: Floats | float) -> Floats:
    """Unit vectors (..., 2) at polar angles, rad, growing clockwise on the picture."""
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def arrow_head(tip: Floats, ahead: Floats, length: float) -> Floats:
    """Corners (3, 2) of an arrow's head with its point at `tip`, along a unit vector `ahead`."""
    aside = 0.4 * np.array([-ahead[1], ahead[0]])
    return np.stack([tip, tip - length * (ahead - aside), tip - length * (ahead + aside)])


def dashes(line: Floats, on: float, off: float) -> list[Floats]:
    """Cut a line (n, 2), which closes by itself, into dashes (k, 2) `on` long and `off` apart."""
    line = np.concatenate([line, line[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    starts = np.arange(0, along[-1], on + off)
    return [
        np.stack([np.interp(np.linspace(s, s + on, 4), along, line[:, i]) for i in (0, 1)], axis=-1)
        for s in starts
    ]


@dataclass(frozen=True, kw_only=True)
class Label:
    """A piece of text.

    `x` and `y` are pixels of the drawing; `size` is the height of the letters, px; `anchor` is
    which point of the text lies there, as Pillow has it; `halo` lays a white rim round the letters.
    """

    text: str
    x: float
    y: float
    size: int
    colour: str
    anchor: str = "lm"
    bold: bool = False
    halo: bool = False


@lru_cache(maxsize=32)
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """The typeface that comes with matplotlib, as in the charts; found without importing it."""
    spec = find_spec("matplotlib")
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    for folder in (spec.submodule_search_locations or []) if spec else []:
        path = Path(folder) / "mpl-data" / "fonts" / "ttf" / name
        if path.exists():
            return ImageFont.truetype(str(path), size)
    return ImageFont.load_default(size)


def write_labels(canvas: Canvas, labels: Sequence[Label]) -> Canvas:
    """Write text on a drawing; gives a new one."""
    image = Image.fromarray(canvas)
    draw = ImageDraw.Draw(image)
    for label in labels:
        draw.text(
            (label.x, label.y), label.text, rgb(label.colour), _font(label.size, label.bold),
            anchor=label.anchor, stroke_width=max(2, label.size // 8) if label.halo else 0,
            stroke_fill=rgb(PAPER),
        )  # fmt: skip
    return np.array(image)


def text_width(text: str, size: int) -> float:
    """Width of a piece of text, pixels, at a height of its letters."""
    return float(_font(size, False).getlength(text))


def encoded(canvas: Canvas, kind: str) -> bytes:
    """Write a drawing, RGB, as the bytes of a ``.png`` or ``.jpg`` file."""
    # With its level left open the library writes quickly; its own strategy then packs badly.
    png = [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_DEFAULT]
    how = png if kind == ".png" else [cv2.IMWRITE_JPEG_QUALITY, 88]
    return cv2.imencode(kind, cv2.cvtColor(canvas, cv2.COLOR_RGB2BGR), how)[1].tobytes()
