"""Readings of the sample pictures, as `cogloupe inspect sample_images` makes them."""

from functools import cache
from pathlib import Path

from cogloupe.inputs.photo import read_photo
from cogloupe.inputs.settings import settings_for
from cogloupe.inspection import inspect_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


@cache
def reading_of(name):
    path = SAMPLES / name
    return inspect_photo(read_photo(path), settings_for(path, {}))[0]
