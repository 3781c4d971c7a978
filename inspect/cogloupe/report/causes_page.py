"""A diagnosis as tables for the terminal, and as a page to take to the machine."""

from rich.table import Table
from rich.text import Text

from cogloupe import __version__
from cogloupe.causes.diagnosis import Diagnosis
from cogloupe.causes.harmonics import found_only, harmonics
from cogloupe.causes.table import NONE
from cogloupe.reading.models import Reading
from cogloupe.report.causes_chart import causes_chart
from cogloupe.report.causes_text import cause_rows, harmonic_rows, headline, period_rows, verdict
from cogloupe.report.charts import figure_png
from cogloupe.report.console_tables import plain_table, sentence_table
from cogloupe.report.gear_name import gear_name
from cogloupe.report.markup import data_uri, page_template

_MOST_WAVES = 5
"""Waves that the table shows; how many more there are is told."""


def cause_tables(diagnosis: Diagnosis) -> list[Table]:
    """Lay a diagnosis out for the terminal.

    One for each round of ranking, then what to do, then the cautions.
    """
    tables = [
        _ranking(diagnosis, place)
        for place, finding in enumerate(diagnosis.findings)
        if place == 0 or finding.best.cause is not NONE
    ]
    return [*tables, _what_next(diagnosis), sentence_table("Mind", diagnosis.cautions)]


def part_title(diagnosis: Diagnosis, place: int) -> str:
    """Heading of a round of ranking, counted from 0."""
    if place == 0:
        return "What left this pattern"
    before = [finding.best.cause.name for finding in diagnosis.findings[:place]]
    return f"What remains beside: {'; '.join(before)}"


def _ranking(diagnosis: Diagnosis, place: int) -> Table:
    finding = diagnosis.findings[place]
    table = plain_table(part_title(diagnosis, place), verdict(finding))
    table.add_column("cause", overflow="fold", ratio=3)
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("pattern", overflow="fold", ratio=5)
    table.add_column("size ± U", overflow="fold", ratio=3)
    for ranked, share, pattern, sizes in cause_rows(diagnosis, finding):
        name = Text(ranked.cause.name, style="bold" if ranked is finding.best else "")
        table.add_row(name, Text(share), Text(pattern), Text("\n".join(sizes) or "–"))
    return table


def _what_next(diagnosis: Diagnosis) -> Table:
    table = plain_table("What to do next")
    table.add_column("cause", overflow="fold", ratio=2)
    table.add_column("what else would look alike", overflow="fold", ratio=4)
    table.add_column("the next cheap test", overflow="fold", ratio=5)
    for cause in diagnosis.named or (NONE,):
        table.add_row(Text(cause.name), Text(cause.alike), Text(cause.test))
    return table


def causes_html(reading: Reading, diagnosis: Diagnosis) -> str:
    """Write the page, HTML text that loads nothing from anywhere."""
    machine = diagnosis.case.machine
    waves = found_only(harmonics(diagnosis.case.observed))
    return page_template("causes.html.j2").render(
        name=gear_name(reading.gear),
        photo=reading.photo.file,
        machine=(machine.name or "as told") if machine is not None else "",
        headline=headline(diagnosis),
        parts=[
            (part_title(diagnosis, k), verdict(found), cause_rows(diagnosis, found), found.best)
            for k, found in enumerate(diagnosis.findings)
        ],
        no_cause=NONE,
        chart=data_uri(figure_png(causes_chart(diagnosis))),
        cautions=diagnosis.cautions,
        waves=list(harmonic_rows(waves[:_MOST_WAVES], diagnosis)),
        more_waves=max(len(waves) - _MOST_WAVES, 0),
        periods=period_rows(diagnosis),
        bore=diagnosis.case.observed.bore,
        version=__version__,
    )
