"""JSON files that carry the version of their schema."""

from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import from_json

from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import check_letters, check_numbers, printable


class LaterSchemaError(ValueError):
    """The file is of a schema that this program does not know; the message begins with 'has'."""


def load_json(path: Path, most_bytes: int, known: str) -> dict[str, Any]:
    """Read a file of a schema, as plain tables and values.

    This program writes the version `known` of the schema, and reads all of its first number up to
    that.

    Raises
    ------
    OSError
        Where it cannot be read, is larger, or is no ordinary file.
    LaterSchemaError
        Where it was written by a later program, or one whose files nothing reads any more.
    ValueError
        Where it is not JSON, no table, or holds what no honest file does.
    """
    data = from_json(read_file(path, most_bytes))
    if not isinstance(data, dict):
        raise ValueError("it holds no table of fields")
    check_version(str(data.get("schema_version", known)), known)
    check_letters(data)
    check_numbers(data)
    return data


def check_version(seen: str, known: str) -> None:
    """Refuse a schema that is not known.

    Of two as "1.0" the second number grows with fields that earlier programs do not know.

    Raises
    ------
    LaterSchemaError
    """
    if _major_minor(seen)[0] != _major_minor(known)[0] or _major_minor(seen) > _major_minor(known):
        raise LaterSchemaError(
            f"has schema version {printable(seen[:20])}, this program reads {known}"
        )


def _major_minor(version: str) -> tuple[int, int]:
    major, _, minor = version[:20].partition(".")
    try:
        return int(major), int(minor or 0)
    except ValueError:
        return -1, -1


def what_is_wrong(error: ValueError) -> str:
    """Say in one line what is wrong with a file."""
    if not isinstance(error, ValidationError):
        return printable(str(error).splitlines()[0])
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"]) or "the file"
    return printable(f"{where}: {first['msg'].removeprefix('Value error, ')}")
