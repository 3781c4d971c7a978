"""Colours and marks that the chart, the overlay and the page share.

Left and right differ in lightness as well as in hue, so that they part in grey print and for the
colour-blind.
"""

from dataclasses import dataclass

from cogloupe.reading.models import SIDES, Side

INK = "#22272b"
FAINT = "#8a9299"
GRID = "#dfe3e6"
PAPER = "#ffffff"
ALARM = "#a3006d"


@dataclass(frozen=True)
class SideStyle:
    """How one flank side is drawn.

    Attributes
    ----------
    side : {'left', 'right'}
        Which flanks.
    index : int
        Column of that side in arrays.
    colour : str
        Hex colour of fills.
    pen : str
        Hex colour of lines, dark enough on white.
    hatch : str
        Hatching of bars.
    offset : float
        Where its bar stands beside the tooth number, in teeth.
    dash : str
        Line style.
    marker : str
        Point marker.
    """

    side: Side
    index: int
    colour: str
    pen: str
    hatch: str
    offset: float
    dash: str
    marker: str


SIDE_STYLES = (
    SideStyle(SIDES[0], 0, "#1d4e79", "#1d4e79", "", -0.2, "-", "o"),
    SideStyle(SIDES[1], 1, "#f2b04c", "#c46a00", "////", 0.2, "--", "s"),
)


def rgb(colour: str) -> tuple[int, int, int]:
    """Split a hex colour.

    Parameters
    ----------
    colour : str
        ``#rrggbb``.

    Returns
    -------
    tuple of int
        Red, green, blue, 0 to 255.
    """
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue
