"""Mutated settings, machines, plans, logs, calibrations and readings for the attack on commands.

Half of them are mutated as what they say, so that the fields' own limits are met; half as text.
"""

import datetime
import json
import os
import re
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from time import process_time
from typing import Any

import tomlkit
from hypothesis import strategies as st
from PIL import Image
from tests.benchmarks.attack_pictures import (
    LONGEST_SECONDS,
    HungError,
    called_off,
    for_each,
    forget_peak,
    note_spent,
    originals,
    peak_mb,
)
from tests.benchmarks.common import ROOT

from cogloupe.commands import main

OUR_FAULT = 3
GEAR = (
    "teeth = 24\nmodule_mm = 1.0\npressure_angle_deg = 20\nscale_um_per_px = 120\n"
    "span = '7.6mm/3'\nknown_bore = '6mm'\ndatum = 'bore'\nrack = 'iso53-a'\npick = 1\n"
    "[photo.'picture.png']\nteeth = 24\n"
)
TRIALS = (
    "# mine\n[[trial]]\ndate = 2026-03-01\nreading = 'a/reading.json'\nchanged = ''\n"
    "[[trial]]\ndate = 2026-03-02\nreading = 'b/reading.json'\nchanged = 'belt'\nnote = 'x'\n"
)


@dataclass(frozen=True)
class Kind:
    """A kind of file: its honest texts, where it lies, and what is asked of it.

    Attributes
    ----------
    name : str
        Its place in the folder that the command runs in.
    texts : tuple of str
    command : tuple of str
    """

    name: str
    texts: tuple[str, ...]
    command: tuple[str, ...]


@cache
def kinds() -> tuple[Kind, ...]:
    """Every kind of file that a person gives.

    Returns
    -------
    tuple of Kind
    """

    def texts(*patterns: str) -> tuple[str, ...]:
        return tuple(p.read_text("utf-8") for x in patterns for p in sorted(ROOT.glob(x)))

    readings = texts("tests/reading/old/*.json")
    plan = ("plan", "plan.toml", "--machine", "machine.toml", "--out", "page.html")
    return (
        Kind("gear.toml", (GEAR,), ("inspect", "picture.png")),
        Kind("machine.toml", texts("sample_images/machine.toml"), plan),
        Kind("plan.toml", texts("sample_images/plan.toml"), plan),
        Kind("trials.toml", (TRIALS,), ("compare", "--log", "trials.toml")),
        Kind(
            "calibration.json",
            texts("tests/calibration/old/*.json"),
            ("inspect", "picture.png", "--module", "1", "--calibration", "calibration.json"),
        ),
        Kind("a/reading.json", readings, ("causes", "a", "--machine", "machine.toml")),
        Kind("a/reading.json", readings, ("causes", "a", "--out", "page.html")),
        Kind("a/reading.json", readings, ("compare", "a", "b", "--out", "page.html")),
        Kind("a/reading.json", readings, ("catalogue", ".")),
        Kind("scene.toml", texts("sample_images/scenes/*.toml"), ("simulate", "scene.toml")),
    )


# What no honest file says.
_ODD = st.sampled_from([
    0, -1, 1, 2, 3, 4, 99, 10**9, 10**30, -(10**9), 0.0, -0.0, 1e-300, 1e300, float("inf"),
    float("nan"), 0.02, 200.0, 2000, "", "x", "x" * 5000, "0mm", "1e300mm", "-3in", "../../../x",
    "/dev/zero", "a\x1b[31m", "\u202egnp", "\ud83d\ude00", True, False, [], [1], ["x"] * 300, {},
    {"a": 1}, datetime.date(1, 1, 1), "2026-02-30", [[[[1]]]], {"a": {"b": {"c": 1}}},
])  # fmt: skip
_TEXT = st.sampled_from(["flip", "cut", "double", "deep", "long name", "digits", "bytes", "nul"])


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is done to a file; Hypothesis draws it."""

    kind: int
    text: int
    places: list[tuple[int, Any]]
    how: str | None
    at: float

    def made(self) -> tuple[Kind, bytes]:
        """The file.

        Returns
        -------
        Kind
        bytes
        """
        kind = kinds()[self.kind % len(kinds())]
        text = kind.texts[self.text % len(kind.texts)]
        if self.how is None:
            return kind, _said_otherwise(text, self.places, kind.name.endswith(".json"))
        return kind, _spoilt(text.encode(), self.how, self.at)


CHANGES = st.builds(
    Change,
    kind=st.integers(0, 9),
    text=st.integers(0, 7),
    places=st.lists(st.tuples(st.integers(0, 10**6), _ODD), min_size=1, max_size=3),
    how=st.one_of(st.none(), _TEXT),
    at=st.floats(0, 1),
)


def _said_otherwise(text: str, places: list[tuple[int, Any]], as_json: bool) -> bytes:
    """Put odd values in places of a document."""
    document: Any = json.loads(text) if as_json else tomllib.loads(text)
    document = deepcopy(document)
    for number, value in places:
        spots = list(_spots(document))
        table, name = spots[number % len(spots)]
        if number % 11 == 0:
            del table[name]
        else:
            table[name] = deepcopy(value)  # or a list would hold itself
        if not list(_spots(document)):
            break
    if as_json:
        return json.dumps(document, default=str).encode("utf-8", "surrogatepass")
    try:
        return tomlkit.dumps(document).encode("utf-8", "surrogatepass")
    except Exception:  # what TOML cannot say
        return text.encode()


def _spots(document: Any) -> Iterator[tuple[Any, Any]]:
    """Every place of a document: its table or list, and its name there."""
    items = document.items() if isinstance(document, dict) else enumerate(document)
    for name, value in list(items):
        yield document, name
        if isinstance(value, dict | list):
            yield from _spots(value)


def _spoilt(data: bytes, how: str, at: float) -> bytes:
    place = int(at * (len(data) - 1))
    return {
        "flip": data[:place] + bytes([data[place] ^ 5]) + data[place + 1 :],
        "cut": data[:place],
        "double": data + data[place:],
        "deep": data[:place] + b"[" * 60_000 + data[place:],
        "long name": b".".join([b"a"] * 30_000) + b" = 1\n" + data,
        "digits": data.replace(b"1", b"9" * 50_000, 1),
        "bytes": data[:place] + bytes(range(256)) + data[place:],
        "nul": data[:place] + b"\0" * 100 + data[place:],
    }[how]


@contextmanager
def heard() -> Iterator[list[str]]:
    """Catch what is printed, by whatever way.

    Yields
    ------
    list of str
        Afterwards what went to stdout and to stderr.
    """
    told: list[str] = []
    kept = [os.dup(1), os.dup(2)]
    with TemporaryFile() as out, TemporaryFile() as err:
        for stream, file in ((1, out), (2, err)):
            os.dup2(file.fileno(), stream)
        try:
            yield told
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            for stream, copy in zip((1, 2), kept, strict=True):
                os.dup2(copy, stream)
                os.close(copy)
            for file in (out, err):
                file.seek(0)
                told.append(file.read().decode("utf-8", "replace"))


def run(*words: str) -> tuple[int, str, str]:
    """Run a command in this process.

    Parameters
    ----------
    *words : str

    Returns
    -------
    int
        Exit status; -1 where something got past the last resort.
    str
        Stdout.
    str
        Stderr.
    """
    sys.argv = ["cogloupe", *words]
    with heard() as told:
        try:
            main()
            status = 0
        except SystemExit as ended:
            status = int(ended.code or 0)
        except HungError:
            raise
        except BaseException:
            status = -1
    return status, told[0], told[1]


def lay_out(folder: Path) -> None:
    """Put honest files of every kind into a folder.

    Parameters
    ----------
    folder : Path
    """
    for kind in kinds():
        path = folder / kind.name
        path.parent.mkdir(exist_ok=True)
        path.write_text(kind.texts[0], "utf-8")
    (folder / "gear.toml").unlink()
    (folder / "b").mkdir(exist_ok=True)
    (folder / "b" / "reading.json").write_text(kinds()[5].texts[0], "utf-8")
    Image.fromarray(originals()[0]).save(folder / "picture.png")


def attack(number: int, count: int, kept: Path) -> dict[str, float]:
    """Give some mutated files to the commands.

    Parameters
    ----------
    number : int
        Seed of what is drawn.
    count : int
        Files.
    kept : Path
        Folder for files that find a fault.

    Returns
    -------
    dict of str to float
        How many came to what; `seconds` and `mb` at most.
    """
    found: Counter[str] = Counter()
    worst = {"seconds": 0.0, "mb": 0.0}
    home = Path.cwd()

    @for_each(number, count, CHANGES)
    def _(change: Change) -> None:
        kind, data = change.made()
        with TemporaryDirectory() as name:
            folder = Path(name)
            lay_out(folder)
            (folder / kind.name).write_bytes(data)
            os.chdir(folder)
            try:
                forget_peak()
                start = process_time()
                with called_off():
                    status, out, err = run(*kind.command)
                spent = {"seconds": process_time() - start, "mb": peak_mb()}
                outcome = _class_of(status, out, err)
            except HungError:
                outcome, spent = "hung", {"seconds": LONGEST_SECONDS, "mb": 0.0}
            finally:
                os.chdir(home)
        found.update(["files", outcome, f"{outcome} ({kind.name})"])
        bounded = kind.command[0] != "simulate"
        bad = {outcome} & {"fault", "hung", "untidy"} | note_spent(spent, worst, found, bounded)
        if bad:
            label = (
                f"{'-'.join(sorted(bad))}-{kind.name.replace('/', '-')}-{number}-{found['files']}"
            )
            (kept / label).write_bytes(data)
            (kept / f"{label}.txt").write_text(f"{kind.command}\n{out}\n{err}")

    return {**found, **worst}


def _class_of(status: int, out: str, err: str) -> str:
    """What became of a command: its work done, refused in a line, or worse."""
    if status in (-1, OUR_FAULT) or "please report it" in err:
        return "fault"
    if re.search(r"[\x00-\x08\x0b-\x1a\x1c-\x1f]|\x1b(?!\[)", out + err):
        return "untidy"
    if status == 0:
        return "accepted"
    return "refused" if err.count("\n") == 1 else "untidy"
