"""Lengths as a person writes them into a settings file: with a unit, kept in millimetres."""

from typing import Annotated

from pydantic import BeforeValidator

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import parse_length

LENGTH = "a length with its unit, such as 12.19mm, 0.48in or 45thou"
"""How a field that takes one is described."""


def _length(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError("not a length")
    try:
        return parse_length(value)
    except UseError as error:
        raise ValueError(str(error)) from error


Length = Annotated[float, BeforeValidator(_length)]
