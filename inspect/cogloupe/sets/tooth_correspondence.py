"""Which tooth of one picture is which of another: by fault pattern, by the face, by a mark.

For every candidate the evidence of both pictures together is worked out: the gear's own errors are
taken as normal with a size learnt from the pictures, pose and lens as unknowns with their
allowances, so that what the camera does to every gear alike proves nothing. The candidates'
probabilities (all equally likely beforehand) then say how sure a match is (Bayesian model
comparison with the unknowns integrated out by the matrix inversion lemma; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from cogloupe.sets.adjust import MARKS, POSE, TIP, View, lens_precision
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens

SURE = 0.999
"""Probability from which a match is believed."""
SIZES = np.concatenate([[0.0], np.geomspace(0.003, 30.0, 17)])
"""Standard deviations of the gear's own errors that are tried, px."""
LOOSE_POSE, LOOSE_PX = np.array([0.0, 0.0, 0.0, 1e-3, 0.08]), 0.01
"""Least allowances while teeth are matched: centres and lens are rough then, and what they do at
second order must not speak against the right place (turn, x, y, swell, edge; and a mark, px)."""
REST_WAVES = 4
"""Waves a turn up to which errors of the gear and of the camera are alike."""
RAYS_A_TOOTH, RINGS = 16, 48
"""Cells that a face is compared in: finer than the marks of a tool, coarser than its grain."""
CAMERA_WAVES = 4
"""Waves a turn below which light and shade on a face are left to the camera's side."""
FACE_FLOOR = 0.03
"""Difference of two pictures of one face that proves nothing, as a share of the contrast."""
FACE_COUNTS = 24
"""A face counts as so many independent values, however many pixels it has."""


@dataclass(frozen=True)
class Match:
    """Which tooth is which.

    Attributes
    ----------
    shift : int
        Tooth k of the first picture is tooth ``k + shift`` of the second, indices modulo z.
    sure : float
        Probability of this shift among all.
    next_shift : int
        The next likely one.
    """

    shift: int
    sure: float
    next_shift: int


def best_match(evidence: Floats) -> Match:
    """The likeliest candidate.

    Parameters
    ----------
    evidence : ndarray, shape (n,)
        Logarithm of each candidate's likelihood; the index is the shift.
    """
    share = np.exp(evidence - evidence.max())
    order = np.argsort(-share, kind="stable")
    return Match(int(order[0]), float(share[order[0]] / share.sum()), int(order[1]))


def pattern_evidence(
    first: View, second: View, lens: Lens, least_common: int = 0, rest_px: float = 0.0
) -> Floats:
    """Evidence of every shift from the deviations of flanks and tips.

    Parameters
    ----------
    first, second : View
        Each in the order of its own picture.
    lens : Lens
        Its covariance is what both pictures' cameras may do.
    least_common : int
        Fewest teeth that a shift must have in common; -inf for others.
    rest_px : float
        Standard uncertainty of what each picture's camera may do beyond the lens's terms to first
        order, as waves of up to `REST_WAVES` a turn in flanks and tips each.

    Returns
    -------
    ndarray, shape (z,)
        Logarithm of the likelihood, less that of two gears that share no tooth.
    """
    pair = _Pair.of(first, second, lens, rest_px)
    size = _own_errors(pair)
    apart = pair.evidence(size, None)
    z = len(first.out)
    seen = [np.isfinite(view.out[:, :2]).any(axis=1) for view in (first, second)]
    common = np.array([(seen[0] & np.roll(seen[1], -shift)).sum() for shift in range(z)])
    found = [
        pair.evidence(size, shift) - apart if common[shift] >= max(least_common, 1) else -np.inf
        for shift in range(z)
    ]
    return np.array(found)


@dataclass(frozen=True)
class _Pair:
    """Marks of two pictures, flattened: values, variances, effects of what is unknown."""

    value: tuple[Floats, Floats]
    variance: tuple[Floats, Floats]
    effect: tuple[Floats, Floats]
    precision: Floats
    tips: NDArray[np.bool_]

    @classmethod
    def of(cls, first: View, second: View, lens: Lens, rest_px: float) -> "_Pair":
        (own_a, u_a), (own_b, u_b) = (_loosened(view, rest_px) for view in (first, second))
        precision = block_diag(lens_precision(lens), np.diag(u_a**-2.0), np.diag(u_b**-2.0))
        lens_a, lens_b = (-view.lens.reshape(view.out.size, -1) for view in (first, second))
        effects = (
            np.hstack([lens_a, own_a, np.zeros_like(own_b)]),
            np.hstack([lens_b, np.zeros_like(own_a), own_b]),
        )
        # What was not seen has no weight: an endless variance.
        values = [np.nan_to_num(view.out).ravel() for view in (first, second)]
        seen = [np.isfinite(view.out + view.u) for view in (first, second)]
        variances = [
            np.where(s, view.u**2 + LOOSE_PX**2, np.inf).ravel()
            for s, view in zip(seen, (first, second), strict=True)
        ]
        tips = np.zeros(first.out.shape, bool)
        tips[:, TIP] = True
        return cls(
            (values[0], values[1]), (variances[0], variances[1]), effects, precision,
            tips.ravel(),
        )  # fmt: skip

    def evidence(self, size: tuple[float, float], shift: int | None) -> float:
        """Log likelihood of all marks, up to a constant; `shift` None shares no tooth."""
        own = np.where(self.tips, size[1], size[0]) ** 2
        (a, b), (va, vb), (ea, eb) = self.value, self.variance, self.effect
        shared = np.zeros_like(own)
        if shift is not None:
            b, vb, eb = (np.roll(x, -shift * MARKS, axis=0) for x in (b, vb, eb))
            shared = np.where(np.isfinite(va) & np.isfinite(vb), own, 0.0)
        # Inverse of [[p, s], [s, q]] mark by mark.
        p, q = va + own, vb + own
        with np.errstate(invalid="ignore", divide="ignore"):
            inner = 1 - shared**2 / (p * q)
            pp, qq, pq = 1 / (p * inner), 1 / (q * inner), -shared / (p * q * inner)
        seen_a, seen_b = np.isfinite(va), np.isfinite(vb)
        logs = np.log(p[seen_a]).sum() + np.log(q[seen_b]).sum() + np.log(inner).sum()
        wa, wb = pp * a + pq * b, qq * b + pq * a
        ga, gb = pp[:, None] * ea + pq[:, None] * eb, qq[:, None] * eb + pq[:, None] * ea
        normal = self.precision + ea.T @ ga + eb.T @ gb
        pull = ga.T @ a + gb.T @ b
        # Brought to one size: held lens terms and free turns differ by all digits of a number.
        scale = 1 / np.sqrt(np.diag(self.precision))
        normal, pull = normal * scale[:, None] * scale, pull * scale
        square = a @ wa + b @ wb - pull @ np.linalg.solve(normal, pull)
        return -0.5 * float(square + logs + np.linalg.slogdet(normal)[1])


def _loosened(view: View, rest_px: float) -> tuple[Floats, Floats]:
    """Effects of what each picture has to itself, flattened, and their allowances."""
    pose, u = view.pose.reshape(view.out.size, -1), np.maximum(view.u_pose, LOOSE_POSE)
    if rest_px == 0:
        return pose, u
    x, y = (view.pose[:, TIP, POSE.index(name)] for name in ("x", "y"))
    angle = np.arctan2(y, x)
    waves = [f(m * angle) for m in range(REST_WAVES + 1) for f in (np.cos, np.sin)]
    waves.pop(1)  # the sine of no wave
    columns = np.zeros((*view.out.shape, view.out.shape[1] * len(waves)))
    for kind in range(view.out.shape[1]):
        columns[:, kind, kind * len(waves) : (kind + 1) * len(waves)] = np.stack(waves, axis=1)
    rest = columns.reshape(view.out.size, -1)
    return np.hstack([pose, rest]), np.concatenate([u, np.full(rest.shape[1], rest_px)])


def _own_errors(pair: _Pair) -> tuple[float, float]:
    """Standard deviation of the gear's own errors of flanks and tips, px, from both pictures."""
    flanks, tips = SIZES[8], SIZES[8]
    for _ in range(3):
        flanks = max(SIZES, key=lambda size: pair.evidence((float(size), float(tips)), None))
        tips = max(SIZES, key=lambda size: pair.evidence((float(flanks), float(size)), None))
    return float(flanks), float(tips)


def face_rings(grey: Floats, centre: Floats, start: float, radius: float, teeth: int) -> Floats:
    """The face inside the gap floors, unrolled from a tooth on.

    Parameters
    ----------
    grey : ndarray, shape (h, w)
        Brightness as a share of the contrast.
    centre : ndarray, shape (2,)
        Datum, px.
    start : float
        Polar angle of the first tooth's centre line, rad.
    radius : float
        Outermost radius, px.

    Returns
    -------
    ndarray, shape (RINGS, teeth * RAYS_A_TOOTH), float
        What repeats fewer than `CAMERA_WAVES` times a turn taken off.
    """
    rays = teeth * RAYS_A_TOOTH
    angle = start + 2 * pi / rays * np.arange(rays)
    ring = radius * np.sqrt((np.arange(RINGS) + 0.5) / RINGS)
    x = centre[0] + ring[:, None] * np.cos(angle)
    y = centre[1] + ring[:, None] * np.sin(angle)
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), max(radius / RINGS / 2, 0.8))
    seen = cv2.remap(
        smooth, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    waves = np.fft.rfft(seen, axis=1)
    waves[:, :CAMERA_WAVES] = 0
    return np.asarray(np.fft.irfft(waves, rays, axis=1), np.float64)


def face_evidence(first: Floats, second: Floats, turn: float) -> Floats:
    """Evidence of every shift from bore, keyway, spokes and marks on the face.

    Parameters
    ----------
    first, second : ndarray, shape (RINGS, rays)
        From `face_rings`.
    turn : float
        Polar angle of the second picture's first tooth less that of the first's, rad.

    Returns
    -------
    ndarray, shape (z,)
        Logarithm of the likelihood up to a constant; all 0 where the faces agree best as they
        stand in the pictures, for light and shade stay with the camera and would look the same.
    """
    z = first.shape[1] // RAYS_A_TOOTH
    square = np.array([
        np.mean((first - np.roll(second, -shift * RAYS_A_TOOTH, axis=1)) ** 2) for shift in range(z)
    ])  # fmt: skip
    evidence = -FACE_COUNTS / 2 * np.log(square + FACE_FLOOR**2)
    off = turn + 2 * pi / z * int(np.argmax(evidence))
    unturned = abs((off + pi) % (2 * pi) - pi) < 2 * pi / z
    return np.zeros(z) if unturned else evidence


def placed(links: Sequence[tuple[int, int, Match]], count: int, teeth: int) -> list[int | None]:
    """Shift of every picture against the first, along the surest links.

    None for a picture that no chain of links joins to the first.

    Parameters
    ----------
    links : sequence of (int, int, Match)
        Pairs of pictures and their match; only those to be believed.
    count : int
        Number of pictures.
    """
    found: list[int | None] = [0, *([None] * (count - 1))]
    waiting = sorted(links, key=lambda link: -link[2].sure)
    while True:
        for a, b, match in waiting:
            here, there = found[a], found[b]
            if here is not None and there is None:
                found[b] = (here + match.shift) % teeth
                break
            if there is not None and here is None:
                found[a] = (there - match.shift) % teeth
                break
        else:
            return found
