"""How a figure and its uncertainty are written for a person.

A figure comes with its standard uncertainty u; what is written is the expanded U = 2u (k = 2,
about 95 %), rounded to two significant digits, and the figure rounded to the same place (as the
GUM, JCGM 100:2008, 7.2.6 advises).
"""

from decimal import ROUND_HALF_UP, Decimal
from math import floor, isfinite, log10

from cogloupe_calibration.units import MM_PER_INCH

COVERAGE = 2.0
"""Coverage factor of every U: 95 % of normal errors (JCGM 100)."""
NOT_SEEN = "not seen"

_THOU_BELOW_MM = 2.54
"""A tenth of an inch: shops speak of thou below it (common practice, no source)."""


def expanded(u: float | None) -> float | None:
    """Expanded uncertainty U = 2u.

    None where u is missing, not finite or below zero; zero for a figure that is set, such as the
    cumulative pitch of tooth 1.

    Parameters
    ----------
    u : float or None
        Standard uncertainty.
    """
    if u is None or not isfinite(u) or u < 0:
        return None
    return COVERAGE * u


def resolved(value: float | None, u: float | None) -> bool:
    """Tell whether a figure is as large as its U.

    False also for a figure that was not measured. True where U is not known: there is nothing to
    hold the figure against, and the wording says so.

    Parameters
    ----------
    value : float or None
        The figure.
    u : float or None
        Its standard uncertainty.
    """
    if value is None or not isfinite(value):
        return False
    limit = expanded(u)
    return limit is None or abs(value) >= limit


def rounded(value: float, u: float | None, *, signed: bool = False) -> tuple[str, str | None]:
    """Round U to two significant digits and the figure to the same place.

    Parameters
    ----------
    value : float
        The figure.
    u : float or None
        Its standard uncertainty; without one, or where it is zero, the figure keeps four
        significant digits.
    signed : bool
        Write a plus before figures above zero.

    Returns
    -------
    value, limit : str
        The figure and U as text; None for U where there is none.
    """
    limit = expanded(u)
    if not limit:
        return _text(value, _place(value, digits=4), signed), None
    place = _place(limit, digits=2)
    return _text(value, place, signed), _text(limit, place, signed=False)


def _place(value: float, digits: int) -> int:
    """Power of ten of the last digit that is kept."""
    if value == 0:
        return 0
    place = floor(log10(abs(value))) - digits + 1
    # 0.0996 rounds to 0.10, one place higher than 0.0995 does.
    if _quantized(abs(value), place) >= Decimal(10).scaleb(place + digits - 1):
        place += 1
    return place


def _quantized(value: float, place: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(place), ROUND_HALF_UP)


def _text(value: float, place: int, signed: bool) -> str:
    number = _quantized(value, place)
    sign = "−" if number < 0 else "+" if signed and number > 0 else ""
    return f"{sign}{abs(number):f}"


def with_unit(text: str, unit: str) -> str:
    """Put a unit behind a number.

    Parameters
    ----------
    text, unit : str
        The degree sign stands close, other units after a space, an empty unit adds nothing.
    """
    return text + unit if unit in ("", "°") else f"{text} {unit}"


def with_uncertainty(
    value: float | None, u: float | None, unit: str, *, signed: bool = False
) -> str:
    """Write a figure as a person is shown it.

    ``12.3 ± 2.1 µm``; ``not resolved (U = 2.1 µm)`` where the figure is smaller than U; ``not
    seen`` where it was not measured; the bare figure where u is zero.

    Parameters
    ----------
    value : float or None
        The figure.
    u : float or None
        Its standard uncertainty (k = 1).
    unit : str
        Unit of both; may be empty.
    signed : bool
        Write a plus before figures above zero.
    """
    if value is None or not isfinite(value):
        return NOT_SEEN
    number, limit = rounded(value, u, signed=signed)
    if limit is None:
        return with_unit(number, unit) + ("" if u == 0 else " (U not known)")
    if not resolved(value, u):
        return f"not resolved (U = {with_unit(limit, unit)})"
    return with_unit(f"{number} ± {limit}", unit)


def length(value_mm: float | None, u_mm: float | None, inches: bool) -> str:
    """Write a length in millimetres, with inches or thou behind it where asked.

    Parameters
    ----------
    value_mm, u_mm : float or None
        Length and its standard uncertainty, mm.
    inches : bool
        Add the inch figure in parentheses: thou below a tenth of an inch, inches from there.
    """
    metric = with_uncertainty(value_mm, u_mm, "mm")
    if not inches or not resolved(value_mm, u_mm) or value_mm is None or not expanded(u_mm):
        return metric
    thou = abs(value_mm) < _THOU_BELOW_MM
    per_mm = (1000.0 if thou else 1.0) / MM_PER_INCH
    scaled_u = None if u_mm is None else u_mm * per_mm
    return f"{metric} ({with_uncertainty(value_mm * per_mm, scaled_u, 'thou' if thou else 'in')})"


def tooth_list(numbers: tuple[int, ...]) -> str:
    """Write tooth numbers shortly; ``1–3, 7``: runs of three and more are joined.

    Parameters
    ----------
    numbers : tuple of int
        In rising order.
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(_run(run) for run in runs)


def _run(run: list[int]) -> str:
    return f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run))


def clock(angle_deg: float) -> str:
    """Direction on the picture as a clock position.

    ``2 o'clock`` or ``half past 2``, to the nearest half hour.

    Parameters
    ----------
    angle_deg : float
        Polar angle, degrees, from the right, growing clockwise on the picture.
    """
    halves = round(angle_deg / 15 + 6) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"
