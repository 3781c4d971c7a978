"""The plain axes that all charts are drawn on."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from cogloupe.report.styles import FAINT, GRID, INK, PAPER

FONT = 9.5
"""Points, of all words in charts: read beside the page's own text."""
FEW = 60
"""Teeth up to which bars, points and bars of U leave room for dark lines."""


def page_figure(height_in: float) -> Figure:
    """A figure as wide as a page's text."""
    return Figure(figsize=(10.6, height_in), dpi=110, facecolor=PAPER)


def plain_axes(axes: Axes, title: str) -> None:
    """Give axes a light frame, and a title in place of a turned axis label."""
    # A given height spares the search for ticks that the title might run into.
    axes.set_title(title, loc="left", y=1.0, fontsize=FONT, color=INK)
    axes.grid(axis="y", color=GRID, lw=0.8)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=FONT, colors=INK, length=3)
    for name, spine in axes.spines.items():
        spine.set_visible(name == "left")
        spine.set_color(FAINT)


def tooth_step(teeth: int, wide: float = 1.0) -> int:
    """Every how many teeth a number has room; `wide` is the chart's share of the widest drawn."""
    room = wide * (42 if teeth < 100 else 28)  # labels of three figures need more room
    return next((s for s in (1, 2, 5, 10, 20) if teeth / s <= room), 50)


def tooth_axis(axes: Axes, teeth: int) -> None:
    """Number teeth along an axis."""
    step = tooth_step(teeth)
    axes.xaxis.set_major_locator(FixedLocator([1, *range(max(step, 2), teeth + 1, step)]))
    axes.set_xlim(0.3, teeth + 0.7)
