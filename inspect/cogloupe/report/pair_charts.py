"""Charts of a pair: lead both ways round, backlash, rolling, spectrum, and the window."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import StrMethodFormatter

from cogloupe.pairing.centre_distance import Sweep, Window, backlash_mm
from cogloupe.pairing.pair import Pairing
from cogloupe.report.axes import FONT, page_figure, plain_axes
from cogloupe.report.pair_text import WAYS
from cogloupe.report.styles import ALARM, FAINT, INK, SIDE_STYLES
from cogloupe_calibration.arrays import Floats

_MOST_POINTS = 6000
"""Points of a curve that are drawn; of more, highest and lowest of each stretch are kept."""


def running_chart(pairing: Pairing) -> Figure:
    """Lead both ways round, backlash, and centre distance in tight mesh over the period."""
    figure = page_figure(8.6)
    lead, free, rolled = figure.subplots(3, 1, sharex=True, height_ratios=(3, 2, 2))
    figure.subplots_adjust(left=0.065, right=0.985, top=0.955, bottom=0.065, hspace=0.2)
    plain_axes(lead, "second gear ahead of even turning / µm on its reference circle")
    for way, style in zip(pairing.ways, SIDE_STYLES, strict=True):
        name = f"first gear {WAYS[style.index]} ({style.side} flanks drive)"
        _curve(lead, pairing, way.curve, style.pen, style.dash, name)
    lead.legend(loc="upper right", fontsize=FONT, frameon=False, ncols=2)
    plain_axes(free, "backlash / mm along the pitch circles")
    _curve(free, pairing, backlash_mm(pairing.mesh, pairing.rolled), INK, "-")
    free.axhline(0, color=ALARM, lw=1)
    plain_axes(rolled, "centre distance in tight mesh / mm")
    _curve(rolled, pairing, pairing.double.curve, INK, "-")
    rolled.set_xlabel("turns of the first gear, clockwise on its picture", fontsize=FONT)
    rolled.set_xlim(0, pairing.mesh.steps / pairing.mesh.a.teeth)
    return figure


def _curve(
    axes: Axes, pairing: Pairing, curve: Floats, colour: str, dash: str, name: str = ""
) -> None:
    flat = curve.ravel()
    turns = np.arange(len(flat)) / curve.shape[1] / pairing.mesh.a.teeth
    if len(flat) > _MOST_POINTS:
        turns, flat = _thinned(turns, flat)
    axes.plot(turns, flat, color=colour, ls=dash, lw=1.1, label=name)


def _thinned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest of each stretch of a long curve."""
    stretch = 2 * len(y) // _MOST_POINTS + 1
    whole = len(y) // stretch * stretch
    rows = y[:whole].reshape(-1, stretch)
    ends = np.stack([rows.min(axis=1), rows.max(axis=1)], axis=1).ravel()
    return np.repeat(x[:whole:stretch], 2), ends


def spectrum_chart(pairing: Pairing) -> Figure:
    """Spectrum of the lead both ways round, with what comes round so."""
    figure = page_figure(3.2)
    axes = figure.subplots()
    figure.subplots_adjust(left=0.065, right=0.985, top=0.9, bottom=0.16)
    plain_axes(axes, "amplitude of the lead / µm")
    mesh = pairing.mesh
    per_turn = mesh.a.teeth / mesh.steps
    for way, style in zip(pairing.ways, SIDE_STYLES, strict=True):
        x = [line.times * per_turn for line in way.spectrum]
        y = [line.amplitude_um for line in way.spectrum]
        axes.vlines(x, 0, y, color=style.pen, lw=1.2, ls=style.dash)
        axes.plot(x, y, style.marker, color=style.pen, ms=4)
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    axes.set_xlabel("times in a turn of the first gear", fontsize=FONT)
    axes.set_ylim(bottom=0)
    named = {"first gear": 1.0, "second gear": mesh.a.teeth / mesh.b.teeth, "tooth": mesh.a.teeth}
    for name, place in named.items():
        axes.axvline(place, color=FAINT, lw=0.7, zorder=0)
        axes.annotate(
            f"once a {name}" if name == "tooth" else f"once a turn, {name}", (place, 1), (3, -3),
            xycoords=("data", "axes fraction"), textcoords="offset points", rotation=90,
            va="top", fontsize=FONT - 1.5, color=FAINT,
        )  # fmt: skip
    return figure


def window_chart(pairing: Pairing) -> Figure:
    """Backlash, contact ratio and tip clearance against the centre distance, with the window."""
    figure = page_figure(6.4)
    free, ratio, tips = figure.subplots(3, 1, sharex=True, height_ratios=(3, 2, 2))
    figure.subplots_adjust(left=0.065, right=0.985, top=0.945, bottom=0.085, hspace=0.24)
    swept, window = pairing.sweep, pairing.window
    plain_axes(free, "backlash / mm: least, mean and most of all mesh positions")
    free.fill_between(swept.distance, swept.least, swept.most, color=FAINT, alpha=0.25, lw=0)
    free.plot(swept.distance, swept.mean, color=INK, lw=1.4)
    free.plot(swept.distance, swept.least, color=SIDE_STYLES[0].pen, lw=1.4)
    free.axhline(0, color=ALARM, lw=1)
    plain_axes(ratio, "contact ratio, least")
    ratio.plot(swept.distance, swept.ratio, color=INK, lw=1.4)
    ratio.axhline(1, color=ALARM, lw=1)
    plain_axes(tips, "room between tips and floors / mm, least")
    tips.plot(swept.distance, swept.clearance, color=INK, lw=1.4)
    tips.axhline(0, color=ALARM, lw=1)
    tips.set_xlabel("centre distance / mm", fontsize=FONT)
    for axes in (free, ratio, tips):
        _mark_window(axes, swept, window, pairing.mesh.centre_mm)
    return figure


def _mark_window(axes: Axes, swept: Sweep, window: Window, distance: float) -> None:
    """Shade what cannot be used, and mark the distance in question."""
    first, last = swept.distance[0], swept.distance[-1]
    axes.set_xlim(first, last)
    for start, end in ((first, window.low.distance), (window.high.distance, last)):
        if end > start:
            axes.axvspan(start, end, color=ALARM, alpha=0.09, lw=0)
    axes.axvline(distance, color=INK, lw=1, ls=(0, (4, 2)))
