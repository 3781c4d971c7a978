"""How well gears are found: composed pictures of random looks, and pictures without any gear.

`python -m tests.benchmarks.finding [PICTURES [SEED]]`; with a number, nothing is written.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from skimage import data

from cogloupe.finding.segmentation import Region, find_gears

from ..helpers.composites import Composed, any_look, compose
from .common import report, table

PICTURES, SEED = 120, 11
"""Looks that the study draws, and where it begins."""
WITHOUT = (
    "coffee", "camera", "astronaut", "gravel", "brick", "hubble_deep_field", "retina", "moon",
    "chelsea", "coins", "page", "text", "rocket", "grass", "immunohistochemistry", "logo",
)  # fmt: skip
"""Photographs of `skimage.data` without a gear on them."""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was found on one picture; NaN where nothing was."""

    made: Composed
    count: str
    by_theory: bool
    centre_px: float
    outline_px: float
    far: float
    seconds: float


def outcome(made: Composed) -> Outcome:
    """Look for the gear on a composed picture and hold it against the truth."""
    start = time.process_time()
    found = find_gears(made.image)
    seconds = time.process_time() - start
    if not found:
        return Outcome(
            made=made, count="nothing", by_theory=False, centre_px=np.nan, outline_px=np.nan,
            far=np.nan, seconds=seconds,
        )  # fmt: skip
    region = found[0]
    apart = cKDTree(made.outline).query(region.outline)[0]
    centre = np.hypot(region.x - made.look.x, region.y - made.look.y)
    return Outcome(
        made=made, count=_count(region, made.look.teeth), by_theory=region.by_theory,
        centre_px=float(centre), outline_px=float(np.median(apart)),
        far=float(np.mean(apart > region.reach_px)), seconds=seconds,
    )  # fmt: skip


def _count(region: Region, teeth: int) -> str:
    if region.rivals:
        return "not sure"
    return "right" if region.teeth == teeth else "wrong"


def with_gears(pictures: int, seed: int) -> list[list[str]]:
    """Rows of the table of composed pictures, by what is hard about them."""
    rng = np.random.default_rng(seed)
    all_of = [outcome(compose(any_look(rng))) for _ in range(pictures)]
    groups = {
        "all": lambda look: True,
        "lying flat": lambda look: look.lean_deg == 0,
        "leaning up to 12°": lambda look: 0 < look.lean_deg <= 12,
        "leaning more": lambda look: look.lean_deg > 12,
        "contrast under 6 %": lambda look: abs(look.contrast) < 0.06,
        "something hides teeth": lambda look: look.hidden > 0,
        "more than 60 teeth": lambda look: look.teeth > 60,
    }
    return [
        _row(name, [o for o in all_of if chosen(o.made.look)]) for name, chosen in groups.items()
    ]


def _row(name: str, outcomes: list[Outcome]) -> list[str]:
    counts = [sum(o.count == kind for o in outcomes) for kind in ("right", "not sure", "nothing")]
    right = [o for o in outcomes if o.count == "right"]
    wrong = len(outcomes) - sum(counts)
    if not right:
        return [name, str(len(outcomes)), *map(str, counts), str(wrong), *["–"] * 5]
    return [
        name,
        str(len(outcomes)),
        *map(str, counts),
        str(wrong),
        f"{sum(o.by_theory for o in right)}",
        f"{np.median([o.centre_px for o in right]):.1f}",
        f"{np.median([o.outline_px for o in right]):.1f}",
        f"{100 * np.mean([o.far for o in right]):.0f} %",
        f"{np.median([o.seconds for o in outcomes]):.2f} / {max(o.seconds for o in outcomes):.2f}",
    ]


def without_gears(seed: int) -> list[list[str]]:
    """Rows of the table of other photographs: each whole, and a part of it turned."""
    rng = np.random.default_rng(seed)
    rows = []
    for name in WITHOUT:
        whole = getattr(data, name)()[..., :3] if name != "logo" else data.logo()[..., :3]
        side = int(0.7 * min(whole.shape[:2]))
        top, left = (int(rng.integers(0, size - side + 1)) for size in whole.shape[:2])
        part = np.rot90(whole[top : top + side, left : left + side], int(rng.integers(4)))
        found = [find_gears(np.ascontiguousarray(picture)) for picture in (whole, part)]
        taken = [str(region.teeth) for regions in found for region in regions]
        rows.append([name, ", ".join(taken) or "none"])
    return rows


def main(pictures: int, seed: int, write: bool) -> None:
    """Print both tables, and write them where asked."""
    head = (
        "looks", "pictures", "right", "not sure", "nothing", "wrong", "by rhythm", "centre, px",
        "outline, px", "beyond reach", "s, median / most",
    )  # fmt: skip
    parts = [
        f"{pictures} gears of 8 to 120 teeth drawn on photographs and patterns, 700 px: contrast 3 "
        "to 40 %, shadows, shade, turned faces, holes, letters, things that hide teeth, JPEG 60 to "
        "96; nothing is stated of them. `centre` and `outline` are medians over the right ones, "
        "the latter of the distance from the true outline; `beyond reach` is the share of the "
        "outline further off than `reach_px`, things that hide teeth included. Seconds are of the "
        "processor, imports left out.\n",
        table(head, with_gears(pictures, seed)),
        "Photographs of other things, each whole and a part of it turned:\n",
        table(("photograph", "taken for gears of so many teeth"), without_gears(seed)),
    ]
    if write:
        report("finding", "Finding the gear", parts)
    else:
        print("\n".join(parts))


if __name__ == "__main__":
    given = [int(argument) for argument in sys.argv[1:3]]
    count, first = [*given, *(PICTURES, SEED)[len(given) :]]
    main(count, first, write=not given)
