"""Attacks on what lies around the reader: kills, writers at once, a full disk, hostile names."""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image
from tests.benchmarks.attack_files import OUR_FAULT, run
from tests.benchmarks.attack_pictures import originals
from tests.benchmarks.common import ROOT

from cogloupe.comparing.trials import load_trials
from cogloupe.reading.atomic_folder import SCRATCH, settle
from cogloupe.reading.files import load_reading
from cogloupe.reading.provenance import is_whole, load_mark
from cogloupe_calibration.errors import CogloupeError

KNOWN = ("--module", "1", "--scale", "120")
COMMAND = [sys.executable, "-c", "from cogloupe.commands import main; main()"]
CALIBRATED = ROOT / "tests" / "reading" / "old" / "1.0-unknown.json"


def _pictures(folder: Path, count: int) -> None:
    for k in range(count):
        Image.fromarray(np.roll(originals()[0], k, axis=1)).save(folder / f"wheel-{k}.png")


def _start(folder: Path, *words: str) -> "subprocess.Popen[bytes]":
    """Begin a command in a process group of its own, so that all of it can be killed."""
    return subprocess.Popen(
        [*COMMAND, *words], cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip


def kill_inspect(number: int, count: int, kept: Path) -> dict[str, float]:
    """Kill `inspect` again and again while it replaces older readings; look at what is left.

    Parameters
    ----------
    number : int
        Seed of the moments.
    count : int
        Kills.
    kept : Path
        Not used: what goes wrong is in the counts.

    Returns
    -------
    dict of str to float
    """
    rng, found = random.Random(number), Counter[str]()
    with TemporaryDirectory() as name:
        folder = Path(name)
        _pictures(folder, 2)
        start = time.monotonic()
        _start(folder, "inspect", ".", *KNOWN).wait()
        whole = time.monotonic() - start
        for _ in range(count):
            # Other settings each time, so that old and new differ.
            options = (*KNOWN, "--datum", rng.choice(("bore", "teeth", "tips")))
            process = _start(folder, "inspect", ".", *options, "--jobs", rng.choice("12"))
            time.sleep(rng.uniform(0.3, 1.1) * whole)
            found["done before the kill"] += process.poll() is not None
            with suppress(ProcessLookupError):  # done between the two
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            found.update(["kills"])
            found.update(_looked_over(folder / "readings", 2))
        before = len(list((folder / "readings").glob(f"{SCRATCH}*")))
        _start(folder, "inspect", ".", *KNOWN).wait()
        left = list((folder / "readings").glob(f"{SCRATCH}*"))
        found["temporaries before the next run"] += before
        found["temporaries after it"] += len(left)
        found.update(_looked_over(folder / "readings", 2))
    return dict(found)


def _looked_over(readings: Path, count: int) -> Iterator[str]:
    """What is wrong with readings after a kill."""
    folders = [path for path in readings.iterdir() if path.is_dir() and path.name[0] != "."]
    if len(folders) != count:
        yield "readings lost or doubled"
    for folder in folders:
        mark = load_mark(folder)
        if mark is None or not is_whole(folder, mark):
            yield "readings not whole"
        try:
            load_reading(folder / "reading.json")
        except CogloupeError:
            yield "readings half written"


LOOP = """
import sys
from pathlib import Path
from cogloupe.reading.atomic_folder import write_folder
k = 0
while True:
    k += 1
    names = ("reading.json", "chart.png", ("teeth.csv", "gaps.png", "profiles.png")[k % 3])
    write_folder(Path(sys.argv[1]), {name: (str(k) * 2000).encode() for name in names})
"""


def kill_writing(number: int, count: int, kept: Path) -> dict[str, float]:
    """Kill what does nothing but replace a folder, so that every moment of that is met.

    Parameters
    ----------
    number : int
        Seed of the moments.
    count : int
        Kills.
    kept : Path
        Not used.

    Returns
    -------
    dict of str to float
    """
    rng, found = random.Random(number), Counter[str]()
    with TemporaryDirectory() as name:
        folder = Path(name) / "wheel"
        for _ in range(count):
            process = subprocess.Popen([sys.executable, "-c", LOOP, str(folder)])
            while not folder.exists() and process.poll() is None:
                time.sleep(0.01)
            time.sleep(rng.uniform(0.2, 0.6))
            process.kill()
            process.wait()
            found["kills"] += 1
            found["between the two renames"] += not folder.exists()
            settle(folder.parent)
            contents = {p.name: p.read_text() for p in folder.iterdir()}
            found["mixed or half"] += len(set(contents.values())) != 1 or len(contents) != 3
            found["temporaries left"] += len(list(folder.parent.iterdir())) != 1
    return dict(found)


LOGGING = """
import sys, datetime
from pathlib import Path
from cogloupe.comparing.attempts import gather
for name in sys.argv[2:]:
    gather([Path(name)], Path(sys.argv[1]), f"change {name}", "", datetime.date(2026, 5, 1))
"""


def log_at_once(number: int, count: int, kept: Path) -> dict[str, float]:
    """Log attempts from twenty processes at once, `compare --log` itself among them.

    Parameters
    ----------
    number : int
        Not used: the moments are the machine's.
    count : int
        Entries.
    kept : Path
        Not used.

    Returns
    -------
    dict of str to float
    """
    with TemporaryDirectory() as name:
        folder, log = Path(name), Path(name, "trials.toml")
        names = [f"cut-{k}" for k in range(count)]
        for each in names:
            (folder / each).mkdir()
            shutil.copy(CALIBRATED, folder / each / "reading.json")
        shares = [names[k::20] for k in range(20)]
        writers = [
            subprocess.Popen([sys.executable, "-c", LOGGING, str(log), *share], cwd=folder)
            for share in shares[5:]
        ]
        for share in shares[:5]:  # a command for each entry
            writers += [
                _start(folder, "compare", each, "--log", "trials.toml", "--changed", f"by {each}")
                for each in share
            ]
        failed = sum(writer.wait() != 0 for writer in writers)
        logged = [trial.reading.split("/")[0] for trial in load_trials(log)]
        return {
            "entries written at once": count,
            "writers that failed": failed,
            "entries lost": len(set(names) - set(logged)),
            "entries doubled": len(logged) - len(set(logged)),
        }


@contextmanager
def small_disk(megabytes: float) -> Iterator[Path]:
    """Mount a small file system in memory, where that is allowed.

    Parameters
    ----------
    megabytes : float

    Yields
    ------
    Path

    Raises
    ------
    PermissionError
        Where it is not.
    """
    with TemporaryDirectory() as name:
        size = f"size={int(megabytes * 1024)}k"
        command = ["mount", "-t", "tmpfs", "-o", size, "tmpfs", name]
        if subprocess.run(command, capture_output=True, check=False).returncode != 0:
            raise PermissionError("no file system can be mounted here")
        try:
            yield Path(name)
        finally:
            subprocess.run(["umount", "-l", name], check=False)


def fill_disk(number: int, count: int, kept: Path) -> dict[str, float]:
    """Write readings, pages and logs on a disk that is full to some degree.

    Parameters
    ----------
    number : int
        Seed of what is left free.
    count : int
        Times.
    kept : Path
        Not used.

    Returns
    -------
    dict of str to float
    """
    rng, found = random.Random(number), Counter[str]()
    home = Path.cwd()
    for _ in range(count):
        with small_disk(8) as disk:
            os.chdir(disk)
            try:
                found.update(_filled(disk, rng))
            finally:
                os.chdir(home)
    return dict(found)


def _filled(disk: Path, rng: random.Random) -> Iterator[str]:
    """Fill a disk after readings, a page and a log are there, then write them all anew."""
    _pictures(disk, 2)
    run("inspect", ".", *KNOWN, "--jobs", "1")
    machine = str(ROOT / "sample_images" / "machine.toml")
    plan = ("plan", "--teeth", "24", "--module", "1", "--machine", machine, "--out", "plan.html")
    log = ("compare", "readings/wheel-0", "readings/wheel-1", "--log", "t.toml", "--changed", "x")
    run(*plan)
    run(*log)
    before = {p: p.read_bytes() for p in disk.rglob("*") if p.is_file() and p.suffix != ".sqlite"}
    free = shutil.disk_usage(disk).free
    with suppress(OSError), (disk / "ballast").open("wb") as ballast:
        ballast.write(bytes(max(free - rng.randrange(0, 60_000), 0)))
    for words in ((*("inspect", "."), *KNOWN, "--datum", "tips", "--jobs", "1"), plan):
        status, _, err = run(*words)
        yield "commands on a full disk"
        yield "told" if status not in (0, OUR_FAULT, -1) else "done" if status == 0 else "faults"
        if status in (OUR_FAULT, -1):
            print(err)
    lost = [p for p, d in before.items() if not p.exists() or len(p.read_bytes()) < min(len(d), 1)]
    if lost:
        print(lost)
        yield "older files lost"
    yield from (x for x in _looked_over(disk / "readings", 2) if "doubled" not in x)


NAMES = (
    "\x1b[31mred\x1b[0m", "\x1b]0;title\x07", "a\nb", "a\rb", "a\tb", "a\x00b"[:1] + "\x01",
    "\u202egnp.exe", "\u2066x\u2069", "bidi\u200f", "..", "...", ".", " ", "  x  ", "-rf", "--out",
    "~", "~root", "$(touch pwned)", "`touch pwned`", "; touch pwned", "| touch pwned", "& pwned",
    "a'b", 'a"b', "<script>alert(1)</script>", "&amp;", "%s%n", "{0}", "[bold]x[/bold]", "[/]",
    "con", "nul", "x" * 240, "é" * 120, "齿" * 80, "e\u0301", "é", "\udcff\udcfe", "a\\b",
    "C:\\x", "#", "?x=1", "wheel.json", "reading.json", ".cogloupe-x", "catalogue.sqlite",
)  # fmt: skip
"""Names before the ending; all that a file system takes."""


def hostile_names(number: int, count: int, kept: Path) -> dict[str, float]:
    """Read pictures of hostile names, good ones and such as cannot be read.

    Parameters
    ----------
    number : int
        Not used.
    count : int
        Not used: each name once, as a picture and as none.
    kept : Path
        Not used.

    Returns
    -------
    dict of str to float
    """
    found: Counter[str] = Counter()
    home = Path.cwd()
    with TemporaryDirectory() as name:
        folder = Path(name)
        Image.fromarray(originals()[0]).save(folder / "good.png")
        good = (folder / "good.png").read_bytes()
        (folder / "good.png").unlink()
        (folder / "gear.toml").write_text("module_mm = 1\nscale_um_per_px = 120\n")
        os.chdir(folder)
        try:
            for stem in NAMES:
                for data in (good, b"no picture"):
                    found.update(_named(folder, stem, data))
        finally:
            os.chdir(home)
        readings = [p for p in (folder / "out").iterdir() if p.is_dir()]
        found["readings"] = sum((p / "reading.json").exists() for p in readings)
        run("catalogue", str(folder / "out"))
    return dict(found)


def _named(folder: Path, stem: str, data: bytes) -> Iterator[str]:
    """Read a picture of a name, and say what was wrong."""
    path = os.path.join(folder, f"{stem}.png")
    try:
        with open(path, "wb") as file:
            file.write(data)
    except (OSError, ValueError):
        return
    yield "names"
    before = _all_files(folder)
    status, out, err = run("inspect", f"./{stem}.png", "--out", "out", "--jobs", "1")
    if status in (OUR_FAULT, -1) or "please report it" in err:
        print(ascii(stem), err)
        yield "faults"
    if _obeyed(out + err):
        print(ascii(stem), ascii(out + err))
        yield "control characters told"
    outside = {p for p in _all_files(folder) - before if not p.startswith("out" + os.sep)}
    if outside:
        print(ascii(stem), outside)
        yield "files outside --out"
    os.unlink(path)


def _all_files(folder: Path) -> set[str]:
    return {
        os.path.relpath(os.path.join(where, name), folder)
        for where, _, names in os.walk(folder)
        for name in names
    }


def _obeyed(text: str) -> bool:
    plain = text.replace("\x1b[0m", "").replace("\n", "")
    return any(c < " " or "\x7f" <= c < "\xa0" or "\u202a" <= c <= "\u202e" for c in plain)
