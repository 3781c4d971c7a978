"""The report in a real browser, where one is installed."""

import re
from itertools import product

import pytest

from cogloupe.report.page import report_html
from cogloupe.report.reading_tables import tooth_table
from cogloupe.report.write import write_shared
from cogloupe.wording.numbers import with_uncertainty

from ..helpers.browser import opened, pages_printed, serious, sideways
from ..helpers.report_examples import (
    CAUSES,
    VERDICT,
    example_evidence,
    example_reading,
    example_shape,
)

TEETH = 21


@pytest.fixture(scope="module")
def reading():
    _, px = example_evidence(TEETH, size=600)
    return example_reading(
        TEETH, px=px, statuses={(5, "left"): "not_seen", (9, "right"): "obstructed"},
        verdict=VERDICT, causes=CAUSES, **example_shape(),
    )  # fmt: skip


@pytest.fixture(scope="module")
def address(reading, tmp_path_factory):
    folder = tmp_path_factory.mktemp("readings")
    write_shared(folder)
    path = folder / "wheel" / "report.html"
    path.parent.mkdir()
    drawing, _ = example_evidence(TEETH, size=600)
    path.write_text(report_html(reading, drawing), "utf-8")
    return path.as_uri()


def lit(page, part):
    """Teeth that are lit in a part of the page."""
    return page.evaluate(
        "part => [...new Set([...document.querySelectorAll(`${part} [data-tooth].at`)]"
        ".map(one => Number(one.dataset.tooth)))]", part,
    )  # fmt: skip


def test_pointing_at_a_tooth_lights_it_in_ring_chart_and_table(chromium, address):
    with opened(chromium, address) as page:
        page.hover('.ring .tooth[data-tooth="7"] .hit')
        for part in (".ring", "[data-part=pitch-chart]", "table.by-tooth"):
            assert lit(page, part) == [7]
        page.hover('[data-part=pitch-chart] .hit[data-tooth="12"] >> nth=0')
        assert lit(page, ".ring") == [12]
        page.hover('table.by-tooth tr[data-tooth="3"] >> nth=0')
        assert lit(page, ".ring") == lit(page, "[data-part=pitch-chart]") == [3]
        assert "Tooth 3." in page.inner_text("[data-part=readout]")


def test_a_pressed_tooth_stays_when_the_pointer_leaves(chromium, address):
    with opened(chromium, address) as page:
        page.click('.ring .tooth[data-tooth="4"] .hit')
        page.hover("h1")
        assert lit(page, ".ring") == [4]


def test_the_keyboard_alone_goes_from_tooth_to_tooth(chromium, address):
    with opened(chromium, address) as page:
        for _ in range(12):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.getAttribute('role')") == "slider":
                break
        page.keyboard.press("Home")
        page.keyboard.press("ArrowLeft")
        assert lit(page, ".ring") == [TEETH]
        dial = page.locator("[role=slider]").first
        assert dial.get_attribute("aria-valuenow") == str(TEETH)
        assert f"Tooth {TEETH}." in dial.get_attribute("aria-valuetext")


def test_the_loupe_turns_the_chosen_tooth_up_and_enlarges_it(chromium, address):
    with opened(chromium, address) as page:
        page.click('.ring .tooth[data-tooth="6"] .hit')
        turned = page.locator(".loupe g[transform]").get_attribute("transform")
        deg = page.evaluate(
            "JSON.parse(document.getElementById('reading-data').textContent).teeth[5].deg"
        )
        assert float(re.search(r"rotate\((\S+)\)", turned)[1]) == pytest.approx(-90 - deg)
        before = page.locator(".loupe .edge.own").first.get_attribute("d")
        page.locator("#enlarge").fill("2.5")
        assert page.locator(".loupe .edge.own").first.get_attribute("d") != before
        assert "320" in page.inner_text("[data-part=enlarge]")  # 10 ** 2.5, two digits


def cells(page):
    return page.evaluate(
        "[...document.querySelectorAll('table.by-tooth:first-of-type td[data-v]')]"
        ".map(cell => cell.textContent.replace(/\\u00a0/g, ' '))"
    )


def test_units_change_throughout_and_come_back_as_the_reading_wrote_them(
    chromium, address, reading
):
    with opened(chromium, address) as page:
        written = cells(page)
        page.check("input[value=thou]")
        first = reading.verdict.dominant
        value, u = (v / 25.4 for v in (first.value_um, first.u_um))
        thou = with_uncertainty(value, u, "thou")
        assert thou in page.inner_text(".verdict .first").replace("\u00a0", " ")
        assert "thou" in page.inner_text("[data-part=pitch-chart]")
        assert cells(page) != written
        page.check("input[value='′']")
        # On a circle of 21 mm: 10 µm are 3.274 minutes of arc.
        seen = page.evaluate("cogloupe.figure(10, 0, 'µm', {arc: true})")
        assert seen == "3.274′"
        page.check("input[value=µm]")
        assert cells(page) == written


def test_places_are_counted_from_the_mean_or_from_tooth_1(chromium, address, reading):
    with opened(chromium, address) as page:
        page.check("input[value='tooth 1']")
        row = page.locator('table.by-tooth tr[data-tooth="8"]').first
        flank = reading.teeth[7].left
        wanted = with_uncertainty(
            flank.cumulative_pitch_um, flank.u_cumulative_pitch_um, "", signed=True
        )
        assert row.locator("td").nth(1).inner_text().replace("\u00a0", " ") == wanted
        assert "tooth 1 set to zero" in page.inner_html("[data-part=pitch-chart]")


def test_the_page_rounds_as_the_reading_does(chromium, address):
    values, doubts = (0.0995, 12.345, 99.96, -0.5, 1e-4, 1234.5, 8.5), (0.0498, 1.25, 0.4999, 33, 0)
    pairs = list(product(values, doubts))
    with opened(chromium, address) as page:
        shown = page.evaluate(
            "all => all.map(([v, u]) => cogloupe.figure(v, 2 * u, 'µm', {signed: true}))", pairs
        )
    assert shown == [with_uncertainty(value, u, "µm", signed=True) for value, u in pairs]


def test_a_press_on_a_heading_sorts(chromium, address):
    with opened(chromium, address) as page:
        table = page.locator("table.by-tooth").first
        table.locator("thead button").nth(1).click()
        values = table.evaluate("t => [...t.tBodies[0].rows].map(row => row.cells[1].dataset.v)")
        seen = [float(v) for v in values if v]
        assert seen == sorted(seen)
        assert values[-1] == ""  # what was not seen stands last


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_prints_on_two_sheets(chromium, address, paper):
    with opened(chromium, address) as page:
        assert pages_printed(page, paper) == 2


@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1200, "light")])
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, address, width, scheme):
    with opened(chromium, address, width, color_scheme=scheme) as page:
        assert sideways(page) == 0
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        assert sideways(page) == 0
        assert serious(page) == []


def test_without_its_script_the_page_still_says_all(chromium, address, reading):
    with opened(chromium, address, java_script_enabled=False) as page:
        assert page.is_visible("#photograph")
        assert not page.is_visible("[data-part=readout]")
        rows = page.locator("table.by-tooth").first.locator("tbody tr")
        assert rows.count() == len(tooth_table(reading).rows)
