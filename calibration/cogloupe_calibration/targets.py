"""Targets to print: checkerboard, grid of dots, ruled scale."""

from math import floor
from textwrap import wrap
from typing import Literal

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.vector_page import Bar, Disc, Page, Text

Paper = Literal["A4", "Letter"]
TargetKind = Literal["checkerboard", "dots", "ruled"]

# ISO 216 and the usual North American sheet.
PAPERS_MM: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
# Most printers leave a border; common practice, no source.
MARGIN_MM = 15.0
# A workshop caliper opens to 150 mm.
CALIPER_MM = 140.0
USUAL_HEIGHT_MM = 105.0
"""Three quarters of that, as frames of cameras are."""
MOST_MARKS = 100
"""Marks in a row where nobody asks for more: finer ones are not resolved when the whole target
fills a frame (our own judgement)."""
# Some seven dots of a 600 dpi printer.
SMALLEST_PITCH_MM = 0.3
DOT_SHARE, LINE_SHARE = 0.25, 0.25
"""Radius of a dot in pitches, so that gaps are as wide as dots, and width of a line in divisions
(our own judgement)."""
RULED_LINES_MM = (12.0, 15.0, 18.0)
"""Lengths of each line, every fifth and every tenth, as rules have them (common practice)."""
TOP_MM, TICK_MM, GAP_MM, TEXT_MM, LINE_CHARACTERS = 64.0, 0.25, 3.0, 3.4, 106
"""Layout of the page only: where targets begin, how thick ticks are and how far off, and the size
and length of lines of text."""


def make_target(
    kind: TargetKind, pitch_mm: float, paper: Paper = "A4", size: tuple[int, int] | None = None
) -> Page:
    """Lay out a target.

    Parameters
    ----------
    kind : {'checkerboard', 'dots', 'ruled'}
    pitch_mm : float
        Side of a square, distance of dots, or division of the scale.
    paper : {'A4', 'Letter'}, optional
    size : (int, int), optional
        Squares or dots across and down; the ruled scale takes its divisions from the first.

    Raises
    ------
    UseError
        Where it cannot be printed, or does not fit on the page.
    """
    if kind == "ruled":
        return ruled_target(pitch_mm, paper, None if size is None else size[0])
    return (checkerboard_target if kind == "checkerboard" else dot_target)(pitch_mm, paper, size)


def checkerboard_target(
    pitch_mm: float, paper: Paper = "A4", size: tuple[int, int] | None = None
) -> Page:
    """Lay out a checkerboard, about as large as a caliper can gauge where no size is stated.

    `pitch_mm` is the side of a square; `size` is its squares across and down. Raises as
    `make_target` does.
    """
    nx, ny = _sized(pitch_mm, size, 0)
    left, top = _placed(paper, nx * pitch_mm, ny * pitch_mm, f"{nx} x {ny} squares")
    bars = tuple(
        Bar(left + i * pitch_mm, top + j * pitch_mm, pitch_mm, pitch_mm)
        for i in range(nx)
        for j in range(ny)
        if (i + j) % 2 == 0
    )
    what = f"Checkerboard, {nx} x {ny} squares of {pitch_mm:g} mm"
    gauged = (nx * pitch_mm, ny * pitch_mm)
    words = _words(what, "square", pitch_mm, gauged)
    texts = (*words, *_sizes(left, top, gauged, GAP_MM))
    black = (*bars, *_ticks(left, top, gauged, GAP_MM))
    return _page(what, paper, bars=black, texts=texts)


def dot_target(pitch_mm: float, paper: Paper = "A4", size: tuple[int, int] | None = None) -> Page:
    """Lay out a grid of dots half a pitch wide, as large as a caliper can gauge or of a size.

    `size` is its dots across and down. Raises as `make_target` does.
    """
    nx, ny = _sized(pitch_mm, size, 1)
    gauged = ((nx - 1) * pitch_mm, (ny - 1) * pitch_mm)
    left, top = _placed(paper, *gauged, f"{nx} x {ny} dots")
    discs = tuple(
        Disc(left + i * pitch_mm, top + j * pitch_mm, DOT_SHARE * pitch_mm)
        for i in range(nx)
        for j in range(ny)
    )
    what = f"Grid of dots, {nx} x {ny} dots at {pitch_mm:g} mm"
    gap = GAP_MM + DOT_SHARE * pitch_mm
    words = _words(what, "pitch of the dots", pitch_mm, gauged)
    texts = (*words, *_sizes(left, top, gauged, gap))
    return _page(what, paper, bars=_ticks(left, top, gauged, gap), discs=discs, texts=texts)


def ruled_target(
    division_mm: float = 1.0, paper: Paper = "A4", divisions: int | None = None
) -> Page:
    """Lay out a ruled scale, as many divisions as a caliper can gauge where none are stated.

    Raises as `make_target` does.
    """
    size = None if divisions is None else (divisions, divisions)
    count = _sized(division_mm, size, 0, most=int(CALIPER_MM / SMALLEST_PITCH_MM))[0]
    left, top = _placed(paper, count * division_mm, RULED_LINES_MM[-1], f"{count} divisions")
    width = LINE_SHARE * division_mm
    lengths = [RULED_LINES_MM[(i % 5 == 0) + (i % 10 == 0)] for i in range(count + 1)]
    bars = tuple(
        Bar(left + i * division_mm - width / 2, top, width, length)
        for i, length in enumerate(lengths)
    )
    numerals = tuple(
        Text(left + i * division_mm, top + RULED_LINES_MM[-1] + 4, 3.0, f"{i}", centred=True)
        for i in range(0, count + 1, 10)
        if 10 * division_mm >= 5
    )
    what = f"Ruled scale, {count} divisions of {division_mm:g} mm"
    words = _words(what, "division", division_mm, (count * division_mm,))
    return _page(what, paper, bars=bars, texts=(*words, *numerals))


def _page(
    title: str,
    paper: Paper,
    bars: tuple[Bar, ...],
    texts: tuple[Text, ...],
    discs: tuple[Disc, ...] = (),
) -> Page:
    width, height = PAPERS_MM[paper]
    return Page(title=title, width_mm=width, height_mm=height, bars=bars, discs=discs, texts=texts)


def _sized(
    pitch_mm: float, size: tuple[int, int] | None, ends: int, most: int = MOST_MARKS
) -> tuple[int, int]:
    """Marks across and down; `ends` is 1 where one more mark than steps stands in a row."""
    if not SMALLEST_PITCH_MM <= pitch_mm < float("inf"):
        raise UseError(
            f"pitch is {pitch_mm:g} mm: {SMALLEST_PITCH_MM:g} mm is the least a printer can draw"
        )
    if size is None:
        across, down = (floor(side / pitch_mm + 1e-9) for side in (CALIPER_MM, USUAL_HEIGHT_MM))
        size = (min(across, most) + ends, min(down, most * 3 // 4) + ends)
    if min(size) < 4:
        raise UseError(
            f"{size[0]} x {size[1]} marks at {pitch_mm:g} mm: at least 4 x 4 are needed, choose a "
            "smaller pitch"
        )
    return size


def _placed(paper: Paper, width: float, height: float, what: str) -> tuple[float, float]:
    """Upper left corner of a target in the middle of the page, below the words."""
    if paper not in PAPERS_MM:
        raise UseError(f"paper '{paper}' is not known: choose {' or '.join(PAPERS_MM)}")
    page_width, page_height = PAPERS_MM[paper]
    room = (page_width - 2 * MARGIN_MM - 10, page_height - TOP_MM - MARGIN_MM - 10)
    if width > room[0] or height > room[1]:
        raise UseError(
            f"{what} are {width:g} x {height:g} mm, the {paper} page holds {room[0]:g} x "
            f"{room[1]:g} mm: choose fewer or a smaller pitch"
        )
    return (page_width - width) / 2, TOP_MM


def _ticks(left: float, top: float, gauged: tuple[float, float], gap: float) -> tuple[Bar, ...]:
    """Ticks below and to the right, their middles in line with the target's ends."""
    right, bottom, half = left + gauged[0], top + gauged[1], TICK_MM / 2
    below = [Bar(x - half, bottom + gap, TICK_MM, 6.0) for x in (left, right)]
    beside = [Bar(right + gap, y - half, 6.0, TICK_MM) for y in (top, bottom)]
    return (*below, *beside)


def _sizes(left: float, top: float, gauged: tuple[float, float], gap: float) -> tuple[Text, ...]:
    """The two gauged dimensions, written between their ticks."""
    right, bottom = left + gauged[0], top + gauged[1]
    return (
        Text(left + gauged[0] / 2, bottom + gap + 4.5, 3.0, f"{gauged[0]:.2f} mm", centred=True),
        Text(right + gap, top + gauged[1] / 2, 3.0, f"{gauged[1]:.2f} mm"),
    )


def _words(what: str, unit: str, pitch_mm: float, gauged: tuple[float, ...]) -> tuple[Text, ...]:
    longest, ends = max(gauged), "tick" if len(gauged) > 1 else "end line"
    other = f"; the other way, {min(gauged):.2f} mm" if len(gauged) > 1 else ""
    paragraphs = [
        "Print at 100 % (actual size); do not let the printer fit it to the page.",
        "WARNING: check the printer with a caliper before you trust this sheet. The longest "
        f"printed dimension must be {longest:.2f} mm, from one edge of one {ends} to the same edge "
        f"of the other{other}.",
        f"If the caliper reads L mm instead of {longest:.2f} mm, the true {unit} is "
        f"{pitch_mm:g} mm x L / {longest:.2f}: state that one when you calibrate.",
        "Glue it to something flat; its face must lie in the plane of the gear's face.",
    ]
    lines = [line for text in paragraphs for line in wrap(text, LINE_CHARACTERS)]
    left, step = MARGIN_MM + 2, 1.4 * TEXT_MM
    head = Text(left, MARGIN_MM + 6, 1.5 * TEXT_MM, what)
    first = MARGIN_MM + 14
    return (head, *(Text(left, first + i * step, TEXT_MM, line) for i, line in enumerate(lines)))
