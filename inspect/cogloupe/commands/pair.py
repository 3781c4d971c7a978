"""The command that runs two measured gears together, and tells where to drill."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cogloupe.commands.console import out_console, say, write_file, write_page
from cogloupe.commands.options import option
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import parse_length

if TYPE_CHECKING:  # its own imports are slow, and not needed to show the help
    from cogloupe.pairing.layout import Layout
    from cogloupe.pairing.pair import Asked, Pairing
    from cogloupe.pairing.running_gear import RunningGear


def pair(
    readings: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Readings (reading.json, or its folder) of two gears; or of one, with "
            "--mate-teeth.",
            metavar="READING",
        ),
    ] = None,
    centre_distance: Annotated[
        str | None, option("How far apart the holes are, or are to be.", "LENGTH")
    ] = None,
    backlash: Annotated[
        str | None,
        option(
            "Backlash wanted at the tightest spot, along the pitch circles; 0.04 modules "
            "without it.",
            "LENGTH",
        ),
    ] = None,
    mate_teeth: Annotated[
        int | None, option("Run one reading with a perfect gear of so many teeth.", "N")
    ] = None,
    mate_profile_shift: Annotated[
        float, option("That gear's profile shift, in modules.", "X")
    ] = 0.0,
    start: Annotated[
        str | None,
        option(
            "Tooth of the first gear and gap of the second that are put together, as 7,12; "
            "the best ones without it.",
            "I,J",
        ),
    ] = None,
    edges: Annotated[
        str | None,
        option(
            "Distances of the first hole from the left and the lower edge, as 12mm,15mm.", "X,Y"
        ),
    ] = None,
    train: Annotated[
        Path | None, option("Several gears in a row, from a file (train.toml).", "FILE")
    ] = None,
    out: Annotated[
        Path | None,
        option(
            "Folder for the page with the gears in mesh and for the drilling drawing "
            "(PDF, SVG, DXF).",
            "DIR",
        ),
    ] = None,
) -> None:
    """Tell how two measured gears run together, and where to drill the holes for them."""
    from cogloupe.pairing.layout import lay_out_pair
    from cogloupe.pairing.pair import pair_gears

    if train is not None:
        beside = {
            "readings": readings, "--centre-distance": centre_distance, "--backlash": backlash,
            "--mate-teeth": mate_teeth, "--start": start, "--edges": edges,
        }  # fmt: skip
        _run_train(train, [name for name, value in beside.items() if value], out)
        return
    gears = _gears(readings or [], mate_teeth, mate_profile_shift)
    pairing = pair_gears(*gears, _asked(centre_distance, backlash, start))
    places = _numbers(edges, "--edges")
    x, y = map(parse_length, places) if places else (None, None)
    layout = lay_out_pair(pairing, None if x is None or y is None else (x, y))
    _show(pairing)
    _write(layout, out)


def _gears(
    readings: list[Path], mate_teeth: int | None, shift: float
) -> tuple["RunningGear", "RunningGear"]:
    from cogloupe.pairing.mates import theoretical_mate

    wanted = 2 if mate_teeth is None else 1
    if len(readings) != wanted:
        raise UseError(f"{len(readings)} readings were given: give two, or one with --mate-teeth")
    first = _load(readings[0])
    if mate_teeth is not None:
        return first, theoretical_mate(first, mate_teeth, shift)
    return first, _load(readings[1])


def _load(path: Path) -> "RunningGear":
    from cogloupe.pairing.from_reading import gear_from_reading
    from cogloupe.reading.files import load_reading

    return gear_from_reading(load_reading(path / "reading.json" if path.is_dir() else path))


def _asked(distance: str | None, backlash: str | None, start: str | None) -> "Asked":
    from cogloupe.pairing.pair import Asked

    if distance is not None and backlash is not None:
        raise UseError("give either --centre-distance or --backlash: one follows from the other")
    return Asked(
        distance_mm=None if distance is None else parse_length(distance),
        backlash_mm=None if backlash is None else parse_length(backlash),
        start=None if start is None else _start(start),
    )


def _start(text: str) -> tuple[int, int]:
    parts = _numbers(text, "--start")
    assert parts is not None  # there is a text
    if not all(part.isdigit() for part in parts):
        raise UseError(f"--start {text} is not a tooth and a gap: write their numbers, as 7,12")
    return int(parts[0]), int(parts[1])


def _numbers(text: str | None, option: str) -> tuple[str, str] | None:
    """Two values written with a comma between them."""
    if text is None:
        return None
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2:
        raise UseError(f"{option} {text} is not a pair: write two values with a comma, as 7,12")
    return parts[0], parts[1]


def _run_train(file: Path, beside: list[str], out: Path | None) -> None:
    """Run and lay out a whole train; readings are sought beside its file."""
    from cogloupe.pairing.layout import lay_out_train
    from cogloupe.pairing.mates import theoretical_mate
    from cogloupe.pairing.train import load_train
    from cogloupe.report.pair_text import minutes

    if beside:
        raise UseError(f"{', '.join(beside)} beside --train: say that in {file}")
    told = load_train(file)
    gears: list[RunningGear] = []
    for gear in told.gear:
        if gear.reading is not None:
            gears.append(_load(file.parent / gear.reading))
        else:
            mate = theoretical_mate(gears[-1], gear.mate_teeth or 0, gear.mate_profile_shift)
            gears.append(mate)
    layout = lay_out_train(told, gears)
    for _, _, pairing in layout.pairs:
        _show(pairing)
    say(f"At the last gear the errors add up to {minutes(layout.error_at_last)} at most.")
    _write(layout, out)


def _show(pairing: "Pairing") -> None:
    """Tables and sentences for the terminal, the verdict last, where it is seen."""
    from cogloupe.report.console_tables import console_table, sentence_table
    from cogloupe.report.pair_tables import pair_tables
    from cogloupe.report.pair_text import CAUTIONS, findings, headline, next_step, notes, pair_title

    for table in pair_tables(pairing):
        out_console.print(console_table(table))
    out_console.print(sentence_table("At the drill, and before they run", CAUTIONS))
    for sentence in notes(pairing):
        say(f"Look at this: {sentence}")
    say("")
    say(f"{pair_title(pairing)}: {headline(pairing)}")
    say(f"Next: {next_step(pairing)}")
    for sentence in findings(pairing):
        say(sentence)


def _write(layout: "Layout", out: Path | None) -> None:
    """Write a page a pair, and the drawing; without a folder, tell the holes."""
    from cogloupe.report.console_tables import console_table
    from cogloupe.report.drilling import DRAWINGS
    from cogloupe.report.pair_page import pair_html
    from cogloupe.report.pair_tables import drilling_table
    from cogloupe.report.write import write_shared

    out_console.print(console_table(drilling_table(layout)))
    if out is None:
        say("Add --out DIR for the page with the gears in mesh and the drilling drawing.")
        return
    try:
        out.mkdir(parents=True, exist_ok=True)
        write_shared(out)
    except OSError as error:
        raise UseError(f"{out} cannot be written ({error.strerror}): choose another") from error
    for name, draw in DRAWINGS.items():
        write_file(out / name, draw(layout))
    several = len(layout.pairs) > 1
    for number, (_, _, pairing) in enumerate(layout.pairs, 1):
        page = out / (f"pair-{number}.html" if several else "pair.html")
        write_page(page, pair_html(pairing, layout, number - 1, {name: name for name in DRAWINGS}))
