"""The page in a real browser, where one is installed."""

import shutil
import subprocess

import cv2
import numpy as np
import pytest

from cogloupe.report.page import report_html

from ..helpers.report_examples import example_reading

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(BROWSER is None, reason="no chromium is installed")


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    grey = np.full((300, 400), 128, np.uint8)
    grey[100:200, 150:250] = 20
    picture = cv2.imencode(".png", grey)[1].tobytes()
    path = tmp_path_factory.mktemp("page") / "report.html"
    images = dict.fromkeys(("overlay", "chart"), picture)
    path.write_text(report_html(example_reading(), images), "utf-8")
    return path


def browse(page, *options):
    quiet = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
             "--disable-sync", "--no-first-run", "--hide-scrollbars")  # fmt: skip
    profile = f"--user-data-dir={page.parent / 'profile'}"
    return subprocess.run(
        [BROWSER, *quiet, profile, *options, page.as_uri()],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip


def test_the_page_shows_every_tooth_and_asks_nothing_of_the_network(page):
    shown = browse(page, "--dump-dom").stdout
    assert shown.count("<img") == 2
    assert all(f">{tooth.number}<" in shown for tooth in example_reading().teeth)
    assert "http://" not in shown
    assert "https://" not in shown


@pytest.mark.parametrize("width", [400, 1200])
def test_the_page_is_drawn_at_the_width_of_phone_and_desk(page, width):
    target = page.parent / f"{width}.png"
    browse(page, f"--screenshot={target}", f"--window-size={width},1600")
    drawn = cv2.imread(str(target), cv2.IMREAD_GRAYSCALE)
    assert drawn.shape == (1600, width)
    # Text and pictures, and paper between them.
    assert np.ptp(drawn) > 150
    assert (drawn == np.median(drawn)).mean() > 0.3
