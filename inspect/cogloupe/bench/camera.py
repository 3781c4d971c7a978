"""A microscope or camera that OpenCV finds: live view, focus, exposure, and what is clipped."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from cogloupe_calibration.errors import UseError

MOST_CAMERAS = 4
"""Places looked at: a desk rarely has more, and an empty one costs a second on some systems."""
LIVE_WIDTH = 960
"""Pixels across of the live view, which only serves to aim; the shot keeps all."""
LARGE = 10000
"""Pixels: no camera has so many a side."""
WHITE, BLACK = 252, 3
"""Grey values from which nothing more is told, of 255: cameras end a little short of both ends."""
CLIPPED_SHARE = 0.005
"""Of the picture: from this much burnt out, edges may move (our own judgement)."""
DARK, BRIGHT = 60.0, 235.0
"""Brightness of the lighter part of a picture, of 255, between which edges stand well above noise
(our own judgement)."""


@dataclass(frozen=True)
class Meter:
    """What the live view says of a frame.

    `focus` is the spread of the second differences over the mean brightness, only compared with
    itself while the focus is turned; `brightness` is of the lighter tenth, 0 to 255; `white` and
    `black` are the shares that are clipped.
    """

    focus: float
    brightness: float
    white: float
    black: float
    advice: str


def meter(frame: NDArray[np.uint8]) -> Meter:
    """Judge a frame (h, w, 3) of 8 bits as the camera gives it."""
    grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    second = cv2.Laplacian(small, cv2.CV_32F)
    brightness = float(np.percentile(grey[::4, ::4], 90))
    focus = float(second.std()) / max(float(small.mean()), 1.0)
    white = float(np.mean(frame.max(axis=2) >= WHITE))
    black = float(np.mean(grey <= BLACK))
    return Meter(focus, brightness, white, black, _advice(brightness, white))


def _advice(brightness: float, white: float) -> str:
    if white > CLIPPED_SHARE:
        return f"{100 * white:.1f} % is burnt out: less light or a shorter exposure"
    if brightness < DARK:
        return "dark: more light or a longer exposure"
    return "a little bright" if brightness > BRIGHT else "well exposed"


def marked(frame: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A frame (h, w, 3), what is clipped painted over: magenta for white, blue for black."""
    scale = min(1.0, LIVE_WIDTH / frame.shape[1])
    shown = cv2.resize(frame, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    shown[shown.max(axis=2) >= WHITE] = (160, 0, 200)
    shown[shown.max(axis=2) <= BLACK] = (200, 60, 0)
    return np.asarray(shown, dtype=np.uint8)


class Camera:
    """The one camera that is open, or a video file that is shown in its place."""

    def __init__(self, stand_in: str = "") -> None:
        self._stand_in, self._lock = stand_in, threading.Lock()
        self._capture: cv2.VideoCapture | None = None
        self._last: NDArray[np.uint8] | None = None

    def found(self) -> list[str]:
        """Names of the cameras that answer."""
        if self._stand_in:
            return ["video file"]
        with _quiet():
            return [str(k) for k in range(MOST_CAMERAS) if _answers(k)]

    def open(self, name: str) -> None:
        """Open a camera by its name, and close the one before.

        Raises
        ------
        UseError
            Where it does not answer.
        """
        if not self._stand_in and not name.isdecimal():
            raise UseError("name a camera by its number")
        with self._lock:
            self._close()
            source: str | int = self._stand_in or int(name)
            self._capture = cv2.VideoCapture(source)
            if not self._capture.isOpened():
                self._close()
                raise UseError(f"camera {name} does not answer: is another program using it?")
            for setting in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT):
                self._capture.set(setting, LARGE)  # the nearest that it has, which is its largest

    def frame(self) -> NDArray[np.uint8]:
        """The next frame (h, w, 3).

        Raises
        ------
        UseError
            Where no camera is open, or it gives nothing more.
        """
        with self._lock:
            if self._capture is None:
                raise UseError("no camera is open: choose one")
            seen, frame = self._capture.read()
            if not seen and self._stand_in:  # a film begins again
                self._capture.set(cv2.CAP_PROP_POS_FRAMES, 0)
                seen, frame = self._capture.read()
            if not seen:
                raise UseError("the camera gives no picture: plug it in again")
            self._last = np.asarray(frame, dtype=np.uint8)
            return self._last

    def last(self) -> NDArray[np.uint8]:
        """The frame (h, w, 3) that was seen last, or the next where none was."""
        return self.frame() if self._last is None else self._last

    def close(self) -> None:
        """Let the camera go."""
        with self._lock:
            self._close()

    def _close(self) -> None:
        if self._capture is not None:
            self._capture.release()
        self._capture = self._last = None


@contextmanager
def _quiet() -> Iterator[None]:
    """Without the library's complaints of each place where there is no camera."""
    before = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        yield
    finally:
        cv2.utils.logging.setLogLevel(before)


def _answers(place: int) -> bool:
    capture = cv2.VideoCapture(place)
    try:
        return bool(capture.isOpened() and capture.read()[0])
    finally:
        capture.release()
