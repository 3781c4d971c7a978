"""Several pictures of one gear in one least-squares adjustment.

Every picture shows the same *marks*: of each tooth the left flank, the right flank and the tip. How
far a mark stands out of the material from the perfect gear in its nominal place is, to first
order::

    out = gear + pose . (turn, x, y, swell, edge) - lens . (terms - terms used) + noise

`gear` stays with the mark wherever the gear lies, the lens stays with the camera, and the pose is
each picture's own. Marks seen in several pictures tell them apart: the closure principle by which
angle standards are calibrated, for any turns and places. The gear's own part is eliminated mark by
mark, so that what is left to solve is small, and the covariance comes out in two parts: noise that
each mark has to itself, and modes that move all of them together (block elimination, as usual in
geodetic adjustment; from memory). Lengths px, angles rad.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.linalg import block_diag

from cogloupe_calibration.arrays import Bools, Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import independent_sources, make_lens
from cogloupe_calibration.robust import scatter

MARKS, TIP = 3, 2
"""Marks of a tooth: left flank, right flank and, with this index, the tip."""
POSE = ("turn", "x", "y", "swell", "edge")
STRAYS = 5.0
"""A mark this many standard uncertainties off the other pictures' is left out: dirt that moved."""
STRAY_ROUNDS = 10
"""Turns of leaving strays out at the most; sets of pictures stand still after two to four."""
STATED_COUNTS = 20
"""The stated noise counts as much as so many degrees of freedom of the pictures' own scatter."""


@dataclass(frozen=True)
class View:
    """What one picture says of the marks, in the gear's own order of teeth.

    Attributes
    ----------
    out : ndarray, shape (z, 3)
        Px out of the material: left flank, right flank, tip; NaN where not seen.
    u : ndarray, shape (z, 3)
        Standard uncertainty of each by itself.
    pose : ndarray, shape (z, 3, 5)
        Effect of a unit of each of `POSE`.
    lens : ndarray, shape (z, 3, 8)
        Movement out of the material when the lens's terms grow by a unit.
    u_pose : ndarray, shape (5,)
        Standard uncertainty with which each of `POSE` is known beforehand to be 0.
    """

    out: Floats
    u: Floats
    pose: Floats
    lens: Floats
    u_pose: Floats


def rolled(view: View, shift: int) -> View:
    """A view with its teeth renumbered.

    Parameters
    ----------
    shift : int
        Tooth k of the result is the tooth of index ``k + shift``.
    """
    out, u, pose, lens = (
        np.roll(part, -shift, axis=0) for part in (view.out, view.u, view.pose, view.lens)
    )
    return View(out, u, pose, lens, view.u_pose)


@dataclass(frozen=True, kw_only=True)
class Adjusted:
    """The gear as all pictures show it.

    Attributes
    ----------
    gear : ndarray, shape (z, 3)
        Px out of the material; NaN where no picture shows the mark.
    noise : ndarray, shape (z, 3)
        Standard uncertainty that each mark has to itself, from the pictures' own scatter.
    lens : Lens
        Terms and their covariance.
    lens_modes : ndarray, shape (8, z, 3)
        Change of the gear with one standard uncertainty of each of the lens's independent sources,
        in the order of its covariance's principal axes, largest first.
    pose_modes : ndarray, shape (5 n, z, 3)
        The same of the poses, the lens given.
    pose : ndarray, shape (n, 5)
        Pose of each picture.
    residual : ndarray, shape (n, z, 3)
        What each picture shows beside the gear, px, left-out marks too; NaN where not seen.
    used : ndarray, shape (n, z, 3), bool
        Marks that were not left out.
    misfit : float
        Root mean square of the flanks' residuals over what their stated noise allows: about 1.
    freedom : int
        Degrees of freedom of that.
    tip_misfit : float
        The same of the tips.
    """

    gear: Floats
    noise: Floats
    lens: Lens
    lens_modes: Floats
    pose_modes: Floats
    pose: Floats
    residual: Floats
    used: Bools
    misfit: float
    tip_misfit: float
    freedom: int


def adjust(views: Sequence[View], used_lens: Lens, prior: Lens) -> Adjusted:
    """Adjust all pictures together.

    Parameters
    ----------
    views : sequence of View
        One a picture, in one order of teeth.
    used_lens : Lens
        Lens with which the pictures were measured.
    prior : Lens
        What is known of the lens beforehand; its covariance is the allowance.
    """
    used = np.stack([np.isfinite(view.out) & np.isfinite(view.u) for view in views])
    for _ in range(STRAY_ROUNDS):
        solved = _solve(views, used, used_lens, prior)
        kept = used & ~_strays(solved, views)
        if (kept == used).all():
            break
        used = kept
    # What the pictures' own scatter says of the noise replaces what was stated; what is known
    # of lens and poses beforehand stays as it is.
    raised = np.array([solved.misfit, solved.misfit, solved.tip_misfit])
    scaled = [replace(view, u=view.u * raised) for view in views]
    final = _solve(scaled, used, used_lens, prior)
    return replace(
        final, misfit=solved.misfit, tip_misfit=solved.tip_misfit, freedom=solved.freedom
    )


def _strays(solved: Adjusted, views: Sequence[View]) -> Bools:
    """Marks on which one picture contradicts the others."""
    u = np.stack([view.u for view in views])
    weight = np.where(solved.used, u**-2, 0.0)
    total = weight.sum(axis=0)
    # A mark's residual is smaller than its error, by its own share in the mean.
    share = np.clip(1 - weight / np.maximum(total, 1e-30), 1e-3, None)
    with np.errstate(invalid="ignore"):
        size = np.abs(solved.residual) / (u * np.sqrt(share))
    several = (solved.used.sum(axis=0) > 1) & solved.used
    typical = scatter(size[several]) if several.any() else 1.0
    worst = np.nan_to_num(size) >= np.nan_to_num(size).max(axis=0)
    # The worst go first: they pull pose and lens, and with them their neighbours.
    limit = max(STRAYS * max(1.0, typical), float(np.nan_to_num(size).max()) / 2)
    return np.asarray(several & worst & (size > limit))


def _solve(views: Sequence[View], used: Bools, used_lens: Lens, prior: Lens) -> Adjusted:
    count, terms, shape = len(views), len(used_lens.terms), views[0].out.shape
    weight = np.where(used, np.stack([v.u for v in views]) ** -2.0, 0.0).reshape(count, -1)
    stated = np.stack([v.out for v in views]).reshape(count, -1)
    out, effects = np.nan_to_num(stated), _effects(views, terms)
    total = np.where((weight > 0).any(axis=0), weight.sum(axis=0), np.inf)
    mean_effect = np.einsum("pm,pmk->mk", weight, effects) / total[:, None]
    mean_out = (weight * out).sum(axis=0) / total
    freed, left = effects - mean_effect, out - mean_out
    data = np.einsum("pm,pmk,pml->kl", weight, freed, freed)
    precision, pull = _beforehand(views, used_lens, prior)
    covariance = scaled_inverse(data + precision)
    x = covariance @ (np.einsum("pm,pmk,pm->k", weight, freed, left) + pull)
    residual = np.where(np.isfinite(stated), left - freed @ x, np.nan).reshape(count, *shape)
    share = weight.reshape(count, *shape)
    taken = float(np.trace(covariance @ data)) / max((weight > 0).sum(), 1)
    misfit, freedom = _misfit(residual[..., :TIP], share[..., :TIP], taken)
    tip_misfit, _ = _misfit(residual[..., TIP:], share[..., TIP:], taken)
    gear = np.where(np.isfinite(total), mean_out - mean_effect @ x, np.nan)
    noise = np.where(np.isfinite(total), 1 / np.sqrt(total), np.nan)
    by_lens, by_pose, of_lens = _modes(mean_effect, covariance, terms)
    found = np.array(used_lens.terms) + x[:terms]
    lens = make_lens(used_lens.centre_px, used_lens.radius_px, found, of_lens)
    return Adjusted(
        gear=gear.reshape(shape),
        noise=noise.reshape(shape),
        lens=lens,
        lens_modes=by_lens.reshape(-1, *shape),
        pose_modes=by_pose.reshape(-1, *shape),
        pose=x[terms:].reshape(count, -1),
        residual=residual,
        used=used,
        misfit=misfit,
        tip_misfit=tip_misfit,
        freedom=freedom,
    )


def _effects(views: Sequence[View], terms: int) -> Floats:
    """Effects of lens terms and all poses on every picture's marks, shape (n, 3 z, unknowns)."""
    effects = np.zeros((len(views), views[0].out.size, terms + len(POSE) * len(views)))
    for n, view in enumerate(views):
        own = slice(terms + n * len(POSE), terms + (n + 1) * len(POSE))
        effects[n, :, :terms] = -view.lens.reshape(-1, terms)
        effects[n, :, own] = view.pose.reshape(-1, len(POSE))
    return effects


def lens_stands_still(views: Sequence[View], before: Lens, after: Lens, within_px: float) -> bool:
    """Tell whether a new lens moves no mark any more.

    Parameters
    ----------
    before, after : Lens
        As the pictures were measured, and as adjusted.
    """
    step = np.array(after.terms) - np.array(before.terms)
    return bool(max(np.abs(view.lens @ step).max() for view in views) < within_px)


def scaled_inverse(matrix: Floats) -> Floats:
    """Inverse of a normal matrix, its unknowns brought to one size first.

    Parameters
    ----------
    matrix : ndarray, shape (k, k)
        Symmetric and positive definite. Lens terms that are held, and turns that are free, differ
        by more digits than a number has.

    Returns
    -------
    ndarray, shape (k, k)
    """
    size = 1 / np.sqrt(np.diag(matrix))
    inverse = np.linalg.inv(matrix * size[:, None] * size)
    return np.asarray((inverse + inverse.T) / 2 * size[:, None] * size)


def lens_precision(lens: Lens) -> Floats:
    """Inverse covariance of a lens's terms.

    Parameters
    ----------
    lens : Lens
        Terms without any allowance are held to 1e-8, far below what any picture shows.

    Returns
    -------
    ndarray, shape (8, 8)
    """
    covariance = np.array(lens.covariance)
    return np.asarray(np.linalg.inv(covariance + 1e-16 * np.eye(len(covariance))))


def _misfit(residual: Floats, weight: Floats, taken: float) -> tuple[float, int]:
    """Scatter over what is stated, and its degrees of freedom.

    `taken` is the share of an observation that lens and poses use up.
    """
    seen = weight > 0
    square = float(np.sum(weight[seen] * residual[seen] ** 2))
    marks = int(seen.any(axis=0).sum())
    freedom = max(round(float(seen.sum()) * (1 - taken)) - marks, 0)
    return sqrt((square + STATED_COUNTS) / (freedom + STATED_COUNTS)), freedom


def _beforehand(views: Sequence[View], used_lens: Lens, prior: Lens) -> tuple[Floats, Floats]:
    """Precision of what is known beforehand, and its pull on the unknowns."""
    of_pose = np.concatenate([view.u_pose for view in views]) ** -2.0
    of_lens = lens_precision(prior)
    precision = block_diag(of_lens, np.diag(of_pose))
    off = np.array(prior.terms) - np.array(used_lens.terms)
    return precision, np.concatenate([of_lens @ off, np.zeros(len(of_pose))])


def _modes(mean_effect: Floats, covariance: Floats, terms: int) -> tuple[Floats, Floats, Floats]:
    """Changes of the gear with each independent source of the lens, and of the poses given it."""
    of_lens = covariance[:terms, :terms]
    follow = np.linalg.solve(of_lens, covariance[:terms, terms:]).T
    of_pose = covariance[terms:, terms:] - follow @ covariance[:terms, terms:]
    followed = mean_effect[:, :terms] + mean_effect[:, terms:] @ follow
    by_lens = -followed @ independent_sources(of_lens)
    by_pose = -mean_effect[:, terms:] @ independent_sources(of_pose)
    return by_lens.T, by_pose.T, of_lens
