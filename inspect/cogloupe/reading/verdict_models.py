"""Models of what a reading comes to: the verdict, and what on the machine may have done it."""

from typing import Literal

from cogloupe.reading.cutting_models import SizeFound
from cogloupe_calibration.file_model import FileModel

Outcome = Literal["nothing", "good", "none_of_the_usual", "open", "named"]
Meets = Literal["yes", "no", "cannot_tell"]


class DominantFault(FileModel):
    """What costs the gear's running most; `kind` is "nothing_resolved" where nothing is seen.

    `value_um` is the size that the text names, along the measuring circle or the radius, with its
    standard uncertainty; `teeth` are those that show it, none where all do.
    """

    kind: str
    text: str
    value_um: float | None = None
    u_um: float | None = None
    teeth: tuple[int, ...] = ()


class Verdict(FileModel):
    """First what is wrong most, then whether the gear serves, then what to do next.

    Classes are those of the standard that the reading's tolerance names; `reached_class` is as
    [low, high] where the uncertainty straddles classes, None where the gear is not graded.
    `class_text` says the same in plain words.
    """

    dominant: DominantFault
    wanted_class: int | None = None
    meets: Meets | None = None
    reached_class: tuple[int, int] | None = None
    class_text: str = ""
    next_step: str = ""


class CauseFound(FileModel):
    """One cause as the reading speaks for it, its sizes in the machine's own units first."""

    code: str
    name: str
    probability: float
    pattern: str
    sizes: tuple[SizeFound, ...] = ()
    alike: str = ""
    test: str = ""
    cautions: tuple[str, ...] = ()


class CauseFindings(FileModel):
    """What on the machine may have left the pattern, likeliest first.

    `outcome` is "nothing" where no pattern is larger than its uncertainty, "good" where there is
    one but nothing to mend for this size and class, "none_of_the_usual" where no cause of the
    table fits, "open" where several do alike, else "named". `causes` are those of what is wrong
    most; `others` the likeliest of what was found beside it.
    """

    outcome: Outcome
    sentence: str
    causes: tuple[CauseFound, ...] = ()
    others: tuple[CauseFound, ...] = ()
    machine_known: bool = False
