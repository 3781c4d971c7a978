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


@dataclass(frozen=True, kw_only=True)
class SideStyle:
    """How one flank side is drawn.

    `index` is its column in arrays, `pen` the colour of lines, dark enough on white, and `offset`
    where its bar stands beside the tooth number, in teeth.
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
    SideStyle(
        side=SIDES[0],
        index=0,
        colour="#1d4e79",
        pen="#1d4e79",
        hatch="",
        offset=-0.2,
        dash="-",
        marker="o",
    ),
    SideStyle(
        side=SIDES[1],
        index=1,
        colour="#f2b04c",
        pen="#c46a00",
        hatch="////",
        offset=0.2,
        dash="--",
        marker="s",
    ),
)
"""Left and right differ in lightness, hatching, dash and marker too, so that neither a colour-blind
reader nor a grey print confuses them."""


def rgb(colour: str) -> tuple[int, int, int]:
    """Split a hex colour into red, green and blue, 0 to 255."""
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue
