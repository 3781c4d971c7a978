"""Fixtures that several test modules share."""

import io
import os

# As the command does, and before numpy is imported: further threads wait longer than they work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings
from PIL import Image

from .helpers.browser import browser
from .helpers.pictures import rendered

# How long a single example takes says nothing on a machine that others use as well.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


def pytest_configure(config):
    """Leave the tests of a file to one process: they share what they render, measure and read."""
    if getattr(config.option, "dist", "no") == "load":
        config.option.dist = "loadfile"


@pytest.fixture(scope="session")
def chromium():
    """The one browser of a run."""
    with browser() as started:
        yield started


@pytest.fixture(scope="session")
def wheel_png():
    """Bytes of a picture of a wheel of 24 teeth, module 1, at 40 um per pixel."""
    file = io.BytesIO()
    Image.fromarray(rendered().image).save(file, "PNG")
    return file.getvalue()


@pytest.fixture(scope="session")
def wheel_jpg():
    """The same as JPEG."""
    file = io.BytesIO()
    Image.fromarray(rendered().image).save(file, "JPEG", quality=95)
    return file.getvalue()
