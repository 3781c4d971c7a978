"""The check from inside: copies of a picture that ought to read alike, and whether U covers them.

Run: ``python -m tests.benchmarks.copies`` for the sample pictures (ten minutes on two cores), with
folders of pictures besides to read these as well; a folder holds a gear.toml or, as `traced.py`
writes it, a manifest.json.
"""

import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import ROOT, report, table

from cogloupe.inputs.photo import PHOTO_SUFFIXES, Photo, read_photo
from cogloupe.inputs.settings import GearSettings, make_settings, settings_for
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe_calibration.errors import CogloupeError

Pixels = NDArray[Any]

FIGURES = (
    "single_pitch_max_um", "cumulative_pitch_total_um", "runout_um", "thickness_mean_mm",
    "tip_diameter_mean_mm",
)  # fmt: skip

MOVED_PX = (0.37, 0.21)


def _moved(pixels: Pixels) -> Pixels:
    height, width = pixels.shape[:2]
    shift = np.array([[1, 0, MOVED_PX[0]], [0, 1, MOVED_PX[1]]])
    way = {"flags": cv2.INTER_LANCZOS4, "borderMode": cv2.BORDER_REPLICATE}
    return np.asarray(cv2.warpAffine(pixels, shift, (width, height), **way))


def _as_grey(pixels: Pixels) -> Pixels:
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)) if pixels.ndim == 3 else pixels


def _in_three_channels(pixels: Pixels) -> Pixels:
    return np.repeat(_as_grey(pixels)[..., None], 3, axis=2)


def _resaved(pixels: Pixels) -> Pixels:
    deep = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    coded = cv2.imencode(".jpg", deep[..., ::-1] if deep.ndim == 3 else deep)[1]  # quality 95
    read = cv2.imdecode(coded, cv2.IMREAD_UNCHANGED)
    return np.ascontiguousarray(read[..., ::-1] if read.ndim == 3 else read)


COPIES: dict[str, Callable[[Pixels], Pixels]] = {
    f"moved by {MOVED_PX[0]} and {MOVED_PX[1]} px": _moved,
    "turned by a quarter": lambda pixels: np.ascontiguousarray(np.rot90(pixels)),
    "mirrored": lambda pixels: np.ascontiguousarray(pixels[:, ::-1]),
    "grey in three channels": _in_three_channels,
    "saved again as JPEG 95": _resaved,
}


@dataclass(frozen=True)
class Seen:
    """A picture and what is said of its gear."""

    photo: Photo
    settings: GearSettings


def with_settings(folder: Path) -> Iterator[Seen]:
    """Pictures of a folder with a gear.toml.

    Parameters
    ----------
    folder : Path

    Yields
    ------
    Seen
    """
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() in PHOTO_SUFFIXES:
            yield Seen(read_photo(path), settings_for(path, {}))


def traced(folder: Path) -> Iterator[Seen]:
    """Pictures of a manifest.

    Parameters
    ----------
    folder : Path

    Yields
    ------
    Seen
    """
    keys = ("teeth", "module_mm", "pressure_angle_deg", "scale_um_per_px")
    for name, told in json.loads((folder / "manifest.json").read_text()).items():
        stated = {key: told[key] for key in keys if key in told}
        yield Seen(read_photo(folder / f"{name}.jpg"), make_settings(stated))


def compared(seen: Seen) -> dict[str, list[float]] | None:
    """How far each copy's figures lie from the picture's own, in U of these.

    Parameters
    ----------
    seen : Seen

    Returns
    -------
    dict of str to list of float, or None
        By copy; infinite where the copy was refused. None where the picture itself was.
    """
    first = _read(seen, seen.photo.pixels)
    if first is None:
        return None
    return {
        name: _apart(first, _read(seen, made(seen.photo.pixels))) for name, made in COPIES.items()
    }


def _read(seen: Seen, pixels: Pixels) -> Reading | None:
    try:
        return inspect_photo(replace(seen.photo, pixels=pixels), seen.settings)[0]
    except CogloupeError:
        return None


def _apart(first: Reading, copy: Reading | None) -> list[float]:
    apart = []
    for name in FIGURES:
        own, u = (getattr(first.summary, key) for key in (name, f"u_{name}"))
        if own is None or not u:
            continue
        other = None if copy is None else getattr(copy.summary, name)
        apart.append(float("inf") if other is None else abs(other - own) / (2 * u))
    return apart


def part(title: str, pictures: Iterator[Seen]) -> str:
    """Table of a set.

    Parameters
    ----------
    title : str
    pictures : iterator of Seen

    Returns
    -------
    str
    """
    found: dict[str, list[float]] = {name: [] for name in COPIES}
    beyond = []
    for seen in pictures:
        by_copy = compared(seen)
        if by_copy is None:
            continue
        for name, apart in by_copy.items():
            found[name] += apart
            if apart and max(apart) > 1:
                beyond.append([seen.photo.name, name, max(apart)])
    rows = [_row(name, np.array(apart)) for name, apart in found.items()]
    rows.append(_row("all", np.concatenate([np.array(apart) for apart in found.values()])))
    head = ("copy", "figures", "within U, %", "median, U", "95 of 100 below, U")
    return f"## {title}\n\n{table(head, rows)}\n" + table(("picture", "copy", "worst, U"), beyond)


def _row(name: str, apart: NDArray[np.float64]) -> tuple[object, ...]:
    if not len(apart):
        return (name, 0, "-", "-", "-")
    return (
        name, len(apart), 100 * float(np.mean(apart <= 1)), float(np.median(apart)),
        float(np.quantile(apart, 0.95, method="nearest")),
    )  # fmt: skip


_EXPLAINED = (
    f"How far {', '.join(FIGURES)} of a copy lie from those of the picture itself, in U of "
    "these. A copy that is refused counts as beyond.\n"
)


def main() -> None:
    """Read the samples and the folders that the command line names."""
    parts = [part("Samples", with_settings(ROOT / "sample_images"))]
    for folder in map(Path, sys.argv[1:]):
        pictures = traced if (folder / "manifest.json").exists() else with_settings
        parts.append(part(folder.name, pictures(folder)))
    report("copies", "Copies that ought to read alike", [_EXPLAINED, *parts])


if __name__ == "__main__":
    main()
