"""A reading as reading.json, and back."""

from pathlib import Path
from typing import Any

from cogloupe.reading.models import Reading
from cogloupe_calibration.errors import UseError


def reading_json(reading: Reading) -> str:
    """Write a reading as JSON text.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    str
        Indented JSON ending in a newline.
    """
    return reading.model_dump_json(indent=1) + "\n"


def load_reading(path: Path) -> Reading:
    """Read a reading.json back.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Reading

    Raises
    ------
    UseError
        Where the file is not there or is not a reading.
    """
    try:
        return Reading.model_validate_json(path.read_bytes())
    except (OSError, ValueError) as error:
        raise UseError(f"{path} is not a reading: {str(error).splitlines()[0]}") from error


def reading_schema() -> dict[str, Any]:
    """JSON Schema of reading.json, as published in the package (`reading.schema.json`).

    Returns
    -------
    dict
    """
    return Reading.model_json_schema(mode="serialization")
