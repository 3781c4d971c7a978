"""Text and values from files and file names, made safe to show and to reckon with."""

import re
from collections.abc import Iterable, Iterator
from itertools import repeat
from pathlib import Path

LARGEST_NUMBER = 1e9
"""No length, angle or count that is read from a file has more in any unit used here; the squares
and cubes of what has stay finite."""

# Control characters, halves of characters, line ends of other alphabets, and what turns the
# direction of the text that follows (Unicode, general categories Cc, Cs, Zl, Zp; bidi controls).
_UNSEEN = "\x00-\x1f\x7f-\x9f\ud800-\udfff\u2028\u2029\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
_NOT_PRINTABLE = re.compile(f"[{_UNSEEN}]")
_NOT_PLAIN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


def printable(text: str) -> str:
    r"""Spell out what a terminal would obey rather than show.

    The same in one line; ``\x1b`` and the like where a control character stood, and for bytes of a
    file name that are no text.
    """
    return _NOT_PRINTABLE.sub(lambda found: _spelt(found.group()), text)


def _spelt(character: str) -> str:
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:  # how Python keeps a byte that is no text (PEP 383)
        code -= 0xDC00
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def shown_name(path: Path) -> str:
    """Name of a file as it can be shown and written down."""
    return printable(path.name)


def check_letters(data: object) -> None:
    """Refuse control characters, which no honest file holds, before any text is used.

    Raises
    ------
    ValueError
        Naming the place.
    """
    for name, value in _leaves(data):
        if isinstance(value, str) and _NOT_PLAIN.search(value):
            raise ValueError(f"{printable(name)} holds a control character: {value[:40]!r}")


def check_numbers(data: object) -> None:
    """Refuse numbers that no gear or picture has, before any of them is used.

    Raises
    ------
    ValueError
        Naming the place of a number beyond `LARGEST_NUMBER`.
    """
    for name, value in _leaves(data):
        if isinstance(value, int | float) and not abs(value) <= LARGEST_NUMBER:
            told = f"{value:.3g}" if isinstance(value, float) else "a number of too many digits"
            raise ValueError(f"{printable(name)} is beyond use: {told}")


def _leaves(data: object) -> Iterator[tuple[str, object]]:
    """Every value with the name it goes by, and every name itself."""
    left: list[Iterable[tuple[str, object]]] = [[("the file", data)]]
    while left:
        for name, item in left.pop():
            if isinstance(item, dict):
                yield from (("a name", key) for key in item)
                left.append(zip(map(str, item), item.values(), strict=True))
            elif isinstance(item, list | tuple):
                left.append(zip(repeat(name), item, strict=False))
            else:
                yield name, item
