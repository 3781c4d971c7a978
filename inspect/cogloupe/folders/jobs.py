"""What passes between those who give photographs out and those who read them."""

from dataclasses import dataclass, field
from pathlib import Path

from cogloupe.inputs.settings import GearSettings
from cogloupe.reading.models import Reading
from cogloupe_calibration.errors import CogloupeError


@dataclass(frozen=True, kw_only=True)
class Job:
    """A photograph to read.

    Attributes
    ----------
    known : str
        Version and settings, in one line that differs when they do.
    out, place : Path
        Where readings go; folder of this one, unless another picture's is there by then.
    every : bool
        Read each gear on the picture by itself.
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

    Attributes
    ----------
    folder : Path or None
        Where the reading is; None where there is none.
    """

    photo: Path
    reading: Reading | None
    error: CogloupeError | None
    folder: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Part:
    """One gear on a picture, read or not, before anything is written.

    Attributes
    ----------
    place : str
        Folder below the picture's; empty where it is the picture's own.
    files : dict of str to bytes
        Its report by file name.
    details : str
        Where in the program it came to grief, if that is its own fault.
    """

    place: str = ""
    reading: Reading | None = None
    files: dict[str, bytes] = field(default_factory=dict)
    error: CogloupeError | None = None
    details: str = ""
