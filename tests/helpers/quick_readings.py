"""Readings without work, where a test is about what becomes of many.

As ``--preload`` of a Dask worker this makes its readings so.
"""

import json
import time
from types import SimpleNamespace

from cogloupe import inspection
from cogloupe.report import write
from cogloupe_calibration.errors import PhotoError

SECONDS = 0.15
"""A cluster's pictures take so long, so that a worker can be killed in the middle."""


def inspect_photo(photo, settings, figured=None):
    """Say of any picture that it was read; 25 teeth are never seen."""
    if settings.teeth == 25:
        raise PhotoError("24 teeth are seen, not 25: check --teeth")
    told = SimpleNamespace(file=photo.name, sha256=photo.sha256)
    return SimpleNamespace(photo=told, teeth=settings.teeth), None


def report_files(reading, drawing, draw):
    """Some files of a reading."""
    told = {"photo": vars(reading.photo), "gear": {"teeth": reading.teeth}}
    return {"reading.json": json.dumps(told).encode(), "report.html": b"<p>", "chart.png": b"."}


def dask_setup(worker):
    """Make the readings of a worker quick."""

    def slowly(*given):
        time.sleep(SECONDS)
        return inspect_photo(*given)

    inspection.inspect_photo = slowly
    write.report_files = report_files
