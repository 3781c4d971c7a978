"""Picture of a diagnosis: what was measured, and what the causes found would leave."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from cogloupe.causes.diagnosis import Diagnosis, aligned
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.table import NONE
from cogloupe.report.axes import FEW, FONT, page_figure, plain_axes, tooth_axis
from cogloupe.report.styles import ALARM, FAINT, INK, SIDE_STYLES
from cogloupe.wording.numbers import COVERAGE
from cogloupe_calibration.arrays import Floats

_NAMES = {
    "thickness": "tooth thickness, mean", "root": "floor radius", "tip": "tip radius",
    "slope_left": "slope, left flanks", "slope_right": "slope, right flanks",
}  # fmt: skip


def causes_chart(diagnosis: Diagnosis) -> Figure:
    """Lay what the causes found would leave over the figures of the reading.

    Places of left and right flanks, and the figures that all teeth share, µm, with U bars.
    """
    figure = page_figure(8.6)
    panels = figure.subplots(3, 1, height_ratios=(3, 3, 2))
    figure.subplots_adjust(left=0.065, right=0.985, top=0.92, bottom=0.06, hspace=0.42)
    shapes = explained_shapes(diagnosis)
    for side in (0, 1):
        _flanks(panels[side], diagnosis, shapes, side)
    _shared(panels[2], diagnosis, shapes)
    _legend(figure, len(shapes))
    return figure


def explained_shapes(diagnosis: Diagnosis) -> list[Floats]:
    """What the first cause would leave, what the first two would, and so on.

    Shapes (2 z + 10,); none where no cause was found, or none that leaves a shape.
    """
    found = [f.best.fit for f in diagnosis.findings if f.best.cause is not NONE]
    total, sums = np.zeros(len(diagnosis.case.observed.value)), []
    for fit in found:
        if len(fit.size):
            total = total + fit.shape
            sums.append(total)
    return sums


def _flanks(axes: Axes, diagnosis: Diagnosis, shapes: list[Floats], side: int) -> None:
    observed = diagnosis.case.observed
    z, style = diagnosis.case.teeth, SIDE_STYLES[side]
    plain_axes(axes, f"place of the {style.side} flanks against even spacing / µm, clockwise up")
    axes.axhline(0, color=INK, lw=0.8)
    last = shapes[-1] if shapes else np.zeros(len(observed.value))
    number = np.arange(1, z + 1)

    def of_side(figures: Floats) -> Floats:
        return np.asarray(figures[: 2 * z].reshape(-1, 2)[:, side])

    few = z <= FEW
    axes.errorbar(
        number, of_side(aligned(observed, last)), COVERAGE * of_side(observed.noise), fmt="o",
        color=style.pen, ms=4 if few else 2, elinewidth=0.9, capsize=1.6 if few else 0, zorder=3,
    )  # fmt: skip
    for place, shape in enumerate(shapes[:2]):
        dash = "-" if place == 0 else (0, (4, 2))
        axes.plot(number, of_side(shape), ls=dash, color=(ALARM, INK)[place], lw=1.6, zorder=2)
    tooth_axis(axes, z)
    if side:
        axes.set_xlabel("tooth number, clockwise on the picture", fontsize=FONT)


def _shared(axes: Axes, diagnosis: Diagnosis, shapes: list[Floats]) -> None:
    observed = diagnosis.case.observed
    start = 2 * diagnosis.case.teeth
    u = np.full(len(observed.value), np.nan)
    u[observed.seen] = np.sqrt(np.diag(observed.covariance()))
    rows = [start + SHARED.index(name) for name in _NAMES]
    plain_axes(axes, "what all teeth share, against the drawing / µm")
    axes.axhline(0, color=INK, lw=0.8)
    at = np.arange(len(rows))
    axes.errorbar(
        at, observed.value[rows], COVERAGE * u[rows], fmt="o", color=SIDE_STYLES[0].pen, ms=5,
        elinewidth=0.9, capsize=3, zorder=3,
    )  # fmt: skip
    for place, shape in enumerate(shapes[:2]):
        axes.plot(
            at, shape[rows], ls="", marker="_", ms=34, mew=2, color=(ALARM, INK)[place], zorder=2
        )
    axes.set_xticks(at, _NAMES.values(), fontsize=FONT)
    axes.set_xlim(-0.6, len(rows) - 0.4)
    if not np.isfinite(observed.value[rows]).any():
        axes.text(0.5, 0.5, "not measured", transform=axes.transAxes, ha="center", color=FAINT)
        axes.set_yticks([])


def _legend(figure: Figure, shapes: int) -> None:
    handles = [
        Line2D([], [], color=style.pen, marker="o", lw=0.9, label=f"{style.side} flanks, ± U")
        for style in SIDE_STYLES
    ]
    if shapes:
        handles.append(Line2D([], [], color=ALARM, lw=1.6, label="what the cause would leave"))
    if shapes > 1:
        handles.append(
            Line2D([], [], color=INK, lw=1.6, ls=(0, (4, 2)), label="with the second cause")
        )
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(0.055, 0.995), ncols=4, frameon=False,
        fontsize=FONT,
    )  # fmt: skip
