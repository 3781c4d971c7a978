"""The README's five steps, done as they stand there."""

import re
import shutil
import subprocess
import sys
import venv
from pathlib import Path

import pytest

from ..helpers.browser import opened

ROOT = Path(__file__).parents[2]
SAMPLE = "day-wheel-48dp-21-eccentric.jpg"
ANSWERS = "\n".join(["21", "", "48", "", "12.17mm", *[""] * 6, "n", ""])
"""Teeth, module (it is stated in DP), DP, pressure angle, tip diameter; no machine."""


def steps():
    """The five steps, and the commands that stand in them."""
    text = (ROOT / "README.md").read_text("utf-8")
    section = text.partition("## Your first gear in five steps")[2].partition("\n## ")[0]
    listed = re.split(r"^\d\. ", section.partition("\nOr do all")[0], flags=re.MULTILINE)[1:]
    return listed, [line for step in listed for line in re.findall(r"`(cogloupe [^`]+)`", step)]


def do(commands, program, folder):
    for command in commands:
        _, *arguments = command.split()
        done = subprocess.run(
            [program, *arguments], cwd=folder, input=ANSWERS, text=True, capture_output=True,
            check=False, timeout=300,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


def done_with(program, folder, chromium):
    """Do the steps with a program, and look at what a person then sees."""
    listed, commands = steps()
    assert len(listed) == 5
    assert len(commands) == 2
    (folder / "gears").mkdir()
    shutil.copy(ROOT / "sample_images" / SAMPLE, folder / "gears")
    do(commands, program, folder)
    (page,) = re.findall(r"`(gears/\S+\.html)`", listed[3])
    assert (folder / page).is_file()
    with opened(chromium, (folder / page).as_uri()) as seen:
        assert seen.locator(".readings tbody tr").count() == 1
        seen.click(f"text={SAMPLE}")
        seen.wait_for_selector("body.alive .ring .tooth")
        assert seen.inner_text(".verdict .first")


def test_the_five_steps_lead_to_a_report(tmp_path, chromium):
    program = Path(sys.executable).with_name("cogloupe")
    if not program.exists():
        pytest.skip("cogloupe is not installed beside this Python")
    done_with(program, tmp_path, chromium)


@pytest.mark.slow
def test_the_five_steps_lead_to_a_report_from_a_fresh_install(tmp_path, chromium):
    venv.create(tmp_path / "fresh", with_pip=True)
    tools = next(tmp_path / "fresh" / name for name in ("bin", "Scripts"))
    subprocess.run([tools / "pip", "install", "-q", ROOT], check=True, timeout=1200)
    (tmp_path / "home").mkdir()
    done_with(tools / "cogloupe", tmp_path / "home", chromium)
