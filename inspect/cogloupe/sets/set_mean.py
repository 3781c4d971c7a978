"""Figures that an adjustment of several pictures leaves alone: the mean of the pictures' own."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from cogloupe.evaluation.budget import IN_WORDS
from cogloupe.reading.models import BudgetLine, Reading
from cogloupe.reading.photo_set import PhotoSet

Numbers = dict[str, Any]

ADJUSTED_OF_TOOTH = {
    "number", "centre_deg", "left", "right", "thickness_mm", "u_thickness_mm",
}  # fmt: skip
ADJUSTED_OF_FLANK = {
    "position_deg", "u_position_deg", "single_pitch_um", "u_single_pitch_um",
    "cumulative_pitch_um", "u_cumulative_pitch_um", "status",
}  # fmt: skip
ADJUSTED_OF_GAP = {"number", "width_mm", "u_width_mm", "pin_radius_mm"}
MEAN_OF_SUMMARY = ("tip_", "root_", "depth_", "floor_", "profile_", "pressure_")
"""How the names of those figures of the summary begin, beside u_."""
OWN_SOURCES = {IN_WORDS[name] for name in ("noise", "bevel", "corners", "texture")}
"""Sources of what each flank has to itself in one picture."""


def mean_of_the_rest(reading: Reading, alone: Sequence[Reading], offsets: Sequence[int]) -> Reading:
    """Put means over pictures in place of figures that only one picture gave.

    Parameters
    ----------
    reading : Reading
        Of the adjusted set.
    alone : sequence of Reading
        Of each picture by itself.
    offsets : sequence of int
        Tooth of index k of the reading has index ``k + offset`` in the picture's own.

    Notes
    -----
    Uncertainties are the root mean square of the pictures' own: edge level and scale, which make
    up most of them, are shared. A figure that some pictures do not show is the mean of the others.
    """
    whole = reading.model_dump()
    parts = [one.model_dump() for one in alone]

    def of_tooth(name: str, k: int) -> list[Numbers]:
        n = len(whole["teeth"])
        return [part[name][(k + off) % n] for part, off in zip(parts, offsets, strict=True)]

    for k, tooth in enumerate(whole["teeth"]):
        own = of_tooth("teeth", k)
        _average(tooth, own, lambda name: name not in ADJUSTED_OF_TOOTH)
        for side in ("left", "right"):
            flanks = [one[side] for one in own]
            _average(tooth[side], flanks, lambda name: name not in ADJUSTED_OF_FLANK)
    for k, gap in enumerate(whole["gaps"]):
        _average(gap, of_tooth("gaps", k), lambda name: name not in ADJUSTED_OF_GAP)
    _average(whole["summary"], [p["summary"] for p in parts], _of_summary)
    for name in ("gap_mean", "profile"):
        if whole.get(name) is not None:
            _average(whole[name], [p[name] for p in parts if p[name] is not None], lambda _: True)
    return Reading.model_validate(whole)


def _of_summary(name: str) -> bool:
    return name.removeprefix("u_").startswith(MEAN_OF_SUMMARY)


def _average(into: Numbers, parts: Sequence[Numbers], chosen: Callable[[str], bool]) -> None:
    """Put the mean of the parts' numbers in the place of the chosen ones, also inside tables."""
    for name, value in into.items():
        values = [part[name] for part in parts if part[name] is not None]
        if not chosen(name) or not values or isinstance(values[0], str | bool):
            continue
        if isinstance(values[0], dict):
            if value is not None:
                _average(value, values, lambda _: True)
        elif isinstance(values[0], list | tuple):
            if len({len(v) for v in values}) == 1:
                into[name] = tuple(_mean(name, column) for column in zip(*values, strict=True))
        else:
            into[name] = _mean(name, values)


def _mean(name: str, values: Sequence[Any]) -> float | None:
    known = [float(v) for v in values if v is not None]
    if not known:
        return None
    if name.startswith("u_"):
        return float(np.sqrt(np.mean(np.square(known))))
    return float(np.mean(known))


def grouped(budget: Sequence[BudgetLine], pictures: PhotoSet) -> tuple[BudgetLine, ...]:
    """Join lines of one figure and source, as squares add.

    Parameters
    ----------
    pictures : PhotoSet
        Its scatter stands for all that each flank has to itself.
    """
    own = {
        "source": f"scatter of {len(pictures.pictures)} pictures (type A)",
        "value": f"{pictures.repeatability_um or 0:.2g} µm a flank and picture",
        "distribution": f"t, {pictures.degrees_of_freedom} degrees of freedom",
    }
    joined: dict[tuple[str, str], BudgetLine] = {}
    for line in budget:
        named = line.model_copy(update=own) if line.source in OWN_SOURCES else line
        key = (named.figure, named.source)
        before = joined.get(key, named.model_copy(update={"contribution": 0.0}))
        both = float(np.hypot(before.contribution, named.contribution))
        joined[key] = before.model_copy(update={"contribution": both})
    return tuple(joined.values())
