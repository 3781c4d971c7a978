"""Ways to find the edge points of a gear on a picture, and what each costs in time and memory.

Run as a script in a process of its own: ``python extractors.py METHOD PICTURE.npy`` prints seconds
and peak memory as JSON, so that no other work is counted in. It imports only what the method needs.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.arrays import Floats

Part = Callable[[Any], Any]

REPEATS = 7


def otsu_contours(pixels: NDArray[np.uint8]) -> Floats:
    """Border pixels at Otsu's level, by ``cv2.findContours``.

    Parameters
    ----------
    pixels : ndarray, shape (h, w), uint8

    Returns
    -------
    ndarray, shape (n, 2)
        The longest contour, px.
    """
    import cv2

    _, mask = cv2.threshold(pixels, 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(max(contours, key=len)[:, 0, :], np.float64)


def mid_level(pixels: NDArray[np.uint8]) -> float:
    """Level midway between the medians of the two classes that Otsu's level divides.

    Parameters
    ----------
    pixels : ndarray, uint8

    Returns
    -------
    float
    """
    import cv2

    level, _ = cv2.threshold(pixels, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    count = cv2.calcHist([pixels], [0], None, [256], [0, 256]).ravel()
    split = int(level) + 1

    def middle(counts: NDArray[Any]) -> int:
        return int(np.searchsorted(np.cumsum(counts), counts.sum() / 2))

    return (middle(count[:split]) + split + middle(count[split:])) / 2


def level_contours(pixels: NDArray[np.uint8], preblur: float = 0.0) -> Floats:
    """Level line at mid level, by ``skimage.measure.find_contours``.

    Parameters
    ----------
    pixels : ndarray, shape (h, w), uint8
    preblur : float
        Standard deviation of a Gaussian blur before it, px; 0 for none.

    Returns
    -------
    ndarray, shape (n, 2)
        The longest level line, x and y, px; the end is not the start again.
    """
    import cv2
    from skimage.measure import find_contours

    level = mid_level(pixels)
    grey = cv2.GaussianBlur(pixels.astype(np.float32), (0, 0), preblur) if preblur else pixels
    longest = max(find_contours(grey, level), key=len)  # type: ignore[no-untyped-call]
    return np.asarray(longest[:-1, ::-1], np.float64)


def preblurred_contours(pixels: NDArray[np.uint8]) -> Floats:
    """Level line at mid level after a Gaussian blur of 1 px.

    Parameters
    ----------
    pixels : ndarray, shape (h, w), uint8

    Returns
    -------
    ndarray, shape (n, 2)
    """
    return level_contours(pixels, 1.0)


LIBRARY: dict[str, Callable[[NDArray[np.uint8]], Floats]] = {
    "findContours, Otsu's level": otsu_contours,
    "find_contours, mid level": level_contours,
    "find_contours, blurred 1 px": preblurred_contours,
}
OURS = "ours"
READING = "ours, whole reading"


def parts_of(method: str, picture: Path) -> dict[str, Part]:
    """Timed parts of a method, each fed with what the one before gave.

    Parameters
    ----------
    method : str
        A name of `LIBRARY`, `OURS` or `READING`.
    picture : Path
        The picture; the settings lie beside it.

    Returns
    -------
    dict of str to callable
        The first takes the pixels.
    """
    if method in LIBRARY:
        return {"edges": LIBRARY[method]}
    if method == OURS:
        from cogloupe.finding.segmentation import find_gears
        from cogloupe.optics.edges import find_edges

        pixels = np.load(picture)
        return {"find_gears": find_gears, "find_edges": lambda g: find_edges(pixels, g[0])}
    from cogloupe.inputs.photo import Photo
    from cogloupe.inputs.settings import GearSettings
    from cogloupe.inspection import inspect_photo

    settings = GearSettings.model_validate_json(picture.with_suffix(".json").read_text("utf-8"))
    return {"reading": lambda pixels: inspect_photo(Photo("gear", "", pixels, {}), settings)}


def peak_mb() -> float:
    """Most memory this process has held, MB; NaN where the system does not tell.

    Returns
    -------
    float
    """
    try:
        lines = Path("/proc/self/status").read_text("utf-8").splitlines()
    except OSError:
        return float("nan")
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


def measure(method: str, picture: Path) -> dict[str, Any]:
    """Run a method over and over.

    Parameters
    ----------
    method : str
    picture : Path

    Returns
    -------
    dict
        `first`: seconds of each part the first time; `median` and `least` of the later ones;
        `loaded_mb` before the method, `peak_mb` at the end of its first run.
    """
    parts = parts_of(method, picture)
    pixels = np.load(picture)
    loaded = peak_mb()
    first = _timed(parts, pixels)
    peak = peak_mb()
    later = [_timed(parts, pixels) for _ in range(REPEATS)]
    return {
        "first": first,
        "median": {name: median(run[name] for run in later) for name in parts},
        "least": {name: min(run[name] for run in later) for name in parts},
        "loaded_mb": loaded,
        "peak_mb": peak,
    }


def _timed(parts: dict[str, Part], pixels: NDArray[Any]) -> dict[str, float]:
    seconds, value = {}, pixels
    for name, part in parts.items():
        start = perf_counter()
        value = part(value)
        seconds[name] = perf_counter() - start
    return seconds


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], Path(sys.argv[2]))))
