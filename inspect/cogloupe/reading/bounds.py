"""How far the numbers of a gear may go: wide of everything that is cut small, short of nonsense."""

from typing import Annotated

from pydantic import Field

from cogloupe_calibration.units import MM_PER_INCH

MOST_TEETH = 2000
"""On a picture of 8000 px each then has 12 px of the rim (our own judgement)."""
SMALLEST_MODULE_MM, LARGEST_MODULE_MM = 0.02, 200.0
"""From watch wheels to mill gears (common practice, no source)."""
FINEST_UM_PER_PX, COARSEST_UM_PER_PX = 0.001, 100_000.0
"""From beyond what light resolves to a gear of 100 m on a thousand pixels."""
MOST_ON_A_PICTURE = 1000
"""Gears that can be told apart on one picture."""

TeethCount = Annotated[int, Field(ge=3, le=MOST_TEETH)]
ToothNumber = Annotated[int, Field(ge=1, le=MOST_TEETH)]
ModuleMm = Annotated[float, Field(ge=SMALLEST_MODULE_MM, le=LARGEST_MODULE_MM, allow_inf_nan=False)]
DiametralPitch = Annotated[
    float,
    Field(
        ge=MM_PER_INCH / LARGEST_MODULE_MM, le=MM_PER_INCH / SMALLEST_MODULE_MM, allow_inf_nan=False
    ),
]
MicrometresPerPixel = Annotated[
    float, Field(ge=FINEST_UM_PER_PX, le=COARSEST_UM_PER_PX, allow_inf_nan=False)
]
SidePx = Annotated[int, Field(ge=1, le=1_000_000)]
