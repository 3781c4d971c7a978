"""Picture of what a calibration leaves: over the frame, round a circle, or along a scale."""

from collections.abc import Sequence
from math import ceil, floor, log10
from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from cogloupe.report.styles import ALARM, FAINT, GRID, INK, PAPER, SIDE_STYLES
from cogloupe.report.tables import two_digits
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.circle import CircleScale
from cogloupe_calibration.grid_scale import GridScale
from cogloupe_calibration.ruled import RuledScale
from cogloupe_calibration.summary import Summary

_WIDTH_IN, _DPI, FONT = 10.6, 150, 9.5
"""Size of the drawing, and of its words in points; layout only."""
_LONG = 0.9  # a residual at the 95th percentile is drawn as long as this share of a spacing
_REASON_CHARACTERS, _REASONS, _ARROWS = 120, 6, 360
"""Characters of a line, lines and arrows for which the drawing has room."""
_PEN, _OTHER = SIDE_STYLES[0].pen, SIDE_STYLES[1].pen
"""The two colours of the two sides, which differ in lightness too."""


def target_picture(shown: GridScale | CircleScale | RuledScale) -> Figure:
    """Draw what a target leaves."""
    if isinstance(shown, GridScale):
        return grid_picture(shown)
    return circle_picture(shown) if isinstance(shown, CircleScale) else ruled_picture(shown)


def ruled_picture(ruled: RuledScale) -> Figure:
    """Draw where the lines of a ruled scale were seen, and how far each lies off even spacing.

    The frame with a point on each line, the first and every fifth with their numbers; the residuals
    along the scale; verdict, reasons and scale above them.
    """
    figure, axes = _frames(ruled.summary)
    figure.subplots_adjust(wspace=0.2)
    show_frame(axes[0], ruled.summary.width_px, ruled.summary.height_px)
    axes[0].plot(*ruled.line_xy_px.T, ".", color=_PEN, ms=3.5)
    every = max(1, 5 * ceil(len(ruled.fit.number) / 60))
    for number, xy in zip(ruled.fit.number, ruled.line_xy_px, strict=True):
        if number % every == 0:
            axes[0].annotate(
                f"{number}", xy, (0, 5), textcoords="offset points", ha="center",
                fontsize=FONT - 2.5, color=INK,
            )  # fmt: skip
    axes[0].set_title("lines as numbered", loc="left", fontsize=FONT, color=INK)
    _along(axes[1], ruled)
    what = f"ruled scale, {ruled.division_mm:g} mm, {len(ruled.fit.number)} lines"
    _head(figure, ruled.summary, what)
    return figure


def _along(axes: Axes, ruled: RuledScale) -> None:
    """Residual of each line along the scale."""
    axes.axhline(0, color=GRID, lw=0.8, zorder=0)
    axes.plot(ruled.fit.place - ruled.fit.place.min(), ruled.fit.residual, ".", color=_PEN, ms=4)
    limit = max(1.25 * float(np.abs(ruled.fit.residual).max()), 0.01)
    axes.set_ylim(-limit, limit)
    axes.locator_params(axis="y", nbins=6)
    axes.set_xlabel("along the scale / px", fontsize=FONT - 1, color=INK)
    words = f"each line less even spacing / px\n{two_digits(ruled.summary.residual_rms_px)} px RMS"
    axes.set_title(words, loc="left", fontsize=FONT, color=INK)
    _ticks_and_rim(axes)


def grid_picture(grid: GridScale) -> Figure:
    """Draw what a grid shows of the lens, and what is left when it is undone.

    Two frames with arrows from where points should be to where they were seen, each exaggerated by
    the factor it states; verdict, reasons and scale above them.
    """
    summary, points, used = grid.summary, grid.points, grid.points.used
    figure, axes = _frames(summary)
    plain, left = points.uncorrected_px, points.residual_px
    before = ("before: scale, turn and place alone", plain, points.uncorrected_rms_px)
    after = ("left over: distortion and lean undone", left, summary.residual_rms_px)
    for frame, (title, vectors, rms) in zip(axes, (before, after), strict=True):
        factor = exaggeration(vectors[used], grid.fit.period_px)
        show_frame(frame, summary.width_px, summary.height_px)
        _region(frame, summary.valid_region_px)
        show_arrows(frame, points.xy_px[used], vectors[used], factor, _PEN)
        _crosses(frame, points.xy_px[~used])
        write_title(frame, title, rms, factor)
    kind = "checkerboard" if grid.target.kind == "checkerboard" else "grid of dots"
    pictures = len(grid.fit.periods_px)
    on = f" on {pictures} pictures" if pictures > 1 else ""
    what = f"{kind}, {grid.target.pitch_mm:g} mm, {int(used.sum())} points{on}"
    _head(figure, summary, what)
    _legend(figure, bool((~used).any()))
    return figure


def circle_picture(circle: CircleScale) -> Figure:
    """Draw the outline of a circle with its residuals, and unrolled.

    The frame with the outline exaggerated by the factor stated; the residuals against the polar
    angle; verdict, reasons and scale above them.
    """
    figure, axes = _frames(circle.summary)
    used, centre = circle.used, np.array(circle.centre_px)
    arm = circle.xy_px - centre
    way = arm / np.hypot(*arm.T)[:, None]
    factor = exaggeration(circle.residual_px[used, None] * way[used], circle.radius_px / 4)
    show_frame(axes[0], circle.summary.width_px, circle.summary.height_px)
    chosen = np.flatnonzero(used)[:: max(1, int(used.sum()) // _ARROWS)]
    vectors = circle.residual_px[chosen, None] * way[chosen]
    show_arrows(axes[0], circle.xy_px[chosen], vectors, factor, _PEN)
    _crosses(axes[0], circle.xy_px[~used])
    write_title(axes[0], "outline less the oval fitted", circle.summary.residual_rms_px, factor)
    _unrolled(axes[1], np.degrees(np.arctan2(arm[:, 1], arm[:, 0])) % 360, circle)
    ratio = f"scale in x over scale in y {circle.ratio:.5f} ± {4 * circle.u_e:.1g}"
    _head(figure, circle.summary, f"circle, {ratio}")
    _legend(figure, bool((~used).any()), region=False)
    return figure


def blank_figure(
    columns: int, aspect: float, reasons: tuple[str, ...]
) -> tuple[Figure, list[Axes]]:
    """A figure whose frames keep their aspect (height over width), with room for reasons above."""
    lines = len(_reason_lines(reasons))
    frame_in = min(max((_WIDTH_IN / columns - 0.5) * aspect, 1.8), 6.0)
    head_in, foot_in = 0.9 + 0.18 * lines, 0.55
    height_in = head_in + frame_in + foot_in
    figure = Figure(figsize=(_WIDTH_IN, height_in), dpi=_DPI, facecolor=PAPER)
    axes = list(figure.subplots(1, columns))
    top, bottom = 1 - head_in / height_in, foot_in / height_in
    figure.subplots_adjust(left=0.055, right=0.985, top=top, bottom=bottom, wspace=0.12)
    return figure, axes


def exaggeration(vectors: Floats, spacing: float) -> float:
    """Round exaggeration (1, 2, 5, 10, ...) at which the longer arrows reach to the next point.

    `vectors` (n, 2) and the `spacing` of the points are in one unit.
    """
    long = float(np.percentile(np.hypot(*vectors.T), 95)) if len(vectors) else 0.0
    wanted = _LONG * spacing / max(long, 1e-6)
    power = 10.0 ** floor(log10(max(wanted, 1.0)))
    return float(max(step * power for step in (1, 2, 5) if step * power <= max(wanted, 1.0)))


def show_frame(axes: Axes, width: int, height: int) -> None:
    """Axes of a picture's frame, px, y down."""
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    axes.set_aspect("equal")
    axes.set_xlabel("x / px", fontsize=FONT - 1, color=INK)
    axes.axvline((width - 1) / 2, color=GRID, lw=0.8, zorder=0)
    axes.axhline((height - 1) / 2, color=GRID, lw=0.8, zorder=0)
    _ticks_and_rim(axes)


def _ticks_and_rim(axes: Axes) -> None:
    axes.tick_params(labelsize=FONT - 1.5, colors=INK, length=3)
    for spine in axes.spines.values():
        spine.set_color(FAINT)


def _region(axes: Axes, region: tuple[float, float, float, float] | None) -> None:
    if region is not None:
        left, top, right, bottom = region
        size = right - left, bottom - top
        axes.add_patch(Rectangle((left, top), *size, fill=False, ec=_OTHER, ls="--", lw=1.0))


def show_arrows(axes: Axes, xy: Floats, vectors: Floats, factor: float, colour: str) -> None:
    """Arrows from points (n, 2), exaggerated."""
    axes.plot(*xy.T, ".", color=FAINT, ms=1.6, zorder=1)
    axes.quiver(
        xy[:, 0], xy[:, 1], factor * vectors[:, 0], factor * vectors[:, 1],
        angles="xy", scale_units="xy", scale=1.0, color=colour, width=0.0022,
        headwidth=4, headlength=5, headaxislength=4.5, zorder=2,
    )  # fmt: skip


def _crosses(axes: Axes, xy: Floats) -> None:
    axes.plot(*xy.T, "x", color=ALARM, ms=5, mew=1.2, zorder=3)


def write_title(axes: Axes, title: str, rms: float, factor: float) -> None:
    """Title of a frame with arrows: their RMS length, px, and how many times too long they are."""
    words = f"{title}\n{two_digits(rms)} px RMS; arrows drawn {factor:,.0f} times too long"
    axes.set_title(words, loc="left", fontsize=FONT, color=INK)


def _unrolled(axes: Axes, angle_deg: Floats, circle: CircleScale) -> None:
    axes.plot(angle_deg[circle.used], circle.residual_px[circle.used], ".", color=_PEN, ms=2.2)
    limit = max(4 * circle.summary.residual_rms_px, 0.01)
    out = ~circle.used
    axes.plot(
        angle_deg[out], np.clip(circle.residual_px[out], -limit, limit), "x", color=ALARM, ms=5
    )
    axes.set_ylim(-1.1 * limit, 1.1 * limit)
    show_turn(axes, "distance outside the oval / px")


def show_turn(axes: Axes, title: str) -> None:
    """Axes round the whole turn."""
    axes.axhline(0, color=INK, lw=0.8)
    axes.set_xlim(0, 360)
    axes.set_xticks(range(0, 361, 60))
    axes.grid(color=GRID, lw=0.8)
    axes.set_xlabel("polar angle / degrees, clockwise on the picture", fontsize=FONT - 1)
    axes.set_title(title, loc="left", fontsize=FONT, color=INK)
    _ticks_and_rim(axes)


def _scale_words(mm_per_px: float, u_mm_per_px: float) -> str:
    um, expanded = 1000 * mm_per_px, 2000 * u_mm_per_px
    if expanded == 0:
        return f"{um:.6g} µm per pixel"
    places = max(0, ceil(-log10(expanded)) + 1)
    return f"{um:.{places}f} ± {expanded:.{places}f} µm per pixel (k = 2)"


def _reason_lines(reasons: tuple[str, ...]) -> list[str]:
    shown = [line for reason in reasons for line in wrap(reason, _REASON_CHARACTERS)]
    return shown if len(shown) <= _REASONS else [*shown[:_REASONS], "and more"]


def _frames(summary: Summary) -> tuple[Figure, list[Axes]]:
    return blank_figure(2, summary.height_px / summary.width_px, summary.reasons)


def _head(figure: Figure, summary: Summary, what: str) -> None:
    height = float(figure.get_size_inches()[1])
    what = f"{what}: {_scale_words(summary.scale.mm_per_px, summary.scale.u_mm_per_px)}"
    figure.text(0.985, 1 - 0.14 / height, what, fontsize=FONT, color=INK, va="top", ha="right")
    colour = ALARM if summary.verdict == "take it again" else INK
    write_head(figure, f"verdict: {summary.verdict}", _reason_lines(summary.reasons), colour)


def write_head(figure: Figure, words: str, lines: Sequence[str], colour: str = INK) -> None:
    """The one thing to know above the frames, and lines on it."""
    height = float(figure.get_size_inches()[1])
    figure.text(
        0.055, 1 - 0.12 / height, words, fontsize=FONT + 4, weight="bold", color=colour, va="top"
    )
    for number, line in enumerate(lines):
        y = 1 - (0.45 + 0.18 * number) / height
        figure.text(0.055, y, line, fontsize=FONT - 0.5, color=INK, va="top")


def _legend(figure: Figure, rejected: bool, region: bool = True) -> None:
    handles: list[Patch | Line2D] = [
        Line2D([], [], color=_PEN, lw=1.4, marker=">", ms=5, label="from expected to seen")
    ]
    if region:
        handles.append(Line2D([], [], color=_OTHER, lw=1.0, ls="--", label="valid region"))
    if rejected:
        handles.append(Line2D([], [], color=ALARM, marker="x", lw=0, label="left out"))
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.05, 0.0), ncols=3, frameon=False,
        fontsize=FONT - 0.5, borderaxespad=0.1,
    )  # fmt: skip
