"""What a person calls in a notebook is shown by an example, and the examples hold."""

import doctest
import inspect
from pathlib import Path

import pytest

import cogloupe
from cogloupe.reading.files import load_reading

TYPES = {"GearSettings", "Photo", "Reading", "Gear"}
SHOWN_ELSEWHERE = {
    "gear_outline", "gear_from_reading", "load_machine", "write_report",
}  # fmt: skip
"""Need files, or give more numbers than an example can show."""
EXAMPLES = sorted(set(cogloupe.__all__) - TYPES - SHOWN_ELSEWHERE)


def failures(thing, name, **given):
    finder = doctest.DocTestFinder(recurse=False)
    (example,) = finder.find(thing, name, globs={**vars(inspect.getmodule(thing)), **given})
    assert example.examples, f"{name} shows no example"
    return doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example).failed


@pytest.fixture(autouse=True)
def at_the_root(monkeypatch):
    monkeypatch.chdir(Path(__file__).parents[1])


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_example_holds(name):
    reading = load_reading(Path("tests/reading/old/1.0-involute.json"))
    assert failures(getattr(cogloupe, name), name, reading=reading) == 0


def test_the_example_of_the_front_page_holds():
    assert failures(cogloupe, "cogloupe") == 0


def test_all_that_is_named_public_is_there():
    assert all(hasattr(cogloupe, name) for name in cogloupe.__all__)
