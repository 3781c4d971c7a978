"""How a plan's figures are written: each length in millimetres, inches and thou."""

from dataclasses import dataclass
from fractions import Fraction
from math import degrees

from cogloupe_calibration.units import MM_PER_INCH

# Below each of these a digit more is written, so that two or three always stand.
_SMALL_MM = (0.1, 0.01, 0.001)


@dataclass(frozen=True)
class Row:
    """One figure.

    `values` are millimetres, inches and thou, or one text that is no length; `say` is what it means
    or what to do with it.
    """

    name: str
    values: tuple[str, ...]
    say: str = ""


@dataclass(frozen=True)
class Section:
    """Figures under one heading.

    The drawing of pitch errors belongs under the rows of one that `draws_spacing`.
    """

    title: str
    rows: tuple[Row, ...]
    note: str = ""
    draws_spacing: bool = False

    @property
    def has_lengths(self) -> bool:
        """True where a row holds a length, so that columns for the three units are needed."""
        return any(len(row.values) > 1 for row in self.rows)


def lengths(value_mm: float) -> tuple[str, str, str]:
    """Write a length as millimetres, inches and thou.

    To 1 µm and 0.1 thou; small lengths to as much finer as they need.
    """
    more = sum(abs(value_mm) < limit for limit in _SMALL_MM) if value_mm else 0
    inches = value_mm / MM_PER_INCH
    # Adding 0 after rounding turns -0.0 into 0.0.
    pairs = ((value_mm, 3), (inches, 4), (1000 * inches, 1))
    mm, inch, thou = (f"{round(value, d + more) + 0:.{d + more}f}" for value, d in pairs)
    return mm, inch, thou


def in_words(value_mm: float) -> str:
    """Write a length in the three units, in running text."""
    mm, inch, thou = lengths(value_mm)
    return f"{mm} mm = {inch} in = {thou} thou"


def length_row(name: str, value_mm: float, say: str = "") -> Row:
    """Row of a length."""
    return Row(name, lengths(value_mm), say)


def text_row(name: str, value: str, say: str = "") -> Row:
    """Row of something that is no length."""
    return Row(name, (value,), say)


def fraction(value: Fraction) -> str:
    """Write an exact ratio, with its decimal behind it.

    ``21/4 = 5.25``; ``800/7 ≈ 114.286`` where the decimal does not end; a whole number alone.
    """
    if value.denominator == 1:
        return str(value.numerator)
    decimal = f"{float(value):.6g}"
    sign = "=" if Fraction(decimal) == value else "≈"
    return f"{value} {sign} {decimal}"


def angle(radians: float) -> str:
    """Write an angle not below zero in degrees, decimal and with minutes: ``1.98° (1° 59′)``."""
    value = degrees(radians)
    whole, minutes = divmod(round(60 * value), 60)
    return f"{value:.2f}° ({whole}° {minutes}′)"


def share(over_mm: float, deeper_mm: float) -> str:
    """Sentence that turns a size found too large into a depth still to cut."""
    ratio = deeper_mm / over_mm
    return f"{over_mm:g} mm over: cut {deeper_mm:.3f} mm deeper (1 thou: {ratio:.2f} thou)"
