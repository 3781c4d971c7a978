"""What passes between those who give photographs out and those who read them."""

from dataclasses import dataclass, field
from pathlib import Path

from cogloupe.inputs.settings import GearSettings
from cogloupe.reading.models import Reading
from cogloupe_calibration.errors import CogloupeError


@dataclass(frozen=True, kw_only=True)
class Job:
    """A photograph to read.

    `known` is version and settings, in one line that differs when they do; `out` is where readings
    go, `place` the folder of this one, unless another picture's is there by then; with `every` each
    gear on the picture is read by itself.
    """

    photo: Path
    settings: GearSettings
    known: str
    out: Path
    place: Path
    every: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of one gear on a photograph: a reading, or the error that stopped it.

    `folder` is where the reading is.
    """

    photo: Path
    reading: Reading | None
    error: CogloupeError | None
    folder: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Part:
    """One gear on a picture, read or not, before anything is written.

    `place` is its folder below the picture's, empty where it is the picture's own; `files` are its
    report by name; `details` tell where in the program it came to grief, if that is its own fault.
    """

    place: str = ""
    reading: Reading | None = None
    files: dict[str, bytes] = field(default_factory=dict)
    error: CogloupeError | None = None
    details: str = ""
