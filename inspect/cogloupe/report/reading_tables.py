"""Tables of a reading: the gear in figures, tooth by tooth, gap by gap, the budget."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from cogloupe.reading.models import SIDES, Flank, PerSide, Reading, Summary, Tooth
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.report.reading_text import at_worst
from cogloupe.report.tables import Cell, Column, Row, Table, figure, spoken, symbol, words
from cogloupe.wording.numbers import NOT_SEEN, clock, length, resolved, rounded, with_uncertainty

_ARCS: tuple[tuple[str, str, str, str], ...] = (
    ("largest single pitch deviation", "f_p", "single_pitch_max_um",
     "largest error from one tooth to the next"),
    ("total cumulative pitch deviation", "F_p", "cumulative_pitch_total_um",
     "how far the teeth stray over a whole turn"),
)  # fmt: skip
_RADIAL: tuple[tuple[str, str, str, str], ...] = (
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
_SUMMARY_COLUMNS = (
    *spoken("figure"), Column(head="symbol"), Column(head="value ± U"), *spoken("what it means"),
)  # fmt: skip


def summary_table(reading: Reading) -> Table:
    """The gear in figures.

    Pitch and runout, sizes, shape; tolerance classes last, where there are any. Of forms other than
    the involute, only what there is to say.
    """
    rows = [
        *(_micrometre_row(reading.summary, *item, arc=True) for item in _ARCS),
        *(_micrometre_row(reading.summary, *item, arc=False) for item in _RADIAL),
        *_direction_rows(reading.summary),
        *(row for item in _SIDED for row in _sided_rows(reading.summary, *item)),
        *(_length_row(reading, *item) for item in _LENGTHS),
        *_shape_rows(reading.summary),
        *_size_rows(reading),
        *_class_rows(reading),
    ]
    plain = reading.gear.form == "involute"
    shown = tuple(row for row in rows if plain or row.cells[2].text != NOT_SEEN)
    note = reading.tolerance.note if reading.tolerance else ""
    return Table(title="The gear in figures", columns=_SUMMARY_COLUMNS, rows=shown, note=note)


def _summary_row(name: str, sign: str, value: Cell, meaning: str) -> Row:
    return Row(cells=(words(name), symbol(sign), value, words(meaning)))


def _figure_of(summary: Summary, name: str) -> tuple[float | None, float | None]:
    return getattr(summary, name), getattr(summary, f"u_{name}")


def _micrometre_row(
    summary: Summary, label: str, sign: str, name: str, meaning: str, *, arc: bool
) -> Row:
    return _summary_row(label, sign, figure(*_figure_of(summary, name), "µm", arc=arc), meaning)


def _length_row(reading: Reading, label: str, sign: str, name: str, meaning: str) -> Row:
    value, u = _figure_of(reading.summary, name)
    return _summary_row(label, sign, length_cell(value, u, stated_in_dp(reading.gear)), meaning)


def length_cell(value_mm: float | None, u_mm: float | None, inches: bool) -> Cell:
    """A cell with a length, inches or thou behind it where the gear is stated in them."""
    return Cell(text=length(value_mm, u_mm, inches), value=value_mm, u=u_mm, unit="mm")


def _sided_rows(summary: Summary, label: str, sign: str, name: str, meaning: str) -> list[Row]:
    figures: PerSide = getattr(summary, name)
    limits: PerSide = getattr(summary, f"u_{name}")
    slope, rows = "slope" in name, []
    for side in SIDES:
        value, u = getattr(figures, side), getattr(limits, side)
        cell = figure(value, u, "µm", signed=slope, arc=not slope)
        rows.append(_summary_row(f"{label}, {side} flanks", sign, cell, meaning))
    return rows


def _direction_rows(summary: Summary) -> list[Row]:
    """Direction of the eccentricity, where the eccentricity itself is resolved."""
    angle, u = _figure_of(summary, "eccentricity_direction_deg")
    if angle is None or not resolved(summary.eccentricity_um, summary.u_eccentricity_um):
        return []
    number, limit = rounded(angle, u)
    text = f"{number}°" if limit is None else f"{number} ± {limit}°"
    towards = f"towards {clock(angle)} on the picture"
    return [_summary_row("direction of eccentricity", "", words(text), towards)]


def _shape_rows(summary: Summary) -> list[Row]:
    ratio = figure(*_figure_of(summary, "floor_ratio_mean"))
    angle = figure(*_figure_of(summary, "pressure_angle_mean_deg"), "°")
    told = "1.00 is the generated gap; above: wide, flat floor"
    return [
        _summary_row("floor ratio, mean", "", ratio, told),
        _summary_row("pressure angle, mean", "α", angle, "fitted to the flanks"),
    ]


def _size_rows(reading: Reading) -> Iterator[Row]:
    datum, gear = reading.datum, reading.gear
    if datum.bore_diameter_mm is not None:
        bore = length_cell(datum.bore_diameter_mm, datum.u_bore_diameter_mm, stated_in_dp(gear))
        yield _summary_row("bore diameter", "", bore, "circle fitted to the bore's edge")
    if gear.module_seen_mm is not None:
        seen = words(with_uncertainty(gear.module_seen_mm, gear.u_module_seen_mm, "mm"))
        yield _summary_row("module seen", "m", seen, "what the picture itself shows")


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
        _summary_row(f"tolerance class, {name}", "", words(class_range(found)), meaning)
        for name, found in graded
        if found is not None
    ]


def class_range(found: tuple[int, int]) -> str:
    """Write a tolerance class, or the range of classes that U straddles."""
    low, high = found
    return str(low) if low == high else f"{low} to {high}"


def classes_reached(reading: Reading) -> str:
    """Tolerance class of pitch and runout together.

    A class, or the range that U leaves; empty where nothing was graded.
    """
    found = reading.tolerance
    if found is None:
        return ""
    graded = [
        g for g in (found.pitch_class, found.cumulative_class, found.runout_class) if g is not None
    ]
    return class_range((max(g[0] for g in graded), max(g[1] for g in graded))) if graded else ""


def cells(
    item: object, names: Iterable[str], signed: str = "\0", arc: str = "\0"
) -> Iterator[Cell]:
    """Bare figures of a tooth, flank or gap.

    Parameters
    ----------
    item : object
        What has them, each with its standard uncertainty.
    names : iterable of str
        Their fields, units at the end.
    signed, arc : str
        Those with this in their name get a plus above zero, or lie along the measuring circle.
    """
    for name in names:
        yield figure(
            getattr(item, name), getattr(item, f"u_{name}"), field_unit(name),
            signed=signed in name, arc=arc in name, bare=True,
        )  # fmt: skip


def field_unit(name: str) -> str:
    """Unit at the end of a field's name, as a person writes it; empty where there is none."""
    return {"um": "µm", "mm": "mm", "deg": "°"}.get(name.rpartition("_")[2], "")


_FLANK_COLUMNS = (
    ("single_pitch_um", "pitch before it", "f_pi", True),
    ("place_um", "place", "", True),
    ("profile_total_um", "profile", "F_α", False),
)


def tooth_table(reading: Reading) -> Table:
    """Tooth by tooth: for each flank its pitch, place and profile; thickness and remarks."""
    worst = at_worst(reading)
    flank_columns = [
        Column(
            head=head, symbol=sign, unit="µm", arc=arc, group=f"{side} flank",
            about_mean=name == "place_um",
        )
        for side in SIDES for name, head, sign, arc in _FLANK_COLUMNS
    ]  # fmt: skip
    columns = (
        Column(head="tooth"), *flank_columns, Column(head="thickness", unit="mm", arc=True),
        Column(head="remark", say=True),
    )  # fmt: skip
    rows = tuple(_tooth_row(tooth, worst.tooth if worst else 0) for tooth in reading.teeth)
    return Table(title="Tooth by tooth", columns=columns, rows=rows, sortable=True, many=True)


def _tooth_row(tooth: Tooth, worst: int) -> Row:
    remark = _status(tooth)
    if tooth.number == worst:
        remark += ("; " if remark else "") + "largest single pitch reading"
    flanks = [cell for side in SIDES for cell in _flank_cells(getattr(tooth, side))]
    thickness = cells(tooth, ["thickness_mm"], arc="thickness")
    kind = "worst" if tooth.number == worst else ""
    return numbered_row(tooth.number, *flanks, *thickness, words(remark), kind=kind)


def numbered_row(number: int, *cells: Cell, kind: str = "") -> Row:
    """A row of a tooth or gap."""
    first = Cell(text=str(number), value=number, u=0.0)
    return Row(cells=(first, *cells), tooth=number, kind=kind)


def _flank_cells(flank: Flank) -> tuple[Cell, Cell, Cell]:
    single, profile = cells(
        flank, ["single_pitch_um", "profile_total_um"], signed="pitch", arc="pitch"
    )
    counted = (flank.cumulative_pitch_um, flank.u_cumulative_pitch_um)
    place, u = flank.place_um, flank.u_place_um
    if place is None:  # readings written before there was such a field
        place, u = counted
    whole = figure(place, u, "µm", signed=True, arc=True, bare=True)
    return single, replace(whole, from_tooth_1=counted), profile


def _status(tooth: Tooth) -> str:
    """Empty where both flanks are fully measured."""
    states = {side: getattr(tooth, side).status.replace("_", " ") for side in SIDES}
    if states["left"] == states["right"]:
        return "" if states["left"] == "ok" else f"both {states['left']}"
    return ", ".join(f"{side} {word}" for side, word in states.items() if word != "ok")


_GAP_COLUMNS: tuple[tuple[str, str], ...] = (
    ("width_mm", "width"),
    ("tip_width_mm", "at the tips"),
    ("form_width_mm", "on the form circle"),
    ("near_floor_width_mm", "near the floor"),
    ("floor_width_mm", "floor width"),
    ("floor_flatness_um", "floor uneven by"),
    ("fillet_radius_mm", "fillet radius"),
    ("depth_mm", "depth"),
    ("root_diameter_mm", "root diameter"),
    ("lean_deg", "lean"),
    ("floor_ratio", "floor ratio"),
)


def gap_table(reading: Reading) -> Table:
    """Gap by gap."""
    names = [name for name, _ in _GAP_COLUMNS]
    figures = (Column(head=head, unit=field_unit(name)) for name, head in _GAP_COLUMNS)
    columns = (Column(head="gap"), *figures)
    rows = tuple(numbered_row(gap.number, *cells(gap, names, "lean")) for gap in reading.gaps)
    return Table(title="Gap by gap", columns=columns, rows=rows, sortable=True, many=True)
