"""The page of a folder of readings: all of them, newest first, and what could not be read."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from cogloupe import __version__
from cogloupe.reading.catalogue_entry import Entry
from cogloupe.report.gear_name import size_name
from cogloupe.report.markup import page_template, shared_script
from cogloupe.report.reading_tables import class_range
from cogloupe.wording.numbers import expanded

DATA_FILE = "readings.js"
"""Beside index.html, which loads it again and again; from disk a page may load scripts only."""
INDEX_FILE = "index.html"

_FIGURES = {"f_p": "single_pitch_max_um", "F_p": "cumulative_pitch_total_um", "F_r": "runout_um"}
_FORMS = {"cycloidal": ", cycloidal", "straight": ", straight-sided"}


@dataclass(frozen=True, kw_only=True)
class News:
    """What the page of a folder says beside its readings.

    `stamp`: when it is written, ISO 8601, and the page draws anew when it changes; `watching`: the
    page is to look again; `now`: photograph that is being read; `passed_over`: why files are not
    looked at.
    """

    stamp: str
    watching: bool = False
    now: str = ""
    passed_over: Mapping[str, str] = field(default_factory=dict)


def index_html(title: str) -> str:
    """Write the folder's page, which fills itself from `index_data`.

    HTML text; it is the same whatever is in the folder.
    """
    return page_template("index.html.j2").render(
        title=title, script=shared_script()[0], data=DATA_FILE, version=__version__
    )


def index_data(entries: Sequence[Entry], news: News) -> str:
    """Write what the folder's page shows.

    A script that hands the entries to the page, newest first.
    """
    newest = sorted(entries, key=lambda entry: entry.read_at, reverse=True)
    held = {
        "stamp": news.stamp,
        "watching": news.watching,
        "now": news.now,
        "entries": [shown_entry(entry) for entry in newest],
        "others": [{"photo": name, "reason": why} for name, why in news.passed_over.items()],
    }
    return f"cogloupe.folder({json.dumps(held, ensure_ascii=False, separators=(',', ':'))});\n"


def shown_entry(entry: Entry) -> dict[str, Any]:
    """What the page shows of an entry; what is empty is left out.

    Main figures with their U (k = 2), µm, by symbol, and the rest in words.
    """
    figures = {
        symbol: (_short(getattr(entry, name)), _short(expanded(getattr(entry, f"u_{name}"))))
        for symbol, name in _FIGURES.items()
    }
    shown = {
        "photo": entry.photo or entry.folder,
        "status": entry.status,
        "when": entry.read_at,
        "folder": entry.folder if entry.status == "read" else "",
        "reason": entry.reason,
        "gear": _gear(entry),
        "verdict": entry.verdict_text,
        "reached": _reached(entry),
        "meets": entry.meets,
        "figures": figures if entry.status == "read" else None,
    }
    return {name: value for name, value in shown.items() if value}


def _gear(entry: Entry) -> str:
    if not entry.teeth or not entry.module_mm or not entry.diametral_pitch:
        return ""
    size = size_name(entry.module_mm, entry.diametral_pitch)
    return f"{entry.teeth} teeth, {size}{_FORMS.get(entry.form or '', '')}"


def _reached(entry: Entry) -> str:
    if entry.reached_low is None or entry.reached_high is None:
        return ""
    return class_range((entry.reached_low, entry.reached_high))


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
