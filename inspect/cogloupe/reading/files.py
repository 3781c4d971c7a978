"""A reading as reading.json, and back."""

from pathlib import Path
from typing import Any

from cogloupe.reading.models import SCHEMA_VERSION, Reading
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.json_files import LaterSchemaError, load_json, what_is_wrong

READING_MOST_BYTES = 2**24
"""Twice what a gear of two thousand teeth has."""


def reading_json(reading: Reading) -> str:
    """Write a reading as JSON text; indented JSON ending in a newline."""
    return reading.model_dump_json(indent=1) + "\n"


def load_reading(path: Path) -> Reading:
    """Read a reading.json back.

    Raises
    ------
    UseError
        Where the file is not there, is not a reading, or is one of a later program.

    Examples
    --------
    >>> reading = load_reading(Path("tests/reading/old/1.0-involute.json"))
    >>> reading.gear.teeth, len(reading.teeth)
    (12, 12)
    """
    try:
        return Reading.model_validate(load_json(path, READING_MOST_BYTES, SCHEMA_VERSION))
    except OSError as error:
        raise UseError(f"{path} cannot be read: {error.strerror or error}") from error
    except LaterSchemaError as error:
        raise UseError(f"{path} {error}: read the photograph again, or update Cogloupe") from error
    except ValueError as error:
        raise UseError(f"{path} is not a reading: {what_is_wrong(error)}") from error


def reading_schema() -> dict[str, Any]:
    """JSON Schema of reading.json, as published in the package (`reading.schema.json`)."""
    return Reading.model_json_schema(mode="serialization")
