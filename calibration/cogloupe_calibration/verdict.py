"""Plain verdicts on a calibration: good, usable, or take it again, and why."""

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["good", "usable", "take it again"]

GOOD_RELATIVE_U, USABLE_RELATIVE_U = 0.001, 0.005
"""Our own judgement: 0.1 % of the scale is 1.6 µm on a module 1 tooth (1.57 mm), below what a home
workshop can act on; 0.5 % is 8 µm, about what a caliper cannot resolve on it either."""

_ORDER: tuple[Verdict, ...] = ("good", "usable", "take it again")


@dataclass(frozen=True)
class Finding:
    """One reason, and the verdict that it alone would give."""

    verdict: Verdict
    reason: str


def graded(value: float, good: float, usable: float, reason: str) -> Finding | None:
    """What a figure comes to that should be small; None where it does no harm.

    Up to `good` it does none, up to `usable` the calibration still serves.
    """
    if value <= good:
        return None
    return Finding("usable" if value <= usable else "take it again", reason)


def judge(findings: list[Finding]) -> tuple[Verdict, tuple[str, ...]]:
    """Sum findings up: the worst one decides, none are good; gives all reasons, worst first."""
    ranked = sorted(findings, key=lambda finding: -_ORDER.index(finding.verdict))
    verdict = ranked[0].verdict if ranked else "good"
    return verdict, tuple(finding.reason for finding in ranked)


def scale_findings(relative_u: float) -> list[Finding]:
    """Findings on how well a scale is known, by its relative standard uncertainty.

    Empty where the scale is known well enough not to matter.
    """
    reason = f"the scale is known to U = {200 * relative_u:.2g} % only"
    finding = graded(relative_u, GOOD_RELATIVE_U, USABLE_RELATIVE_U, reason)
    return [] if finding is None else [finding]
