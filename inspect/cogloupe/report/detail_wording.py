"""Plain sentences on micrometer readings and on what limits the use of the flanks."""

from cogloupe.reading.models import GapTheory, Reading, SizeCheck
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.wording.numbers import expanded, rounded, with_uncertainty
from cogloupe_calibration.units import MM_PER_INCH


def check_sentences(reading: Reading) -> list[str]:
    """Say how each micrometer reading stands beside the picture."""
    checks = reading.sizes.checks if reading.sizes is not None else ()
    return [_check_sentence(check, stated_in_dp(reading.gear)) for check in checks]


def check_name(check: SizeCheck) -> str:
    """Name of the size that a micrometer found."""
    if check.kind == "span":
        return f"span over {check.teeth_spanned} teeth"
    return f"size over pins of {check.pin_diameter_mm:.4g} mm"


def _check_sentence(check: SizeCheck, inches: bool) -> str:
    stated = f"{check.stated_mm:.4g} mm"
    if inches:
        stated += f" ({check.stated_mm / MM_PER_INCH:.5f} in)"
    name = check_name(check)
    if check.measured_mm is None:
        return f"The {name} that you measured, {stated}, could not be compared: it is not seen."
    if check.agrees is None:
        return f"The {name} that you measured, {stated}, sets the scale of this picture."
    shown = with_uncertainty(check.measured_mm, check.u_measured_mm, "mm")
    start = f"The {name} that you measured, {stated}, and the picture's, {shown},"
    difference = check.difference_um or 0.0
    number, limit = rounded(difference, check.u_difference_um, signed=True)
    if check.agrees:
        return f"{start} agree: their difference, {number} µm, is within its U of {limit} µm."
    if check.fits_teeth != check.teeth_spanned:
        return (
            f"{start} differ by {number} µm: it fits a span over {check.fits_teeth} teeth better."
        )
    percent = difference / 10 / check.measured_mm
    return (
        f"{start} differ by {number} µm, beyond U ({limit} µm). Look at the micrometer reading and "
        f"at what it was taken over; if they are right, the scale is out by {percent:+.2f} %."
    ).replace("-", "−")


def limit_sentences(reading: Reading) -> list[str]:
    """Say where undercut or a mate's tips end the use of the flanks.

    Empty for gears that any mate may use down to where it reaches.
    """
    theory = reading.gap_theory
    if theory is None:
        return []
    sentences = []
    if theory.undercut:
        sentences.append(
            f"With {reading.gear.teeth} teeth the rack's tip undercuts the flanks: the involute "
            f"begins at ⌀ {theory.form_diameter_mm:.4g} mm only."
        )
    if interferes(theory):
        margin_mm, u_mm = theory.rack_contact_margin_mm, theory.u_rack_contact_margin_mm
        margin, limit = rounded(-1e3 * (margin_mm or 0.0), 1e3 * (u_mm or 0.0))
        reach = f"⌀ {theory.rack_contact_diameter_mm:.4g} mm"
        sentences.append(
            f"A mating rack, in mesh without backlash, would reach down to {reach}, {margin} ± "
            f"{limit} µm of roll below the start of the involute at ⌀ "
            f"{theory.form_diameter_mm:.4g} mm, and touch the fillet; a wheel of few teeth reaches "
            "less far."
        )
    return sentences


def interferes(theory: GapTheory) -> bool:
    """Tell whether a mating rack would touch the fillet, beyond U."""
    limit = expanded(theory.u_rack_contact_margin_mm)
    margin = theory.rack_contact_margin_mm
    return margin is not None and limit is not None and margin < -limit
