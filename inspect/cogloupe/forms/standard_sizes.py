"""Standard modules and diametral pitches."""

from cogloupe_calibration.units import MM_PER_INCH

# ISO 54:1996 series I and II, 0.2 to 20 mm (from memory).
MODULES_MM = (
    0.1, 0.12, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 0.75, 0.8, 0.9, 1.0,
    1.125, 1.25, 1.375, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 7.0,
    8.0, 9.0, 10.0, 11.0, 12.0, 14.0, 16.0, 18.0, 20.0,
)  # fmt: skip

# Diametral pitches in general use (common practice, no source).
DIAMETRAL_PITCHES = (
    2, 2.5, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30, 32, 36, 40, 44, 48, 52, 56,
    60, 64, 72, 80, 96, 120, 128, 200,
)  # fmt: skip

AS_SEEN_WITHIN = 0.015
"""Share within which a module seen is taken for the standard one: half the step between the closest
sizes of the list that are in use (module 0.7 and 0.75 lie 7 % apart, 48 and 52 DP 8 %), less what
the tips of a blank turned to size leave open (1 %, common practice, no source)."""


def nearest_standard_module(module_mm: float) -> float:
    """Standard size nearest to a module seen on a picture.

    A module or 25.4 / DP within 1.5 % of what was seen, else the value itself, mm.
    """
    sizes = (*MODULES_MM, *(MM_PER_INCH / p for p in DIAMETRAL_PITCHES))
    nearest = min(sizes, key=lambda size: abs(size / module_mm - 1))
    return nearest if abs(nearest / module_mm - 1) < AS_SEEN_WITHIN else module_mm


def standard_sizes_near(module_mm: float, within: float) -> list[tuple[float, str, bool]]:
    """Standard sizes about a module, in both systems.

    Module, mm, its name, and whether it is stated in diametral pitch; the module itself is left
    out.

    Parameters
    ----------
    within : float
        Largest relative difference.
    """
    sizes = [(size, f"module {size:g} mm", False) for size in MODULES_MM]
    sizes += [(MM_PER_INCH / pitch, f"{pitch:g} DP", True) for pitch in DIAMETRAL_PITCHES]
    return [size for size in sizes if 1e-4 < abs(size[0] / module_mm - 1) < within]
