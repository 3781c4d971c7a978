"""The repository as a place to work in: what a checkout must never come to hold."""

import re
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from .helpers.polygon_gauges import REFERENCE, reference_facts, reference_rows

ROOT = Path(__file__).parents[1]
TAGS = {"published", "memory", "recomputed", "practice"}


def test_folder_named_inspect_does_not_hide_the_standard_module():
    """A child Python in the repository root still imports Python's own `inspect`."""
    child = subprocess.run(
        [sys.executable, "-c", "import inspect, dataclasses; print(inspect.__file__)"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert Path(child.stdout.strip()).parent == Path(sysconfig.get_path("stdlib"))


def test_a_brass_gear_is_read_without_scipy():
    """Importing that takes longer than all the work on a photograph."""
    code = """
import sys
from pathlib import Path
from cogloupe.inspection import inspect_photo
from cogloupe.inputs.photo import read_photo
from cogloupe.inputs.settings import settings_for
photo = Path("sample_images/tide-wheel-m08-20-soft.jpg")
inspect_photo(read_photo(photo), settings_for(photo, {}))
sys.exit("scipy" in sys.modules)
"""
    child = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert child.returncode == 0


@pytest.mark.parametrize("folder", ["inspect", "calibration", "tests"])
def test_folder_is_no_package(folder):
    assert not (ROOT / folder / "__init__.py").exists()


@pytest.mark.parametrize(("package", "other"), [("calibration/cogloupe_calibration", "cogloupe")])
def test_calibration_knows_nothing_of_reading_gears(package, other):
    using = re.compile(rf"^\s*(?:from|import) {other}\b", re.MULTILINE)
    modules = list((ROOT / package).rglob("*.py"))
    assert modules
    assert [path.name for path in modules if using.search(path.read_text())] == []


def tracked_files():
    git = shutil.which("git")
    if git is None:
        pytest.skip("git is not installed")
    listing = subprocess.run(
        [git, "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listing.returncode != 0:
        pytest.skip("not a git checkout")
    files = [ROOT / name for name in listing.stdout.split("\0") if name]
    return [path for path in files if path.is_file()]


# Paths of one person's machine, and hosts that packages were once fetched from.
PRIVATE = re.compile(
    rb"(?<![\w./])/(?:home|work|root|Users)/\w"
    rb"|[A-Z]:\\Users\\"
    rb"|\b(?:localhost|127\.0\.0\.1):\d"
    rb"|\b(?:pypi|pythonhosted|npmjs|golang)\.\w"
    rb"|--(?:extra-)?index-url"
)


@pytest.mark.parametrize(
    "text",
    [
        b"see /home/" + b"me/x",
        b"/work/" + b"main",
        b"localhost" + b":3141",
        b"https://pypi" + b".x/",
    ],
)
def test_private_places_are_recognised(text):
    assert PRIVATE.search(text)


@pytest.mark.parametrize("text", [b"teeth/work/x", b"the work/home vice", b"a/home/b", b"12:30"])
def test_ordinary_text_is_not_taken_for_a_private_place(text):
    assert not PRIVATE.search(text)


def test_no_tracked_file_names_a_private_place():
    found = {
        str(path.relative_to(ROOT)): match.group()
        for path in tracked_files()
        if (match := PRIVATE.search(path.read_bytes()))
    }
    assert found == {}


def leaves(facts):
    """Every table that holds values, in nested tables and lists of tables."""
    for fact in facts.values():
        for each in fact if isinstance(fact, list) else [fact]:
            if isinstance(each, dict):
                yield each


@pytest.mark.parametrize("path", sorted(REFERENCE.glob("*.[ct]*")), ids=lambda path: path.name)
def test_every_reference_value_has_a_source_and_a_tag(path):
    if path.suffix == ".csv":
        entries = reference_rows(path.stem)
    else:
        entries = [*leaves(reference_facts(path.stem))]
    assert entries
    assert all(entry["source"] and entry["tag"] in TAGS for entry in entries)
