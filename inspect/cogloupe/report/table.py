"""The summary that is shown in the terminal: one row a photograph."""

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from cogloupe.reading import Reading
from cogloupe.report.numbers import gear_size, with_uncertainty
from cogloupe.report.wording import at_worst

_COLUMNS = (
    ("photograph", "left"),
    ("z", "right"),
    ("size", "left"),
    ("f_p / µm", "right"),
    ("at", "left"),
    ("F_p / µm", "right"),
    ("runout / µm", "right"),
    ("eccentricity / µm", "right"),
    ("thickness / mm", "right"),
    ("warnings", "right"),
)


def summary_table(readings: Sequence[Reading]) -> Table:
    """Lay out the main figures of some readings.

    Parameters
    ----------
    readings : sequence of Reading

    Returns
    -------
    Table
        One row a photograph; figures with their U.
    """
    table = Table(caption="± U, k = 2; n. r. (U): smaller than its U, not resolved")
    for name, side in _COLUMNS:
        table.add_column(name, justify="right" if side == "right" else "left", overflow="fold")
    for reading in readings:
        table.add_row(*_cells(reading))
    return table


def _cells(reading: Reading) -> list[Text]:
    s = reading.summary
    words = [
        reading.photo.file,
        str(reading.gear.teeth),
        gear_size(reading.gear),
        _short(s.single_pitch_max_um, s.u_single_pitch_max_um),
        _place(reading),
        _short(s.cumulative_pitch_total_um, s.u_cumulative_pitch_total_um),
        _short(s.runout_um, s.u_runout_um),
        _short(s.eccentricity_um, s.u_eccentricity_um),
        _short(s.thickness_mean_mm, s.u_thickness_mean_mm),
        str(len(reading.warnings) or ""),
    ]
    # Plain text: a file name may hold square brackets, which would be read as markup.
    return [Text(word) for word in words]


def _short(value: float | None, u: float | None) -> str:
    return with_uncertainty(value, u, "").replace("not resolved (U = ", "n. r. (")


def _place(reading: Reading) -> str:
    worst = at_worst(reading)
    return f"tooth {worst.tooth} {worst.side}" if worst else ""
