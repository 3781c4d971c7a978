"""Tables of profiles, of the gap against theory, and of sizes to gauge."""

from cogloupe.reading.models import SIDES, ChordSize, PerSide, Reading, SizeAround
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.report.reading_tables import cells, length_cell, numbered_row
from cogloupe.report.tables import Cell, Column, Row, Table, figure, spoken, symbol, words
from cogloupe.wording.numbers import (
    NOT_SEEN,
    expanded,
    length,
    rounded,
    with_uncertainty,
    with_unit,
)

_PROFILE_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("profile_total_um", "F_α", "µm"),
    ("profile_form_um", "f_fα", "µm"),
    ("profile_slope_um", "f_Hα", "µm"),
    ("pressure_angle_deg", "α", "°"),
)
_SIDE_FIGURES = (
    ("total profile deviation, mean of the teeth", "F_α", "profile_total_mean_um", "µm", None),
    ("profile form deviation, mean of the teeth", "f_fα", "profile_form_mean_um", "µm", None),
    ("profile slope deviation, mean of the teeth", "f_Hα", "profile_slope_mean_um", "µm",
     "profile_slope_spread_um"),
    ("pressure angle fitted, mean of the teeth", "α", "pressure_angle_side_mean_deg", "°",
     "pressure_angle_spread_deg"),
)  # fmt: skip
_MEAN_FIGURES = (
    ("of the mean flank: total", "F_α", "total_um"),
    ("of the mean flank: form", "f_fα", "form_um"),
)
_SHAPE_FIGURES = (
    ("width where the flanks meet the tips", "tip_width_mm", "tip_diameter_mm"),
    ("width on the measuring circle", "width_mm", "measuring"),
    ("width on the form circle", "form_width_mm", "form_diameter_mm"),
    ("width near the floor", "near_floor_width_mm", "near_floor_diameter_mm"),
    ("width of the floor", "floor_width_mm", ""),
    ("fillet radius, mean of both", "fillet_radius_mm", ""),
    ("depth, tip to floor", "depth_mm", ""),
)


def profile_table(reading: Reading) -> Table:
    """Profile figures of both flank sides; without rows where the reading has no profile."""
    figures = *spoken("figure"), Column(head="symbol"), *spoken("left flanks", "right flanks")
    return Table(title="Profile", columns=figures, rows=tuple(_profile_rows(reading)))


def _profile_rows(reading: Reading) -> list[Row]:
    if reading.profile is None or reading.summary.profile_total_mean_um is None:
        return []
    rows = [_side_row(reading, *item) for item in _SIDE_FIGURES]
    for name, sign, field in _MEAN_FIGURES:
        found, u = getattr(reading.profile, field), getattr(reading.profile, f"u_{field}")
        sides = [words(_sided(found, u, side, "µm")) for side in SIDES]
        rows.append(Row(cells=(words(name), symbol(sign), *sides)))
    return [row for row in rows if {cell.text for cell in row.cells[2:]} != {NOT_SEEN}]


def _side_row(
    reading: Reading, name: str, sign: str, field: str, unit: str, spread: str | None
) -> Row:
    summary = reading.summary
    found, u = getattr(summary, field), getattr(summary, f"u_{field}")
    spreads = getattr(summary, spread) if spread else None
    texts = []
    for side in SIDES:
        text = _sided(found, u, side, unit)
        off = getattr(spreads, side) if spreads is not None else None
        if off is not None:
            text += f"; from tooth to tooth {with_unit(rounded(off, off / 2)[0], unit)}"
        texts.append(text)
    return Row(cells=(words(name), symbol(sign), *map(words, texts)))


def _sided(found: PerSide | None, u: PerSide | None, side: str, unit: str) -> str:
    if found is None or u is None:
        return NOT_SEEN
    return with_uncertainty(getattr(found, side), getattr(u, side), unit)


def flank_table(reading: Reading) -> Table:
    """Profile figures flank by flank."""
    names = [name for name, _, _ in _PROFILE_COLUMNS]
    figures = (
        Column(head="", symbol=sign, unit=unit, group=f"{side} flank")
        for side in SIDES for _, sign, unit in _PROFILE_COLUMNS
    )  # fmt: skip
    columns = (Column(head="tooth"), *figures)
    title = "Profile flank by flank"
    rows = tuple(
        numbered_row(t.number, *cells(t.left, names, "slope"), *cells(t.right, names, "slope"))
        for t in reading.teeth
    )
    return Table(title=title, columns=columns, rows=rows, sortable=True, many=True)


def gap_shape_table(reading: Reading) -> Table:
    """The mean gap against the theoretical one.

    Widths, fillet and depth; flatness and lean, which are nothing in theory, last. Without rows
    where there is no theoretical gap.
    """
    figures = (Column(head=head) for head in ("measured ± U", "theory", "difference ± U"))
    columns = *spoken("figure", "where"), *figures
    title = "The mean gap against the theoretical one"
    return Table(title=title, columns=columns, rows=tuple(_gap_shape_rows(reading)))


def _gap_shape_rows(reading: Reading) -> list[Row]:
    mean, theory = reading.gap_mean, reading.gap_theory
    if mean is None or theory is None:
        return []
    rows = [
        _shape_row(
            name, _place(reading, place), getattr(mean, field), getattr(mean, f"u_{field}"),
            getattr(theory, field),
        )
        for name, field, place in _SHAPE_FIGURES
    ]  # fmt: skip
    flat = figure(mean.floor_flatness_um, mean.u_floor_flatness_um, "µm")
    lean = figure(mean.lean_deg, mean.u_lean_deg, "°", signed=True)
    for name, where, seen, theoretical in (
        ("unevenness of the floor", "highest less lowest", flat, "0 µm"),
        ("lean of the gap's middle line", "clockwise outwards", lean, "0°"),
    ):
        rows.append(Row(cells=(words(name), words(where), seen, words(theoretical), words(""))))
    return rows


def _place(reading: Reading, place: str) -> str:
    """Circle that a width was taken on."""
    if not place:
        return ""
    if place == "measuring":
        return f"⌀ {reading.gear.measuring_diameter_mm:.4g} mm"
    return f"⌀ {getattr(reading.gap_theory, place):.4g} mm"


def _shape_row(
    name: str, place: str, value: float | None, u: float | None, theory: float | None
) -> Row:
    """A row in mm, its difference in µm."""
    difference = words("")
    if value is not None and theory is not None:
        um = None if u is None else 1e3 * u
        difference = figure(1e3 * (value - theory), um, "µm", signed=True)
    wanted = words("")
    if theory is not None:
        wanted = Cell(text=f"{theory:.4f} mm", value=theory, u=0.0, unit="mm")
    return Row(cells=(words(name), words(place), figure(value, u, "mm"), wanted, difference))


def size_table(reading: Reading) -> Table:
    """Sizes to gauge: spans, size over pins, chordal thickness, base pitches.

    Without rows where there are none.
    """
    heads = ("mean ± U", "least to most / mm", "range ± U", "nominal")
    columns = *spoken("size"), *(Column(head=head) for head in heads)
    rows = tuple(_size_rows(reading))
    note = reading.sizes.pins_note if reading.sizes else ""
    return Table(title="Sizes to put a micrometer to", columns=columns, rows=rows, note=note)


def _size_rows(reading: Reading) -> list[Row]:
    sizes, inches = reading.sizes, stated_in_dp(reading.gear)
    if sizes is None:
        return []
    named: list[tuple[str, SizeAround | None]] = [
        (f"span over {span.teeth_spanned} teeth", span) for span in sizes.spans
    ]
    if sizes.over_pins is not None:
        pin = length(sizes.over_pins.pin_diameter_mm, 0.0, inches=False)
        named.append((f"over two pins of {pin}", sizes.over_pins))
    named.append((_chord_name(sizes.chord), sizes.chord))
    named.append(("base pitch, left flanks", sizes.base_pitch_left))
    named.append(("base pitch, right flanks", sizes.base_pitch_right))
    return [_size_row(name, size, inches) for name, size in named if size is not None]


def _chord_name(chord: ChordSize | None) -> str:
    if chord is None or chord.height_mm is None:
        return "chordal thickness"
    height = with_uncertainty(chord.height_mm, chord.u_height_mm, "mm")
    return f"chordal thickness, {height} below the tip"


def _size_row(name: str, size: SizeAround, inches: bool) -> Row:
    around = ""
    if size.least_mm is not None and size.most_mm is not None:
        low, _ = rounded(size.least_mm, size.u_mean_mm)
        high, _ = rounded(size.most_mm, size.u_mean_mm)
        around = f"{low} to {high}"
    places = 4 if (expanded(size.u_mean_mm) or 0) > 2e-4 else 5
    nominal = Cell(text=f"{size.nominal_mm:.{places}f} mm", value=size.nominal_mm, u=0.0, unit="mm")
    mean = length_cell(size.mean_mm, size.u_mean_mm, inches)
    spread = figure(size.range_um, size.u_range_um, "µm")
    return Row(cells=(words(name), mean, words(around), spread, nominal))
