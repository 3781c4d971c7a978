"""The tables of the page: what is in each row, as text."""

from collections.abc import Iterable
from dataclasses import dataclass

from cogloupe.reading.models import SIDES, PerSide, Reading, Summary, Tooth
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.report.wording import at_worst
from cogloupe.wording.numbers import NOT_SEEN, clock, length, resolved, rounded, with_uncertainty

_FLANK_COLUMNS = ("single_pitch_um", "cumulative_pitch_um", "profile_total_um")


@dataclass(frozen=True)
class Row:
    """One figure of the summary table.

    Attributes
    ----------
    name, symbol : str
        What it is called; its symbol, with the subscript after an underscore.
    text : str
        Figure and U.
    meaning : str
        What it tells, in a short phrase.
    """

    name: str
    symbol: str
    text: str
    meaning: str


@dataclass(frozen=True)
class Cell:
    """One cell of the tables tooth by tooth and gap by gap.

    Attributes
    ----------
    text : str
        Figure and U.
    value : float or None
        What the column is sorted by.
    faint : bool
        The figure is not resolved or not seen.
    """

    text: str
    value: float | None
    faint: bool


def cell(value: float | None, u: float | None, *, signed: bool = False) -> Cell:
    """Write a figure for a table whose column head names the unit.

    Parameters
    ----------
    value, u : float or None
        The figure and its standard uncertainty.
    signed : bool
        Write a plus before figures above zero.

    Returns
    -------
    Cell
    """
    text = with_uncertainty(value, u, "", signed=signed)
    return Cell(text, value, not resolved(value, u))


def cells(item: object, names: Iterable[str], signed: str) -> tuple[Cell, ...]:
    """Write figures of a tooth, flank or gap.

    Parameters
    ----------
    item : object
        What has them, each with its standard uncertainty.
    names : iterable of str
        Their fields.
    signed : str
        Those with this in their name get a plus above zero.

    Returns
    -------
    tuple of Cell
    """
    return tuple(
        cell(getattr(item, name), getattr(item, f"u_{name}"), signed=signed in name)
        for name in names
    )


_MICROMETRES: tuple[tuple[str, str, str, str], ...] = (
    ("largest single pitch deviation", "f_p", "single_pitch_max_um",
     "largest error from one tooth to the next"),
    ("total cumulative pitch deviation", "F_p", "cumulative_pitch_total_um",
     "how far the teeth stray over a whole turn"),
    ("runout", "F_r", "runout_um",
     "how far a pin seated in the gaps moves in and out over a turn"),
    ("eccentricity", "", "eccentricity_um", "how far the teeth lie off the bore's centre"),
)  # fmt: skip

_LENGTHS: tuple[tuple[str, str, str, str], ...] = (
    ("tooth thickness, mean", "s", "thickness_mean_mm", "arc on the measuring circle"),
    ("gap width, mean", "e", "gap_width_mean_mm", "arc on the measuring circle"),
    ("tip diameter, mean", "d_a", "tip_diameter_mean_mm", "outside diameter, from the tip lands"),
    ("root diameter, mean", "d_f", "root_diameter_mean_mm", "diameter at the floors of the gaps"),
    ("depth, mean", "h", "depth_mean_mm", "from tip to floor"),
)

_SIDED: tuple[tuple[str, str, str, str], ...] = (
    ("spacing spread", "", "spacing_spread_um", "standard deviation of the pitches"),
    ("spacing range", "", "spacing_range_um", "longest pitch less the shortest"),
    ("profile slope, mean", "f_Hα", "profile_slope_mean_um",
     "lean of the flanks against the theoretical one"),
)  # fmt: skip


def summary_rows(reading: Reading) -> list[Row]:
    """Rows of the summary table.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of Row
        Pitch and runout, sizes, shape; tolerance classes last, where there are any. Of forms other
        than the involute, only what there is to say.
    """
    rows = [
        *(_micrometre_row(reading.summary, *item) for item in _MICROMETRES),
        *_direction_rows(reading.summary),
        *(row for item in _SIDED for row in _sided_rows(reading.summary, *item)),
        *(_length_row(reading, *item) for item in _LENGTHS),
        *_shape_rows(reading.summary),
        *_size_rows(reading),
        *_class_rows(reading),
    ]
    plain = reading.gear.form == "involute"
    return [row for row in rows if plain or row.text != NOT_SEEN]


def _figure(summary: Summary, name: str) -> tuple[float | None, float | None]:
    return getattr(summary, name), getattr(summary, f"u_{name}")


def _micrometre_row(summary: Summary, label: str, symbol: str, name: str, meaning: str) -> Row:
    return Row(label, symbol, with_uncertainty(*_figure(summary, name), "µm"), meaning)


def _length_row(reading: Reading, label: str, symbol: str, name: str, meaning: str) -> Row:
    text = length(*_figure(reading.summary, name), stated_in_dp(reading.gear))
    return Row(label, symbol, text, meaning)


def _sided_rows(
    summary: Summary, label: str, symbol: str, name: str, meaning: str
) -> list[Row]:  # fmt: skip
    figures: PerSide = getattr(summary, name)
    limits: PerSide = getattr(summary, f"u_{name}")
    return [
        Row(
            f"{label}, {side} flanks",
            symbol,
            with_uncertainty(
                getattr(figures, side), getattr(limits, side), "µm", signed="slope" in name
            ),
            meaning,
        )
        for side in SIDES
    ]


def _direction_rows(summary: Summary) -> list[Row]:
    """Direction of the eccentricity, where the eccentricity itself is resolved."""
    angle, u = _figure(summary, "eccentricity_direction_deg")
    if angle is None or not resolved(summary.eccentricity_um, summary.u_eccentricity_um):
        return []
    number, limit = rounded(angle, u)
    text = f"{number}°" if limit is None else f"{number} ± {limit}°"
    return [Row("direction of eccentricity", "", text, f"towards {clock(angle)} on the picture")]


def _shape_rows(summary: Summary) -> list[Row]:
    ratio = with_uncertainty(*_figure(summary, "floor_ratio_mean"), "")
    angle = with_uncertainty(*_figure(summary, "pressure_angle_mean_deg"), "°")
    return [
        Row("floor ratio, mean", "", ratio, "1.00 is the generated gap; above: wide, flat floor"),
        Row("pressure angle, mean", "α", angle, "fitted to the flanks"),
    ]


def _size_rows(reading: Reading) -> list[Row]:
    datum, gear, inches = reading.datum, reading.gear, stated_in_dp(reading.gear)
    rows = []
    if datum.bore_diameter_mm is not None:
        bore = length(datum.bore_diameter_mm, datum.u_bore_diameter_mm, inches)
        rows.append(Row("bore diameter", "", bore, "circle fitted to the bore's edge"))
    if gear.module_seen_mm is not None:
        seen = with_uncertainty(gear.module_seen_mm, gear.u_module_seen_mm, "mm")
        rows.append(Row("module seen", "m", seen, "what the picture itself shows"))
    return rows


def _class_rows(reading: Reading) -> list[Row]:
    tolerance = reading.tolerance
    if tolerance is None:
        return []
    graded = (
        ("pitch", tolerance.pitch_class),
        ("cumulative pitch", tolerance.cumulative_class),
        ("profile", tolerance.profile_class),
        ("runout", tolerance.runout_class),
    )
    meaning = f"by {tolerance.standard}; a smaller class is a finer gear"
    return [
        Row(f"tolerance class, {name}", "", class_range(found), meaning)
        for name, found in graded
        if found is not None
    ]


def class_range(found: tuple[int, int]) -> str:
    """Write a tolerance class, or the range of classes that U straddles.

    Parameters
    ----------
    found : tuple of int
        Lowest and highest class.

    Returns
    -------
    str
    """
    low, high = found
    return str(low) if low == high else f"{low} to {high}"


@dataclass(frozen=True, kw_only=True)
class ToothRow:
    """One row of the table tooth by tooth, and whether it holds the largest error."""

    number: int
    left: tuple[Cell, ...]
    right: tuple[Cell, ...]
    thickness: Cell
    status: str
    worst: bool


def tooth_rows(reading: Reading) -> list[ToothRow]:
    """Rows of the table tooth by tooth.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of ToothRow
        For each flank: single pitch, cumulative pitch, total profile deviation, in µm.
    """
    worst = at_worst(reading)
    worst_tooth = worst.tooth if worst else 0
    return [
        ToothRow(
            number=tooth.number,
            left=cells(tooth.left, _FLANK_COLUMNS, "pitch"),
            right=cells(tooth.right, _FLANK_COLUMNS, "pitch"),
            thickness=cell(tooth.thickness_mm, tooth.u_thickness_mm),
            status=_status(tooth),
            worst=tooth.number == worst_tooth,
        )
        for tooth in reading.teeth
    ]


def _status(tooth: Tooth) -> str:
    """Empty where both flanks are fully measured."""
    words = {side: getattr(tooth, side).status.replace("_", " ") for side in SIDES}
    if words["left"] == words["right"]:
        return "" if words["left"] == "ok" else f"both {words['left']}"
    return ", ".join(f"{side} {word}" for side, word in words.items() if word != "ok")


GAP_COLUMNS: tuple[tuple[str, str], ...] = (
    ("width_mm", "width / mm"),
    ("tip_width_mm", "at the tips / mm"),
    ("form_width_mm", "on the form circle / mm"),
    ("near_floor_width_mm", "near the floor / mm"),
    ("floor_width_mm", "floor width / mm"),
    ("floor_flatness_um", "floor uneven by / µm"),
    ("fillet_radius_mm", "fillet radius / mm"),
    ("depth_mm", "depth / mm"),
    ("root_diameter_mm", "root diameter / mm"),
    ("lean_deg", "lean / °"),
    ("floor_ratio", "floor ratio"),
)


def gap_rows(reading: Reading) -> list[tuple[int, tuple[Cell, ...]]]:
    """Rows of the gap table, in the order of `GAP_COLUMNS`.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of (int, tuple of Cell)
        Number of the gap and its figures.
    """
    names = [name for name, _ in GAP_COLUMNS]
    return [(gap.number, cells(gap, names, "lean")) for gap in reading.gaps]
