"""The class that a gear reaches, and whether that is the one that is wanted, in plain words.

Pitch, cumulative pitch and runout decide. The profile of a small gear is seldom known well enough
on a picture: it counts where it is surely worse than wanted.
"""

from cogloupe.reading.models import Reading, Tolerance
from cogloupe.reading.verdict_models import Meets

WORDS = (
    (5, "as ground gears are"),
    (7, "as carefully hobbed gears are"),
    (9, "as usual for small hobbed or form-cut gears"),
    (11, "as roughly cut gears are: they run, and are heard"),
)
"""What classes up to so many mean in a workshop (common practice, no source)."""
SURE = 2
"""Classes that a gear may reach across and still be put into words."""

Span = tuple[int, int]


def reached_class(tolerance: Tolerance | None) -> Span | None:
    """Worst class of pitch, cumulative pitch and runout, as [low, high].

    None where the gear is not graded.
    """
    if tolerance is None:
        return None
    spans = (tolerance.pitch_class, tolerance.cumulative_class, tolerance.runout_class)
    known = [span for span in spans if span is not None]
    if not known:
        return None
    return max(low for low, _ in known), max(high for _, high in known)


def meets(wanted: int | None, tolerance: Tolerance | None) -> Meets | None:
    """Whether a gear meets a class; None where no class was asked for."""
    reached = reached_class(tolerance)
    if wanted is None:
        return None
    if reached is None or tolerance is None:
        return "cannot_tell"
    profile = tolerance.profile_class
    if reached[0] > wanted or (profile is not None and profile[0] > wanted):
        return "no"
    return "yes" if reached[1] <= wanted else "cannot_tell"


def class_text(reading: Reading, wanted: int | None) -> str:
    """Both in a sentence or two."""
    tolerance = reading.tolerance
    reached = reached_class(tolerance)
    if tolerance is None or reached is None:
        if tolerance is None:
            return "No class is told for it."
        why = tolerance.note.split(". ")[0].rstrip(".").removeprefix("Not graded: ")
        return f"No class is told for it: {why}."
    low, high = reached
    says = f"By pitch and runout it reaches {_span(low, high, tolerance)}"
    answer = {
        "yes": f" The class {wanted} that is wanted is met.",
        "no": f" The class {wanted} that is wanted is not met.",
        "cannot_tell": f" Whether it meets the class {wanted} that is wanted, this picture cannot "
        "tell: its uncertainty reaches across.",
        None: "",
    }
    return says + answer[meets(wanted, tolerance)]


def _span(low: int, high: int, tolerance: Tolerance) -> str:
    """Classes from low to high, in words where they are known to within two."""
    if low > _coarsest(tolerance):
        return f"none of the classes of {tolerance.standard}: it is coarser."
    if low == high:
        span = f"class {high}"
    elif high > _coarsest(tolerance):
        span = f"class {low} or coarser"
    else:
        span = f"class {high} or finer" if low == 1 else f"class {low} to {high}"
    words = _in_words(high) if high - low <= SURE else ""
    return f"{span} of {tolerance.standard}{words}."


def _coarsest(tolerance: Tolerance) -> int:
    return 12 if tolerance.standard.endswith("1995") else 11


def _in_words(reached: int) -> str:
    return next((f", {words}" for most, words in WORDS if reached <= most), "")
