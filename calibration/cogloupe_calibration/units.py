"""Lengths as people write them, with a unit: ``12.19mm``, ``0.4792in``, ``45thou``."""

import re

from cogloupe_calibration.errors import UseError

MM_PER_INCH = 25.4
"""Exact, by the definition of the inch."""

SHORTEST_MM, LONGEST_MM = 1e-6, 1e5
"""A nanometre and a hundred metres: what is said of a gear or its picture lies between."""

_MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "um": 1e-3,
    "µm": 1e-3,
    "μm": 1e-3,
    "in": MM_PER_INCH,
    '"': MM_PER_INCH,
    "inch": MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
}
"""Exact; the two signs for micro look alike and both come from keyboards."""

_LENGTH = re.compile(r"^\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\s\d]*)\s*$")


def as_typed(text: str) -> int | float | str:
    """What was typed into a field: a number where it is one, with a point or a comma."""
    for kind in (int, float):
        try:
            return kind(text.replace(",", "."))
        except ValueError:
            continue
    return text


def parse_length(text: str) -> float:
    """Read a length written with its unit, as millimetres.

    A positive number followed by mm, cm, um, in or thou; a comma may stand for the point.

    Raises
    ------
    UseError
        Where the text is not a number with a known unit, or not above zero.
    """
    comma = text.count(",") == 1 and "." not in text
    match = _LENGTH.match(text.replace(",", ".") if comma else text)
    if match is None:
        raise UseError(f"'{text}' is not a length: write a number and its unit, such as 12.19mm")
    number, unit = match.groups()
    if unit == "":
        raise UseError(f"'{text}' has no unit: write {number}mm, {number}in or {number}thou")
    if unit.lower() not in _MM_PER_UNIT:
        raise UseError(f"unit '{unit}' in '{text}' is not known: use mm, cm, um, in or thou")
    length = float(number) * _MM_PER_UNIT[unit.lower()]
    if not length > 0:
        raise UseError(f"length '{text}' must be above zero")
    if not SHORTEST_MM <= length <= LONGEST_MM:
        raise UseError(f"length '{text}' must lie between {SHORTEST_MM:g} and {LONGEST_MM:g} mm")
    return length
