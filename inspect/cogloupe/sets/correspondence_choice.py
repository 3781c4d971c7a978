"""Which tooth of each picture is which: what told it, or what the person can do."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cogloupe.evaluation.pitch_and_runout import compute_pitch
from cogloupe.finding.colour import mix_colours
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.sets.adjust import View, adjust, rolled
from cogloupe.sets.set_reading import naming
from cogloupe.sets.tooth_correspondence import (
    SURE,
    best_match,
    face_evidence,
    face_rings,
    pattern_evidence,
)
from cogloupe.sets.views import Nominal, Sight, start_of, view_of
from cogloupe_calibration.arrays import Floats, Ints
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError, UseError

CONTRADICTS = 12.0
"""A named mark is doubted where the teeth favour another by so much in log likelihood."""
REST_PX = 0.05
"""What a lens of 1 or 2 % of distortion does beyond its terms to first order, and edges in another
light, px; common practice, no source."""
FACE_SHARE = 0.95
"""The face ends at this share of the gap floors' radius."""


@dataclass(frozen=True)
class Compared:
    """Pictures whose teeth are to be matched, each numbered in its own order.

    Attributes
    ----------
    lens : Lens
        What the camera may do.
    """

    photos: Sequence[Photo]
    sights: Sequence[Sight]
    nominal: Nominal
    lens: Lens
    settings: GearSettings

    def views(self) -> list[View]:
        """What each picture says of the marks."""
        return [view_of(sight, self.nominal, self.lens) for sight in self.sights]

    def starts(self) -> list[float]:
        """Angle of each picture's own first tooth, rad."""
        return [start_of(sight, self.nominal) for sight in self.sights]

    def firsts(self) -> list[int]:
        """Index of the tooth that a reading of each picture alone numbers 1."""
        found = []
        for photo, sight in zip(self.photos, self.sights, strict=True):
            with naming(photo):
                frame = (photo.width, photo.height)
                figures = compute_pitch(sight.measured, sight.axes, self.settings, frame)
                found.append(figures.first)
        return found


def parse_marks(text: str) -> list[tuple[int, int]]:
    """Read the marked teeth of a set.

    Parameters
    ----------
    text : str
        One entry a picture, with commas: a number, or two with a slash, the tooth shared with the
        picture before and the one shared with the next.

    Raises
    ------
    UseError
        Where an entry is neither.
    """
    found = []
    for entry in text.split(","):
        numbers = [part.strip() for part in entry.split("/")]
        if not (1 <= len(numbers) <= 2 and all(part.isdecimal() for part in numbers)):
            raise UseError(
                f"--mark {text}: '{entry.strip()}' is not the number of a tooth; name one for each "
                "picture, as --mark 3,17"
            )
        found.append((int(numbers[0]), int(numbers[-1])))
    return found


def check_marks(marks: Sequence[int], pictures: int, teeth: int) -> None:
    """See that marks can name one tooth in every picture.

    Raises
    ------
    UseError
        Where they are too few or many, or name a tooth that is not there.
    """
    if len(marks) != pictures:
        raise UseError(
            f"--mark names {len(marks)} teeth for {pictures} pictures: name the marked tooth in "
            "each, in their order, as --mark 3,17"
        )
    wrong = [mark for mark in marks if not 1 <= mark <= teeth]
    if wrong:
        raise UseError(f"--mark names tooth {wrong[0]}, but the gear has teeth 1 to {teeth}")


def matched_starts(compared: Compared, marks: Sequence[int] | None = None) -> list[float]:
    """Angle at which the first picture's first tooth stands in every picture; rad.

    Parameters
    ----------
    compared : Compared
        Whole gears.
    marks : sequence of int, optional
        Number of one and the same tooth in each picture, as read alone.

    Raises
    ------
    PhotoError
        Where the teeth cannot be told from one another.
    UseError
        Where the marks contradict the teeth.
    """
    start, first = compared.starts(), compared.firsts()
    z = len(compared.sights[0].order)
    if marks is not None:
        check_marks(marks, len(start), z)
    found = [start[0]]
    for n, evidence in enumerate(_whole_evidence(compared), start=1):
        names = (compared.photos[0].name, compared.photos[n].name)
        # Number, in this picture, of the tooth that is 1 in the first, for every shift.
        numbers = (first[0] + np.arange(z) - first[n]) % z + 1
        if marks is None:
            shift = _surest(evidence, names, numbers)
        else:
            shift = (first[n] + marks[n] - first[0] - marks[0]) % z
            _check_mark(evidence, shift, names, numbers, (marks[0], marks[n]))
        found.append(start[n] + shift * 2 * np.pi / z)
    return found


def _whole_evidence(compared: Compared) -> list[Floats]:
    """Evidence of every shift of each later picture against the first, from teeth and face."""
    views, start = compared.views(), compared.starts()
    faces = [
        _face(photo, sight, at)
        for photo, sight, at in zip(compared.photos, compared.sights, start, strict=True)
    ]
    found = []
    for view, face, at in zip(views[1:], faces[1:], start[1:], strict=True):
        evidence = pattern_evidence(views[0], view, compared.lens, rest_px=REST_PX)
        evidence = evidence + face_evidence(faces[0], face, at - start[0])
        likely = best_match(evidence).shift
        pair = adjust([views[0], rolled(view, likely)], compared.lens, compared.lens)
        # Where even the best place leaves more than the noise, all evidence counts for less.
        found.append(evidence / max(pair.misfit, 1.0) ** 2)
    return found


def _face(photo: Photo, sight: Sight, start: float) -> Floats:
    """The face inside the gap floors, unrolled from the picture's own first tooth on."""
    measured = sight.measured
    grey = mix_colours(photo.pixels, measured.region.weights)
    low, high = np.percentile(grey[::8, ::8], [2, 98])
    grey = (np.asarray(grey, np.float64) - low) / max(high - low, 1e-9)
    radius = FACE_SHARE * measured.teeth.root_radius
    return face_rings(grey, sight.axes.datum, start, radius, len(sight.order))


def _surest(evidence: Floats, names: tuple[str, str], numbers: Ints) -> int:
    match = best_match(evidence)
    if match.sure < SURE:
        raise PhotoError(
            f"which tooth is which cannot be told: tooth 1 of {names[0]} may be tooth "
            f"{numbers[match.shift]} or {numbers[match.next_shift]} of {names[1]}; "
            "the teeth are too even and nothing on the face tells; put a dot on one tooth "
            "and name its number in each picture, as --mark 3,17"
        )
    return match.shift


def _check_mark(
    evidence: Floats, shift: int, names: tuple[str, str], numbers: Ints, marks: tuple[int, int]
) -> None:
    best = int(np.argmax(evidence))
    if evidence[best] - evidence[shift] > CONTRADICTS:
        better = (numbers[best] + marks[0] - 2) % len(evidence) + 1
        raise UseError(
            f"--mark says that tooth {marks[0]} of {names[0]} is tooth {marks[1]} of {names[1]}, "
            f"but the teeth themselves say it is tooth {better}: look at the numbers again"
        )
