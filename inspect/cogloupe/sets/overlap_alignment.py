"""Which partial pictures of a gear share which teeth."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from cogloupe.inputs.photo import Photo
from cogloupe.sets.correspondence_choice import Compared, check_marks
from cogloupe.sets.tooth_correspondence import SURE, Match, best_match, pattern_evidence, placed
from cogloupe_calibration.errors import PhotoError, UseError

LEAST_COMMON = 3
"""Fewest teeth by which two pictures are joined: fewer hardly tell a turn from a shift."""

Link = tuple[int, int, Match]


def linked_starts(
    compared: Compared, marks: Sequence[tuple[int, int]] | None = None
) -> list[float]:
    """Angle at which one and the same tooth stands in every partial picture.

    Rad; the tooth is the first of the first picture's own order.

    Parameters
    ----------
    marks : sequence of (int, int), optional
        For each picture the tooth shared with the one before and the one after, as read alone.

    Raises
    ------
    PhotoError
        Where a picture cannot be joined, or the links contradict one another.
    UseError
        Where marks do not fit the pictures.
    """
    z, count = len(compared.sights[0].order), len(compared.photos)
    links = _pattern_links(compared) if marks is None else _marked_links(compared, marks)
    shifts = placed(links, count, z)
    lost = [photo for photo, shift in zip(compared.photos, shifts, strict=True) if shift is None]
    if lost:
        raise PhotoError(_cannot_join(lost[0], compared.photos))
    found = [shift for shift in shifts if shift is not None]
    for a, b, match in links:
        if (found[a] + match.shift - found[b]) % z:
            names = [compared.photos[n].name for n in (a, b)]
            raise PhotoError(
                f"the pictures contradict one another: {names[0]} and {names[1]} share teeth that "
                "the other overlaps put elsewhere; is --teeth right, and are all pictures of one "
                "gear? Else name shared teeth with --mark"
            )
    starts = compared.starts()
    return [at + shift * 2 * np.pi / z for at, shift in zip(starts, found, strict=True)]


def _pattern_links(compared: Compared) -> list[Link]:
    """Pairs of pictures that the teeth themselves say share some.

    Neighbours in the order given are expected to. Any other pair must say so the more clearly the
    more pairs and places there are to fall for: the chance that some place of two unrelated
    pictures seems so many times likelier than none is at most one in as many.
    """
    views = compared.views()
    count, z = len(views), len(compared.sights[0].order)
    links = []
    for a, b in combinations(range(count), 2):
        evidence = pattern_evidence(views[a], views[b], compared.lens, LEAST_COMMON)
        # That they share no tooth at all is a candidate as well.
        neighbours = b - a == 1 or (a, b) == (0, count - 1)
        apart = 0.0 if neighbours else np.log(z * count * (count - 1) / 2)
        match = best_match(np.append(evidence, apart))
        if match.shift < z and match.sure > SURE:
            links.append((a, b, match))
    return links


def _marked_links(compared: Compared, marks: Sequence[tuple[int, int]]) -> list[Link]:
    """Links between neighbours by the teeth that the person named in both."""
    z, first = len(compared.sights[0].order), compared.firsts()
    for side in (0, 1):
        check_marks([mark[side] for mark in marks], len(compared.photos), z)
    links = []
    for n in range(1, len(marks)):
        before, after = first[n - 1] + marks[n - 1][1], first[n] + marks[n][0]
        for which, number, index in ((n - 1, marks[n - 1][1], before), (n, marks[n][0], after)):
            fits = compared.sights[which].measured.fits
            if not np.isfinite(fits.unwound[(index - 1) % z]).any():
                raise UseError(
                    f"--mark names tooth {number} of {compared.photos[which].name}, which is not "
                    "seen there: read that picture alone (--partial) for its numbers"
                )
        links.append((n - 1, n, Match((after - before) % z, 1.0, 0)))
    return links


def _cannot_join(lost: Photo, photos: Sequence[Photo]) -> str:
    others = "the other picture" if len(photos) == 2 else "any of the others"
    return (
        f"{lost.name} cannot be joined to {others}: too few teeth are shared (at least "
        f"{LEAST_COMMON}, more where the teeth are even), or their errors are too alike to tell "
        "which they are; overlap the pictures more, or put dots on shared teeth and name them, as "
        "--mark 9,3/9,2"
    )
