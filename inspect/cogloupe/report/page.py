"""The report page: one HTML file that needs nothing beside itself."""

from html import escape
from math import floor, hypot, log10

from markupsafe import Markup

from cogloupe.reading.models import BudgetLine, Reading
from cogloupe.report.detail_rows import (
    PROFILE_COLUMNS,
    flank_profiles,
    gap_shape_rows,
    profile_rows,
    size_rows,
)
from cogloupe.report.detail_wording import check_sentences, limit_sentences
from cogloupe.report.gap_rows import candidate_rows, measure_rows, situation_rows
from cogloupe.report.gear_name import gear_name, gear_origin, gear_size
from cogloupe.report.markup import data_uri, page_template
from cogloupe.report.rows import GAP_COLUMNS, Cell, gap_rows, summary_rows, tooth_rows
from cogloupe.report.set_rows import set_rows
from cogloupe.report.verdict_text import verdict_paragraphs
from cogloupe.report.wording import verdict
from cogloupe.wording.numbers import NOT_SEEN, tooth_list, with_uncertainty

# In the order in which the page shows them.
CAPTIONS: dict[str, str] = {
    "overlay": "The photograph in grey, the theoretical gear drawn over it, and each flank's "
    "deviation drawn along its normal, enlarged by the factor in the legend.",
    "chart": "Pitch deviation of each flank with its U. Bars: from the tooth before. Lines: summed "
    "from tooth 1.",
    "profiles": "Profile of every flank against the theoretical one, from root to tip: the mean of "
    "either side in bold, then tooth by tooth.",
    "gaps": "All gaps laid over one another with the theoretical gap, deviations enlarged by the "
    "factor in the legend.",
    "thickness": "Thickness of each tooth and width of the gap after it, with U.",
    "camera": "What the camera does to places on the picture, found by turning the gear and undone "
    "in the reading: arrows over the frame, enlarged by the factor stated, and along the teeth.",
}

NEGLIGIBLE = 0.001
"""Share of a figure's uncertainty below which a source is only named."""


def report_html(reading: Reading, images: dict[str, bytes]) -> str:
    """Write the report page.

    Parameters
    ----------
    reading : Reading
        The figures.
    images : dict of str to bytes
        PNG or JPEG pictures by name, the names being keys of `CAPTIONS`; others are left out.

    Returns
    -------
    str
        HTML text with pictures and styles inside; it loads nothing from anywhere.
    """
    return page_template("report.html.j2", cell=cell_html).render(
        reading=reading,
        name=gear_name(reading.gear),
        size=gear_size(reading.gear),
        scale=_scale(reading),
        verdict=[*verdict_paragraphs(reading), *verdict(reading)],
        warnings=[(w.message, tooth_list(w.teeth)) for w in reading.warnings],
        figures=_figures(images),
        summary=summary_rows(reading),
        teeth=tooth_rows(reading),
        gap_heads=[head for _, head in GAP_COLUMNS],
        gaps=gap_rows(reading),
        budget=_by_figure(reading.budget),
        origin=gear_origin(reading.gear),
        pictures=set_rows(reading.photo_set) if reading.photo_set else [],
        candidates=candidate_rows(reading.identity) if reading.identity else [],
        measures=measure_rows(reading.identity) if reading.identity else [],
        situations=situation_rows(reading.cutting) if reading.cutting else [],
        profile_columns=PROFILE_COLUMNS,
        profile_rows=profile_rows(reading),
        flank_profiles=flank_profiles(reading),
        gap_shape_rows=gap_shape_rows(reading),
        limits=limit_sentences(reading),
        size_rows=size_rows(reading),
        checks=check_sentences(reading),
    )


def _figures(images: dict[str, bytes]) -> list[tuple[str, str, str]]:
    """Name, address and caption of each picture that is there."""
    return [
        (name, data_uri(images[name]), text) for name, text in CAPTIONS.items() if name in images
    ]


def _scale(reading: Reading) -> str:
    c = reading.calibration
    return with_uncertainty(1e3 * c.mm_per_px, 1e3 * c.u_mm_per_px, "µm per pixel")


def _by_figure(
    budget: tuple[BudgetLine, ...],
) -> list[tuple[str, list[tuple[BudgetLine, str]], str]]:
    """Lines of the budget under the figure they belong to, with what they come to together."""
    groups: dict[str, list[BudgetLine]] = {}
    for line in budget:
        groups.setdefault(line.figure, []).append(line)
    found = []
    for figure, lines in groups.items():
        u, unit = hypot(*(line.contribution for line in lines)), lines[0].unit.replace("um", "µm")
        shown = [
            (line, _size(line.contribution, unit) if line.contribution > NEGLIGIBLE * u else "–")
            for line in lines
        ]
        whole = f"u = {_size(u, unit)}, U = {_size(2 * u, unit)}"
        found.append((_figure_name(figure), shown, whole))
    return found


def _size(value: float, unit: str) -> str:
    """Two figures that count, never with an exponent."""
    places = max(0, 1 - floor(log10(value))) if value > 0 else 0
    return f"{value:.{places}f} {unit}"


def _figure_name(field: str) -> str:
    """Readable name of a field: its unit off the end, spaces for underscores."""
    stem, _, unit = field.rpartition("_")
    return (stem if unit in ("um", "mm", "deg") and stem else field).replace("_", " ")


def cell_html(cell: Cell) -> Markup:
    """Write a table cell with the value it is sorted by.

    Parameters
    ----------
    cell : Cell

    Returns
    -------
    Markup
    """
    kind = ' class="faint"' if cell.faint else ""
    value = "" if cell.value is None else f"{cell.value:.6g}"
    # Two short lines in place of one long one keep the columns narrow.
    words = cell.text.replace(" (", "\n(").split("\n") if cell.faint else [cell.text]
    lines = "".join(f"<span>{escape(word)}</span>" for word in words)
    text = "–" if cell.text == NOT_SEEN else lines
    return Markup(f'<td data-v="{value}"{kind}>{text}</td>')
