"""The teeth as rows for a spreadsheet: every figure rounded to what is known, with u and U = 2u.

Names carry their units at the end: ``left_single_pitch_um`` with ``left_u_single_pitch_um`` (k = 1)
and ``left_U_single_pitch_um`` (k = 2) behind it.
"""

import csv
import io
from collections.abc import Iterator

from cogloupe.reading.models import SIDES, Gap, Reading, Tooth
from cogloupe.wording.numbers import expanded, rounded
from cogloupe_calibration.file_model import FileModel

Value = float | int | str | None


def teeth_rows(reading: Reading) -> list[dict[str, Value]]:
    """The teeth, one row each with the gap that follows.

    By column name, in the columns' order; None is a figure that was not measured. A figure is
    rounded where the second digit of its U stands, u one digit further.
    """
    return [dict(_row(tooth, gap)) for tooth, gap in zip(reading.teeth, reading.gaps, strict=True)]


def teeth_csv(reading: Reading) -> str:
    """Write the teeth as comma-separated text.

    A header and z rows; an empty cell is a figure that was not measured.
    """
    out, rows = io.StringIO(), teeth_rows(reading)
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _row(tooth: Tooth, gap: Gap) -> Iterator[tuple[str, Value]]:
    yield "number", tooth.number
    yield "centre_deg", _plain(tooth.centre_deg)
    for side in SIDES:
        yield from _figures(getattr(tooth, side), f"{side}_")
    yield from _figures(tooth, "", {"number", "centre_deg", *SIDES})
    yield from _figures(gap, "gap_", {"number"})


def _figures(
    item: FileModel, prefix: str, without: set[str] | None = None
) -> Iterator[tuple[str, Value]]:
    """Every figure of a tooth, flank or gap, its u and U behind it."""
    fields = item.model_dump(exclude=without or set())
    for name, value in fields.items():
        if name.startswith("u_"):
            continue
        if isinstance(value, str) or f"u_{name}" not in fields:
            yield f"{prefix}{name}", value if isinstance(value, str) else _plain(value)
            continue
        u = fields[f"u_{name}"]
        yield f"{prefix}{name}", _known(value, u)
        yield f"{prefix}u_{name}", _known(u, u / 4 if u else None)
        yield f"{prefix}U_{name}", _known(expanded(u), u)


def _plain(value: float | None) -> float | None:
    """A figure without an uncertainty of its own, such as an angle that only tells where."""
    return None if value is None else round(value, 4)


def _known(value: float | None, u: float | None) -> float | None:
    """A figure rounded to what its uncertainty leaves."""
    if value is None:
        return None
    return float(rounded(value, u)[0].replace("−", "-"))
