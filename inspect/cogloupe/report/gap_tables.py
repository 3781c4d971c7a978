"""What the gaps tell, as tables for the page and lines for the screen."""

from cogloupe.reading.cutting_models import Candidate, Cutting, Identity, SizeFound
from cogloupe.report.tables import Table, text_table
from cogloupe.wording.numbers import resolved, with_uncertainty
from cogloupe_calibration.units import MM_PER_INCH

LEAST_SHOWN = 0.005
"""Probability below which a row is left out of the page."""


def chance(probability: float) -> str:
    """Write a probability without pretending to more than a picture gives."""
    if probability > 0.99:
        return "over 99 %"
    return f"{100 * probability:.0f} %" if probability >= 0.01 else "under 1 %"


def size_text(size: SizeFound) -> str:
    """Write a size with its U."""
    return with_uncertainty(size.value, size.u_value, size.unit)


def situation_table(cutting: Cutting) -> Table:
    """Situations that may have cut the gaps, likeliest first."""
    rows = [
        (
            row.situation + ("" if row.resolved else ": nothing of it seen"),
            chance(row.probability),
            f"{row.misfit_um:.1f} µm",
            "; ".join(_named(size) for size in row.sizes),
        )
        for row in cutting.situations
        if row.probability > LEAST_SHOWN
    ]
    heads = ("situation", "probability", "misfit", "sizes that go with it, ± U")
    return text_table("What cut it", heads, rows)


def _named(size: SizeFound) -> str:
    if size.unit == "mm":
        size = SizeFound(
            name=size.name, value=1000 * size.value, u_value=1000 * size.u_value, unit="µm"
        )
    if resolved(size.value, size.u_value):
        return f"{size.name} {size_text(size)}"
    return f"{size.name}: {size_text(size)}"


def candidate_table(identity: Identity) -> Table:
    """Standard gears that the picture may show, likeliest first."""
    rows = [
        (
            f"{row.size} ({_in_the_other_system(row)})",
            f"{row.pressure_angle_deg:g}°, {row.rack} rack",
            with_uncertainty(row.profile_shift, row.u_profile_shift, "", signed=True),
            chance(row.probability),
            f"{row.misfit_um:.1f} µm",
        )
        for row in identity.candidates
        if row.probability > LEAST_SHOWN
    ]
    heads = ("size", "tooth", "profile shift", "probability", "misfit")
    return text_table("Which gear this is", heads, rows)


def _in_the_other_system(row: Candidate) -> str:
    if row.size.startswith("module"):
        return f"{row.diametral_pitch:.4g} DP"
    return f"module {row.module_mm:.4g} mm"


def measure_table(identity: Identity) -> Table:
    """Sizes to cut a twin by, in millimetres or modules, and in inches."""
    rows = [(size.name, size_text(size), _inch(size)) for size in identity.measures]
    return text_table("To cut a lost twin by, each ± U", ("size", "metric", "inches"), rows)


def _inch(size: SizeFound) -> str:
    if size.unit != "mm":
        return ""
    return with_uncertainty(size.value / MM_PER_INCH, size.u_value / MM_PER_INCH, "in")


def identity_lines(identity: Identity) -> list[str]:
    """Lines for the screen: which gear it is, sizes, and what is left open."""
    sizes = "; ".join(f"{size.name} {size_text(size)}" for size in identity.measures)
    return [identity.sentence, f"To cut a twin by: {sizes}.", *identity.unsettled]


def remarkable(cutting: Cutting) -> bool:
    """Tell whether the stated rack does not explain the gaps."""
    kinds = {row.situation: row.kind for row in cutting.situations}
    return all(kinds.get(name) != "rack" for name in cutting.alike)
