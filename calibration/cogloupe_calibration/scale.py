"""Pixel scale stated by a person, or from one thing of known diameter.

Uncertainties are standard uncertainties (k = 1), combined as the GUM (JCGM 100:2008, 5.1.2) lays
out.
"""

import datetime
from dataclasses import dataclass, field
from math import hypot, isfinite, sqrt

from cogloupe_calibration.calibration import Calibration, Method, Picture
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.verdict import Finding, judge, scale_findings

# A figure printed on a microscope or in its program says nothing of its error. We take it as
# within +-0.5 %, all values alike likely (rectangular): about what the zoom ring's stop and the
# focus leave. Our own judgement, no source.
STATED_RELATIVE_U = 0.005 / sqrt(3)

CALIPER_U_MM, MICROMETER_U_MM = 0.02 / sqrt(3), 0.004 / sqrt(3)
"""A workshop caliper is within ±0.02 mm, a micrometer within ±0.004 mm (common practice, no
source), rectangular."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A pixel scale and how it was found.

    Attributes
    ----------
    mm_per_px, u_mm_per_px : float
        Scale and its standard uncertainty.
    method : str
        As in the calibration file.
    details : dict
        Figures it was made from; units are in the names.
    by_edge : float
        Relative change for each px that all edges of the picture move out of the material, where
        the scale was taken from edges of the same picture.
    stretch : float
        Part of its relative uncertainty that comes of lens and lean: how much larger than at the
        place of the scale a thing may be seen.
    """

    mm_per_px: float
    u_mm_per_px: float
    method: Method
    details: dict[str, float | str] = field(default_factory=dict)
    by_edge: float = 0.0
    stretch: float = 0.0

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty."""
        return self.u_mm_per_px / self.mm_per_px


def from_stated_scale(um_per_px: float, relative_u: float = STATED_RELATIVE_U) -> Scale:
    """Scale as a person states it, with `STATED_RELATIVE_U` where no uncertainty is stated.

    Raises
    ------
    CalibrationError
        Where a number is not finite, or the scale not above zero.
    """
    _above_zero("scale", um_per_px, "µm per pixel")
    _not_negative("relative uncertainty of the scale", relative_u, "")
    mm = um_per_px / 1000
    told: dict[str, float | str] = {"stated_um_per_px": um_per_px}
    return Scale(mm_per_px=mm, u_mm_per_px=mm * relative_u, method="stated", details=told)


def from_known_diameter(
    diameter_px: float,
    u_diameter_px: float,
    diameter_mm: float,
    u_diameter_mm: float = CALIPER_U_MM,
    method: Method = "known_tip_diameter",
) -> Scale:
    """Scale from a circle of known diameter.

    Parameters
    ----------
    diameter_px, u_diameter_px : float
        Diameter seen on the picture and its standard uncertainty, edge condition included.
    diameter_mm, u_diameter_mm : float
        Diameter as measured and its standard uncertainty; without it, a caliper's.
    method : str, optional
        "known_tip_diameter", "known_bore" or "known_pin".

    Raises
    ------
    CalibrationError
        Where a diameter is not above zero, or an uncertainty is negative or not a number.

    Notes
    -----
    m = D/d, so (u(m)/m)^2 = (u(D)/D)^2 + (u(d)/d)^2 (GUM 5.1.6).
    """
    _above_zero("diameter on the picture", diameter_px, "px")
    _above_zero("known diameter", diameter_mm, "mm")
    _not_negative("uncertainty of the diameter on the picture", u_diameter_px, "px")
    _not_negative("uncertainty of the known diameter", u_diameter_mm, "mm")
    mm = diameter_mm / diameter_px
    relative = hypot(u_diameter_mm / diameter_mm, u_diameter_px / diameter_px)
    details: dict[str, float | str] = {
        "diameter_px": diameter_px,
        "u_diameter_px": u_diameter_px,
        "diameter_mm": diameter_mm,
        "u_diameter_mm": u_diameter_mm,
    }
    return Scale(mm_per_px=mm, u_mm_per_px=mm * relative, method=method, details=details)


def disagreement(scale: Scale, other: Scale) -> str | None:
    """Say so where two scales of one picture contradict each other.

    A sentence with both numbers, or None where they agree within their U (k = 2).
    """
    difference = abs(scale.mm_per_px - other.mm_per_px)
    if difference <= 2 * hypot(scale.u_mm_per_px, other.u_mm_per_px):
        return None
    return f"the scales disagree: {_in_words(scale)}, {_in_words(other)}"


def _in_words(scale: Scale) -> str:
    um, expanded = 1000 * scale.mm_per_px, 2000 * scale.u_mm_per_px
    return f"{scale.method.replace('_', ' ')} {um:.5g} ± {expanded:.1g} µm per pixel"


def calibration_from_scale(
    scale: Scale, date: datetime.date, picture: Picture | None = None, note: str = ""
) -> Calibration:
    """Make a calibration of a bare scale.

    Without a picture that it was made from it fits any frame; the note is whatever tells the
    setting again.
    """
    findings = scale_findings(scale.relative_u)
    if scale.method == "stated":
        findings.append(Finding("usable", "the scale was stated, not measured on this picture"))
    verdict, reasons = judge(findings)
    return Calibration(
        mm_per_px=scale.mm_per_px,
        u_mm_per_px=scale.u_mm_per_px,
        method=scale.method,
        date=date,
        picture=picture,
        note=note,
        details=scale.details,
        verdict=verdict,
        reasons=reasons,
    )


def check_stated(what: str, length_mm: float, relative_u: float) -> None:
    """Refuse a stated length, or a relative uncertainty of it, that makes no sense.

    Raises
    ------
    CalibrationError
    """
    if not (isfinite(length_mm) and length_mm > 0):
        raise CalibrationError(f"{what} is {length_mm:g} mm: give a length above zero")
    if not (isfinite(relative_u) and 0 <= relative_u < 1):
        raise CalibrationError(
            f"relative uncertainty of the {what} is {relative_u:g}: give 0 or more, below 1"
        )


def _above_zero(what: str, value: float, unit: str) -> None:
    if not (isfinite(value) and value > 0):
        raise CalibrationError(f"{what} is {value:g} {unit}: give a number above zero")


def _not_negative(what: str, value: float, unit: str) -> None:
    if not (isfinite(value) and value >= 0):
        seen = f"{value:g} {unit}".rstrip()
        raise CalibrationError(f"{what} is {seen}: give zero or a number above it")
