"""A figure of a pair with what is not known of it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Known:
    """A figure and its standard uncertainty."""

    value: float
    u: float
