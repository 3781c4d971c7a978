"""What stands in for the work on a photograph where a test is about its folder."""

import pytest

from cogloupe import inspection
from cogloupe.report import write

from ..helpers import quick_readings


@pytest.fixture
def quick(monkeypatch):
    """Readings without work: names and teeth of what was read; 25 teeth are never seen."""
    read = []

    def inspect_photo(photo, settings, figured):
        read.append((photo.name, settings.teeth))
        return quick_readings.inspect_photo(photo, settings)

    monkeypatch.setattr(inspection, "inspect_photo", inspect_photo)
    monkeypatch.setattr(write, "report_files", quick_readings.report_files)
    return read
