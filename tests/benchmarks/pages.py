"""How long a person waits for the pages, in headless Chromium on this machine.

Run as ``python -m tests.benchmarks.pages``; with a number, so many drops, and nothing is written.
"""

import os
import shutil
import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.benchmarks.common import report, table
from tests.helpers.bench_server import served
from tests.helpers.browser import browser, opened, work_s

from cogloupe.inputs.photo import read_photo
from cogloupe.inputs.settings import settings_for
from cogloupe.inspection import inspect_photo
from cogloupe.reading.catalogue_entry import Entry
from cogloupe.report.folder_page import DATA_FILE, INDEX_FILE, News, index_data, index_html
from cogloupe.report.write import write_report, write_shared
from cogloupe.simulation import Camera, Faults, GearSpec, Scene, simulate

DROPS, READINGS = 10, 1000
TEETH = (21, 40, 96, 400)
WIDE, HIGH = 4000, 3000


def scene(teeth: int) -> Scene:
    """A clean picture of 12 megapixels with a gear that fills it."""
    module = 2.0
    mm_per_px = module * (teeth + 2) / (0.94 * HIGH)
    camera = Camera(mm_per_px=mm_per_px, width_px=WIDE, height_px=HIGH, noise=0.01)
    faults = Faults(eccentricity_um=15, pitch_scatter_um=3)
    bore = 0.3 * module * teeth
    gear = GearSpec(teeth=teeth, module_mm=module, bore_mm=bore)
    return Scene(gear=gear, camera=camera, faults=faults, format="jpg")


@contextmanager
def pictures(*counts: int) -> Iterator[dict[int, Path]]:
    """Pictures of gears with so many teeth, with their gear.toml."""
    with TemporaryDirectory() as folder:
        made = simulate([(f"gear-{z}", scene(z)) for z in counts], Path(folder))
        yield dict(zip(counts, made, strict=True))


def drop_times(picture: Path, drops: int) -> list[float]:
    """Seconds from giving a picture to the page until its figures are on it, known settings."""
    with (
        TemporaryDirectory() as kept, browser() as started, served(Path(kept)) as address,
        opened(started, address) as page,
    ):  # fmt: skip
        page.set_default_timeout(300_000)
        page.wait_for_selector("body[data-ready]")
        page.set_input_files("#file", picture)
        page.wait_for_selector("#bench-picture:not([hidden])")
        page.select_option("#known", "scale_um_per_px")
        settings = settings_for(picture, {})
        page.fill("#size", str(settings.scale_um_per_px))
        page.fill("#stated", str(settings.module_mm))
        page.check("#keep")
        page.click("#go")
        page.wait_for_selector("#result:not([hidden]) .ring")
        return [one_drop(page, picture, Path(kept), k) for k in range(drops)]


def one_drop(page: Any, picture: Path, kept: Path, number: int) -> float:
    """One more picture of the same gear."""
    page.wait_for_timeout(3000)  # the files of the one before are written meanwhile
    again = kept.parent / f"{kept.name}-{number}.jpg"
    shutil.copy(picture, again)
    begun = time.perf_counter()
    page.set_input_files("#file", again)
    page.wait_for_selector(f"#result-block >> text={again.name}")
    taken = time.perf_counter() - begun
    again.unlink()
    return taken


def report_rows(made: dict[int, Path]) -> list[list[object]]:
    """Size of a report, and seconds until it answers."""
    rows = []
    with TemporaryDirectory() as folder, browser() as started:
        for teeth, picture in made.items():
            reading, drawing = inspect_photo(read_photo(picture), settings_for(picture, {}))
            place = Path(folder) / str(teeth)
            write_report(reading, drawing, place)
            size = (place / "report.html").stat().st_size / 1e6
            times = [opening_s(started, (place / "report.html").as_uri()) for _ in range(5)]
            rows.append([teeth, f"{size:.2f}", f"{statistics.median(times):.2f}"])
    return rows


def opening_s(started: Any, address: str) -> float:
    """Seconds from asking for a page until its drawings are made and answer."""
    with opened(started, "about:blank") as page:
        begun = time.perf_counter()
        page.goto(address, wait_until="commit")
        page.wait_for_selector("body.alive .ring .tooth")
        return time.perf_counter() - begun


def index_rows() -> list[list[object]]:
    """Processor seconds for opening, sorting and filtering a long list."""
    entries = [
        Entry(
            folder=f"wheel {k}", photo=f"wheel {k}.jpg", status="read",
            read_at=f"2026-11-{1 + k % 28:02d}T08:00:00", teeth=20 + k % 5, module_mm=0.5,
            diametral_pitch=50.8, verdict_text="The teeth run out.",
            single_pitch_max_um=float(k * 7 % 101), u_single_pitch_max_um=1.0,
        )
        for k in range(READINGS)
    ]  # fmt: skip
    with TemporaryDirectory() as folder, browser() as started:
        place = Path(folder)
        write_shared(place)
        (place / INDEX_FILE).write_text(index_html("gears"), "utf-8")
        (place / DATA_FILE).write_text(index_data(entries, News(stamp="now")), "utf-8")
        with opened(started, (place / INDEX_FILE).as_uri(), may_say="FILE_NOT_FOUND") as page:
            sort = work_s(page, "document.querySelector('[data-by=f_p]').click()")
            typed = "{ const find = document.getElementById('find'); find.value = '24 teeth'; "
            found = work_s(page, typed + "find.dispatchEvent(new Event('input')); }")
    return [["sort", f"{sort:.2f}"], ["filter", f"{found:.2f}"]]


def main() -> None:
    """Measure and write the table."""
    load = os.getloadavg()[0]
    drops = int(sys.argv[1]) if len(sys.argv) > 1 else DROPS
    with pictures(*TEETH) as made:
        times = drop_times(made[40], drops)
        reports = report_rows(made)
    ends = f"{min(times):.2f} to {max(times):.2f}"
    drop_table = table(
        ["drops", "median, s", "least to most, s"],
        [[len(times), f"{statistics.median(times):.2f}", ends]],
    )
    lines = [
        "Targets: figures within 2 s of dropping a picture of 12 megapixels; a report answers "
        "within 1 s and is at most 1.5 MB; 1,000 readings are sorted and filtered within 1 s. "
        f"Load at the start: {load:.1f}.\n",
        "From dropping a clean picture of 12 megapixels (40 teeth) to its figures on the page:\n",
        drop_table,
        "\nA report, from asking for it to its drawings answering (median of 5), and its size:\n",
        table(["teeth", "report.html, MB", "answers after, s"], reports),
        f"\n{READINGS} readings on the folder's page, processor seconds of the page:\n",
        table(["what", "s"], index_rows()),
    ]
    if len(sys.argv) > 1:
        print("\n".join(lines))
        return
    report("pages", "How long a person waits", lines)


if __name__ == "__main__":
    main()
