"""What speaks against a picture of a grid: few points, one side, blur, residuals, stated size."""

from math import hypot

import numpy as np

from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.grid_scale import GridScale
from cogloupe_calibration.lens import TERMS
from cogloupe_calibration.verdict import Finding, graded

ENOUGH_POINTS, MANY_POINTS = 40, 80
"""Points of a usable and of a good grid (our own judgement)."""
WIDE_SHARE = 0.6
"""Share of the frame's width and height that a good grid covers: beyond it a lens is guessed (our
own judgement)."""
SOFT_BLUR_PX, BLURRED_PX = 3.0, 5.0
"""Blur of a grid that is soft, and of one to be taken again (our own judgement)..."""
SOFT_SHARE, BLURRED_SHARE = 1 / 6, 1 / 4
"""... and the same in pitches: neighbouring marks then run into one another."""
ROUGH_RESIDUAL_SHARE, WRONG_RESIDUAL_SHARE = 0.02, 0.05
"""As for rulings: points off by these shares of a pitch are rough, or were not read right (our own
judgement)."""
GOOD_CORRECTION_PX, USABLE_CORRECTION_PX = 0.02, 0.1
"""Uncertainty of corrected places; a tenth of a pixel is what an uncalibrated lens leaves on a
small gear (our own judgement)."""
SEEN_LEAN_REL, STRONG_LEAN_REL = 0.01, 0.05
"""Change of scale over the frame from which a lean is told, and from which the grid is to be laid
flat (our own judgement)."""
UNEQUAL_REL = 0.002
"""Difference of scale across and down: twice what a printed sheet is gauged to with a caliper."""
REJECTED_SHARE = 0.1
"""Share of points that do not fit from which something lies on the grid (our own judgement)."""


def size_in_words(size: tuple[int, int]) -> str:
    """Write a size."""
    return f"{size[0]} x {size[1]}"


def grid_findings(grid: GridScale, size: tuple[int, int] | None) -> list[Finding]:
    """Find what speaks against a grid; empty where nothing does.

    The grid's own verdict is not looked at; `size` is its squares or dots across and down, as
    stated.
    """
    found = [_few(grid), _size(grid, size), _one_side(grid), _blurred(grid), _residual(grid)]
    found += [_correction(grid), _lean(grid), _unequal(grid), _rejected(grid)]
    return [finding for finding in found if finding is not None]


def _few(grid: GridScale) -> Finding | None:
    points = int(grid.points.used.sum())
    reason = f"{points} points seen, {ENOUGH_POINTS} are needed and {MANY_POINTS} are better"
    return graded(-points, -MANY_POINTS, -ENOUGH_POINTS, reason)


def _size(grid: GridScale, size: tuple[int, int] | None) -> Finding | None:
    if size is None:
        return None
    for picture in range(len(grid.fit.used)):
        place = _places(grid, picture)
        lines = np.ptp(np.array(list(place)), axis=0) + (grid.target.kind == "checkerboard") + 1
        seen = int(lines[0]), int(lines[1])
        whole = (_ends(grid, place, 0), _ends(grid, place, 1))
        if not any(_agrees(seen, whole, stated) for stated in (size, size[::-1])):
            at_least = "" if all(whole) else "at least "
            return Finding(
                "take it again",
                f"the grid shows {at_least}{size_in_words(seen)} {grid.target.marks}, stated "
                f"{size_in_words(size)}: another target, or its edges are covered",
            )
    return None


def _places(grid: GridScale, picture: int) -> dict[tuple[int, int], Floats]:
    """Where the used points of a picture were seen, by their numbers."""
    points = grid.points
    mine = (points.picture == picture) & points.used
    pairs = zip(points.index[mine], points.xy_px[mine], strict=True)
    return {(int(i), int(j)): xy for (i, j), xy in pairs}


def _agrees(seen: tuple[int, int], whole: tuple[bool, bool], stated: tuple[int, int]) -> bool:
    return all(
        n == wanted if known else n <= wanted
        for n, wanted, known in zip(seen, stated, whole, strict=True)
    )


def _ends(grid: GridScale, place: dict[tuple[int, int], Floats], axis: int) -> bool:
    """Whether the next lines beyond both sides would have been seen, had there been any."""
    lines = [number[axis] for number in place]
    return all(_ends_at(grid, place, axis, end) for end in (min(lines), max(lines)))


def _ends_at(grid: GridScale, place: dict[tuple[int, int], Floats], axis: int, end: int) -> bool:
    low = end == min(number[axis] for number in place)
    inward = np.zeros(2, dtype=np.int64)
    inward[axis] = 1 if low else -1
    beyond = [
        2 * xy - place[(i + inward[0], j + inward[1])]
        for (i, j), xy in place.items()
        if (i, j)[axis] == end and (i + inward[0], j + inward[1]) in place
    ]
    if not beyond:
        return False
    frame = np.array([grid.summary.width_px, grid.summary.height_px]) - 1
    xy, margin = np.array(beyond), grid.fit.period_px
    inside = np.all((xy > margin) & (xy < frame - margin), axis=1)
    return int(inside.sum()) >= 3 and bool(inside.mean() > 0.5)


def _one_side(grid: GridScale) -> Finding | None:
    assert grid.summary.valid_region_px is not None  # a grid always has one
    left, top, right, bottom = grid.summary.valid_region_px
    frame = (grid.summary.width_px, grid.summary.height_px)
    spans = (("x", left, right, frame[0]), ("y", top, bottom, frame[1]))
    for name, low, high, whole in spans:
        if not low < (whole - 1) / 2 < high:
            reason = f"all points lie on one side: {name} {low:.0f} to {high:.0f} of {whole} px"
            return Finding("take it again", reason)
    shares = [(high - low) / whole for _, low, high, whole in spans]
    if min(shares) >= WIDE_SHARE:
        return None
    return Finding(
        "usable",
        f"points cover {100 * shares[0]:.0f} % of the width and {100 * shares[1]:.0f} % of the "
        "height: distortion is known there only",
    )


def _blurred(grid: GridScale) -> Finding | None:
    soft = min(SOFT_BLUR_PX, SOFT_SHARE * grid.fit.period_px)
    blurred = min(BLURRED_PX, BLURRED_SHARE * grid.fit.period_px)
    reason = f"edges are blurred by {grid.blur_px:.1f} px, {soft:.1f} px is the most for good"
    return graded(grid.blur_px, soft, blurred, reason)


def _residual(grid: GridScale) -> Finding | None:
    rms = grid.fit.residual_rms_px
    share = rms / grid.fit.period_px
    reason = (
        f"points lie off an even grid by {rms:.2g} px, {100 * share:.1f} % of a "
        f"pitch (RMS), {100 * ROUGH_RESIDUAL_SHARE:.0f} % is the most for good"
    )
    return graded(share, ROUGH_RESIDUAL_SHARE, WRONG_RESIDUAL_SHARE, reason)


def _correction(grid: GridScale) -> Finding | None:
    u, good = 2 * grid.correction_u_px, 2 * GOOD_CORRECTION_PX
    reason = f"corrected places are known to U = {u:.2g} px only, {good:.2g} px is good"
    return graded(grid.correction_u_px, GOOD_CORRECTION_PX, USABLE_CORRECTION_PX, reason)


def _lean(grid: GridScale) -> Finding | None:
    # Lengths along the lean change by 4 g from corner to corner, those across it by 2 g.
    change = 3 * hypot(*(grid.fit.terms[TERMS.index(name)] for name in ("g1", "g2")))
    reason = (
        f"the target leans: the scale changes by {100 * change:.1f} % from corner to corner; a "
        "gear must lie in the same plane"
    )
    return graded(change, SEEN_LEAN_REL, STRONG_LEAN_REL, reason)


def _unequal(grid: GridScale) -> Finding | None:
    change = 2 * hypot(*(grid.fit.terms[TERMS.index(name)] for name in ("e1", "e2")))
    if change <= UNEQUAL_REL:
        return None
    return Finding(
        "usable",
        f"scales in two directions differ by {100 * change:.2g} %: a lean does that, and so does a "
        "printer; gauge the target both ways",
    )


def _rejected(grid: GridScale) -> Finding | None:
    rejected, seen = int((~grid.points.used).sum()), len(grid.points.used)
    if rejected <= REJECTED_SHARE * seen:
        return None
    return Finding("usable", f"{rejected} of {seen} points lie off and were left out")
