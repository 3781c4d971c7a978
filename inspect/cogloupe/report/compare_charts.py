"""Pictures of a comparison: teeth before and after, and the main figures over the attempts."""

from collections.abc import Sequence
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, MaxNLocator

from cogloupe.comparing.compare import Comparison
from cogloupe.comparing.series import Trend
from cogloupe.comparing.tooth_pattern import centred, turned
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import SIDES, Reading
from cogloupe.report.axes import FEW, FONT, page_figure, plain_axes, tooth_axis
from cogloupe.report.styles import FAINT, INK, PAPER, SIDE_STYLES
from cogloupe.wording.numbers import COVERAGE
from cogloupe_calibration.arrays import Floats

_BEFORE = "#8a9299"


def teeth_chart(comparison: Comparison, labels: Sequence[str]) -> Figure:
    """Lay the pitch deviations of both readings over each other, tooth by tooth.

    Single and cumulative pitch of the left flanks, then of the right, each with U bars; the
    cumulative ones about their means.
    """
    figure = page_figure(9.4)
    panels = figure.subplots(4, 1, sharex=True)
    figure.subplots_adjust(left=0.065, right=0.985, top=0.91, bottom=0.06, hspace=0.3)
    rows = [(side, name) for name in ("single", "cumulative") for side in (0, 1)]
    for axes, (side, name) in zip(panels, rows, strict=True):
        _draw_teeth(axes, comparison, side, name)
    _turn_axis(panels[-1], comparison, labels[0])
    _names(figure, labels)
    return figure


def _draw_teeth(axes: Axes, comparison: Comparison, side: int, name: str) -> None:
    about = ", about their mean" if name == "cumulative" else ""
    plain_axes(axes, f"{name} pitch deviation of the {SIDES[side]} flanks / µm{about}")
    axes.axhline(0, color=INK, lw=0.8)
    shift = comparison.alignment.shift if comparison.alignment else 0
    style = SIDE_STYLES[side]
    drawn = (
        (comparison.before, 0, _BEFORE, PAPER, "o", -0.12),
        (comparison.after, shift, style.pen, style.pen, "s", 0.12),
    )
    for reading, turn, colour, filled, marker, aside in drawn:
        values = flank_array(reading, f"{name}_pitch_um")
        limits = COVERAGE * flank_array(reading, f"u_{name}_pitch_um")
        if name == "cumulative":
            values = centred(values)
        y, u = (turned(v, turn)[:, side] for v in (values, limits))
        x = _places(reading, comparison) + aside
        few = len(x) <= FEW
        axes.errorbar(
            x, y, u, fmt="-", color=colour, lw=1.2, marker=marker, ms=4 if few else 2,
            mfc=filled, elinewidth=0.8, capsize=1.6 if few else 0,
        )  # fmt: skip


def _places(reading: Reading, comparison: Comparison) -> Floats:
    """Where teeth stand along the axis: by number, or over the turn where counts differ."""
    number = np.arange(1, reading.gear.teeth + 1, dtype=np.float64)
    return number if comparison.alignment else 1 + (number - 1) * (100 / reading.gear.teeth)


def _turn_axis(axes: Axes, comparison: Comparison, label: str) -> None:
    if comparison.alignment is None:
        axes.set_xlim(0, 101)
        axes.set_xlabel("place round the turn / % from tooth 1", fontsize=FONT)
        return
    tooth_axis(axes, comparison.before.gear.teeth)
    axes.set_xlabel(f"tooth number in {label}", fontsize=FONT)


def _names(figure: Figure, labels: Sequence[str]) -> None:
    before = Line2D([], [], color=_BEFORE, marker="o", mfc=PAPER, label=f"before: {labels[0]}")
    after = [
        Line2D([], [], color=s.pen, marker="s", label=f"after: {labels[1]}, {s.side} flanks")
        for s in SIDE_STYLES
    ]
    u = Line2D([], [], color=INK, lw=0, marker="|", ms=12, label="± U (k = 2)")
    figure.legend(
        handles=[before, *after, u], loc="upper left", bbox_to_anchor=(0.055, 0.998), ncols=2,
        frameon=False, fontsize=FONT, borderaxespad=0.2,
    )  # fmt: skip


def trend_chart(trends: Sequence[Trend], attempts: int) -> Figure | None:
    """Draw each figure over the attempts with its U, and a line through three or more.

    None where nothing was comparable throughout. The line is whole where the trend is clear, else
    dashed.
    """
    if not trends:
        return None
    columns, rows = 3, ceil(len(trends) / 3)
    height = 0.4 + 1.9 * rows
    figure = page_figure(height)
    panels = figure.subplots(rows, columns).ravel()
    figure.subplots_adjust(
        left=0.06, right=0.985, top=1 - 0.3 / height, bottom=0.55 / height, hspace=0.55,
        wspace=0.24,
    )  # fmt: skip
    for axes, trend in zip(panels, trends, strict=False):
        _draw_trend(axes, trend, attempts)
    for axes in panels[len(trends) :]:
        axes.set_visible(False)
    return figure


def _draw_trend(axes: Axes, trend: Trend, attempts: int) -> None:
    plain_axes(axes, trend.kind.name + (f" / {trend.kind.unit}" if trend.kind.unit else ""))
    y = np.array([np.nan if v.value is None else v.value for v in trend.values])
    u = np.array([np.nan if v.u is None else COVERAGE * v.u for v in trend.values])
    x = np.arange(1, attempts + 1)
    pen = SIDE_STYLES[0].pen
    axes.errorbar(x, y, u, fmt="o", color=pen, ms=4.5, elinewidth=1.0, capsize=2.5)
    if trend.start is not None and trend.slope is not None:
        ends = np.array([1.0, attempts])
        dash = "-" if trend.clear else (0, (4, 4))
        axes.plot(ends, trend.start + trend.slope * (ends - 1), ls=dash, color=FAINT, lw=1.4)
    axes.set_xlim(0.6, attempts + 0.4)
    step = max(1, ceil(attempts / 12))
    axes.xaxis.set_major_locator(FixedLocator(list(range(1, attempts + 1, step))))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.margins(y=0.12)
