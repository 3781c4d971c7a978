"""A pair's page in a real browser: verdict, gears that turn, and all of it without script."""

import re
from math import degrees

import numpy as np
import pytest

from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.layout import lay_out_pair
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.report.mesh_drawing import mesh_data, turns
from cogloupe.report.pair_page import pair_html
from cogloupe.report.write import write_shared
from cogloupe.simulation import Faults, GearSpec

from ..helpers.browser import opened, serious, sideways
from ..helpers.pair_gears import exact_reading, made_gear, perfect_gear


@pytest.fixture(scope="module")
def pairing():
    thick = tuple(-20.0 if k == 6 else 0.0 for k in range(18))
    faults = Faults(
        eccentricity_um=15, tips_about="teeth", left_um=thick, right_um=tuple(-v for v in thick)
    )
    made = made_gear(GearSpec(teeth=18, module_mm=0.5, bore_mm=2.0), faults)
    return pair_gears(
        gear_from_reading(exact_reading(made)), perfect_gear(24), Asked(distance_mm=10.53)
    )


@pytest.fixture(scope="module")
def address(pairing, tmp_path_factory):
    folder = tmp_path_factory.mktemp("pair")
    write_shared(folder)
    path = folder / "pair.html"
    path.write_text(pair_html(pairing, lay_out_pair(pairing)), "utf-8")
    return path.as_uri()


def turned(page, gear):
    return float(re.search(r"rotate\((\S+)\)", page.get_attribute(f"#{gear}", "transform"))[1])


def test_the_verdict_names_the_tooth_that_is_tight_and_its_teeth_are_marked(chromium, address):
    with opened(chromium, address) as page:
        assert page.inner_text(".verdict .first").startswith("Tight at tooth 7 of gear on gap ")
        marked = page.evaluate(
            "[...document.querySelectorAll('#gear-a .tight')].map(one => one.dataset.tooth)"
        )
        assert marked == ["7"]


def test_both_gears_turn_as_their_teeth_let_them(chromium, address, pairing):
    with opened(chromium, address) as page:
        for position in (3.25, 40.0):
            page.locator("#position").evaluate(
                "(one, to) => { one.value = to; one.dispatchEvent(new Event('input')); }", position
            )
            wanted = [degrees(float(v)) for v in turns(pairing, np.array(position), 1)]
            # A page keeps leads to a hundredth of a µm, some 4e-5 of a degree here at most.
            assert [turned(page, g) for g in ("gear-a", "gear-b")] == pytest.approx(
                wanted, abs=1e-3
            )
        said = page.inner_text(".mesh-readout")
        assert f"after {40 / 18:.2f} turns".lower() in said.lower()
        assert "backlash" in said


def test_play_turns_the_gears_and_a_second_press_stops_them(chromium, address):
    with opened(chromium, address) as page:
        before = turned(page, "gear-a")
        page.click("#play")
        page.wait_for_function(
            "was => !document.getElementById('gear-a').getAttribute('transform').includes(was)",
            arg=f"{before:.5f}",
        )
        page.click("#play")
        stood = turned(page, "gear-a")
        page.wait_for_timeout(150)
        assert turned(page, "gear-a") == stood
        page.click("#tightest")
        # Degrees, as the page writes them.
        assert turned(page, "gear-a") == pytest.approx(before, abs=1e-3)


def test_one_flank_drives_and_others_are_shown_open(chromium, address):
    with opened(chromium, address) as page:
        for part in (".mesh.whole", ".mesh.near"):
            assert page.locator(f"{part} .contacts .driving").count() == 1
        assert 1 <= page.locator(".mesh.whole .contacts circle").count() <= 2  # contact ratio 1.6


@pytest.mark.parametrize("width", [400, 1200])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, address, width, scheme):
    with opened(chromium, address, width, color_scheme=scheme) as page:
        assert sideways(page) == 0
        assert serious(page) == []


def test_without_its_script_the_page_still_says_all(chromium, address):
    with opened(chromium, address, java_script_enabled=False) as page:
        assert page.is_visible(".mesh.whole")
        assert page.locator(".mesh.near .driving").count() == 1
        assert not page.is_visible("#play")
        text = page.inner_text("main")
        for wanted in (
            "Tight at",
            "Backlash",
            "contact ratio",
            "rolling fixture",
            "eye protection",
        ):
            assert wanted in text


def test_a_long_period_is_carried_by_a_few_thousand_places():
    a, b = perfect_gear(20), perfect_gear(21)
    data = mesh_data(pair_gears(a, b))
    assert data["steps"] == 420
    for side in (0, 1):
        assert len(data["lead"][side]) == len(data["driving"][side]) == len(data["free"])
        assert len(data["lead"][side]) <= 8000
