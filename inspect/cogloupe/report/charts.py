"""Charts of a reading: pitch tooth by tooth, thickness and gap width."""

from io import BytesIO
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator
from numpy.typing import NDArray

from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe.report.axes import FEW, FONT, plain_axes, tooth_step
from cogloupe.report.canvas import encoded
from cogloupe.report.styles import FAINT, INK, PAPER, SIDE_STYLES, SideStyle
from cogloupe.wording.numbers import COVERAGE, with_uncertainty
from cogloupe_calibration.arrays import Floats

_WIDTH_IN, _HEIGHT_IN, _DPI = 5.94, 6.0, 150
"""As high as the ring beside it in the picture for a forum."""
_BAR = 0.36
"""Width of a bar, in teeth: two stand beside one another and leave a gap."""


def chart_pngs(reading: Reading) -> dict[str, bytes]:
    """Draw every chart of a reading.

    PNG pictures by the names that the report page has for them.
    """
    return {"chart": figure_png(pitch_chart(reading))}


def pitch_chart(reading: Reading) -> Figure:
    """Chart single and cumulative pitch deviation of both flanks, tooth by tooth.

    Two axes: bars of single pitch, lines of cumulative pitch, both with U bars, µm on the measuring
    circle.
    """
    figure = _figure(_HEIGHT_IN)
    upper, lower = figure.subplots(2, 1)
    figure.subplots_adjust(left=0.085, right=0.985, top=0.875, bottom=0.08, hspace=0.17)
    _draw_single(upper, reading)
    _draw_cumulative(lower, reading)
    for axes in (upper, lower):
        _mark_unseen(axes, reading)
    _tooth_axis(lower, reading)
    upper.set_xlim(lower.get_xlim())
    upper.set_xticks([])  # ticks are the slowest part of a chart, and the lower axes have them
    lower.set_xlabel("tooth number, clockwise on the picture", fontsize=FONT)
    _pitch_legend(figure, reading)
    return figure


def figure_png(figure: Figure) -> bytes:
    """Draw a figure as a PNG picture."""
    canvas = FigureCanvasAgg(figure)
    width, height = canvas.get_width_height()
    drawn = BytesIO()
    figure.savefig(drawn, format="rgba", dpi=figure.dpi)
    pixels = np.frombuffer(drawn.getbuffer(), np.uint8).reshape(height, width, 4)
    return encoded(pixels[..., :3], ".png")


def warm_up() -> None:
    """Draw bare axes for nobody: the first figure that a process draws takes longest."""
    figure = _figure(1.0)
    plain_axes(figure.subplots(), "1")
    figure_png(figure)


def _figure(height_in: float) -> Figure:
    return Figure(figsize=(_WIDTH_IN, height_in), dpi=_DPI, facecolor=PAPER)


def _tooth_axis(axes: Axes, reading: Reading) -> None:
    z = len(reading.teeth)
    step = tooth_step(z, wide=0.55)
    ticks = [n for n in range(1, z + 1) if n % step == 0 or (n == 1 and step > 2) or step == 1]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.set_xlim(0.4, z + 0.6)


def _draw_single(axes: Axes, reading: Reading) -> None:
    plain_axes(axes, "pitch before each tooth, too long above / µm")
    axes.axhline(0, color=INK, lw=0.8)
    for style in SIDE_STYLES:
        values = flank_array(reading, "single_pitch_um")[:, style.index]
        limits = COVERAGE * flank_array(reading, "u_single_pitch_um")[:, style.index]
        x = np.asarray(np.arange(len(values)) + 1 + style.offset, dtype=np.float64)
        _bars(axes, style, x, values, limits)
        _u_bars(axes, x, values, limits, INK if len(x) <= FEW else "#7b848b")
    _none_seen(axes, reading, "single_pitch_um")


def _bars(axes: Axes, style: SideStyle, x: Floats, values: Floats, limits: Floats) -> None:
    """Draw bars, faint inside U, as two collections: one patch a bar is slow on many teeth."""
    for faint in (False, True):
        chosen = np.isfinite(values) & ((np.abs(values) < limits) == faint)
        corners = _bar_corners(x[chosen], values[chosen])
        axes.add_collection(
            PolyCollection(list(corners), **_bar_look(style, faint, len(x) <= FEW)),
            autolim=bool(chosen.any()),
        )
    axes.autoscale_view()


def _bar_corners(x: Floats, values: Floats) -> Floats:
    left, right, zero = x - _BAR / 2, x + _BAR / 2, np.zeros_like(x)
    corners = [[left, zero], [left, values], [right, values], [right, zero]]
    return np.moveaxis(np.array(corners), 2, 0)


def _bar_look(style: SideStyle, faint: bool, few: bool = True) -> dict[str, Any]:
    if faint:
        return {"facecolor": PAPER, "edgecolor": style.pen, "lw": 0.6, "alpha": 0.55}
    if not few:  # outline and hatching would fill bars this thin; lightness still parts them
        return {"facecolor": style.colour, "lw": 0}
    return {"facecolor": style.colour, "edgecolor": style.pen, "lw": 0.6, "hatch": style.hatch}


def _u_bars(axes: Axes, x: Floats, values: Floats, limits: Floats, colour: str) -> None:
    known = np.isfinite(values) & np.isfinite(limits)
    if not known.any():
        return
    few = len(x) <= FEW
    axes.errorbar(
        x[known], values[known], limits[known],
        fmt="none", ecolor=colour, elinewidth=0.9 if few else 0.6, capsize=1.8 if few else 0,
    )  # fmt: skip


def _points(
    axes: Axes, style: SideStyle, x: Floats, values: Floats, faint: NDArray[np.bool_]
) -> None:
    """Draw points and their line; those inside U are covered with hollow ones."""
    size = 3.6 if len(x) <= FEW else 2.0
    axes.plot(
        x, values, style.dash, color=style.pen, lw=1.0,
        marker=style.marker, ms=size, mfc=style.colour, mew=0.6, label=style.side,
    )  # fmt: skip
    axes.plot(x[faint], values[faint], style.marker, ms=size, mfc=PAPER, mec=style.pen, mew=0.6)


def _draw_cumulative(axes: Axes, reading: Reading) -> None:
    """Places of the flanks about the mean of their side, so that a step shows as one on both."""
    plain_axes(axes, f"place about the mean, ahead clockwise above / µm{_total(reading)}")
    axes.axhline(0, color=INK, lw=0.8)
    for style in SIDE_STYLES:
        values = flank_array(reading, "place_um")[:, style.index]
        limits = COVERAGE * flank_array(reading, "u_place_um")[:, style.index]
        x = np.asarray(np.arange(len(values)) + 1 + style.offset, dtype=np.float64)
        _u_bars(axes, x, values, limits, style.pen)
        _points(axes, style, x, values, np.abs(values) < limits)
    _none_seen(axes, reading, "place_um")


def _total(reading: Reading) -> str:
    """F_p and its U, to stand behind the title."""
    s = reading.summary
    total, u = s.cumulative_pitch_total_um, s.u_cumulative_pitch_total_um
    return "" if total is None else f";  Fₚ {with_uncertainty(total, u, 'µm')}"


def _none_seen(axes: Axes, reading: Reading, name: str) -> None:
    if np.isnan(flank_array(reading, name)).all():
        axes.set_ylim(-1, 1)
        axes.set_yticks([0])
        axes.text(
            0.5, 0.5, "nothing was measured", transform=axes.transAxes,
            ha="center", va="center", fontsize=FONT + 2, color=INK,
            bbox={"facecolor": PAPER, "edgecolor": FAINT, "pad": 8},
        )  # fmt: skip


def _status_x(reading: Reading, *statuses: str) -> Floats:
    """Places on the tooth axis of the flanks of certain statuses."""
    return np.array(
        [
            tooth.number + style.offset
            for style in SIDE_STYLES
            for tooth in reading.teeth
            if getattr(tooth, style.side).status in statuses
        ],
        dtype=np.float64,
    )


def _mark_unseen(axes: Axes, reading: Reading) -> None:
    """Shade unseen flanks, and mark along the top those of which only a part was measured."""
    unseen, part = _status_x(reading, "not_seen"), _status_x(reading, "partial", "obstructed")
    along = axes.get_xaxis_transform()
    axes.add_collection(
        PolyCollection(_slots(unseen), transform=along, **_unseen_look()), autolim=False
    )
    axes.plot(
        part, np.full_like(part, 0.985), "v", transform=along,
        ms=4.5 if len(reading.teeth) <= FEW else 3, mfc=PAPER, mec=INK, mew=0.8, clip_on=False,
    )  # fmt: skip


def _slots(x: Floats) -> list[Floats]:
    """Corners of the half-tooth slots round the given flanks, neighbours joined."""
    slots = np.unique(np.floor(2 * x))
    runs = np.split(slots, np.flatnonzero(np.diff(slots) > 1) + 1)
    ends = [(run[0] / 2, (run[-1] + 1) / 2) for run in runs if run.size]
    return [np.array([(a, 0), (a, 1), (b, 1), (b, 0)]) for a, b in ends]


def _unseen_look() -> dict[str, Any]:
    return {"facecolor": "#eef0f2", "edgecolor": "#b5bcc2", "hatch": "xxx", "lw": 0, "zorder": 0.5}


def _pitch_legend(figure: Figure, reading: Reading) -> None:
    handles: list[Patch | Line2D] = [
        Patch(label=f"{style.side} flank", **_bar_look(style, False)) for style in SIDE_STYLES
    ]
    handles.append(Line2D([], [], color=INK, lw=0, marker="|", ms=12, label="± U (k = 2)"))
    handles.append(Patch(facecolor=PAPER, edgecolor=FAINT, lw=0.8, label="hollow: not resolved"))
    if _status_x(reading, "not_seen").size:
        handles.append(Patch(label="flank not seen", **_unseen_look()))
    if _status_x(reading, "partial", "obstructed").size:
        handles.append(Line2D([], [], marker="v", lw=0, mfc=PAPER, mec=INK, label="part measured"))
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(0.07, 1.0), ncols=3,
        frameon=False, fontsize=FONT, handlelength=1.6, columnspacing=1.2, borderaxespad=0.2,
    )  # fmt: skip
