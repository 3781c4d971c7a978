"""A page of black shapes and text at exact size, written as SVG or PDF.

Lengths are millimetres from the page's upper left corner, x right, y down.
"""

import zlib
from dataclasses import dataclass
from html import escape
from math import cos, pi, sin, tan

POINTS_PER_MM = 72 / 25.4
"""A page's unit is 1/72 inch (ISO 32000-1, from memory)."""
# Eight curves to a circle leave it out of round by 4e-6 of its radius, four by 3e-4.
ARCS = 8


@dataclass(frozen=True)
class Bar:
    """A rectangle filled with black."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Disc:
    """A disc filled with black."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Text:
    """A line of text that begins at x, or is centred on it, with its foot at y."""

    x: float
    y: float
    size: float
    text: str
    centred: bool = False


@dataclass(frozen=True, kw_only=True)
class Page:
    """What is printed."""

    title: str
    width_mm: float
    height_mm: float
    bars: tuple[Bar, ...] = ()
    discs: tuple[Disc, ...] = ()
    texts: tuple[Text, ...] = ()


def page_svg(page: Page) -> str:
    """Write a page as SVG; one unit of its view box is a millimetre."""
    width, height = _number(page.width_mm), _number(page.height_mm)
    bars = "".join(
        f"M{_number(b.x)} {_number(b.y)}h{_number(b.width)}v{_number(b.height)}"
        f"h{_number(-b.width)}z"
        for b in page.bars
    )
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f"<title>{escape(page.title)}</title>",
        f'<rect width="{width}" height="{height}" fill="white"/>',
        f'<path d="{bars}"/>',
    ]
    lines += [
        f'<circle cx="{_number(d.x)}" cy="{_number(d.y)}" r="{_number(d.radius)}"/>'
        for d in page.discs
    ]
    lines += [_svg_text(text) for text in page.texts]
    return "\n".join([*lines, "</svg>", ""])


def _svg_text(text: Text) -> str:
    anchor = ' text-anchor="middle"' if text.centred else ""
    return (
        f'<text x="{_number(text.x)}" y="{_number(text.y)}" font-size="{_number(text.size)}" '
        f'font-family="Helvetica, Arial, sans-serif"{anchor}>{escape(text.text)}</text>'
    )


def page_pdf(page: Page) -> bytes:
    """Write a page as PDF.

    One page, PDF 1.6 (ISO 32000-1, from memory); asks the viewer to print without scaling.
    """
    scale = _number(POINTS_PER_MM, 9)
    drawn = [f"{scale} 0 0 {scale} 0 0 cm 0 g"]
    drawn += [_pdf_bar(bar, page.height_mm) for bar in page.bars]
    if page.bars:
        drawn.append("f")
    drawn += [_pdf_disc(disc, page.height_mm) for disc in page.discs]
    content = "\n".join(drawn).encode("ascii")
    content += b"".join(_pdf_text(text, page.height_mm) for text in page.texts)
    packed = zlib.compress(content)
    box = " ".join(_number(side * POINTS_PER_MM) for side in (page.width_mm, page.height_mm))
    return _pdf_file(
        [
            b"<</Type/Catalog/Pages 2 0 R/ViewerPreferences<</PrintScaling/None>>>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            f"<</Type/Page/Parent 2 0 R/MediaBox[0 0 {box}]/Contents 4 0 R"
            "/Resources<</Font<</F 5 0 R>>>>>>".encode("ascii"),
            f"<</Length {len(packed)}/Filter/FlateDecode>>\nstream\n".encode("ascii")
            + packed
            + b"\nendstream",
            b"<</Type/Font/Subtype/Type1/BaseFont/Helvetica/Encoding/WinAnsiEncoding>>",
            b"<</Title(" + _pdf_string(page.title) + b")>>",
        ]
    )


def _pdf_file(objects: list[bytes]) -> bytes:
    """Number the objects (the first is the catalogue, the last the information), list places."""
    written = b"%PDF-1.6\n%\xe2\xe3\xcf\xd3\n"
    places = []
    for number, body in enumerate(objects, start=1):
        places.append(len(written))
        written += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    count = len(objects) + 1
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    return (
        written
        + b"xref\n0 %d\n0000000000 65535 f \n%s" % (count, table)
        + b"trailer\n<</Size %d/Root 1 0 R/Info %d 0 R>>\n" % (count, len(objects))
        + b"startxref\n%d\n%%%%EOF\n" % len(written)
    )


def _pdf_bar(bar: Bar, height: float) -> str:
    corner = (bar.x, height - bar.y - bar.height, bar.width, bar.height)
    return " ".join(_number(v) for v in corner) + " re"


def _pdf_disc(disc: Disc, height: float) -> str:
    """A circle of Bezier curves with handles of (4/3) tan(a/4), a the angle of one."""
    angle = 2 * pi / ARCS
    handle = 4 / 3 * tan(angle / 4)

    def place(turn: float, along: float) -> str:
        x = disc.x + disc.radius * (cos(turn) - along * sin(turn))
        y = height - disc.y + disc.radius * (sin(turn) + along * cos(turn))
        return f"{_number(x)} {_number(y)}"

    parts = [place(0, 0) + " m"]
    for arc in range(ARCS):
        begin, end = arc * angle, (arc + 1) * angle
        parts.append(f"{place(begin, handle)} {place(end, -handle)} {place(end, 0)} c")
    return " ".join([*parts, "f"])


def _pdf_text(text: Text, height: float) -> bytes:
    # Digits of Helvetica are 0.556 em wide (from memory); only figures are centred.
    x = text.x - (0.278 * len(text.text) * text.size if text.centred else 0)
    head = f"\nBT /F {_number(text.size)} Tf {_number(x)} {_number(height - text.y)} Td ("
    return head.encode("ascii") + _pdf_string(text.text) + b") Tj ET"


def _pdf_string(text: str) -> bytes:
    for special in ("\\", "(", ")"):
        text = text.replace(special, "\\" + special)
    return text.encode("cp1252", errors="replace")


def _number(value: float, digits: int = 5) -> str:
    """Fixed point without idle zeros: a hundredth of a micrometre."""
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") if round(value, digits) else "0"
