"""Picture of the camera's own error, as turned pictures tell it."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from cogloupe.report.calibration_picture import (
    FONT,
    blank_figure,
    exaggeration,
    show_arrows,
    show_frame,
    show_turn,
    write_head,
    write_title,
)
from cogloupe.report.styles import FAINT, INK, SIDE_STYLES
from cogloupe.sets.camera_map import CameraMap

_PENS = (SIDE_STYLES[0].pen, SIDE_STYLES[1].pen, "#5a4fa0", "#7a6a00", "#006e7a", INK)
_BELOW = (
    "Scale, turn and place are taken out; the rest is undone in the reading. Grey: where the "
    "measuring circle lay in each picture."
)
_DASHES = ("-", "--", "-.", ":")


def camera_picture(found: CameraMap) -> Figure:
    """Draw the camera's error over the frame, and along the circle of the teeth."""
    figure, (frame, round_) = blank_figure(2, found.height_px / found.width_px, (_BELOW,))
    show_frame(frame, found.width_px, found.height_px)
    for circle in found.circles:
        frame.plot(*circle.T, color=FAINT, lw=0.8, zorder=0)
    spacing = float(abs(found.xy[1, 0] - found.xy[0, 0]))
    factor = exaggeration(found.error, spacing)
    show_arrows(frame, found.xy, found.error, factor, _PENS[0])
    write_title(frame, "the camera's own error where the teeth lay", found.rms_px, factor)
    _along(round_, found)
    write_head(figure, "what stays with the camera", [_BELOW])
    return figure


def _along(axes: Axes, found: CameraMap) -> None:
    for n, (along, u) in enumerate(zip(found.along, found.u_along, strict=True)):
        pen = _PENS[n % len(_PENS)]
        axes.fill_between(
            found.angle_deg, along - 2 * u, along + 2 * u, color=pen, alpha=0.18, lw=0
        )
        axes.plot(
            found.angle_deg, along, color=pen, lw=1.4, ls=_DASHES[n % len(_DASHES)],
            label=f"picture {n + 1}",
        )  # fmt: skip
    title = "what it adds to a flank's place along that circle / px\n(clockwise positive; bands: U)"
    show_turn(axes, title)
    axes.legend(fontsize=FONT - 1, frameon=False, ncols=min(len(found.along), 4), loc="lower left")
