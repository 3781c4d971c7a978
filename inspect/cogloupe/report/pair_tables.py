"""The figures of a pair as tables, for page and terminal."""

from collections.abc import Iterator
from math import degrees

from cogloupe.pairing.backlash import Backlash
from cogloupe.pairing.clearance import Least
from cogloupe.pairing.known import Known
from cogloupe.pairing.layout import Layout
from cogloupe.pairing.pair import Pairing
from cogloupe.report.drilling import hole_rows
from cogloupe.report.pair_text import WAYS, spot_text
from cogloupe.report.tables import Cell, Column, Row, Table, figure, spoken, words
from cogloupe_calibration.units import MM_PER_INCH


def pair_tables(pairing: Pairing) -> list[Table]:
    """All figures of a pair."""
    return [
        backlash_table(pairing.backlash),
        running_table(pairing),
        rolling_table(pairing),
        room_table(pairing),
        tight_table(pairing),
    ]


def backlash_table(backlash: Backlash) -> Table:
    """Backlash over the period: along the circle, square to the flanks, and as angles."""
    ends = {"least": backlash.least, "mean": backlash.mean, "most": backlash.most}
    return Table(
        title="Backlash at this centre distance, over all mesh positions",
        columns=(
            Column(head="backlash", say=True),
            Column(head="along the pitch circles", unit="mm"),
            Column(head="square to the flanks", unit="mm"),
            Column(head="turn of the first gear", unit="′"),
            Column(head="turn of the second", unit="′"),
        ),
        rows=tuple(_backlash_row(name, known, backlash) for name, known in ends.items()),
    )


def _backlash_row(name: str, known: Known, backlash: Backlash) -> Row:
    square = backlash.square
    turns = [60 * degrees(1 / radius) for radius in backlash.per_radian]
    return _row(
        name,
        figure(known.value, known.u, "mm", bare=True),
        figure(known.value * square, known.u * square, "mm", bare=True),
        *(figure(known.value * turn, known.u * turn, "′", bare=True) for turn in turns),
    )


def _row(name: str, *cells: Cell, kind: str = "") -> Row:
    return Row(cells=(words(name), *cells), kind=kind)


def running_table(pairing: Pairing) -> Table:
    """Single-flank running both ways round, and what it is made of."""
    ways = [pairing.ways[side] for side in (1, 0)]
    per_um = 60 * degrees(1e-3 / pairing.mesh.b.wheel.reference_radius)

    def known(values: list[Known]) -> Iterator[Cell]:
        return (figure(one.value, one.u, "µm", bare=True) for one in values)

    parts = [way.parts for way in ways]
    rows = [
        _row("total", *known([way.total for way in ways])),
        _row("tooth to tooth", *known([way.tooth for way in ways])),
        _row("total as a turn of the second gear", *(
            figure(w.total.value * per_um, w.total.u * per_um, "′") for w in ways)),
        _row("of it run-out of the first", *known([p.run_out_a for p in parts])),
        _row("run-out of the second", *known([p.run_out_b for p in parts])),
        _row("again with every tooth", *known([p.tooth for p in parts])),
        _row("the rest", *known([p.rest for p in parts])),
    ]  # fmt: skip
    first, second = (WAYS[side] for side in (1, 0))
    return Table(
        title="How evenly it runs: ahead and behind over the whole period",
        columns=(
            Column(head="single-flank deviation", say=True),
            Column(head=f"first gear {first}", unit="µm"),
            Column(head=f"first gear {second}", unit="µm"),
        ),
        rows=tuple(rows),
        note="Arcs on the second gear's reference circle, ranges from most ahead to most behind.",
    )


def rolling_table(pairing: Pairing) -> Table:
    """Double-flank rolling in tight mesh."""
    double = pairing.double
    rows = (
        ("mean centre distance in tight mesh", figure(double.mean.value, double.mean.u, "mm")),
        ("total rise and fall", figure(double.total.value, double.total.u, "µm")),
        ("tooth to tooth", figure(double.tooth.value, double.tooth.u, "µm")),
    )
    return Table(
        title="On a spring-loaded rolling fixture",
        columns=(*spoken("centre distance"), Column(head="double-flank")),
        rows=tuple(_row(name, cell) for name, cell in rows),
    )


def room_table(pairing: Pairing) -> Table:
    """Room at tips and fillets, and contact ratio, with the teeth that have least."""
    room, a, b = pairing.room, pairing.mesh.a.name, pairing.mesh.b.name
    rows = (
        _room_row(f"tips of {a} to floors of {b}", room.tips_a, "mm", "tooth {}, gap {}"),
        _room_row(f"tips of {b} to floors of {a}", room.tips_b, "mm", "gap {}, tooth {}"),
        _room_row(f"tips of {b} above the fillets of {a}", room.fillet_a, "mm", "gap {}, tooth {}"),
        _room_row(f"tips of {a} above the fillets of {b}", room.fillet_b, "mm", "tooth {}, gap {}"),
        _room_row("contact ratio", room.ratio, "", "tooth {}, tooth {}"),
        _row("contact ratio, mean", words(f"{room.ratio_mean:.3f}"), words("")),
    )
    return Table(
        title="Room, and pairs of teeth in contact",
        columns=(*spoken(""), Column(head="least"), *spoken("where")),
        rows=rows,
        note="Room above the fillets is a length of flank; below zero the tips run into them.",
    )


def _room_row(name: str, least: Least, unit: str, where: str) -> Row:
    place = where.format(least.number_a, least.number_b)
    size = figure(least.value, least.u, unit, signed=unit == "mm")
    return _row(name, size, words(place))


def tight_table(pairing: Pairing) -> Table:
    """The tightest spots."""
    backlash = pairing.backlash
    rows = [
        _row(
            spot_text(pairing, spot), words(f"{spot.backlash:+.4f}".replace("-", "−")),
            kind="worst" if spot.backlash < 0 else "",
        )
        for spot in backlash.tightest
    ]  # fmt: skip
    return Table(
        title="The tightest spots",
        columns=(*spoken("where"), Column(head="backlash", unit="mm")),
        rows=tuple(rows),
        note=f"U of each {2 * backlash.least.u:.2g} mm, most of it alike for all of them.",
    )


def drilling_table(layout: Layout) -> Table:
    """Coordinates of the holes from the edges, and moves of the dials."""

    def length(value: float | None) -> Cell:
        return words("–" if value is None else f"{value:.3f} mm = {value / MM_PER_INCH:.4f} in")

    rows = [
        _row(str(row.hole.number), *map(length, row.lengths), words(row.gears))
        for row in hole_rows(layout)
    ]
    heads = ("hole", "x from the left edge", "y from the lower edge", "move x", "move y", "bore")
    columns = *(Column(head=head) for head in heads), *spoken("turns there")
    return Table(title="Holes", columns=columns, rows=tuple(rows))
