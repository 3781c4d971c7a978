"""Commands as a person gives them."""

import sys

import pytest

from cogloupe.commands import main
from cogloupe.reading.files import reading_json

from ..helpers.report_examples import example_reading


@pytest.fixture
def run(tmp_path, monkeypatch, capfd):
    """Run a command in a folder of its own: exit status, lines of stdout, lines of stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    # Beginning processes takes longer than reading the tests' pictures; one test has them.
    monkeypatch.setattr("cogloupe.folders.processes.cores", lambda: 1)

    def with_arguments(*arguments):
        monkeypatch.setattr(sys, "argv", ["cogloupe", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code or 0, out, err.splitlines()

    return with_arguments


@pytest.fixture
def only_reading(monkeypatch):
    """Leave the drawings out where a test only looks at reading.json."""

    monkeypatch.setattr(
        "cogloupe.report.write.report_files",
        lambda reading, *_: {"reading.json": reading_json(reading).encode()},
    )


@pytest.fixture
def quick_reading(monkeypatch, only_reading):
    """One and the same reading of every picture, without work."""
    made = example_reading()

    def inspect_photo(photo, settings, figured=None):
        told = made.photo.model_copy(update={"file": photo.name, "sha256": photo.sha256})
        return made.model_copy(update={"photo": told}), None

    monkeypatch.setattr("cogloupe.inspection.inspect_photo", inspect_photo)
