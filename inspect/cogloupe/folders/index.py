"""Keeps what is shown of a folder of readings up to date while photographs are read."""

import time
from collections.abc import Sequence
from pathlib import Path

from cogloupe.folders.catalogue import catalogue_of
from cogloupe.reading.catalogue_entry import Entry

SELDOM = 20.0
"""Looking through many folders takes time: so many times as long they are left alone after it."""


def refresh_index(out: Path, entries: Sequence[Entry]) -> None:
    """Bring what is shown of a folder of readings up to date.

    Parameters
    ----------
    out : Path
        Folder of readings.
    entries : sequence of Entry
        All that the catalogue has, oldest first.
    """


class Bookkeeper:
    """Keeps catalogue and index of a folder while photographs are read into it.

    Parameters
    ----------
    out : Path
        Folder of readings.
    """

    def __init__(self, out: Path) -> None:
        self._out = out
        self._next = time.monotonic() + 1.0

    def after_outcome(self) -> None:
        """Bring both up to date, unless that was done a moment ago.

        Raises
        ------
        UseError
            Where catalogue or index cannot be written.
        """
        if time.monotonic() >= self._next:
            self.bring_up_to_date()

    def bring_up_to_date(self) -> None:
        """Bring both up to date.

        Raises
        ------
        UseError
            Where catalogue or index cannot be written.
        """
        start = time.monotonic()
        with catalogue_of(self._out) as catalogue:
            catalogue.bring_up_to_date()
            entries = catalogue.entries()
        refresh_index(self._out, entries)
        self._next = time.monotonic() + SELDOM * max(time.monotonic() - start, 0.1)
