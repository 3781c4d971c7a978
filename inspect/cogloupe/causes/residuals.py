"""Whether what the causes found leave of the figures that all teeth share is within reason.

Flank places can always be laid to some scatter; thickness, depth, floors and slopes cannot. What
they stray from the best explanation is held against all that a good gear and its picture do.
"""

from dataclasses import replace

import numpy as np

from cogloupe.causes.model import Field
from cogloupe.causes.pattern_layout import SHARED
from cogloupe.causes.ranking import by_chance

ORDINARY = {
    "thickness": 0.01, "root": 0.02, "tip": 0.02, "corner": 0.03, "slope_left": 0.005,
    "slope_right": 0.005, "floor": 0.01,
}  # fmt: skip
"""What a good gear strays by from its drawing, standard deviations in modules, the floor ratio's as
it is (common practice, no source)."""
UNLIKELY = 1e-3
"""Chance below which what is left is not laid to chance."""


def strained(place: Field) -> bool:
    """Tell whether the shared figures stray from what was found more than chance lets them.

    Parameters
    ----------
    place : Field
        A reading with the causes that were found left open.

    Notes
    -----
    Chi-square of all figures less that of the flanks alone, both with what is left open taken
    out; its tail by Wilson and Hilferty's cube root (from memory).
    """
    observed, flanks = place.observed, 2 * place.observed.design.teeth
    module = 0.0 if observed.design.drawn is None else 1e3 * observed.design.drawn.module_mm
    noise = observed.noise.copy()
    for name, share in ORDINARY.items():
        at = flanks + SHARED.index(name)
        noise[at] = np.hypot(noise[at], share * (1.0 if name == "floor" else module))
    whole = Field(replace(observed, noise=noise), place.taken, place.rough)
    alone = replace(observed, value=observed.value.copy(), noise=noise)
    alone.value[flanks:] = np.nan
    all_of_it, freedoms = _chi_square(whole)
    of_flanks, fewer = _chi_square(Field(alone, place.taken, place.rough))
    return _tail(all_of_it - of_flanks, freedoms - fewer) < UNLIKELY


def _chi_square(place: Field) -> tuple[float, int]:
    """Chi-square of a reading and its freedoms, what is left open taken out."""
    back = place.background("none", 0.0)
    figures = place.observed.value[back.seen]
    return float(figures @ back.residual), len(figures) - place.open_count


def _tail(chi_square: float, freedoms: int) -> float:
    """Chance of a chi-square as large or larger."""
    if freedoms < 1:
        return 1.0
    spread = 2 / (9 * freedoms)
    deviate = ((max(chi_square, 0.0) / freedoms) ** (1 / 3) - 1 + spread) / spread**0.5
    return 1.0 if deviate <= 0 else by_chance(deviate**2, 1, 1) / 2
