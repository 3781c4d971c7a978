"""From a reading to the causes that would leave it, ranked.

All rows of the table compete for the whole of a reading; then what the best one explains is left
open and they compete for what remains, until nothing remains beyond the uncertainty.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cogloupe.causes.joint_fit import sized_together
from cogloupe.causes.machine_units import Case, Size
from cogloupe.causes.model import Family, Field, fresh
from cogloupe.causes.observed_pattern import Observed, observe
from cogloupe.causes.ranking import Fit, by_chance, evidence, log_sum, without
from cogloupe.causes.residuals import strained
from cogloupe.causes.table import CAUSES, NONE, Cause
from cogloupe.planning.machine import Machine
from cogloupe.reading.models import Reading
from cogloupe.wording.cautions import CautionCode, cautions_for
from cogloupe_calibration.arrays import Floats

NEAR = 0.1
"""Probability from which the second in a ranking is named too."""
MOST_FOUND = 5
"""Causes told one after the other from one reading."""
HOPELESS = 80.0
"""Log likelihood by which a cause may lag behind at a first look and still be followed up: on few
scatters a step was seen to look worse than it is by 77 (simulated gears)."""
CHANCE = 0.05
"""Chance that noise alone makes any of all the causes looked at pass for found."""
SCATTERS = ("index_scatter", "unsteady_drive", "pulse_noise")
"""Causes that leave a scatter: one of them stands for all there is."""


@dataclass(frozen=True)
class Ranked:
    """A cause as one reading speaks for it.

    Attributes
    ----------
    fit : Fit
        Its best shape.
    share : float
        Probability among the causes of the table, if one of them it was.
    over_next : float
        How many times likelier than the next one.
    """

    cause: Cause
    fit: Fit
    share: float
    over_next: float


@dataclass(frozen=True)
class Finding:
    """One round of ranking; the first row is what was found.

    Attributes
    ----------
    ranked : tuple of Ranked
        Likeliest first.
    """

    ranked: tuple[Ranked, ...]

    @property
    def best(self) -> Ranked:
        """The likeliest."""
        return self.ranked[0]


@dataclass(frozen=True)
class Diagnosis:
    """What a reading says of its causes.

    Attributes
    ----------
    findings : tuple of Finding
        For the whole reading, then for what the causes before leave; the last may be "no cause".
    strained : bool
        What they leave of the figures that all teeth share is more than chance.
    """

    case: Case
    findings: tuple[Finding, ...]
    strained: bool = False

    def sizes(self, ranked: Ranked) -> list[Size]:
        """Sizes of a cause in the machine's units."""
        return ranked.cause.sizes(ranked.fit, self.case)

    def pattern(self, ranked: Ranked) -> str:
        """The pattern in words."""
        return ranked.cause.pattern(ranked.fit, self.case)

    @property
    def named(self) -> tuple[Cause, ...]:
        """Causes found, and the next ones where they are not clear."""
        found = list[Cause]()
        for finding in self.findings:
            near = [r.cause for r in finding.ranked[:2] if r.share >= NEAR or r is finding.best]
            found += [cause for cause in near if cause is not NONE and cause not in found]
        return tuple(found)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Sentences for the hand that goes to the machine."""
        codes: set[CautionCode] = set()
        for cause in self.named:
            codes.update(cause.cautions)
        return cautions_for(*codes)


def diagnose(reading: Reading, machine: Machine | None = None, most: int = MOST_FOUND) -> Diagnosis:
    """Rank the causes of a reading.

    Parameters
    ----------
    machine : Machine, optional
        Its counts tell periods and steps.
    most : int
        Rounds of ranking at most.

    Raises
    ------
    UseError
        Where too few flanks were seen.

    Examples
    --------
    >>> [cause.code for cause in diagnose(reading).named[:1]]
    ['index_scatter']
    """
    case = Case(observe(reading), machine)
    place, findings = fresh(case.observed), list[Finding]()
    offered = {cause.code: cause.families(case) for cause in CAUSES}
    taken = list[str]()
    while len(findings) < most:
        finding = rank(case, place, taken, offered)
        findings.append(finding)
        if finding.best.cause is NONE:
            break
        code = finding.best.cause.code
        taken += SCATTERS if code in SCATTERS else (code,)
        place = without(place, finding.best.fit, _edges(case, finding.best))
    return Diagnosis(case, _together(case, findings), strained(place))


def _together(case: Case, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings with the sizes of what was found fitted together."""
    found = [finding for finding in findings if finding.best.cause is not NONE]
    edges = np.concatenate([np.zeros((0, len(case.observed.value)))]
                           + [_edges(case, finding.best) for finding in found])  # fmt: skip
    fits = iter(sized_together(case.observed, [finding.best.fit for finding in found], edges))
    return tuple(
        Finding((replace(finding.best, fit=next(fits)), *finding.ranked[1:]))
        if finding.best.cause is not NONE
        else finding
        for finding in findings
    )


def _edges(case: Case, found: Ranked) -> Floats:
    """Flanks beside a step, one by one: how sharp it is was taken roughly, and is no cause."""
    z = case.teeth
    if found.cause.code not in ("lost_steps", "wrong_ratio"):
        return np.zeros((0, len(case.observed.value)))
    places = explained(case.observed, found.fit)
    jump = np.abs(places - np.roll(places, 1, axis=0)) > 0.2 * np.ptp(places, axis=0).max()
    near = jump | np.roll(jump, 1, axis=0) | np.roll(jump, -1, axis=0)
    return np.asarray(np.eye(len(case.observed.value))[: 2 * z][near.ravel()])


def rank(
    case: Case,
    place: Field,
    leave_out: Sequence[str] = (),
    offered: Mapping[str, Sequence[Family]] | None = None,
) -> Finding:
    """Let the causes compete.

    Parameters
    ----------
    place : Field
        The reading, with what was explained before left open.
    leave_out : sequence of str
        Codes of causes found before.
    offered : mapping, optional
        Families of each cause, where they were worked out before.
    """
    here = Case(place.observed, case.machine)
    rows, logs, fits = list[Cause](), list[float](), list[Fit]()
    tried = list[tuple[Cause, Sequence[Family], float]]()
    table = [cause for cause in CAUSES if cause.code not in leave_out]
    for cause in table:
        known = cause.families(here) if offered is None else offered[cause.code]
        shown = [f for f in known if f.shows(place.observed.seen)]
        if shown:
            tried.append((cause, shown, evidence(place, shown, rough=True)[0]))
    for cause, families, first_look in sorted(tried, key=lambda row: -row[2]):
        # Only what was found makes others hopeless, not what looked likely and is within chance.
        if cause is not NONE and first_look < max(logs, default=-np.inf) - HOPELESS:
            continue
        log, fitted = evidence(place, families)
        fit = fitted()
        members = len(table) * sum(max(len(f.plus), f.stands_for) for f in families)
        if cause is not NONE and (
            not resolved(cause.sizes(fit, here))
            or by_chance(fit.gain, fit.telling, members) > CHANCE
        ):
            continue
        rows.append(cause)
        logs.append(log + float(np.log(cause.prior)))
        fits.append(fit)
    place.forget()
    order = np.argsort(logs)[::-1]
    total = log_sum(np.array(logs))
    following = [*(logs[k] for k in order[1:]), -np.inf]
    return Finding(
        tuple(
            Ranked(
                rows[k], fits[k], float(np.exp(logs[k] - total)),
                float(np.exp(min(logs[k] - after, 700.0))),
            )
            for k, after in zip(order, following, strict=True)
        )
    )  # fmt: skip


def resolved(sizes: Sequence[Size]) -> bool:
    """Tell whether the leading size is as large as its U (k = 2); True where there is no size."""
    return not sizes or abs(sizes[0].value) >= 2 * sizes[0].u


def explained(observed: Observed, fit: Fit) -> Floats:
    """Flank places that a fit explains, both sides.

    Returns
    -------
    ndarray, shape (z, 2)
        µm.
    """
    return fit.shape[: 2 * observed.design.teeth].reshape(-1, 2)


def aligned(observed: Observed, shape: Floats) -> Floats:
    """Figures with what the reading leaves open set as a shape would have it.

    Parameters
    ----------
    shape : ndarray, shape (2 z + 10,)
        Sum of what causes explain.

    Returns
    -------
    ndarray, shape (2 z + 10,)
        The figures, moved by the offsets (and the axis, where the teeth are the datum) that fit
        the shape best.
    """
    seen = observed.seen
    weight = 1 / observed.noise[seen]
    columns = observed.nuisance[:, seen] * weight
    rest = (observed.value - shape)[seen] * weight
    offset = np.linalg.lstsq(columns.T, rest, rcond=None)[0]
    return np.asarray(observed.value - offset @ observed.nuisance)
