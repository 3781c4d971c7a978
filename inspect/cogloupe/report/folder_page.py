"""The page of a folder of readings: all of them, newest first, and what could not be read."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from cogloupe import __version__
from cogloupe.reading.models import Reading
from cogloupe.report.gear_name import gear_name
from cogloupe.report.markup import page_template, shared_script
from cogloupe.report.page import taken_on
from cogloupe.report.reading_tables import classes_reached
from cogloupe.report.wording import verdict
from cogloupe.wording.numbers import expanded

DATA_FILE = "readings.js"
"""Beside index.html, which loads it again and again; from disk a page may load scripts only."""
INDEX_FILE = "index.html"

Status = Literal["read", "not_read", "not_looked_at"]
Figure = tuple[float | None, float | None]

_FIGURES = (
    ("f_p", "single_pitch_max_um"),
    ("F_p", "cumulative_pitch_total_um"),
    ("F_r", "runout_um"),
)


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One photograph of a folder and what became of it.

    Attributes
    ----------
    photo : str
        File name.
    status : {'read', 'not_read', 'not_looked_at'}
    when : str
        When that happened, ISO 8601.
    folder : str
        Folder of the reading, as seen from the page; empty where there is none.
    reason : str
        Why it was not read.
    taken, gear, verdict, reached, meets : str
        What the reading says; empty where it does not.
    figures : dict of str to (float, float)
        Main figures and their U, µm, by symbol.
    """

    photo: str
    status: Status
    when: str
    folder: str = ""
    reason: str = ""
    taken: str = ""
    gear: str = ""
    verdict: str = ""
    reached: str = ""
    meets: str = ""
    figures: dict[str, Figure] = field(default_factory=dict)


def entry_of(reading: Reading, folder: str, when: str) -> Entry:
    """What the folder's page says of a reading.

    Parameters
    ----------
    reading : Reading
    folder : str
        Its folder, as seen from the page.
    when : str
        When it was read, ISO 8601.

    Returns
    -------
    Entry
    """
    s, said = reading.summary, reading.verdict
    return Entry(
        photo=reading.photo.file,
        status="read",
        when=when,
        folder=folder,
        taken=taken_on(reading),
        gear=gear_name(reading.gear),
        verdict=said.dominant.text if said else verdict(reading)[0],
        reached=classes_reached(reading),
        meets=(said.meets or "") if said else "",
        figures={
            symbol: (_short(getattr(s, name)), _short(expanded(getattr(s, f"u_{name}"))))
            for symbol, name in _FIGURES
        },
    )


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def index_html(title: str) -> str:
    """Write the folder's page, which fills itself from `index_data`.

    Parameters
    ----------
    title : str
        Name of the folder.

    Returns
    -------
    str
        HTML text; it is the same whatever is in the folder.
    """
    return page_template("index.html.j2").render(
        title=title, script=shared_script()[0], data=DATA_FILE, version=__version__
    )


def index_data(entries: Sequence[Entry], stamp: str, watching: bool = False, now: str = "") -> str:
    """Write what the folder's page shows.

    Parameters
    ----------
    entries : sequence of Entry
    stamp : str
        When this is written, ISO 8601; the page draws anew when it changes.
    watching : bool
        The folder is being watched, so that the page is to look again.
    now : str
        Photograph that is being read.

    Returns
    -------
    str
        A script that hands the entries to the page.
    """
    held: dict[str, Any] = {"stamp": stamp, "watching": watching, "now": now}
    held["entries"] = [
        {name: value for name, value in asdict(entry).items() if value} for entry in entries
    ]
    return f"cogloupe.folder({json.dumps(held, ensure_ascii=False, separators=(',', ':'))});\n"


def entries_in(data: str) -> list[Entry]:
    """Read entries back from `index_data`.

    Parameters
    ----------
    data : str

    Returns
    -------
    list of Entry
        Empty where the text is not such data.
    """
    try:
        held = json.loads(data.partition("(")[2].rpartition(")")[0])
        return [_read_back(one) for one in held["entries"]]
    except (ValueError, KeyError, TypeError):
        return []


def _read_back(one: dict[str, Any]) -> Entry:
    figures = {name: (pair[0], pair[1]) for name, pair in one.get("figures", {}).items()}
    return Entry(**{**one, "figures": figures})
