"""The figures behind a reading's drawings, as the page's script takes them.

Values are µm, thicknesses mm, each with its U (k = 2); places are pixels of the photograph that is
in the page. Numbers are rounded to a tenth of the last digit that any U leaves, so that a page
stays small.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe.evaluation.drawing_data import DrawingData, GapSheet, ProfileSheet
from cogloupe.reading.models import SIDES, Flank, Reading, Tooth
from cogloupe.report.overlay import nominal_deg
from cogloupe.report.reading_text import at_worst, flanks
from cogloupe.wording.numbers import COVERAGE, expanded, resolved
from cogloupe_calibration.arrays import Floats

LONG_SIDE = 1800
"""Largest side of the photograph in the page, px: with JPEG some 0.3 to 0.8 MB."""
JPEG_QUALITY = 80
"""Of the picture that is looked at; measured is the photograph itself (our own judgement)."""
THUMBNAIL = 160
"""Largest side of the small picture in a list, px."""
AROUND = 1.1
"""How far beyond the tips the photograph reaches, in tip radii."""
FLANK_POINTS = 14
"""Points kept of each flank: a line over a tenth of the flank is straight within a tenth of a
pixel."""
PROFILE_POINTS, GAP_POINTS = 48, 90
"""Points kept of each profile and gap trace; a drawing is some 400 pixels wide."""
THEORY_STRAYS_PX = 0.05
"""How far a straight piece of the theoretical outline may stray from it: half of what is told."""


@dataclass(frozen=True)
class Window:
    """The part of the photograph that is in the page, and how large.

    `left`, `top`: picture pixel at its corner; `scale`: pixels in the page per picture pixel.
    """

    left: int
    top: int
    scale: float
    image: NDArray[Any]

    def place(self, points: Floats) -> Floats:
        """Turn picture pixels (centres at whole numbers) into places from the image's corner."""
        return np.asarray((points - [self.left, self.top] + 0.5) * self.scale)


def photo_window(reading: Reading, drawing: DrawingData) -> Window:
    """Cut the gear and a little round it out of the photograph.

    The whole photograph where no outline was seen.
    """
    h, w = drawing.picture.shape[:2]
    centre, reach = np.array([reading.datum.x_px, reading.datum.y_px]), AROUND * _tip_px(reading)
    low = np.clip(np.floor(centre - reach), 0, [w - 1, h - 1]).astype(int)
    high = np.clip(np.ceil(centre + reach), low + 1, [w, h]).astype(int)
    part = drawing.picture[low[1] : high[1], low[0] : high[0]]
    scale = min(1.0, LONG_SIDE / max(part.shape[:2]))
    if scale < 1:
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    if part.dtype != np.uint8:
        part = cv2.convertScaleAbs(part, alpha=255 / np.iinfo(part.dtype).max)
    return Window(int(low[0]), int(low[1]), scale, part)


def photo_jpeg(window: Window) -> bytes:
    """The photograph of a page as JPEG."""
    image = (
        window.image if window.image.ndim == 2 else cv2.cvtColor(window.image, cv2.COLOR_RGB2BGR)
    )
    return cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])[1].tobytes()


def thumbnail(window: Window) -> bytes:
    """A small picture for a list of readings, JPEG."""
    small = THUMBNAIL / max(window.image.shape[:2])
    sized = cv2.resize(window.image, None, fx=small, fy=small, interpolation=cv2.INTER_AREA)
    return photo_jpeg(Window(window.left, window.top, window.scale * small, sized))


def page_data(reading: Reading, drawing: DrawingData, window: Window) -> dict[str, Any]:
    """Everything that a page's drawings are made from: plain numbers, lists and texts."""
    worst = at_worst(reading)
    return {
        "teeth": [_tooth(reading, k) for k in range(len(reading.teeth))],
        "unseen": any(f.status == "not_seen" for _, _, f in flanks(reading)),
        "worst": worst.tooth if worst else 0,
        "radius_um": _round(500 * reading.gear.measuring_diameter_mm, 3),
        "eccentric_deg": _eccentric(reading),
        "view": _view(reading, window),
        "theory": _tenths(_plainer(window.place(drawing.theory_xy))).ravel().tolist(),
        "flanks": _flanks(reading, drawing, window),
        "profiles": None if drawing.profiles is None else _profiles(reading, drawing.profiles),
        "gaps": None if drawing.gaps is None else _gaps(reading, drawing.gaps),
    }


def _plainer(outline: Floats) -> Floats:
    """A closed outline with no more points than can be told apart in tenths of a pixel."""
    if not len(outline):
        return outline
    kept = cv2.approxPolyDP(outline[:, None].astype(np.float32), THEORY_STRAYS_PX, closed=True)
    return np.asarray(kept[:, 0], dtype=float)


def _tip_px(reading: Reading) -> float:
    tip = reading.summary.tip_diameter_mean_mm
    if tip is None:
        tip = reading.gear.measuring_diameter_mm + 2 * reading.gear.module_mm
    return tip / 2 / reading.calibration.mm_per_px


def _view(reading: Reading, window: Window) -> dict[str, Any]:
    per_mm = window.scale / reading.calibration.mm_per_px
    tip, root = _tip_px(reading) * window.scale, reading.summary.root_diameter_mean_mm
    centre = window.place(np.array([reading.datum.x_px, reading.datum.y_px]))
    return {
        "image": [window.image.shape[1], window.image.shape[0]],
        "centre": [_round(float(v), 2) for v in centre],
        "tip_px": _round(tip, 2),
        "root_px": _round(root / 2 * per_mm if root else 0.85 * tip, 2),
        "measuring_px": _round(reading.gear.measuring_diameter_mm / 2 * per_mm, 2),
        "um_per_px": _round(1000 / per_mm, 5),
    }


def _eccentric(reading: Reading) -> float | None:
    s = reading.summary
    shown = s.eccentricity_direction_deg is not None
    shown = shown and resolved(s.eccentricity_um, s.u_eccentricity_um)
    return _round(s.eccentricity_direction_deg, 1) if shown else None


def _tooth(reading: Reading, k: int) -> dict[str, Any]:
    tooth, gap = reading.teeth[k], reading.gaps[k]
    return {
        "n": tooth.number,
        "deg": _round(nominal_deg(reading, tooth.number) or 0.0, 3),
        **{side: _flank(tooth, side) for side in SIDES},
        "s": _pair(tooth.thickness_mm, tooth.u_thickness_mm, 5),
        "e": _pair(gap.width_mm, gap.u_width_mm, 5),
    }


def _flank(tooth: Tooth, side: str) -> dict[str, Any]:
    flank: Flank = getattr(tooth, side)
    counted = _pair(flank.cumulative_pitch_um, flank.u_cumulative_pitch_um, 3)
    placed = _pair(flank.place_um, flank.u_place_um, 3)
    return {
        "status": flank.status,
        "f": _pair(flank.single_pitch_um, flank.u_single_pitch_um, 3),
        "F": counted,
        "p": counted if flank.place_um is None else placed,
    }


def _pair(value: float | None, u: float | None, places: int) -> list[float | None]:
    """A figure and its U."""
    return [_round(value, places), _round(expanded(u), places)]


def _round(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)


def _tenths(values: Floats) -> NDArray[np.int64]:
    return np.asarray(np.round(10 * values), dtype=np.int64)


def _holed(values: Floats) -> list[Any]:
    """Tenths, with null where nothing was seen."""
    tenths = _tenths(np.nan_to_num(values)).astype(object)
    tenths[~np.isfinite(values)] = None
    return list(tenths)


def _flanks(reading: Reading, drawing: DrawingData, window: Window) -> list[list[Any]]:
    """Points of each flank from root to tip, means of a stretch each: theory, normal, deviation."""
    good = drawing.used & np.isfinite(drawing.deviation_um)
    if not good.any():
        return []
    xy, normal = drawing.flank_xy[good], drawing.flank_normal[good]
    off, tooth, side = drawing.deviation_um[good], drawing.tooth[good], drawing.side[good]
    radius = np.hypot(*(xy - [reading.datum.x_px, reading.datum.y_px]).T)
    flank = 2 * tooth + side
    order = np.lexsort((radius, flank))
    starts = _stretch_starts(flank[order])

    def mean(values: Floats) -> Floats:
        size = np.diff(np.append(starts, len(order)))
        return np.asarray(np.add.reduceat(values[order], starts, axis=0).T / size).T

    um_per_px = 1000 * reading.calibration.mm_per_px
    theory = window.place(mean(xy - off[:, None] / um_per_px * normal))
    middle = mean(normal)
    turn = np.round(1000 * np.arctan2(middle[:, 1], middle[:, 0]))
    table = np.column_stack([_tenths(theory), turn, _tenths(mean(off))]).astype(int)
    of_flank = flank[order][starts]
    ends = np.flatnonzero(np.diff(of_flank)) + 1
    return [
        [int(rows[0] // 2), SIDES[rows[0] % 2], part.ravel().tolist()]
        for rows, part in zip(np.split(of_flank, ends), np.split(table, ends), strict=True)
    ]


def _stretch_starts(flank: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where each stretch of a flank begins, among points sorted by flank."""
    begins = np.append(0, np.flatnonzero(np.diff(flank)) + 1)
    size = np.diff(np.append(begins, len(flank)))
    parts = [
        start + np.unique(np.arange(FLANK_POINTS) * n // FLANK_POINTS)
        for start, n in zip(begins, size, strict=True)
    ]
    return np.concatenate(parts).astype(np.int64)


def _thinned(count: int, most: int) -> NDArray[np.int64]:
    """Indices of at most so many of a number of points, evenly spread."""
    return np.unique(np.round(np.linspace(0, count - 1, min(count, most))).astype(np.int64))


def _profiles(reading: Reading, sheet: ProfileSheet) -> dict[str, Any]:
    chosen = _thinned(len(sheet.roll_mm), PROFILE_POINTS)
    roll = sheet.roll_mm[chosen]
    return {
        "roll": [round(float(v), 4) for v in roll],
        "above": _above_floor(reading, roll),
        "limit": _usual_limit([f.u_profile_total_um for _, _, f in flanks(reading)]),
        **{side: [_holed(trace) for trace in sheet.trace_um[:, k][:, chosen]]
           for k, side in enumerate(SIDES)},
        "mean": {side: _holed(sheet.mean_um[k][chosen]) for k, side in enumerate(SIDES)},
    }  # fmt: skip


def _above_floor(reading: Reading, roll_mm: Floats) -> list[float] | None:
    """Heights above the floor of the gap, mm: a length of roll L ends at radius √(r_b² + L²)."""
    root, angle = reading.summary.root_diameter_mean_mm, reading.gear.pressure_angle_deg
    if root is None or angle is None:
        return None
    base = reading.gear.teeth * reading.gear.module_mm * np.cos(np.radians(angle)) / 2
    return [round(float(v), 3) for v in np.hypot(base, roll_mm) - root / 2]


def _usual_limit(us: Sequence[float | None]) -> float:
    """U of the middle flank; 0 where none is known."""
    known = [u for u in us if u is not None]
    return round(COVERAGE * float(np.median(known)), 3) if known else 0.0


def _gaps(reading: Reading, sheet: GapSheet) -> dict[str, Any]:
    chosen = _thinned(len(sheet.xy_mm), GAP_POINTS)
    turn = np.arctan2(sheet.normal[chosen, 1], sheet.normal[chosen, 0])
    # A width has two edges, so half of its U is that of one.
    limit = _usual_limit(
        [None if g.u_width_mm is None else 500 * g.u_width_mm for g in reading.gaps]
    )
    return {
        "xy": np.round(sheet.xy_mm[chosen], 4).tolist(),
        "normal": np.round(1000 * turn).astype(int).tolist(),
        "off": [_holed(off) for off in sheet.off_um[:, chosen]],
        "mean": _holed(sheet.mean_um[chosen]),
        "limit": limit,
    }
