"""A real browser for the tests of pages, and the audit of what it shows."""

import shutil
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
AXE = Path(__file__).parents[1] / "axe-core" / "axe.min.js"

_QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@contextmanager
def browser():
    """Chromium, driven; the test is skipped where it, or what drives it, is not installed."""
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no chromium is installed")
    with driver.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=_QUIET)
        try:
            yield started
        finally:
            started.close()


@contextmanager
def opened(started, address, width=1200, height=900, may_say="\0", **context):
    """A page at an address; it must not complain in its console, but of what it may."""
    told = []
    shown = started.new_context(viewport={"width": width, "height": height}, **context)
    page = shown.new_page()
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on(
        "console",
        lambda m: m.type in ("error", "warning") and told.append(f"{m.text} {m.location['url']}"),
    )
    page.goto(address)
    try:
        yield page
        assert not [text for text in told if may_say not in text], told
    finally:
        shown.close()


def serious(page):
    """What the audit finds serious or critical: rule, and the first elements that break it."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text("utf-8"))
    # Only for what breaks a rule are the elements looked up.
    found = page.evaluate("axe.run({ resultTypes: ['violations'] })")["violations"]
    return [
        (one["id"], [node["target"] for node in one["nodes"][:3]])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def sideways(page):
    """How far a page would have to be pushed sideways to see all of it, px."""
    return page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def pages_printed(page, paper):
    """Number of sheets that printing a page takes."""
    margin = dict.fromkeys(("top", "bottom", "left", "right"), "12mm")
    return page.pdf(format=paper, margin=margin).count(b"/Type /Page\n")


def work_s(page, script):
    """Processor time that the page needs for a script and for drawing what it changed, s.

    Not the time that passes: other tests run on the same cores.
    """
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent():
        found = session.send("Performance.getMetrics")["metrics"]
        return next(one["value"] for one in found if one["name"] == "TaskDuration")

    before = spent()
    page.evaluate(f"{script}; document.body.offsetHeight")
    return spent() - before


def until(page, holds, seconds=60):
    """Wait for an expression to hold; a strict content policy bars the usual way of waiting."""
    last = time.monotonic() + seconds
    while not page.evaluate(holds):
        assert time.monotonic() < last, holds
        page.wait_for_timeout(50)
