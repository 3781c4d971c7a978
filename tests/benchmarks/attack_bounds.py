"""Files that would flood or hang what reads them, each given to a command of its own process."""

import os
import struct
import subprocess
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic, sleep

import numpy as np
from PIL import Image
from tests.benchmarks.attack_files import GEAR, lay_out
from tests.benchmarks.attack_folders import COMMAND
from tests.benchmarks.attack_pictures import LONGEST_SECONDS, MOST_MB
from tests.benchmarks.common import ROOT

from cogloupe.inputs.photo import MOST_PIXELS

INSPECT = ("inspect", "x.png", "--module", "1", "--scale", "120")
READING = ROOT / "tests" / "reading" / "old" / "1.0-involute.json"


@dataclass(frozen=True)
class Flood:
    """A file, and the command that meets it.

    Attributes
    ----------
    name : str
        Of the file.
    what : str
    make : callable
        Puts it at a path.
    command : tuple of str
    """

    name: str
    what: str
    make: Callable[[Path], object]
    command: tuple[str, ...]


def _png(shape: tuple[int, ...], bits: int = 8, noise: bool = False) -> Callable[[Path], None]:
    """A PNG picture, written row by row so that making it takes little memory."""

    def make(path: Path) -> None:
        height, width, *colours = shape
        kind = 2 if colours else 0
        row_bytes = (width * bits * (3 if colours else 1) + 7) // 8
        rng, packer = np.random.default_rng(0), zlib.compressobj(1)
        with path.open("wb") as file:
            file.write(b"\x89PNG\r\n\x1a\n")
            file.write(_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, 0)))
            for _ in range(height):
                row = rng.bytes(row_bytes) if noise else bytes([90]) * row_bytes
                packed = packer.compress(b"\0" + row)
                if packed:
                    file.write(_chunk(b"IDAT", packed))
            file.write(_chunk(b"IDAT", packer.flush()) + _chunk(b"IEND", b""))

    return make


def _chunk(name: bytes, data: bytes) -> bytes:
    crc = zlib.crc32(name + data)
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", crc)


def _many_scans(path: Path) -> None:
    """A progressive JPEG whose last scan is there ten thousand times."""
    file = BytesIO()
    Image.new("L", (10_000, 10_000), 90).save(file, "JPEG", progressive=True)
    data = file.getvalue()
    last = data.rindex(b"\xff\xda")
    path.write_bytes(data[:-2] + data[last:-2] * 10_000 + b"\xff\xd9")


def _text_bomb(path: Path) -> None:
    """A small PNG with texts that unpack to gigabytes."""
    file = BytesIO()
    Image.new("L", (300, 300), 90).save(file, "PNG")
    text = b"Comment\0\0" + zlib.compress(bytes(100_000_000), 9)
    data = file.getvalue()
    path.write_bytes(data[:33] + _chunk(b"zTXt", text) * 30 + data[33:])


def _tiled(path: Path) -> None:
    """A TIFF that claims tiles of 60,000 px a side."""
    entries = [
        (256, 4, 1, 300), (257, 4, 1, 300), (258, 3, 1, 8), (259, 3, 1, 5), (262, 3, 1, 1),
        (277, 3, 1, 1), (322, 4, 1, 60_000), (323, 4, 1, 60_000), (324, 4, 1, 8), (325, 4, 1, 100),
    ]  # fmt: skip
    body = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries)
    path.write_bytes(b"II*\0" + struct.pack("<I", 200) + bytes(192) + body + bytes(4))


def _looped(path: Path) -> None:
    """A TIFF whose directory follows itself."""
    file = BytesIO()
    Image.new("L", (300, 300), 90).save(file, "TIFF")
    data = bytearray(file.getvalue())
    first = struct.unpack_from("<I", data, 4)[0]
    count = struct.unpack_from("<H", data, first)[0]
    struct.pack_into("<I", data, first + 2 + 12 * count, first)
    path.write_bytes(data)


def _hole(size: int) -> Callable[[Path], None]:
    """A file of a size that takes no disk."""

    def make(path: Path) -> None:
        with path.open("wb") as file:
            file.truncate(size)

    return make


def _text(text: str) -> Callable[[Path], object]:
    return lambda path: path.write_text(text, "utf-8")


def _zero(path: Path) -> None:
    path.symlink_to("/dev/zero")


def _large_reading(path: Path) -> None:
    """A reading as large as is read, of numbers only."""
    text = READING.read_text("utf-8").rstrip()
    numbers = ",".join(["1"] * 8_000_000)
    path.write_text(f'{text[:-1]}, "more": [{numbers}]}}')


_SIDE = int(MOST_PIXELS**0.5)
_PLACES = (
    ("x.png", INSPECT), ("gear.toml", ("inspect", "picture.png")),
    ("calibration.json", ("inspect", "picture.png", "--module", "1", "--calibration",
                          "calibration.json")),
    ("machine.toml", ("plan", "plan.toml", "--machine", "machine.toml")),
    ("plan.toml", ("plan", "plan.toml")), ("trials.toml", ("compare", "--log", "trials.toml")),
    ("a/reading.json", ("causes", "a")), ("b/reading.json", ("compare", "a", "b")),
    ("scene.toml", ("simulate", "scene.toml")),
    ("x.png", ("calibrate", "x.png", "--known-pin", "3mm")),
)  # fmt: skip
_LONG_NAMES = "\n".join(f"k{k}." + ".".join("a" * 400) + " = 1" for k in range(1200))


def floods() -> list[Flood]:
    """Every file of the attack.

    Returns
    -------
    list of Flood
    """
    everywhere: list[tuple[str, Callable[[Path], object]]] = [
        ("a pipe", os.mkfifo), ("/dev/zero", _zero), ("a folder", Path.mkdir),
        ("a file of 4 GB", _hole(2**32)),
    ]  # fmt: skip
    found = [Flood(n, what, make, c) for what, make in everywhere for n, c in _PLACES]
    pictures: list[tuple[str, Callable[[Path], object]]] = [
        ("13,000 px square, grey", _png((13_000, 13_000))),
        ("13,000 px square, 1 bit", _png((13_000, 13_000), 1)),
        ("as large as is read, colour", _png((_SIDE, _SIDE, 3))),
        ("as large as is read, colour, noise", _png((_SIDE, _SIDE, 3), noise=True)),
        ("as large as is read, 16 bit colour", _png((_SIDE * 7 // 10, _SIDE * 7 // 10, 3), 16)),
        ("64 x 1,390,000 px", _png((1_390_000, 64))),
        ("64 x 32,000 px, noise", _png((32_000, 64), noise=True)),
        ("60,000 px square claimed", _png((60_000, 1))),
        ("10,000 scans", _many_scans), ("texts of 3 GB", _text_bomb),
        ("tiles of 60,000 px", _tiled), ("a directory that follows itself", _looped),
    ]  # fmt: skip
    for what, make in pictures:
        found.append(Flood("x.png", what, make, INSPECT))
        found.append(Flood("x.png", what, make, ("calibrate", "x.png", "--known-pin", "3mm")))
        found.append(Flood("x.png", what, make, (*INSPECT, "--pick", "all")))
    texts: list[tuple[str, Callable[[Path], object]]] = [
        ("names of 30,000 parts", _text(".".join("a" * 30_000) + " = 1")),
        ("many names of 400 parts", _text(_LONG_NAMES)),
        ("lists in lists", _text("a = " + "[" * 60_000 + "]" * 60_000)),
        ("50,000 keys", _text("".join(f"k{k} = 1\n" for k in range(50_000)))),
        ("half a million digits", _text("teeth = " + "9" * 500_000)),
        ("10,000 pictures", _text(GEAR + "".join(f"[photo.'{k}.jpg']\n" for k in range(10_000)))),
    ]
    tomls = [(name, command) for name, command in _PLACES if name.endswith(".toml")]
    found += [Flood(n, what, make, c) for what, make in texts for n, c in tomls]
    jsons = [(name, command) for name, command in _PLACES if name.endswith(".json")]
    deep: list[tuple[str, Callable[[Path], object]]] = [
        ("lists in lists", _text("[" * 1_000_000)), ("590 MB", _hole(590_000_000)),
        ("16 MB of numbers", _large_reading),
    ]  # fmt: skip
    return found + [Flood(n, what, make, c) for what, make in deep for n, c in jsons]


def attack(number: int, count: int, kept: Path) -> dict[str, float]:
    """Give a share of the floods to their commands.

    Parameters
    ----------
    number : int
        Number of the share.
    count : int
        Files a share.
    kept : Path
        Folder for notes of what went wrong.

    Returns
    -------
    dict of str to float
        How many came to what; `seconds` of the processor and `mb` at most.
    """
    found: dict[str, float] = {"files": 0, "seconds": 0.0, "mb": 0.0}
    for flood in floods()[number * count : (number + 1) * count]:
        status, err, seconds, mb = _met(flood)
        outcome = "refused" if status in (1, 2) else "accepted" if status == 0 else "fault"
        if outcome == "refused" and err.count("\n") != 1:
            outcome = "untidy"
        for name in ("files", outcome):
            found[name] = found.get(name, 0) + 1
        found["seconds"], found["mb"] = max(found["seconds"], seconds), max(found["mb"], mb)
        over = [
            n for n, v, m in (("seconds", seconds, LONGEST_SECONDS), ("mb", mb, MOST_MB)) if v > m
        ]
        for name in over:
            found[f"over {name}"] = found.get(f"over {name}", 0) + 1
        if over or outcome in ("fault", "untidy"):
            note = f"{flood.what}: {flood.command}\n{status} {seconds:.1f} s {mb:.0f} MB\n{err}\n"
            with (kept / "floods.txt").open("a") as file:
                file.write(note)
    return found


def _met(flood: Flood) -> tuple[int, str, float, float]:
    """Exit status, stderr, processor seconds and memory of a command with its processes."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        lay_out(folder)
        path = folder / flood.name
        path.unlink(missing_ok=True)
        flood.make(path)
        with (folder / "told").open("w+") as told:
            process = subprocess.Popen(
                [*COMMAND, *flood.command],
                cwd=folder, stdout=subprocess.DEVNULL, stderr=told, stdin=subprocess.DEVNULL,
            )  # fmt: skip
            until = monotonic() + 600
            while (ended := os.wait4(process.pid, os.WNOHANG))[0] == 0:
                sleep(0.05)
                if monotonic() > until:
                    process.kill()
            process.returncode = os.waitstatus_to_exitcode(ended[1])
            told.seek(0)
            used = ended[2]
            return (
                process.returncode,
                told.read(),
                used.ru_utime + used.ru_stime,
                used.ru_maxrss / 1024,
            )
