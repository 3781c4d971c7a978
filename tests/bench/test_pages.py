"""Pages that answer a form: whole on a phone, and read out by a screen reader."""

import pytest

from cogloupe.bench import pages
from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.reading.files import reading_json

from ..helpers.browser import opened, serious, sideways
from ..helpers.report_examples import example_reading

MACHINE = """\
encoder_pulses_per_revolution = 600
motor_steps_per_revolution = 200
microsteps = 4
drive_ratio = [72, 24]
"""
MADE = {
    "plan": lambda gears: pages.plan_page(gears, {"teeth": "21", "dp": "48", "mate_teeth": "48"}),
    "causes": lambda gears: pages.causes_page(gears, "before"),
    "compare": lambda gears: pages.compare_page(gears, ["before", "after"], "", same_gear=False),
}


@pytest.fixture(scope="module")
def gears(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gears")
    (folder / "machine.toml").write_text(MACHINE)
    for name in ("before", "after"):
        place = folder / "readings" / name
        place.mkdir(parents=True)
        (place / "reading.json").write_text(reading_json(example_reading(21)), "utf-8")
    return GearsFolder(folder)


@pytest.mark.parametrize("name", MADE)
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, gears, name, tmp_path):
    path = tmp_path / f"{name}.html"
    path.write_text(MADE[name](gears), "utf-8")
    for width, scheme in ((400, "dark"), (1200, "light")):
        with opened(chromium, path.as_uri(), width, color_scheme=scheme) as page:
            assert sideways(page) == 0
            assert serious(page) == []
