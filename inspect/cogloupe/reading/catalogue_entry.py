"""One line of the catalogue: what a person looks a reading up by, and what it came to in short."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import isfinite
from pathlib import PurePosixPath
from typing import Any

from cogloupe_calibration.plain_text import printable


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A reading, or a photograph that could not be read, as the catalogue has it.

    Attributes
    ----------
    folder : str
        Where it is, as seen from the folder of all readings, with forward slashes.
    status : str
        "read" or "not_read".
    reason : str
        Why it could not be read, in one line; else empty.
    taken : str or None
        When the photograph was taken, as 2026-05-03T10:11:12; None where the camera did not say.
    read_at : str
        When it was read, likewise.
    verdict_kind, verdict_text, class_text, next_step, meets : str or None
        Of the reading's verdict.
    single_pitch_max_um, cumulative_pitch_total_um, runout_um : float or None
        With their standard uncertainties (k = 1) as u_...
    warnings : int
        How many it has.
    set_kind : str or None
        Of a reading of several pictures.
    """

    folder: str
    status: str
    reason: str = ""
    photo: str = ""
    sha256: str = ""
    taken: str | None = None
    read_at: str = ""
    software_version: str | None = None
    teeth: int | None = None
    module_mm: float | None = None
    diametral_pitch: float | None = None
    form: str | None = None
    verdict_kind: str | None = None
    verdict_text: str | None = None
    wanted_class: int | None = None
    meets: str | None = None
    reached_low: int | None = None
    reached_high: int | None = None
    class_text: str | None = None
    next_step: str | None = None
    single_pitch_max_um: float | None = None
    u_single_pitch_max_um: float | None = None
    cumulative_pitch_total_um: float | None = None
    u_cumulative_pitch_total_um: float | None = None
    runout_um: float | None = None
    u_runout_um: float | None = None
    warnings: int = 0
    set_kind: str | None = None

    @property
    def date(self) -> str:
        """Day the photograph was taken, else read, as 2026-05-03."""
        return (self.taken or self.read_at)[:10]

    @property
    def page(self) -> str:
        """Place of its report as seen from the folder of all readings; empty where not read."""
        return str(PurePosixPath(self.folder, "report.html")) if self.status == "read" else ""


_GEAR = ("teeth", "module_mm", "diametral_pitch", "form")
_FIGURES = (
    "single_pitch_max_um", "u_single_pitch_max_um", "cumulative_pitch_total_um",
    "u_cumulative_pitch_total_um", "runout_um", "u_runout_um",
)  # fmt: skip
_VERDICT = ("wanted_class", "meets", "class_text", "next_step")

_KINDS = {field.name: field.type for field in fields(Entry)}


def entry_of(folder: str, reading: Mapping[str, Any], read_at: str) -> Entry:
    """Make the line of a reading from its file, of whatever version.

    Parameters
    ----------
    folder : str
        Where it is, as seen from the folder of all readings.
    reading : mapping
        What reading.json holds.
    read_at : str
        When it was written.
    """
    photo, verdict = _table(reading, "photo"), _table(reading, "verdict")
    dominant = _table(verdict, "dominant")
    reached = verdict.get("reached_class") or (None, None)
    low, high = reached if isinstance(reached, list | tuple) and len(reached) == 2 else (None, None)
    warned = reading.get("warnings")
    found = {
        "photo": photo.get("file"), "sha256": photo.get("sha256"),
        "taken": _moment(photo.get("taken")),
        "software_version": reading.get("software_version"),
        "verdict_kind": dominant.get("kind"), "verdict_text": dominant.get("text"),
        "reached_low": low, "reached_high": high,
        "set_kind": _table(reading, "photo_set").get("kind"),
        "warnings": len(warned) if isinstance(warned, list) else 0,
        **{name: _table(reading, "gear").get(name) for name in _GEAR},
        **{name: _table(reading, "summary").get(name) for name in _FIGURES},
        **{name: verdict.get(name) for name in _VERDICT},
    }  # fmt: skip
    kept = {name: v for name, value in found.items() if _fits(name, v := _plain(value))}
    return Entry(folder=folder, status="read", read_at=read_at, **kept)


def _table(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = data.get(name)
    return found if isinstance(found, Mapping) else {}


def _fits(name: str, value: object) -> bool:
    """Whether a value is of the kind that a field of an entry holds, and not None."""
    kind: Any = _KINDS[name]
    usual = float(value) if isinstance(value, int) and kind == float | None else value
    return value is not None and isinstance(usual, kind)


def _plain(value: object) -> Any:
    """A text or number as it can be kept and shown; None for anything else."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, int | float) and abs(value) < 2**53 and isfinite(value):
        return value
    return None


def _moment(taken: object) -> str | None:
    """Moment as EXIF writes it, in the form in which texts sort by time."""
    try:
        return datetime.datetime.strptime(str(taken), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None
