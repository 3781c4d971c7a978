"""Many photographs: time by processes and workers, memory, a killed worker, ten thousand resumed.

Run: ``python -m tests.benchmarks.many``, with names only those parts: `samples`, `thousand`,
`cluster`, `resume`.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.common import ROOT, run_parts, table

from cogloupe import __version__
from cogloupe.folders.batch import known_of
from cogloupe.folders.photos import PhotoFile
from cogloupe.inputs.settings import settings_for
from cogloupe.reading.provenance import MARK_FILE, Mark, mark_bytes

RUNS = 3
PICTURES = {"one core": 300, "two processes": 1000}
"""One core's speed is known from fewer pictures; memory is watched over all."""
COGLOUPE = [sys.executable, "-c", "from cogloupe.commands import main; main()"]


ONE_CORE = [
    sys.executable, "-c",
    "import os, sys; os.sched_setaffinity(0, {0}); os.execv(sys.argv[1], sys.argv[1:])",
]  # fmt: skip
"""Before a command: it and what it begins share one core. (`--jobs 1` alone draws its charts on
another.)"""
MANNERS = {"one core": [*ONE_CORE, *COGLOUPE], "two processes": COGLOUPE}
JOBS = {"one core": "1", "two processes": "2"}


def timed(*words: str, folder: Path = ROOT, command: Sequence[str] = COGLOUPE) -> float:
    """Seconds that a command takes from start to end.

    Parameters
    ----------
    *words : str
    folder : Path, optional
        Where it is run.
    command : sequence of str, optional

    Returns
    -------
    float
    """
    start = time.perf_counter()
    subprocess.run([*command, *words], cwd=folder, capture_output=True, check=True)
    return time.perf_counter() - start


def samples() -> str:
    """Time the sample pictures by one core and by two processes, in turn.

    Returns
    -------
    str
        Table.
    """
    took: dict[str, list[float]] = {manner: [] for manner in MANNERS}
    for _ in range(RUNS):
        for manner, seconds in took.items():
            with TemporaryDirectory() as out:
                words = ("inspect", "sample_images", "--out", out, "--jobs", JOBS[manner])
                seconds.append(timed(*words, command=MANNERS[manner]))
                read = len(list(Path(out).glob("*/reading.json")))
    rows = [[manner, min(s), sorted(s)[RUNS // 2]] for manner, s in took.items()]
    one, two = took.values()
    rows.append(["ratio of the least", min(one) / min(two), ""])
    return table((f"{read} sample pictures", f"least of {RUNS}, s", "median, s"), rows)


@contextmanager
def pictures(count: int) -> Iterator[Path]:
    """Copies of a picture of two megapixels, each other bytes.

    Parameters
    ----------
    count : int

    Yields
    ------
    Path
        Folder with a gear.toml.
    """
    scene = """
[gear]
teeth = 24
module_mm = 1.0
bore_mm = 6.0
[faults]
pitch_scatter_um = 4
[camera]
mm_per_px = 0.019
width_px = 1440
height_px = 1400
rotation_deg = 5
"""
    with TemporaryDirectory() as name:
        folder = Path(name, "in")
        folder.mkdir()
        Path(name, "scene.toml").write_text(f'format = "jpg"\n{scene}')
        timed("simulate", "scene.toml", "--out", ".", folder=Path(name))
        data = Path(name, "scene.jpg").read_bytes()
        for k in range(count):
            (folder / f"{k:05}.jpg").write_bytes(data + b"%d" % k)
        (folder / "gear.toml").write_text("teeth = 24\nmodule_mm = 1.0\nscale_um_per_px = 19\n")
        yield folder


def resident_mb(process: int) -> float:
    """Memory of a process and of those it began, MB.

    Parameters
    ----------
    process : int

    Returns
    -------
    float
    """
    children = Path(f"/proc/{process}/task/{process}/children")
    try:
        status = Path(f"/proc/{process}/status").read_text()
        below = [int(child) for child in children.read_text().split()]
    except OSError:
        return 0.0
    own = re.search(r"VmRSS:\s+(\d+)", status)
    return (int(own[1]) / 1024 if own else 0.0) + sum(map(resident_mb, below))


def watched(folder: Path, out: Path, manner: str) -> tuple[float, list[float]]:
    """Read a folder, and look at the memory meanwhile.

    Parameters
    ----------
    folder, out : Path
    manner : str
        Of `MANNERS`.

    Returns
    -------
    float
        Seconds.
    list of float
        Memory of all processes together, MB, each second.
    """
    words = ["inspect", str(folder), "--out", str(out), "--jobs", JOBS[manner]]
    start, seen = time.perf_counter(), []
    nowhere = subprocess.DEVNULL
    with subprocess.Popen([*MANNERS[manner], *words], stdout=nowhere, stderr=nowhere) as process:
        while process.poll() is None:
            seen.append(resident_mb(process.pid))
            time.sleep(1)
    return time.perf_counter() - start, seen


def thousand() -> str:
    """Read many pictures of two megapixels by one core and by two processes.

    Returns
    -------
    str
        Table.
    """
    rows: list[list[object]] = []
    each: list[float] = []
    for manner, count in PICTURES.items():
        with pictures(count) as folder:
            out = folder.parent / "out"
            seconds, seen = watched(folder, out, manner)
            read = len(list(out.glob("*/reading.json")))
        early = max(seen[len(seen) // 10 : len(seen) // 3])
        late = max(seen[-len(seen) // 3 :])
        each.append(seconds / read)
        rows.append([manner, read, seconds, each[-1], early, late, late / early])
    rows.append(["ratio", "", "", each[0] / each[1], "", "", ""])
    head = (
        "2 Mpx each",
        "read",
        "s",
        "s a picture",
        "memory early, MB",
        "late, MB",
        "late / early",
    )
    return table(head, rows)


@contextmanager
def cluster(workers: int) -> Iterator[tuple[str, list["subprocess.Popen[bytes]"]]]:
    """Begin a scheduler and worker processes.

    Parameters
    ----------
    workers : int

    Yields
    ------
    str
        Address.
    list of Popen
        The workers.
    """
    with TemporaryDirectory() as name:
        told = Path(name, "scheduler.json")
        dask = [sys.executable, "-m"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        quiet["env"] = os.environ | {"OPENBLAS_NUM_THREADS": "1"}  # as a nanny sets it
        words = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file"]
        scheduler = subprocess.Popen(
            [*dask, "distributed.cli.dask_scheduler", *words, str(told)],
            **quiet,  # type: ignore[call-overload]
        )
        while not told.exists() or not told.read_text().rstrip().endswith("}"):
            time.sleep(0.1)
        address = json.loads(told.read_text())["address"]
        own = ["--nthreads", "1", "--no-nanny", "--no-dashboard"]
        begun = [
            subprocess.Popen(
                [*dask, "distributed.cli.dask_worker", address, *own],
                **quiet,  # type: ignore[call-overload]
            )
            for _ in range(workers)
        ]
        try:
            yield address, begun
        finally:
            for process in (*begun, scheduler):
                process.kill()
                process.wait()


def clusters() -> str:
    """Read by a cluster of one worker and of two, one of which is killed in the middle.

    Returns
    -------
    str
        Table.
    """
    cases = ((1, False, False), (2, False, False), (2, True, False), (2, True, True))
    with pictures(100) as folder:
        took = [_by_cluster(folder, *case) for case in cases]
    rows: list[list[object]] = [
        [f"{workers}{', --ship' if ship else ''}", int(kill), *found]
        for (workers, kill, ship), found in zip(cases, took, strict=True)
    ]
    rows.append(["ratio of one to two", "", took[0][0] / took[1][0], "", ""])
    return table(("workers", "killed", "100 pictures, s", "lost", "twice"), rows)


def _by_cluster(folder: Path, workers: int, kill: bool, ship: bool) -> tuple[float, int, int]:
    """Seconds that a cluster takes, readings lost, readings doubled."""
    out = folder.parent / "out"
    with cluster(workers) as (address, processes):
        words = ["inspect", "--out", str(out), "--scheduler", address]
        # The workers import before the clock starts, as they have after the first folder.
        timed(*words, *(str(folder / f"{k:05}.jpg") for k in range(2 * workers)))
        shutil.rmtree(out)
        start = time.perf_counter()
        words += [str(folder), *(["--ship"] if ship else [])]
        with subprocess.Popen([*COGLOUPE, *words], stdout=subprocess.DEVNULL):
            while kill and len(list(out.glob("*/reading.json"))) < 30:
                time.sleep(0.1)
            if kill:
                processes[0].kill()
        seconds = time.perf_counter() - start
    found = seconds, *_whole(out)
    shutil.rmtree(out)
    return found


def _whole(out: Path) -> tuple[int, int]:
    """Readings lost and doubled."""
    hashes = [json.loads(p.read_bytes())["photo"]["sha256"] for p in out.glob("*/reading.json")]
    return 100 - len(set(hashes)), len(hashes) - len(set(hashes))


def resume() -> str:
    """Ten thousand pictures of which all, and all but three, were read.

    Returns
    -------
    str
        Table.
    """
    rows: list[list[object]] = []
    with pictures(1) as folder:
        out = folder.parent / "out"
        timed("inspect", str(folder), "--out", str(out))
        first, made = folder / "00000.jpg", out / "00000"
        data = {p.name: p.read_bytes() for p in made.iterdir()}
        for k in range(1, 10_000):
            photo = folder / f"{k:05}.jpg"
            os.link(first, photo)
            _copy(out / photo.stem, photo, data)
        took = timed("inspect", str(folder), "--out", str(out), "--resume")
        rows.append(["all read; the catalogue is made", took])
        rows.append(["all read", timed("inspect", str(folder), "--out", str(out), "--resume")])
        for k in (5, 500, 9000):
            (out / f"{k:05}" / "chart.png").unlink()
        took = timed("inspect", str(folder), "--out", str(out), "--resume")
        rows.append(["three to be read", took])
        rows.append(["catalogue --teeth 25", timed("catalogue", str(out), "--teeth", "25")])
    return table(("10,000 pictures", "s"), rows)


def _copy(place: Path, photo: Path, data: dict[str, bytes]) -> None:
    """Lay down a reading as that of another picture."""
    place.mkdir()
    for name in ("reading.json", "chart.png", "report.html"):
        (place / name).write_bytes(data[name] if name == "reading.json" else b"x")
    sizes = {p.name: p.stat().st_size for p in place.iterdir()}
    file = PhotoFile(photo)
    known = known_of(settings_for(photo, {}))
    assert known.startswith(__version__)
    (place / MARK_FILE).write_bytes(mark_bytes(Mark("x", file.stamp, known, sizes)))


if __name__ == "__main__":
    run_parts(
        "many",
        "Many photographs",
        {
            "samples": ("## Sample pictures\n", samples),
            "thousand": ("## A thousand pictures\n", thousand),
            "cluster": ("## A cluster\n", clusters),
            "resume": ("## Ten thousand pictures, resumed\n", resume),
        },
    )
