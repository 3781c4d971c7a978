"""Keeps what is shown of a folder of readings up to date while photographs are read."""

import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from cogloupe.folders.catalogue import catalogue_of
from cogloupe.folders.photos import passed_over
from cogloupe.reading.catalogue_entry import Entry
from cogloupe.report.folder_page import DATA_FILE, INDEX_FILE, News, index_data, index_html
from cogloupe.report.write import write_shared
from cogloupe_calibration.files import write_whole
from cogloupe_calibration.plain_text import shown_name

SELDOM = 20.0
"""Looking through many folders takes time: so many times as long they are left alone after it."""


def write_index(out: Path, entries: Sequence[Entry], news: News) -> None:
    """Write the page of a folder of readings; what cannot be written costs no reading."""
    page, data = index_html(out.resolve().name).encode(), index_data(entries, news).encode()
    with suppress(OSError):
        write_shared(out)
        write_whole(out / DATA_FILE, data)
        if not (out / INDEX_FILE).is_file() or (out / INDEX_FILE).read_bytes() != page:
            write_whole(out / INDEX_FILE, page)


class Bookkeeper:
    """Keeps catalogue and page of a folder while photographs are read into it.

    Files beside the photographs (`sources`) that are not looked at are listed; while `watching`,
    readings go on coming, so that the page is to look again.
    """

    def __init__(self, out: Path, sources: Iterable[Path] = (), watching: bool = False) -> None:
        self._out, self._sources, self._watching = out, list(sources), watching
        self._entries: list[Entry] = []
        self._next = time.monotonic() + 1.0

    @property
    def entries(self) -> list[Entry]:
        """What the catalogue had when it was last brought up to date, by day, oldest first."""
        return self._entries

    def after_outcome(self) -> None:
        """Bring both up to date, unless that was done a moment ago.

        Raises
        ------
        UseError
            Where the catalogue cannot be written.
        """
        if time.monotonic() >= self._next:
            self.bring_up_to_date()

    def bring_up_to_date(self) -> None:
        """Bring both up to date.

        Raises
        ------
        UseError
            Where the catalogue cannot be written.
        """
        start = time.monotonic()
        with catalogue_of(self._out) as catalogue:
            catalogue.bring_up_to_date()
            self._entries = catalogue.entries()
        self._write("")
        self._next = time.monotonic() + SELDOM * max(time.monotonic() - start, 0.1)

    def begin(self, photo: Path) -> None:
        """Say on the page that a photograph is being read."""
        self._write(shown_name(photo))

    def end(self) -> None:
        """Say on the page that nothing more will come."""
        self._watching = False
        self._write("")

    def _write(self, now: str) -> None:
        news = News(
            stamp=datetime.now().isoformat(timespec="milliseconds"),
            watching=self._watching,
            now=now,
            passed_over=passed_over(self._sources),
        )
        write_index(self._out, self._entries, news)
