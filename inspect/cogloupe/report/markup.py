"""What all pages are written with: templates, filters, and pictures that stand inside the page."""

import re
from base64 import b64encode
from collections.abc import Callable
from functools import cache
from html import escape

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:µm|mm|in|thou)\b)")


@cache
def page_template(name: str, **filters: Callable[..., str]) -> Template:
    """Load a page's template, once.

    Parameters
    ----------
    name : str
        File in this package's folder of templates.
    **filters
        Further filters beside `glued` and `symbol` (`symbol_html`).

    Returns
    -------
    Template
    """
    environment = Environment(
        loader=PackageLoader("cogloupe.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters.update(glued=glued, symbol=symbol_html, **filters)
    return environment.get_template(name)


def data_uri(image: bytes) -> str:
    """Write a picture as a data address.

    Parameters
    ----------
    image : bytes
        PNG or JPEG.

    Returns
    -------
    str
    """
    kind = "png" if image.startswith(b"\x89PNG") else "jpeg"
    return f"data:image/{kind};base64,{b64encode(image).decode()}"


def symbol_html(symbol: str) -> Markup:
    """Set the part of a symbol after its underscore as a subscript.

    Parameters
    ----------
    symbol : str
        Such as ``f_p``.

    Returns
    -------
    Markup
    """
    stem, _, below = symbol.partition("_")
    lowered = f"<sub>{escape(below)}</sub>" if below else ""
    return Markup(f"<i>{escape(stem)}</i>{lowered}")


def glued(text: str) -> str:
    """Keep a figure, its U and its unit on one line.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        The text with unbreakable spaces round plus-minus signs and before units.
    """
    text = text.replace(" ± ", "\u00a0±\u00a0")
    return _BEFORE_UNIT.sub("\u00a0", text)
