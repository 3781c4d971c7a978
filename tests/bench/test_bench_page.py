"""The local page in a real browser: everything that a person does on it."""

import base64
import time
import tomllib

import cv2
import numpy as np
import pytest

from cogloupe.reading.files import load_reading, reading_json
from cogloupe.simulation import GearSpec

from ..helpers.bench_server import served
from ..helpers.browser import opened, serious, sideways, until
from ..helpers.pair_gears import exact_reading, made_gear
from ..helpers.pictures import rendered
from ..helpers.report_examples import example_reading

# The picture: 24 teeth, module 1 mm, at 40 µm a pixel, so the tips are 26 mm or 650 px across.
TIP = "26mm"


@pytest.fixture
def gears(tmp_path, wheel_png):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "wheel.png").write_bytes(wheel_png)
    (tmp_path / "gears").mkdir()
    return tmp_path / "gears"


@pytest.fixture
def readings(gears):
    """Two readings that lie in the folder already."""
    for name in ("before", "after"):
        place = gears / "readings" / name
        place.mkdir(parents=True)
        (place / "reading.json").write_text(reading_json(example_reading(21)), "utf-8")


@pytest.fixture
def only_reading(monkeypatch):
    """Leave the drawings out where a test only looks at the page and at reading.json."""
    monkeypatch.setattr(
        "cogloupe.bench.work.report_files",
        lambda reading, *_: {"reading.json": reading_json(reading).encode()},
    )


@pytest.fixture
def bench(chromium, gears):
    # What the page asks in vain is answered by 400 and a sentence, which the console has too.
    refused = "status of 400"
    with served(gears) as address, opened(chromium, address, may_say=refused) as page:
        page.wait_for_selector("body[data-ready]")
        page.set_default_timeout(120_000)  # other tests run on the same cores
        yield page


def choose(page, gears, name="wheel.png"):
    page.set_input_files("#file", gears.parent / "in" / name)
    page.wait_for_selector("#bench-picture:not([hidden])")


def read(page):
    page.click("#go")
    page.wait_for_selector("#result:not([hidden]) .ring")


def written(gears):
    """The reading of the wheel, which is written while the page shows it already."""
    path = gears / "readings" / "wheel" / "reading.json"
    last = time.monotonic() + 60
    while not path.exists():
        assert time.monotonic() < last
        time.sleep(0.02)
    return path


def settings_of(gears, name="wheel.png"):
    return tomllib.loads((gears / "gear.toml").read_text("utf-8"))["photo"][name]


@pytest.mark.usefixtures("only_reading")
def test_a_dropped_picture_is_looked_at_and_read(bench, gears, wheel_png):
    bench.evaluate(
        """data => {
            const bytes = Uint8Array.from(atob(data), letter => letter.charCodeAt(0));
            const moved = new DataTransfer();
            moved.items.add(new File([bytes], "dropped wheel.png", { type: "image/png" }));
            document.dispatchEvent(new DragEvent("drop", { dataTransfer: moved, bubbles: true }));
        }""",
        base64.b64encode(wheel_png).decode(),
    )
    bench.wait_for_selector("#bench-picture:not([hidden])")
    assert bench.input_value("#teeth") == "24"
    assert bench.locator(".seen .gear.chosen").count() > 0
    bench.fill("#size", TIP)
    bench.press("#size", "Tab")
    bench.wait_for_selector("#sizes input")
    assert "module 1" in bench.inner_text("#sizes")
    assert "%" in bench.inner_text("#sizes")
    read(bench)
    assert bench.inner_text("#result-verdict .first")
    assert "largest single pitch deviation" in bench.inner_text("#result-figures")
    assert bench.locator("#result .ring .tooth").count() == 24
    assert (gears / "dropped wheel.png").read_bytes() == wheel_png
    said = settings_of(gears, "dropped wheel.png")
    assert (said["teeth"], said["known_tip_diameter"], said["module_mm"]) == (24, TIP, 1.0)


def test_the_same_files_are_written_as_by_the_command_line(bench, gears):
    choose(bench, gears)
    bench.fill("#size", TIP)
    bench.fill("#stated", "1")
    read(bench)
    bench.click("#result-links >> text=the whole report")
    bench.wait_for_selector("body.alive .ring")
    assert bench.url.endswith("/readings/wheel/report.html")
    reading = load_reading(gears / "readings" / "wheel" / "reading.json")
    assert reading.gear.teeth == 24
    assert {p.name for p in (gears / "readings" / "wheel").iterdir()} >= {
        "report.html", "chart.png", "overlay.png", "teeth.csv", "outline.svg",
    }  # fmt: skip
    assert (gears / "readings" / "index.html").exists()


@pytest.mark.usefixtures("only_reading")
def test_a_count_that_is_corrected_is_what_is_read(bench, gears):
    choose(bench, gears)
    bench.fill("#teeth", "23")
    bench.fill("#size", TIP)
    bench.fill("#stated", "1")
    bench.click("#go")
    bench.wait_for_selector("#wrong:not(:empty)")
    assert "23" in bench.inner_text("#wrong")  # the picture shows 24, and says so
    bench.fill("#teeth", "24")
    read(bench)
    assert settings_of(gears)["teeth"] == 24


@pytest.mark.usefixtures("only_reading")
def test_of_two_gears_the_pressed_one_is_read(bench, gears):
    image = rendered().image
    small = cv2.resize(image, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    both = np.full((image.shape[0], image.shape[1] + small.shape[1]), image[2, 2], np.uint8)
    both[:, : image.shape[1]] = image
    both[: small.shape[0], image.shape[1] :] = small
    cv2.imwrite(str(gears.parent / "in" / "both.png"), both)
    choose(bench, gears, "both.png")
    assert bench.input_value("#which") == "0"  # the larger one
    bench.locator(".seen .disc").nth(1).click()
    assert bench.input_value("#which") == "1"
    bench.fill("#size", "26mm")
    bench.fill("#stated", "1")
    read(bench)
    assert settings_of(gears, "both.png")["pick"] == 2


@pytest.mark.usefixtures("only_reading")
def test_a_line_drawn_over_something_known_sets_the_scale(bench, gears):
    choose(bench, gears)
    bench.select_option("#known", "line")
    bench.fill("#size", "26mm")
    box = bench.locator("#seen-picture svg").bounding_box()
    circle = bench.locator(".seen .gear.chosen").first
    x, y, r = (float(circle.get_attribute(name)) for name in ("cx", "cy", "r"))
    scale = box["width"] / bench.evaluate(
        "document.querySelector('#seen-picture image').width.baseVal.value"
    )
    bench.mouse.move(box["x"] + (x - r) * scale, box["y"] + y * scale)
    bench.mouse.down()
    bench.mouse.move(box["x"] + (x + r) * scale, box["y"] + y * scale, steps=3)
    bench.mouse.up()
    bench.wait_for_selector("#sizes input")
    bench.fill("#stated", "1")
    read(bench)
    assert settings_of(gears)["calibration"] == "calibration.json"
    made = load_reading(written(gears)).calibration
    # Ends set by hand on circles that are found to a pixel or two.
    assert made.mm_per_px == pytest.approx(0.040, rel=0.01)
    assert 1e-3 < made.u_mm_per_px / made.mm_per_px < 1e-2


@pytest.mark.usefixtures("only_reading")
def test_same_as_last_time_reads_the_next_picture_at_once(bench, gears, wheel_jpg):
    (gears.parent / "in" / "next.jpg").write_bytes(wheel_jpg)
    choose(bench, gears)
    bench.fill("#size", TIP)
    bench.fill("#stated", "1")
    bench.check("#keep")
    read(bench)
    bench.set_input_files("#file", gears.parent / "in" / "next.jpg")
    bench.wait_for_selector("#result-block >> text=next.jpg")
    assert settings_of(gears, "next.jpg") == settings_of(gears)


SLOW_METER = """() => {
  const quick = window.fetch;
  window.fetch = async (address, ...more) => {
    if (String(address).includes("meter")) await new Promise(done => setTimeout(done, 300));
    return quick(address, ...more);
  };
}"""


def test_a_microscope_is_looked_through_metered_and_photographed(chromium, gears):
    film = gears.parent / "film.avi"
    image = rendered().image
    side = image.shape[0] // 2 * 2
    writer = cv2.VideoWriter(str(film), cv2.VideoWriter_fourcc(*"MJPG"), 10, (side, side))
    frame = cv2.cvtColor(image[:side, :side], cv2.COLOR_GRAY2BGR)
    burnt = frame.copy()
    burnt[: side // 4] = 255
    for _ in range(5):
        writer.write(burnt)
    writer.release()
    with served(gears, str(film)) as address, opened(chromium, address) as page:
        page.set_default_timeout(120_000)
        page.wait_for_selector("body[data-ready]")
        page.evaluate(SLOW_METER)  # so that the picture is taken while a meter is on its way
        page.click("#use-camera")
        until(page, "document.getElementById('clipped').textContent.includes('white')")
        assert "burnt out" in page.inner_text("#exposure-words")
        until(page, "document.getElementById('live').naturalWidth > 0")
        assert page.evaluate("document.getElementById('focus').value") > 0
        page.click("#take")
        page.wait_for_selector("#bench-picture:not([hidden])")
        assert (gears / "microscope.png").exists()
        assert page.is_hidden("#camera")


def test_two_readings_are_compared_and_what_was_changed_is_logged(readings, bench, gears):
    bench.click("nav >> text=Compare")
    until(bench, "document.getElementById('after').options.length === 2")
    bench.fill("#changed", "belt tightened")
    bench.click("#compare-form button")
    bench.wait_for_url("**/compare")
    assert "belt tightened" in bench.inner_text("body")
    trials = tomllib.loads((gears / "trials.toml").read_text("utf-8"))["trial"]
    assert [trial.get("changed", "") for trial in trials][-1] == "belt tightened"


def put_reading(gears, teeth):
    reading = exact_reading(made_gear(GearSpec(teeth=teeth, module_mm=0.5, bore_mm=2.0)))
    photo = reading.photo.model_copy(update={"file": f"wheel-{teeth}.png"})
    place = gears / "readings" / f"wheel-{teeth}"
    place.mkdir(parents=True)
    text = reading_json(reading.model_copy(update={"photo": photo}))
    (place / "reading.json").write_text(text, "utf-8")


def test_two_readings_are_run_together_and_drawn_to_drill_by(chromium, gears):
    for teeth in (18, 24):
        put_reading(gears, teeth)
    with served(gears) as address, opened(chromium, address) as bench:
        bench.set_default_timeout(120_000)
        bench.click("nav >> text=Pair")
        until(bench, "document.getElementById('pair-second').options.length === 2")
        bench.select_option("#pair-first", "wheel-18")
        bench.select_option("#pair-second", "wheel-24")
        bench.fill("#pair [name=backlash]", "0.03mm")
        with bench.expect_popup() as popup:
            bench.click("#pair button")
        page = popup.value
        page.wait_for_selector("body.alive .mesh.whole")
        assert page.inner_text("h1") == "wheel-18 with wheel-24"
        assert "Runs freely at 10.5" in page.inner_text(".verdict .first")
        drawing = page.evaluate(
            "fetch(document.querySelector('a[href*=\"drilling.pdf\"]').href)"
            ".then(a => a.text()).then(text => text.slice(0, 5))"
        )
        assert drawing == "%PDF-"


def test_a_plan_a_target_and_the_machine_are_reached(bench, gears):
    bench.click("nav >> text=Machine")
    bench.fill("[name=encoder_pulses_per_revolution]", "2400")
    bench.fill("[name=motor_steps_per_revolution]", "200")
    bench.fill("[name=drive_ratio]", "72,24")
    bench.click("#machine-form button")
    bench.wait_for_selector("#said >> text=machine.toml")
    said = tomllib.loads((gears / "machine.toml").read_text("utf-8"))
    assert said == {
        "encoder_pulses_per_revolution": 2400, "motor_steps_per_revolution": 200,
        "drive_ratio": [72, 24],
    }  # fmt: skip
    bench.reload()
    bench.wait_for_selector("body[data-ready]")
    assert bench.input_value("[name=drive_ratio]") == "72/24"
    bench.click("nav >> text=Plan")
    bench.fill("#plan [name=teeth]", "21")
    bench.fill("#plan [name=dp]", "48")
    with bench.expect_popup() as plan:
        bench.click("#plan button")
    assert "Plan: 21 teeth, 48 DP" in plan.value.inner_text("h1")
    assert "Indexing" in plan.value.inner_text("body")
    target = bench.evaluate(
        "fetch('/target.pdf?kind=dots&pitch=5mm&paper=A4').then(a => a.arrayBuffer()).then(b => "
        "new TextDecoder('latin1').decode(b.slice(0, 5)))"
    )
    assert target == "%PDF-"


def test_a_file_that_is_no_picture_is_told(bench, gears):
    (gears.parent / "in" / "text.jpg").write_text("meet me at noon")
    bench.set_input_files("#file", gears.parent / "in" / "text.jpg")
    bench.wait_for_selector("#wrong:not(:empty)")
    assert "is not a picture" in bench.inner_text("#wrong")


@pytest.mark.usefixtures("only_reading")
def test_the_keyboard_alone_reaches_a_reading(bench, gears):
    choose(bench, gears)
    assert bench.evaluate("document.activeElement.id") == "teeth"
    for wanted, text in (("size", TIP), ("stated", "1")):
        for _ in range(8):
            bench.keyboard.press("Tab")
            if bench.evaluate("document.activeElement.id") == wanted:
                break
        bench.keyboard.type(text)
    bench.keyboard.press("Enter")
    bench.wait_for_selector("#result:not([hidden]) .ring")
    assert bench.evaluate("document.activeElement.id") == "result-head"


@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1200, "light")])
def test_nothing_is_cut_and_the_audit_finds_nothing_serious(chromium, gears, width, scheme):
    with served(gears) as address, opened(chromium, address, width, color_scheme=scheme) as page:
        page.set_default_timeout(120_000)
        page.wait_for_selector("body[data-ready]")
        choose(page, gears)
        for part in ("read", "list", "calibrate", "plan", "compare", "pair", "machine"):
            page.click(f"nav a[href='#{part}']")
            page.wait_for_selector(f"#{part}:not([hidden])")
            assert sideways(page) == 0, part
            assert serious(page) == [], part


def test_the_live_view_paints_over_what_is_clipped():
    from cogloupe.bench.camera import marked, meter

    frame = np.full((80, 100, 3), 120, np.uint8)
    frame[:20] = 255
    frame[60:] = 0
    shown = marked(frame)
    assert (shown[5, 5] == (160, 0, 200)).all()
    assert (shown[70, 5] == (200, 60, 0)).all()
    assert (shown[40, 5] == 120).all()
    told = meter(frame)
    assert told.white == pytest.approx(0.25)
    assert told.black == pytest.approx(0.25)
    assert "25.0 % is burnt out" in told.advice


def test_sharpness_rises_as_the_focus_is_found():
    from cogloupe.bench.camera import meter

    sharp = cv2.cvtColor(rendered().image, cv2.COLOR_GRAY2BGR)
    found = [meter(cv2.GaussianBlur(sharp, (0, 0), blur)).focus for blur in (6.0, 3.0, 1.5)]
    assert found == sorted(found)
    assert meter(sharp).focus > found[-1]
