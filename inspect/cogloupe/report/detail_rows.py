"""Tables of profiles, of the gap against theory, and of sizes to gauge: each row as text."""

from dataclasses import dataclass

from cogloupe.reading.models import SIDES, ChordSize, PerSide, Reading, SizeAround, Tooth
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.report.rows import Cell, cells
from cogloupe.wording.numbers import (
    NOT_SEEN,
    expanded,
    length,
    rounded,
    with_uncertainty,
    with_unit,
)

PROFILE_COLUMNS: tuple[tuple[str, str], ...] = (
    ("profile_total_um", "F_α"),
    ("profile_form_um", "f_fα"),
    ("profile_slope_um", "f_Hα"),
    ("pressure_angle_deg", "α / °"),
)


_SIDE_FIGURES = (
    ("total profile deviation, mean of the teeth", "F_α", "profile_total_mean_um", "µm", None),
    ("profile form deviation, mean of the teeth", "f_fα", "profile_form_mean_um", "µm", None),
    ("profile slope deviation, mean of the teeth", "f_Hα", "profile_slope_mean_um", "µm",
     "profile_slope_spread_um"),
    ("pressure angle fitted, mean of the teeth", "α", "pressure_angle_side_mean_deg", "°",
     "pressure_angle_spread_deg"),
)  # fmt: skip
_SHAPE_FIGURES = (
    ("width where the flanks meet the tips", "tip_width_mm", "tip_diameter_mm"),
    ("width on the measuring circle", "width_mm", "measuring"),
    ("width on the form circle", "form_width_mm", "form_diameter_mm"),
    ("width near the floor", "near_floor_width_mm", "near_floor_diameter_mm"),
    ("width of the floor", "floor_width_mm", ""),
    ("fillet radius, mean of both", "fillet_radius_mm", ""),
    ("depth, tip to floor", "depth_mm", ""),
)


@dataclass(frozen=True)
class SideRow:
    """One figure of both flank sides: mean over the teeth ± U and spread, left and right."""

    name: str
    symbol: str
    left: str
    right: str


@dataclass(frozen=True)
class ShapeRow:
    """One figure of the mean gap beside the theoretical gap's."""

    name: str
    place: str
    measured: str
    theory: str
    difference: str


@dataclass(frozen=True)
class SizeRow:
    """One size to gauge: mean ± U, smallest and largest round the gear, and the stated gear's."""

    name: str
    mean: str
    around: str
    spread: str
    nominal: str


def profile_rows(reading: Reading) -> list[SideRow]:
    """Rows of the profile table.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of SideRow
        Empty where the reading has no profile.
    """
    if reading.profile is None or reading.summary.profile_total_mean_um is None:
        return []
    rows = [_side_row(reading, *figure) for figure in _SIDE_FIGURES]
    for name, symbol, field in (
        ("of the mean flank: total", "F_α", "total_um"),
        ("of the mean flank: form", "f_fα", "form_um"),
    ):
        found, u = getattr(reading.profile, field), getattr(reading.profile, f"u_{field}")
        left, right = (_sided(found, u, side, "µm") for side in SIDES)
        rows.append(SideRow(name, symbol, left, right))
    return [row for row in rows if (row.left, row.right) != (NOT_SEEN, NOT_SEEN)]


def _side_row(
    reading: Reading, name: str, symbol: str, field: str, unit: str, spread: str | None
) -> SideRow:
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
    return SideRow(name, symbol, *texts)


def _sided(found: PerSide | None, u: PerSide | None, side: str, unit: str) -> str:
    if found is None or u is None:
        return NOT_SEEN
    return with_uncertainty(getattr(found, side), getattr(u, side), unit)


def flank_profiles(reading: Reading) -> list[tuple[int, tuple[Cell, ...]]]:
    """Profile figures flank by flank: `PROFILE_COLUMNS` of the left flank, then of the right.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of (int, tuple of Cell)
        Number of the tooth and its figures.
    """
    return [(tooth.number, _profile_cells(tooth)) for tooth in reading.teeth]


def _profile_cells(tooth: Tooth) -> tuple[Cell, ...]:
    names = [name for name, _ in PROFILE_COLUMNS]
    return (*cells(tooth.left, names, "slope"), *cells(tooth.right, names, "slope"))


def gap_shape_rows(reading: Reading) -> list[ShapeRow]:
    """Rows of the table that holds the mean gap against the theoretical one.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of ShapeRow
        Widths, fillet and depth; flatness and lean, which are nothing in theory, last. Empty
        where there is no theoretical gap.
    """
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
    flat = with_uncertainty(mean.floor_flatness_um, mean.u_floor_flatness_um, "µm")
    lean = with_uncertainty(mean.lean_deg, mean.u_lean_deg, "°", signed=True)
    rows.append(ShapeRow("unevenness of the floor", "highest less lowest", flat, "0 µm", ""))
    rows.append(ShapeRow("lean of the gap's middle line", "clockwise outwards", lean, "0°", ""))
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
) -> ShapeRow:
    """A row in mm, its difference in µm."""
    measured = with_uncertainty(value, u, "mm")
    wanted = "" if theory is None else f"{theory:.4f} mm"
    if value is None or theory is None:
        return ShapeRow(name, place, measured, wanted, "")
    um = None if u is None else 1e3 * u
    difference = with_uncertainty(1e3 * (value - theory), um, "µm", signed=True)
    return ShapeRow(name, place, measured, wanted, difference)


def size_rows(reading: Reading) -> list[SizeRow]:
    """Rows of the table of sizes to gauge.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of SizeRow
        Spans, size over pins, chordal thickness, base pitches; empty where there are none.
    """
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


def _size_row(name: str, size: SizeAround, inches: bool) -> SizeRow:
    around = ""
    if size.least_mm is not None and size.most_mm is not None:
        low, _ = rounded(size.least_mm, size.u_mean_mm)
        high, _ = rounded(size.most_mm, size.u_mean_mm)
        around = f"{low} to {high}"
    spread = with_uncertainty(size.range_um, size.u_range_um, "µm")
    mean = length(size.mean_mm, size.u_mean_mm, inches)
    places = 4 if (expanded(size.u_mean_mm) or 0) > 2e-4 else 5
    return SizeRow(name, mean, around, spread, f"{size.nominal_mm:.{places}f}")
