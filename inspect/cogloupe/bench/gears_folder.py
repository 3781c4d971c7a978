"""The one folder that the local page reads and writes: photographs, settings and readings."""

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cogloupe.inputs.file_kinds import why_not
from cogloupe.inputs.photo import PHOTO_SUFFIXES
from cogloupe.inputs.settings import MACHINE_FILE, SETTINGS_FILE, GearSettings, settings_for
from cogloupe.inputs.toml_file import read_toml, save_toml
from cogloupe.planning.machine import make_machine
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import write_whole

MOST_BYTES = 200 * 2**20
"""Of one photograph: 48 megapixels of three 16-bit colours are 288 MB bare, half that as a file."""
MOST_PHOTOS = 5000
"""In the folder; a wrong script in a loop must not fill the disk."""
READINGS = "readings"
CALIBRATION_FILE = "calibration.json"
TRIALS_FILE = "trials.toml"

_ODD = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]')
"""What some file system cannot have in a name."""


@dataclass(frozen=True)
class GearsFolder:
    """A folder of photographs with their settings and readings."""

    path: Path

    @property
    def readings(self) -> Path:
        """Where readings go."""
        return self.path / READINGS

    @property
    def calibration(self) -> Path:
        """The last calibration; may not be there."""
        return self.path / CALIBRATION_FILE

    @property
    def machine(self) -> Path:
        """The machine file; may not be there."""
        return self.path / MACHINE_FILE

    @property
    def trials(self) -> Path:
        """The log of attempts; may not be there."""
        return self.path / TRIALS_FILE

    def photo(self, name: str) -> Path:
        """A photograph of the folder, by its file name.

        Raises
        ------
        UseError
            Where there is none of that name, or the name leads elsewhere.
        """
        found = self._own(name)
        if found.name != name or not found.is_file():
            raise UseError(f"{name} is not in the folder: drop it in again")
        return found

    def reading(self, folder: str) -> Path:
        """The folder of a reading, named as seen from the folder of readings.

        Raises
        ------
        UseError
            Where there is none, or the name leads elsewhere.
        """
        return self._below(folder, "reading.json").parent

    def served(self, name: str) -> Path:
        """A file that a page may load, named as seen from the folder of readings.

        Raises
        ------
        UseError
            Where there is none, or the name leads elsewhere.
        """
        return self._below(name)

    def _below(self, *parts: str) -> Path:
        found = self.readings.joinpath(*parts).resolve()
        inside = found.is_relative_to(self.readings.resolve())
        if not inside or not found.is_file() or any(p.startswith(".") for p in found.parts[-1:]):
            raise UseError(f"{parts[0]} is not among the readings")
        return found

    def keep(self, name: str, data: bytes) -> Path:
        """Put a photograph into the folder; one that is there already is not put twice.

        Gives where it lies: under another name where another picture has this one.

        Raises
        ------
        UseError
            Where it is no kind of picture, too large, or one too many.
        """
        wanted = plain_name(name)
        if Path(wanted).suffix.lower() not in PHOTO_SUFFIXES:
            raise UseError(f"{wanted} is not read: {why_not(wanted)}")
        if len(data) > MOST_BYTES:
            raise UseError(f"{wanted} is larger than {MOST_BYTES // 2**20} MB")
        if sum(1 for _ in self.path.iterdir()) >= MOST_PHOTOS:
            raise UseError(f"the folder holds {MOST_PHOTOS} files: choose a new one for 'bench'")
        return self._written(wanted, data)

    def _written(self, wanted: str, data: bytes) -> Path:
        stem, suffix, digest = Path(wanted).stem, Path(wanted).suffix, hashlib.sha256(data).digest()
        for number in range(1, MOST_PHOTOS + 2):
            place = self.path / (wanted if number == 1 else f"{stem}-{number}{suffix}")
            if not place.exists():
                write_whole(place, data)
                return place
            if hashlib.sha256(place.read_bytes()).digest() == digest:
                return place
        raise UseError(f"too many pictures are called {wanted}")

    def settings(self, photo: Path, given: dict[str, Any]) -> GearSettings:
        """Settings of a photograph: what was just said, before what gear.toml says.

        Raises
        ------
        UseError
        """
        calibration = given.get("calibration")
        here = {} if calibration is None else {"calibration": self._own(str(calibration))}
        return settings_for(photo, {**given, **here})

    def _own(self, name: str) -> Path:
        """A file of this folder: what a page names is never looked for elsewhere."""
        return self.path / plain_name(name)

    def stated(self, photo: str) -> dict[str, Any]:
        """What gear.toml says of a photograph, its own table over what holds for all."""
        path = self.path / SETTINGS_FILE
        document = read_toml(path) if path.is_file() else {}
        tables = document.pop("photo", {})
        return {**document, **(tables.get(photo, {}) if isinstance(tables, dict) else {})}

    def last_stated(self) -> dict[str, Any]:
        """What was said of the photograph whose table stands last in gear.toml.

        Empty where there is none.
        """
        path = self.path / SETTINGS_FILE
        tables = read_toml(path).get("photo", {}) if path.is_file() else {}
        return self.stated(list(tables)[-1]) if tables else {}

    def machine_as_typed(self) -> dict[str, str]:
        """What machine.toml says, as a person types it into a form.

        Empty where there is no such file.
        """
        said = read_toml(self.machine) if self.machine.is_file() else {}
        return {
            name: "/".join(map(str, value)) if isinstance(value, list) else str(value)
            for name, value in said.items()
        }

    def keep_machine(self, fields: dict[str, Any]) -> None:
        """Write machine.toml; what is empty is taken out, what was not asked stays.

        Raises
        ------
        UseError
            Where the machine cannot be so; then nothing is written.
        """
        given = {name: value or None for name, value in fields.items()}
        before = read_toml(self.machine) if self.machine.is_file() else {}
        together = {**before, **given}
        make_machine({name: value for name, value in together.items() if value is not None})
        save_toml(self.machine, given)

    def state(self, photo: str, fields: dict[str, Any]) -> None:
        """Write what was said of a photograph into gear.toml; None takes a field out."""
        gone = {name: None for name in self.stated(photo) if name not in fields}
        save_toml(self.path / SETTINGS_FILE, {**gone, **fields}, photo)


def plain_name(name: str) -> str:
    """A file name without folders and without what file systems stumble over."""
    last = re.split(r"[\\/]", name)[-1]
    plain = _ODD.sub("_", last).strip(". ")
    return plain[-120:] if plain else "picture.png"
