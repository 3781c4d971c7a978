"""The faults that a reading shows, ordered by what they cost the gear's running."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from cogloupe.causes.diagnosis import Diagnosis, Finding
from cogloupe.causes.table import NONE
from cogloupe.judging.allowances import Allowed
from cogloupe.judging.costs import cost_of
from cogloupe.judging.fault_text import Said, say_fault
from cogloupe.reading.models import SIDES, Reading
from cogloupe.wording.numbers import tooth_list


@dataclass(frozen=True)
class Fault:
    """Something that was found on a gear.

    Attributes
    ----------
    cost : float
        Share of what is allowed.
    finding : Finding or None
        Round of ranking that it comes from; None where no cause was ranked.
    """

    said: Said
    cost: float
    finding: Finding | None = None


DIRT = "dirt"
UNEXPLAINED = "unexplained"
AT_ONCE = 3
"""Causes of what all gaps share that one gear may have; more would explain any seven figures (our
own judgement)."""
JUST_TOO_MUCH = 1.0 + 1e-9
"""Cost of what stands in the way but has no size: less than any fault that has one."""


def faults_of(reading: Reading, diagnosis: Diagnosis | None, allowed: Allowed) -> list[Fault]:
    """All that was found, dearest first.

    Parameters
    ----------
    diagnosis : Diagnosis or None
        None where too few flanks were seen to rank causes.
    """
    found = [*_dirt(reading), *(_ranked(diagnosis, allowed) if diagnosis else ())]
    return sorted(found, key=lambda fault: -fault.cost)


def _ranked(diagnosis: Diagnosis, allowed: Allowed) -> Iterator[Fault]:
    case = diagnosis.case
    found = [finding for finding in diagnosis.findings if finding.best.cause is not NONE]
    of_cutter = [of_the_cutter(finding, case.teeth) for finding in found]
    unexplained = diagnosis.strained or sum(of_cutter) > AT_ONCE
    for finding, shared in zip(found, of_cutter, strict=True):
        best = finding.best
        if unexplained and shared:
            continue
        yield Fault(say_fault(best, case), cost_of(best, case, allowed), finding)
    if unexplained:
        text = (
            "Depth, thickness and shape of the gaps do not go together as any of the usual causes "
            "leaves them."
        )
        yield Fault(Said(kind=UNEXPLAINED, text=text), JUST_TOO_MUCH)


def of_the_cutter(finding: Finding, teeth: int) -> bool:
    """Tell whether a finding rests on what all teeth share alone."""
    fit = finding.best.fit
    return not fit.scatter and not np.abs(fit.shape[: 2 * teeth]).any()


def _dirt(reading: Reading) -> Iterator[Fault]:
    teeth = obstructed(reading)
    if teeth:
        carry = "tooth" if len(teeth) == 1 else "teeth"
        text = (
            f"Something lies on the flanks of {carry} {tooth_list(teeth)}, or they are nicked or "
            "burred."
        )
        yield Fault(Said(kind=DIRT, text=text, teeth=teeth), JUST_TOO_MUCH)


def obstructed(reading: Reading) -> tuple[int, ...]:
    """Teeth with something on a flank."""
    return tuple(
        tooth.number
        for tooth in reading.teeth
        if "obstructed" in {getattr(tooth, side).status for side in SIDES}
    )
