"""Mutated pictures for the attack on the reader: spoilt as pixels, as files, or as both.

What is mutated, and how, is drawn by Hypothesis; most pictures get past decoding, so that the steps
behind it are met as well.
"""

import hashlib
import resource
import signal
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time
from types import FrameType
from typing import Any

import cv2
import numpy as np
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from cogloupe.folders.jobs import Part
from cogloupe.folders.single_photo import read_parts
from cogloupe.inputs.photo import read_photo
from cogloupe.inputs.settings import GearSettings, make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.errors import CogloupeError, PhotoError

Pixels = NDArray[Any]
LONGEST_SECONDS = 10.0
MOST_MB = 1500.0
GIVEN_UP_SECONDS = 60
"""Processor time after which a picture is called off and counted as hung."""
BEHIND_DECODING = ("no gear found",)
REPORTS = 8
"""Every so many pictures is read with its report, which takes most of the time."""

_GEAR = GearSpec(teeth=24, module_mm=1.0, bore_mm=6.0)
_LOOKS: tuple[dict[str, object], ...] = (
    {},
    {"look": "light-on-dark"},
    {"look": "front-lit", "tool_marks": 0.08},
    {"look": "front-lit", "tool_marks": 0.08, "bevel_mm": 0.15, "shadow_mm": 0.2},
    {"sharpening": 0.8, "illumination": 0.3},
)


@cache
def originals() -> tuple[Pixels, ...]:
    """Small pictures of a gear, as they are before they are mutated.

    Returns
    -------
    tuple of ndarray
        Grey and colour, uint8.
    """
    plain = {"mm_per_px": 0.12, "width_px": 250, "height_px": 240, "rotation_deg": 5.0}
    made = []
    for look in _LOOKS:
        camera = Camera.model_validate(plain | look)
        made.append(render(_GEAR, Faults(), camera, np.random.default_rng(1)).image)
    return tuple(made)


# What is done to pixels: each takes a picture, a generator and a strength from 0 to 1.


def _noise(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    return _clipped(p + rng.normal(0, 120 * s**2, p.shape))


def _patch(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    """Cover a part by noise, one colour, or another part."""
    p = p.copy()
    (a, b), (c, d) = (np.sort(rng.integers(0, n, 2)) for n in p.shape[:2])
    kind = rng.integers(3)
    if kind == 0:
        p[a:b, c:d] = rng.integers(0, 256, p[a:b, c:d].shape)
    elif kind == 1:
        p[a:b, c:d] = rng.integers(0, 256)
    else:
        p[a:b, c:d] = np.roll(p, rng.integers(1, 200, 2), (0, 1))[a:b, c:d]
    return p


def _lines(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    p = np.ascontiguousarray(p)
    for _ in range(int(1 + 40 * s)):
        ends = rng.integers(0, min(p.shape[:2]), 4).tolist()
        grey = int(rng.integers(256))
        thick = int(rng.integers(1, 9))
        cv2.line(p, tuple(ends[:2]), tuple(ends[2:]), (grey,) * 3, thick)
    return p


def _tone(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    return _clipped(255 * (p / 255.0) ** rng.uniform(0.1, 6) * rng.uniform(0.2, 4))


def _blur(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    return np.asarray(cv2.GaussianBlur(p, (0, 0), 0.2 + 8 * s))


def _size(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    """Squeeze or stretch, each way by itself."""
    width, height = (int(np.clip(n * np.exp(rng.normal(0, s)), 4, 1200)) for n in p.shape[1::-1])
    return np.asarray(cv2.resize(p, (width, height)))


def _crop(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    top, left = (int(rng.integers(0, max(int(n * s), 1))) for n in p.shape[:2])
    return p[top:, left:]


def _tile(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    """Several gears on one picture."""
    times = rng.integers(1, 3, 2)
    return np.tile(p, (*times, *(1,) * (p.ndim - 2)))


def _turn(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    height, width = p.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 360 * s, rng.uniform(0.5, 1.5))
    return np.asarray(cv2.warpAffine(p, turn, (width, height), borderMode=cv2.BORDER_WRAP))


def _inverted(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    return 255 - p


def _levels(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    """Few levels, as of a drawing."""
    step = int(2 + 120 * s)
    return np.asarray(p // step * step)


def _bent(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    """A wave through the rows."""
    shift = np.rint(40 * s * np.sin(np.arange(p.shape[0]) / rng.uniform(2, 60))).astype(int)
    return np.stack([np.roll(row, k, axis=0) for row, k in zip(p, shift, strict=True)])


def _colours(p: Pixels, rng: np.random.Generator, s: float) -> Pixels:
    grey = p if p.ndim == 2 else p[..., 0]
    mixed = grey[..., None] * rng.uniform(0, 1.2, 3) + rng.uniform(0, 90, 3)
    return _clipped(mixed)


def _clipped(p: Pixels) -> Pixels:
    return np.clip(p, 0, 255).astype(np.uint8)


ON_PIXELS: tuple[Callable[[Pixels, np.random.Generator, float], Pixels], ...] = (
    _noise, _patch, _lines, _tone, _blur, _size, _crop, _tile, _turn, _inverted, _levels, _bent,
    _colours,
)  # fmt: skip

FORMATS: tuple[tuple[str, dict[str, object]], ...] = (
    ("PNG", {"compress_level": 1}), ("JPEG", {"quality": 92}), ("JPEG", {"quality": 25}),
    ("JPEG", {"quality": 80, "progressive": True}), ("TIFF", {}), ("BMP", {}),
    ("TIFF", {"compression": "tiff_lzw"}), ("WEBP", {"quality": 80}), ("16", {}),
)  # fmt: skip


def _encoded(p: Pixels, kind: int) -> bytes:
    name, options = FORMATS[kind % len(FORMATS)]
    if name == "16":
        deep = p.astype(np.uint16) * 257
        return bytes(cv2.imencode(".png", deep)[1])
    file = BytesIO()
    Image.fromarray(np.ascontiguousarray(p)).save(file, name, **options)
    return file.getvalue()


def _spoilt(data: bytes, rng: np.random.Generator, how: int, strength: float) -> bytes:
    """Mutate the bytes of a file: not at all, single ones, a stretch, its end, its head."""
    spoilt = bytearray(data)
    if how == 1:
        for place in rng.integers(0, len(spoilt), int(1 + 20 * strength)):
            spoilt[place] = int(rng.integers(256))
    elif how == 2:
        a, b = np.sort(rng.integers(0, len(spoilt), 2))
        spoilt[a : a + (b - a) // 20] = rng.bytes(int(rng.integers(0, 60)))
    elif how == 3:
        del spoilt[int(len(spoilt) * strength) :]
    elif how == 4:
        for place in rng.integers(0, min(len(spoilt), 200), int(1 + 6 * strength)):
            spoilt[place] ^= 1 << int(rng.integers(8))
    return bytes(spoilt)


@dataclass(frozen=True, kw_only=True)
class Mutation:
    """What is done to a picture; Hypothesis draws it."""

    original: int
    pixels: list[tuple[int, float]]
    kind: int
    file: int
    strength: float
    seed: int

    def made(self) -> bytes:
        """The file.

        Returns
        -------
        bytes
        """
        rng = np.random.default_rng(self.seed)
        picture = originals()[self.original % len(_LOOKS)]
        for which, strength in self.pixels:
            picture = ON_PIXELS[which % len(ON_PIXELS)](picture, rng, strength)
        return _spoilt(_encoded(picture, self.kind), rng, self.file, self.strength)


def mutations(strongest: float, files: list[int]) -> st.SearchStrategy[Mutation]:
    """Draw what is done: to pixels at most so strongly, to files in these ways (0: none)."""
    on_pixels = st.tuples(st.integers(0, len(ON_PIXELS) - 1), st.floats(0, strongest))
    return st.builds(
        Mutation,
        original=st.sampled_from([0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 3, 4]),
        pixels=st.lists(on_pixels, max_size=2),
        kind=st.integers(0, len(FORMATS) - 1),
        file=st.sampled_from(files),
        strength=st.floats(0, 1),
        seed=st.integers(0, 2**32 - 1),
    )


STRONG = mutations(0.5, [0, 0, 0, 0, 1, 1, 2, 3, 4])
GENTLE = mutations(0.15, [0, 0, 0, 0, 0, 0, 0, 1])
"""On most of these a gear is still found, so that all later steps are attacked."""


class HungError(BaseException):
    """A picture took more processor time than any may; nothing in the reader catches this."""


@contextmanager
def called_off() -> Iterator[None]:
    """Call off what takes too long."""

    def end(signal_number: int, frame: FrameType | None) -> None:
        raise HungError

    signal.signal(signal.SIGVTALRM, end)
    signal.setitimer(signal.ITIMER_VIRTUAL, GIVEN_UP_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)


def peak_mb() -> float:
    """Largest memory of this process since `forget_peak`, MB.

    Returns
    -------
    float
    """
    status = Path("/proc/self/status")
    if status.exists():
        lines = [x for x in status.read_text().splitlines() if x.startswith("VmHWM")]
        return int(lines[0].split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def forget_peak() -> None:
    """Let the peak begin anew, where the system can."""
    reset = Path("/proc/self/clear_refs")
    if reset.exists():
        reset.write_text("5")


def for_each(number: int, count: int, drawn: st.SearchStrategy[Any]) -> Callable[[Any], None]:
    """Call a function with so many things that are drawn, the same ones for the same number.

    Parameters
    ----------
    number : int
        Seed of what is drawn.
    count : int
    drawn : strategy
    """

    def call(function: Callable[[Any], None]) -> None:
        plain = settings(
            max_examples=count, phases=(Phase.generate,), database=None, deadline=None,
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        seed(number)(plain(given(drawn)(function)))()

    return call


def note_spent(
    spent: dict[str, float], worst: dict[str, float], found: Counter[str], bounded: bool = True
) -> set[str]:
    """Note what a try took, and name what was more than is allowed.

    Parameters
    ----------
    spent, worst : dict of float
        `seconds` and `mb` of this try, and at most.
    found : Counter
        Counts what is over a bound.
    bounded : bool, optional
        Whether the bounds are asked.
    """
    over = set()
    for name, most in (("seconds", LONGEST_SECONDS), ("mb", MOST_MB)):
        worst[name] = max(worst[name], spent[name])
        if bounded and spent[name] > most:
            over.add(name)
            found[f"over {name}"] += 1
    return over


def attack(
    number: int, count: int, kept: Path, drawn: st.SearchStrategy[Mutation] = STRONG
) -> dict[str, float]:
    """Read some mutated pictures.

    Parameters
    ----------
    number : int
        Seed of what is drawn.
    count : int
        Pictures.
    kept : Path
        Folder for pictures that find a fault.
    drawn : strategy, optional

    Returns
    -------
    dict of str to float
        How many came to what; `seconds` and `mb` at most.
    """
    found: Counter[str] = Counter()
    worst = {"seconds": 0.0, "mb": 0.0}
    known = make_settings({"module_mm": 1.0, "scale_um_per_px": 120.0})

    @for_each(number, count, drawn)
    def _(mutation: Mutation) -> None:
        data = mutation.made()
        forget_peak()
        start = process_time()
        outcome = _outcome(data, known, mutation.seed % REPORTS == 0)
        spent = {"seconds": process_time() - start, "mb": peak_mb()}
        found.update(["pictures", outcome])
        bad = {"fault", "hung"} & {outcome} | note_spent(spent, worst, found)
        if bad:
            name = f"{'-'.join(sorted(bad))}-{hashlib.sha256(data).hexdigest()[:12]}"
            (kept / name).write_bytes(data)

    return {**found, **worst}


def _outcome(data: bytes, known: GearSettings, report: bool) -> str:
    """Read a picture as the commands do, with its report if asked, and say what came of it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "picture.png"
        path.write_bytes(data)
        try:
            with called_off():
                if report:
                    (part,) = read_parts(path, known, every=False)
                else:
                    part = _figures(path, known)
        except HungError:
            return "hung"
        except BaseException:
            traceback.print_exc()
            return "fault"
    if part.details:
        print(part.details)
        return "fault"
    return _class_of(str(part.error)) if part.error is not None else "read"


def _figures(path: Path, known: GearSettings) -> Part:
    """Read a picture without making its report."""
    try:
        return Part(reading=inspect_photo(read_photo(path), known)[0])
    except CogloupeError as error:
        return Part(error=error)
    except Exception as error:
        details = "".join(traceback.format_exception(error))
        return Part(error=PhotoError(str(error)), details=details)


def _class_of(message: str) -> str:
    """Where a picture was refused: at decoding, for want of a gear, or after one was found."""
    if message.startswith("picture.png"):
        return "refused when opened"
    return "no gear" if message.startswith(BEHIND_DECODING) else "refused after segmentation"
