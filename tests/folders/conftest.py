"""What stands in for the work on a photograph where a test is about its folder."""

import json
from types import SimpleNamespace

import pytest

from cogloupe import inspection
from cogloupe.report import write
from cogloupe_calibration.errors import PhotoError


@pytest.fixture
def quick(monkeypatch):
    """Readings without work: names and teeth of what was read; 25 teeth are never seen."""
    read = []

    def inspect_photo(photo, settings, figured):
        read.append((photo.name, settings.teeth))
        if settings.teeth == 25:
            raise PhotoError("24 teeth are seen, not 25: check --teeth")
        told = SimpleNamespace(file=photo.name, sha256=photo.sha256)
        return SimpleNamespace(photo=told, teeth=settings.teeth), None

    def report_files(reading, drawing, draw):
        told = {"photo": vars(reading.photo), "gear": {"teeth": reading.teeth}}
        return {"reading.json": json.dumps(told).encode(), "report.html": b"<p>", "chart.png": b"."}

    monkeypatch.setattr(inspection, "inspect_photo", inspect_photo)
    monkeypatch.setattr(write, "report_files", report_files)
    return read
