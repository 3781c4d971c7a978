"""What every target tells, whatever it is: a scale, how good it is, and what it may be used for."""

import datetime
from dataclasses import dataclass, replace

from cogloupe_calibration.calibration import Calibration, Lens, Picture
from cogloupe_calibration.scale import Scale
from cogloupe_calibration.verdict import Finding, Verdict, judge, scale_findings


@dataclass(frozen=True, kw_only=True)
class Summary:
    """What a target on a picture tells.

    Attributes
    ----------
    scale : Scale
        With the figures it was made from.
    width_px, height_px : int
        The frame.
    residual_rms_px : float
        How far what was seen lies off what was fitted.
    verdict, reasons
        As in the calibration file.
    lens : Lens, optional
        What was measured of it, or allowed for.
    valid_region_px : (float, float, float, float), optional
        Left, top, right, bottom of what the target covered; None is the whole frame.
    """

    scale: Scale
    width_px: int
    height_px: int
    residual_rms_px: float
    verdict: Verdict = "good"
    reasons: tuple[str, ...] = ()
    lens: Lens | None = None
    valid_region_px: tuple[float, float, float, float] | None = None

    def judged(self, findings: list[Finding], details: dict[str, float | str]) -> "Summary":
        """With the verdict of these findings and of the scale, and more details of that."""
        verdict, reasons = judge(findings + scale_findings(self.scale.relative_u))
        scale = replace(self.scale, details=self.scale.details | details)
        return replace(self, scale=scale, verdict=verdict, reasons=reasons)


def calibration_from(
    summary: Summary, picture: Picture, date: datetime.date, note: str = ""
) -> Calibration:
    """Make a calibration of a measured target; the note is whatever tells the setting again."""
    return Calibration(
        mm_per_px=summary.scale.mm_per_px,
        u_mm_per_px=summary.scale.u_mm_per_px,
        method=summary.scale.method,
        date=date,
        picture=picture,
        note=note,
        details=summary.scale.details,
        residual_rms_px=summary.residual_rms_px,
        valid_region_px=summary.valid_region_px,
        lens=summary.lens,
        verdict=summary.verdict,
        reasons=summary.reasons,
    )
