"""Attempts to be compared: readings from the command line and from the log, brought together."""

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from cogloupe.comparing.trials import (
    Trial,
    append_trials,
    load_trials,
    make_trial,
    place_of,
    seen_from,
)
from cogloupe.reading.files import READING_MOST_BYTES, load_reading
from cogloupe.reading.models import Reading
from cogloupe.reading.provenance import READING_FILE, note_logged
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_file


@dataclass(frozen=True)
class Attempt:
    """A reading and what the log knows of it."""

    label: str
    reading: Reading
    trial: Trial | None

    @property
    def date(self) -> datetime.date | None:
        """Day it is logged under, else that of the photograph; None where neither has one."""
        return self.trial.date if self.trial else _taken(self.reading)


def find_reading(path: Path) -> Path:
    """The reading.json that a person named: itself, or by its folder.

    Raises
    ------
    UseError
        Where there is none.
    """
    if path.is_dir():
        inside = path / READING_FILE
        if inside.is_file():
            return inside
        below = sorted(p.parent.name for p in path.glob(f"*/{READING_FILE}"))
        if below:
            raise UseError(
                f"{path} holds {len(below)} readings: name them one by one, as "
                f"{path / below[0]} {path / below[-1]}, or choose by --teeth, --module or --since"
            )
        raise UseError(f"{path} holds no {READING_FILE}: name the folder of one reading")
    if not path.is_file():
        raise UseError(f"{path} is not there: name a {READING_FILE} or the folder it lies in")
    if path.suffix.lower() != ".json":
        raise UseError(
            f"{path} is no reading: read the photograph with 'cogloupe inspect {path.name}', then "
            f"name the {READING_FILE} it leaves"
        )
    return path


def gather(
    paths: Sequence[Path], log: Path | None, changed: str, note: str, today: datetime.date
) -> list[Attempt]:
    """Load the readings to be compared, and log what was said of the last.

    Parameters
    ----------
    paths : sequence of Path
        Readings or their folders, in order; with a log, none takes all that it has, and a single
        one is put behind them.
    changed, note : str
        What was changed before the last reading's gear was cut; both empty writes nothing.
    today : date
        Date of attempts that are logged now and whose photograph has none.

    Raises
    ------
    UseError
        Where a reading or the log cannot serve, or the log says otherwise already.
    """
    if changed or note:
        if log is None:
            raise UseError("no log was named to write to: add --log trials.toml")
        if not paths:
            raise UseError("no reading was named to log: name it after 'compare'")
    found = [find_reading(path).resolve() for path in paths]
    known = () if log is None else load_trials(log)
    if log is not None and len(found) < 2:
        found = list(dict.fromkeys([*(place_of(log, trial) for trial in known), *found]))
    readings = [load_reading(path) for path in found]
    if log is not None and (changed or note):
        _write(log, list(zip(found, readings, strict=True)), changed, note, today)
    by_place = {} if log is None else {place_of(log, trial): trial for trial in load_trials(log)}
    if log is not None:
        _keep_logged(log, by_place)
    labels = _labels(found, readings)
    return [
        Attempt(label, reading, by_place.get(path))
        for label, reading, path in zip(labels, readings, found, strict=True)
    ]


def _write(
    log: Path, found: Sequence[tuple[Path, Reading]], changed: str, note: str, today: datetime.date
) -> None:
    """Log the readings that the log lacks; the last with what was said."""
    last = found[-1][0]

    def lacking(known: tuple[Trial, ...]) -> list[Trial]:
        logged = {place_of(log, trial): trial for trial in known}
        if last in logged:
            _check_same(log, logged[last], changed, note)
        return [
            make_trial(
                _taken(reading) or today, seen_from(log, path),
                *((changed, note) if path == last else ("", "")), _hash(path),
            )
            for path, reading in dict(found).items() if path not in logged
        ]  # fmt: skip

    append_trials(log, lacking)


def _check_same(log: Path, old: Trial, changed: str, note: str) -> None:
    if (old.changed, old.note) != (changed.strip(), note.strip()):
        raise UseError(
            f"{log} has {old.reading} already, changed: '{old.changed}': edit it there, or "
            "leave --changed and --note out"
        )


def _keep_logged(log: Path, trials: Mapping[Path, Trial]) -> None:
    """See that the readings of a log are those that were logged, and that they stay."""
    for path, trial in trials.items():
        if trial.reading_sha256 and path.exists() and _hash(path) != trial.reading_sha256:
            raise UseError(
                f"{path} is not the reading that {log} compared: put that one back, or take "
                "its attempt out of the log"
            )
        with suppress(OSError):  # where nobody may write, nobody replaces it
            if path.name == READING_FILE and path.exists():
                note_logged(path.parent, [log.resolve()])


def _hash(path: Path) -> str:
    return hashlib.sha256(read_file(path, READING_MOST_BYTES)).hexdigest()


def _taken(reading: Reading) -> datetime.date | None:
    """Day the photograph was taken, from what EXIF writes; None where it has none."""
    try:
        return datetime.datetime.strptime(reading.photo.taken or "", "%Y:%m:%d %H:%M:%S").date()
    except ValueError:
        return None


def _labels(paths: Sequence[Path], readings: Sequence[Reading]) -> list[str]:
    """Names of the photographs, or of the readings' folders where two are alike."""
    files = [reading.photo.file for reading in readings]
    if len(set(files)) == len(files):
        return [Path(file).stem for file in files]
    folders = [path.parent.name for path in paths]
    if len(set(folders)) == len(folders):
        return folders
    return [f"{k}: {file}" for k, file in enumerate(files, 1)]
