"""Photographs in folders: which there are, and which is which."""

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Protocol, Self

from cogloupe.inputs.file_kinds import why_not
from cogloupe.inputs.photo import MOST_BYTES, PHOTO_SUFFIXES
from cogloupe.reading.provenance import Mark, Stamp
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import shown_name

OURS = (
    ".toml", ".json", ".csv", ".md", ".txt", ".html", ".js", ".pdf", ".svg", ".xlsx", ".dxf",
    ".sqlite",
)  # fmt: skip
"""Files that lie beside photographs and are none."""


def is_photo(path: Path) -> bool:
    """Tell whether a path is named like a photograph.

    Hidden files (half-written copies, thumbnails) are not.
    """
    return path.suffix.lower() in PHOTO_SUFFIXES and not path.name.startswith((".", "~"))


def find_photos(paths: list[Path]) -> list[Path]:
    """Photographs named by a person: files as they are, folders by what lies in them.

    In the order given, folders sorted by name, each once. Subfolders are not entered.

    Raises
    ------
    UseError
        Where a path is not there, a folder cannot be looked into, or nothing is found.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(photos_in(path)))
        elif path.exists():
            found[path] = None
        else:
            raise UseError(f"{path} is not there: check the name")
    if not found:
        raise UseError(
            f"no photographs in {', '.join(map(str, paths))}: looked for "
            f"{', '.join(PHOTO_SUFFIXES)}"
        )
    return list(found)


def photos_in(folder: Path) -> list[Path]:
    """Photographs that lie in a folder, sorted by name.

    Raises
    ------
    UseError
        Where it cannot be looked into.
    """
    try:
        with os.scandir(folder) as items:
            return sorted(folder / i.name for i in items if is_photo(Path(i.name)) and i.is_file())
    except OSError as error:
        raise UseError(f"{folder} cannot be looked into: {error.strerror}") from error


def passed_over(paths: Iterable[Path]) -> dict[str, str]:
    """Files of folders that are not looked at, with the reason.

    Why not, by file name, without our own settings and what is hidden.
    """
    found = {}
    for folder in paths:
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            ours = path.suffix.lower() in (*PHOTO_SUFFIXES, *OURS)
            if not (ours or path.is_dir() or path.name.startswith((".", "~"))):
                found[shown_name(path)] = why_not(path.name)
    return found


def stamp_of(path: Path) -> Stamp | None:
    """Place, size and time of a file; None where it is not there."""
    try:
        status = path.stat()
    except OSError:
        return None
    return Stamp(os.path.abspath(path), status.st_size, status.st_mtime_ns)


class Pictured(Protocol):
    """What readings belong to: a photograph, or a set of them."""

    @property
    def path(self) -> Path:
        """Its file, or what it goes by."""

    @property
    def sha256(self) -> str:
        """Hash of its bytes; empty where they cannot be read."""

    def is_of(self, mark: Mark) -> bool:
        """Tell whether a mark is of just this."""


@dataclass(frozen=True)
class SetOfPhotos:
    """Several pictures that make one reading."""

    path: Path
    sha256: str

    @classmethod
    def of(cls, first: Path, kind: str, hashes: Iterable[str]) -> Self:
        """Make it from its first picture, the kind of set, and the hashes of all in their order."""
        return cls(first.with_name(f"{first.stem}-{kind}{first.suffix}"), set_hash(hashes))

    def is_of(self, mark: Mark) -> bool:
        """Tell whether a mark is of these very pictures."""
        return mark.sha256 == self.sha256


def set_hash(hashes: Iterable[str]) -> str:
    """What a set of pictures is known by: made from their hashes, in their order."""
    return hashlib.sha256("".join(hashes).encode()).hexdigest()


@dataclass(frozen=True)
class PhotoFile:
    """A photograph's file; its bytes are only looked at where nothing else tells which it is."""

    path: Path

    @cached_property
    def stamp(self) -> Stamp | None:
        """Place, size and time; None where it is not there."""
        return stamp_of(self.path)

    @cached_property
    def sha256(self) -> str:
        """Hash of its bytes; empty where they cannot be read."""
        try:
            return hashlib.sha256(read_file(self.path, MOST_BYTES)).hexdigest()
        except OSError:
            return ""

    def is_of(self, mark: Mark) -> bool:
        """Tell whether a mark is of this very picture."""
        if self.stamp is not None and mark.stamp == self.stamp:
            return True
        return bool(mark.sha256) and mark.sha256 == self.sha256
