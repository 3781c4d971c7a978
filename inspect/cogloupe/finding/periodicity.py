"""Count teeth about a centre by their rhythm: no size, scale or number need be known.

The directions of edges are laid out by angle and by the logarithm of the radius, so that turning a
gear and enlarging it become shifts. A theoretical tooth then has as many harmonics round the turn
as its number tells; they are held against those of the picture for all numbers, sizes and turns at
once. What is even round the turn (turned rings, a rim) has no rhythm and does not count.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import ceil, cos, hypot, log2, pi, sin

import cv2
import numpy as np

from cogloupe.finding.centre_search import likely_centres
from cogloupe.finding.edge_directions import Directions
from cogloupe.finding.region import may_be_meant
from cogloupe.finding.tooth_harmonics import (
    HARMONICS,
    ROW,
    ROWS,
    ROWS_PADDED,
    Spectrum,
    theory,
    tooth_harmonics,
)
from cogloupe_calibration.arrays import Floats, Ints

USUAL_TEETH, FINE_TEETH = (6, 130), (131, 400)
"""Numbers of teeth that are looked for at first, and where none of them is clear."""
LEAST_RADIUS = 0.055
"""Radius of the first row, as a share of the picture's longer side."""
LEAST_ANGLES = 512
"""Places round the turn are a power of two with more than two for the last harmonic's wave."""
TURNS = 48
"""Turns within a pitch that are told apart."""
LOOKED_INTO = 400
"""Pairs of number and size, most promising first, whose turn is looked for."""
NUMBERS, PROMISING, CLEARLY = 6, 1.2, 1.6
"""Numbers of teeth kept of each view; how much stronger than the next the first must be for
a better centre to be sought, and for nothing else to be tried."""
TURNS_BETTERED, GAIN = 2, 1.05
"""Times that a better centre is sought, as long as it makes the rhythm so much stronger."""
MOST_NEARER, NEARER_GAIN = 12, 1.15
"""Most rows by which one end may be nearer than the axis; and how much stronger the rhythm must be
for it."""
PLACES, LARGEST_WAVE, LEAST_WAVE = 64, 3.0, 0.5
"""Places round the turn at which the phase of a rhythm is looked at; largest wave of it that is
looked for, and least that is taken for a lean, rad."""
MOST_WOUND = 3
"""Turns that the phase winds up at most: teeth by which a number may be off."""
WOUND_NEAR = 3
"""How many of these are tried about a centre that is nearly right: the neighbouring numbers."""
REACH = 8
"""Harmonics beside a number's own into which a centre that is a little off spreads its rhythm."""


@dataclass(frozen=True)
class Slant:
    """What lean and a near camera make of a round gear.

    Attributes
    ----------
    oval : (float, float)
        Half the share by which it is longer along x than along y, and the same along the diagonals:
        places about its axis are stretched by ``((1 + a, b), (b, 1 - a))``.
    nearer : (float, float)
        Share by which it is larger at its right end, and at its lower end, than at its axis.
    """

    oval: tuple[float, float] = (0.0, 0.0)
    nearer: tuple[float, float] = (0.0, 0.0)

    def placed(self, ring: Floats) -> Floats:
        """Places about the axis, shape (..., 2), of places on the round gear, tip radii."""
        a, b = self.oval
        stretch = np.array([[1 + a, b], [b, 1 - a]])
        return np.asarray((ring @ stretch) * (1 + ring @ np.array(self.nearer))[..., None])


FLAT = Slant()
LEANING = tuple(
    Slant((half * cos(pi / 2 * k), half * sin(pi / 2 * k)))
    for half in (0.02, 0.045)
    for k in range(4)
)
"""Leans of 16 and 24 degrees, four ways."""


@dataclass(frozen=True, kw_only=True)
class Rhythm:
    """Teeth that repeat about a centre, in pixels of the reduced picture.

    Attributes
    ----------
    strength : float
        Mean agreement of edges along the theoretical outline, 0 to 1, less what every turn has.
    turn : float
        Polar angle of a tooth's centre, rad.
    """

    strength: float
    teeth: int
    x: float
    y: float
    tip_radius: float
    turn: float
    slant: Slant = FLAT

    @property
    def merit(self) -> float:
        """Strength, and more for a larger gear: chance agrees less with a long outline."""
        return float(self.strength * self.tip_radius**0.5)


def strongest_rhythms(
    directions: Directions, begun: Sequence[tuple[float, float]] = ()
) -> list[Rhythm]:
    """What repeats on a picture, best first.

    Several numbers about the best centres; the first is the likeliest.

    Parameters
    ----------
    directions : ndarray, shape (h, w), complex64
    begun : sequence of (float, float)
        Centres, px, that something else tells of: they are looked at first.

    Notes
    -----
    What is tried grows until one rhythm is clear of all others about its centre, if it may be the
    gear that is meant: centre after centre of a gear that lies flat, then finer teeth, then leaning
    gears.
    """
    places: Iterable[tuple[float, float]] = _places(directions, begun)
    views: list[View] = []
    for teeth, slants in ((USUAL_TEETH, (FLAT,)), (FINE_TEETH, (FLAT,)), (USUAL_TEETH, LEANING)):
        for place in places:
            here = [_about(directions, place, slant, teeth) for slant in slants]
            best = max(here, key=lambda view: view.merit)
            if best.clearness > PROMISING:
                here += _bettered(directions, best, best.rhythms[0])
            views = sorted([*views, *here], key=lambda view: -view.merit)
            told = views[0].rhythms[0]
            meant = may_be_meant((told.x, told.y), told.tip_radius, directions.shape)
            if meant and views[0].clearness > CLEARLY:
                return _all_rhythms(views)
        places = [(views[0].rhythms[0].x, views[0].rhythms[0].y)]
    # A centre that is off may favour a wrong number by a little, and each number sees its own way.
    flat = next(view for view in views if view.rhythms[0].slant == FLAT)
    likely = [(flat, told) for told in flat.rhythms[:2]]
    if views[0] is not flat:
        likely.insert(0, (views[0], views[0].rhythms[0]))
    for view, told in likely:
        views += _bettered(directions, view, told)
    return _all_rhythms(views)


def rhythms_near(
    directions: Directions, teeth: int, place: tuple[float, float], slant: Slant
) -> list[Rhythm]:
    """What repeats about a centre that is nearly right, and about better ones that it tells of.

    Of that number and others, best first.

    Parameters
    ----------
    directions : ndarray, shape (h, w), complex64
    teeth : int
        Number that was seen there, by whose teeth better ones are sought.
    place : (float, float)
        Centre, px.
    """
    view = _about(directions, place, slant, USUAL_TEETH if teeth <= USUAL_TEETH[1] else FINE_TEETH)
    own = next((told for told in view.rhythms if told.teeth == teeth), view.rhythms[0])
    return _all_rhythms([view, *_bettered(directions, view, own, wound=WOUND_NEAR)])


def _places(
    directions: Directions, begun: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    """Centres to look at; what takes time to find comes last."""
    yield from begun
    yield from likely_centres(directions)


def _all_rhythms(views: "list[View]") -> list[Rhythm]:
    """What all views show, best first."""
    found = [rhythm for view in views for rhythm in view.rhythms]
    return sorted(found, key=lambda rhythm: -rhythm.merit)


@dataclass(frozen=True)
class View:
    """What repeats about one centre at one slant.

    Attributes
    ----------
    rhythms : list of Rhythm
        Of different numbers of teeth, strongest first; at least one.
    rows : ndarray, shape (ROWS, angles), complex64
        Spectrum along each row of edge directions about the centre.
    teeth : (int, int)
        Fewest and most that were looked for.
    """

    rhythms: list[Rhythm]
    rows: Spectrum
    teeth: tuple[int, int]

    @property
    def merit(self) -> float:
        """Merit of the strongest."""
        return self.rhythms[0].merit

    @property
    def clearness(self) -> float:
        """How many times stronger than the next the strongest is."""
        return self.rhythms[0].strength / max(self.rhythms[1].strength, 1e-9)


def _bettered(directions: Directions, view: View, told: Rhythm, wound: int = 1) -> list[View]:
    """Views about better centres for a rhythm of a view, and for what shows there.

    Laid flat, and leaning where that makes them stronger; for the strongest of so many numbers
    that the phase may wind up by.
    """
    least = LEAST_RADIUS * max(directions.shape)
    found, best = [], view
    for _ in range(TURNS_BETTERED):
        before = told.slant
        for place, more in _better_places(told, best.rows, least)[:wound]:
            oval = (before.oval[0] + more[0], before.oval[1] + more[1])
            slants = [before]
            if hypot(*oval) * told.teeth > LEAST_WAVE:
                slants.append(replace(before, oval=oval))
            found += [_about(directions, place, slant, view.teeth) for slant in slants]
        better = max(found, key=lambda view: view.merit)
        if better.merit < GAIN * best.merit:
            break
        best, told = better, better.rhythms[0]
    nearer = _nearer_side(best.rhythms[0], best.rows, least)
    if any(nearer):
        told = best.rhythms[0]
        slant = replace(told.slant, nearer=nearer)
        found.append(_about(directions, (told.x, told.y), slant, view.teeth))
    return found


def _about(
    directions: Directions, place: tuple[float, float], slant: Slant, teeth: tuple[int, int]
) -> View:
    """Rhythms of numbers of teeth between two about a centre."""
    from scipy import fft  # slow to import, and seldom needed

    least = LEAST_RADIUS * max(directions.shape)
    laid_out = _laid_out(directions, place, slant, least, _angles(teeth[1]))
    rows = np.asarray(fft.fft(laid_out, axis=1) / laid_out.shape[1], np.complex64)
    answer, numbers, length = _answers(rows, teeth)
    sure = np.abs(answer).sum(axis=1) / length[:, None]
    best = np.argpartition(sure, -LOOKED_INTO, axis=None)[-LOOKED_INTO:]
    number, row = np.unravel_index(best, sure.shape)
    turns = np.arange(TURNS) * 2 * pi / TURNS
    waves = np.exp(1j * np.arange(1, HARMONICS + 1)[:, None] * turns)
    strength = (answer[number, :, row] @ waves).real / length[number][:, None]
    found: dict[int, Rhythm] = {}
    for k in np.argsort(strength.max(axis=1))[::-1]:
        z, turn = int(numbers[number[k]]), float(turns[strength[k].argmax()])
        radius = float(least * np.exp(ROW * row[k]))
        told = Rhythm(
            strength=float(strength[k].max()), teeth=z, x=place[0], y=place[1],
            tip_radius=radius, turn=turn / z, slant=slant,
        )  # fmt: skip
        found.setdefault(z, told)
        if len(found) == NUMBERS:
            break
    return View(list(found.values()), rows, teeth)


def _angles(most_teeth: int) -> int:
    """Places round the turn at which so many teeth are told by all their harmonics."""
    return int(max(LEAST_ANGLES, 2 ** ceil(log2(2 * HARMONICS * most_teeth + 2))))


def _laid_out(
    directions: Directions, place: tuple[float, float], slant: Slant, least: float, angles: int
) -> Directions:
    """Edge directions against the radius, by rows of growing radius and by angle."""
    radius = (least * np.exp(ROW * np.arange(ROWS))).astype(np.float32)[:, None, None]
    angle = np.arange(angles) * (2 * pi / angles)
    ring = slant.placed(np.stack([np.cos(angle), np.sin(angle)], axis=-1)).astype(np.float32)
    at = radius * ring + np.asarray(place, np.float32)
    pair = np.ascontiguousarray(directions).view(np.float32).reshape(*directions.shape, 2)
    no_second = np.empty(0, np.float32)  # the one map holds x and y
    found = cv2.remap(pair, at, no_second, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    against = np.exp(-2j * angle).astype(np.complex64)
    return np.asarray(found.view(np.complex64)[..., 0] * against)


def _answers(rows: Spectrum, teeth: tuple[int, int]) -> tuple[Spectrum, Ints, Floats]:
    """How the picture answers to theoretical teeth: by number, harmonic and row of the tip."""
    from scipy import fft

    numbers, ahead, behind, length = theory(*teeth)
    spectrum = fft.fft(np.ascontiguousarray(rows.T), ROWS_PADDED, axis=1)
    answer = np.zeros((len(numbers), HARMONICS, ROWS), np.complex64)
    for k in range(HARMONICS):
        harmonic = (k + 1) * numbers
        told = np.flatnonzero(harmonic < rows.shape[1] // 2)
        one = spectrum[harmonic[told]] * np.conj(ahead[told, k])
        other = np.conj(spectrum[-harmonic[told]]) * behind[told, k]
        # The conjugate of a series belongs to the conjugate spectrum, read backwards.
        both = one + np.roll(other[:, ::-1], 1, axis=1)
        answer[told, k] = fft.ifft(both, axis=1)[:, :ROWS]
    return answer, numbers, length


def _better_places(
    rhythm: Rhythm, rows: Spectrum, least: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Centres and ovals about which the rhythm would be strongest, best first.

    About a wrong centre the teeth come early on one side and late on the other: the phase of the
    rhythm waves once a turn, on an oval twice, which spreads its harmonic over those beside it. A
    number that is a little off winds the phase up round the turn.
    """
    z, radius = rhythm.teeth, rhythm.tip_radius
    angle = np.arange(PLACES) * (2 * pi / PLACES)
    beside = np.arange(-min(REACH, z - 1), REACH + 1)
    tip = round(float(np.log(radius / least)) / ROW)
    template = np.roll(tooth_harmonics(z)[0][0, 0], tip)[:ROWS]
    signal = (template @ rows[:, z + beside]) @ np.exp(1j * beside[:, None] * angle)
    wound = [signal * np.exp(-1j * turns * angle) for turns in range(-MOST_WOUND, MOST_WOUND + 1)]
    middle = radius / (1 + 2 / z) / z
    found = sorted((_waves_of(one) for one in wound), key=lambda waves: -waves[0])
    return [
        (
            (rhythm.x + float(shift[0]) * middle, rhythm.y + float(shift[1]) * middle),
            (float(oval[0]) / z, float(oval[1]) / z),
        )
        for _, shift, oval in found
    ]


def _waves_of(signal: Spectrum) -> tuple[float, Floats, Floats]:
    """Strength of a rhythm with the waves of its phase undone, and these: once and twice a turn."""
    (sizes, once), (_, twice) = _waves(1), _waves(2)
    shift = oval = len(sizes) // 2
    for _ in range(3):
        shift = int(np.abs(once @ (signal * twice[oval])).argmax())
        strength = np.abs(twice @ (signal * once[shift]))
        oval = int(strength.argmax())
    return float(strength[oval]), sizes[shift], sizes[oval]


def _nearer_side(rhythm: Rhythm, rows: Spectrum, least: float) -> tuple[float, float]:
    """Shares by which the gear is larger at its right and at its lower end than at its axis.

    Seen from near by and leaning, teeth keep their angles about the axis, but stand further out on
    the nearer side: the row in which they are found waves once a turn.
    """
    z, angle = rhythm.teeth, np.arange(32) * (2 * pi / 32)
    beside = np.arange(-min(REACH, z - 1), REACH + 1)
    tip = round(float(np.log(rhythm.tip_radius / least)) / ROW)
    template = tooth_harmonics(z)[0][0, 0]
    shifts = np.arange(-2 * MOST_NEARER, 2 * MOST_NEARER + 1)
    templates = np.stack([np.roll(template, tip + shift)[:ROWS] for shift in shifts])
    signal = (templates @ rows[:, z + beside]) @ np.exp(1j * beside[:, None] * angle)
    most = np.arange(-MOST_NEARER, MOST_NEARER + 1)
    size, east, south = (a.ravel() for a in np.meshgrid(most // 3, most, most))
    row = np.rint(size[:, None] + np.outer(east, np.cos(angle)) + np.outer(south, np.sin(angle)))
    found = signal[np.clip(row.astype(int) + 2 * MOST_NEARER, 0, len(shifts) - 1), np.arange(32)]
    strength = np.abs(found.sum(axis=1))
    best = int(strength.argmax())
    if strength[best] < NEARER_GAIN * np.abs(signal[2 * MOST_NEARER].sum()):
        return 0.0, 0.0
    return float(east[best]) * ROW, float(south[best]) * ROW


@cache
def _waves(times: int) -> tuple[Floats, Spectrum]:
    """Waves of phase that come so many times a turn, none in the middle.

    Sizes to east and to south, rad, and factors that undo them, shape (m, PLACES).
    """
    angle = np.arange(PLACES) * (2 * pi / PLACES)
    late = np.linspace(-LARGEST_WAVE, LARGEST_WAVE, 19)
    sizes = np.stack([w.ravel() for w in np.meshgrid(late, late)], axis=1)
    shapes = np.stack([-np.sin(times * angle), np.cos(times * angle)])
    return sizes, np.asarray(np.exp(1j * (sizes @ shapes)), np.complex64)
