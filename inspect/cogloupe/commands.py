"""The command line, and the only module that prints."""

import datetime
import sys
from collections.abc import Sequence
from contextlib import suppress
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from cogloupe.reading import Reading
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError
from cogloupe_calibration.units import parse_length

if TYPE_CHECKING:  # its own imports are slow, and not needed to show the help
    from cogloupe.folder import Outcome

READ, NOT_ALL_READ, WRONG_USE = 0, 1, 2
INTERRUPTED = 130  # 128 + SIGINT, as shells have it

app = typer.Typer(
    help="Reads photographs of small cut gears and tells, tooth by tooth, what is wrong.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
out_console = Console()
error_console = Console(stderr=True)


class EdgeChoice(StrEnum):
    """Edge of a bevel."""

    OUTER = "outer"
    INNER = "inner"


class TargetChoice(StrEnum):
    """Targets that can be printed."""

    CHECKERBOARD = "checkerboard"
    DOTS = "dots"
    RULED = "ruled"


class PaperChoice(StrEnum):
    """Paper sizes."""

    A4 = "A4"
    LETTER = "Letter"


class DatumChoice(StrEnum):
    """Axis that angles are measured about."""

    BORE = "bore"
    TEETH = "teeth"
    TIPS = "tips"


# The class above all errors of options and arguments, which the library names differently from
# version to version.
_CommandError: type[Exception] = typer.BadParameter.__mro__[1]

Teeth = Annotated[int | None, typer.Option(help="Number of teeth.", metavar="N")]
Module = Annotated[float | None, typer.Option(help="Module, mm.", metavar="MM")]
Dp = Annotated[float | None, typer.Option(help="Diametral pitch, teeth per inch.", metavar="N")]
Angle = Annotated[
    float | None, typer.Option(help="Pressure angle; 20 where nothing is said.", metavar="DEG")
]
Rack = Annotated[
    str | None,
    typer.Option(
        help="Basic rack by name: iso53-a to -d, dp-coarse-20, dp-fine-20, full-depth-20, "
        "full-depth-14.5. Without it the usual one for the pressure angle."
    ),
]
CalibrationFile = Annotated[
    Path | None, typer.Option("--calibration", help="Calibration file.", metavar="FILE")
]
ScaleOption = Annotated[
    float | None, typer.Option("--scale", help="Micrometres per pixel.", metavar="UM_PER_PX")
]
KnownTip = Annotated[
    str | None, typer.Option(help="Measured tip diameter, as 12.19mm.", metavar="LENGTH")
]
KnownBore = Annotated[str | None, typer.Option(help="Measured bore, as 4mm.", metavar="LENGTH")]
Datum = Annotated[
    DatumChoice | None,
    typer.Option(help="Axis of the angles; without it the bore where one is seen."),
]
MeasuringDiameter = Annotated[
    str | None,
    typer.Option(help="Measuring circle, if not the reference circle.", metavar="LENGTH"),
]
PinDiameter = Annotated[
    str | None, typer.Option(help="Pin for the runout, if not 1.728 modules.", metavar="LENGTH")
]
Edge = Annotated[
    EdgeChoice | None, typer.Option(help="Which edge of a bevel to measure; outer without it.")
]
Pick = Annotated[
    str | None,
    typer.Option(
        help="Which of several gears on a picture, counted from the left, or 'all'.", metavar="N"
    ),
]
Partial = Annotated[
    bool | None, typer.Option("--partial", help="Accept a gear cut off by the frame.")
]
Out = Annotated[Path, typer.Option(help="Folder the readings go to.", metavar="DIR")]

_SETTINGS = {
    "teeth": "teeth",
    "module": "module_mm",
    "dp": "dp",
    "pressure_angle": "pressure_angle_deg",
    "rack": "rack",
    "calibration": "calibration",
    "scale": "scale_um_per_px",
    "known_tip_diameter": "known_tip_diameter",
    "known_bore": "known_bore",
    "datum": "datum",
    "measuring_diameter": "measuring_diameter",
    "pin_diameter": "pin_diameter",
    "edge": "edge",
    "pick": "pick",
    "partial": "partial",
}
"""Options of inspect and watch, and the names the settings have for them."""


@app.command(short_help="Read photographs of gears and write their reports.")
def inspect(
    ctx: typer.Context,
    photos: Annotated[
        list[Path], typer.Argument(help="Photographs, or folders of them.", metavar="PHOTO")
    ],
    out: Out = Path("readings"),
    teeth: Teeth = None,
    module: Module = None,
    dp: Dp = None,
    pressure_angle: Angle = None,
    rack: Rack = None,
    calibration: CalibrationFile = None,
    scale: ScaleOption = None,
    known_tip_diameter: KnownTip = None,
    known_bore: KnownBore = None,
    datum: Datum = None,
    measuring_diameter: MeasuringDiameter = None,
    pin_diameter: PinDiameter = None,
    edge: Edge = None,
    pick: Pick = None,
    partial: Partial = None,
) -> None:
    """Read photographs; write reading.json, teeth.csv, overlay, chart and report for each.

    A gear.toml beside the photographs can say what the options say, so that pictures are only
    dropped in.
    """
    raise typer.Exit(_inspect_all(photos, out, _given(ctx)))


def _given(ctx: typer.Context) -> dict[str, object]:
    """Options of the gear and the picture, under the names the settings have for them."""
    values = {name: ctx.params[option] for option, name in _SETTINGS.items()}
    return {n: v.value if isinstance(v, StrEnum) else v for n, v in values.items()}


def _inspect_all(paths: list[Path], out: Path, given: dict[str, object]) -> int:
    from cogloupe.folder import check_writable, count_gears, find_photos, read_one, reading_folder
    from cogloupe.report.write import load_ahead
    from cogloupe.settings import make_settings, settings_for

    every = given["pick"] == "all"
    given["pick"] = None if every else given["pick"]
    make_settings(given)
    load_ahead()
    photos = find_photos(paths)
    check_writable(out)
    outcomes: list[Outcome] = []
    taken: set[Path] = set()
    quiet = len(photos) < 2 or not error_console.is_terminal
    with Progress(console=error_console, transient=True, disable=quiet) as progress:
        for photo in progress.track(photos, description="reading"):
            folder = reading_folder(photo, out, taken)
            taken.add(folder)
            gears = range(1, count_gears(photo) + 1) if every else ()
            for pick in gears or (given["pick"],):
                known = given | {"pick": pick}
                place = folder / f"gear-{pick}" if len(gears) > 1 else folder
                outcomes.append(read_one(photo, partial(settings_for, given=known), place))
                _tell_failure(outcomes)
    _show([outcome.reading for outcome in outcomes if outcome.reading is not None], out)
    return max((_status(outcome) for outcome in outcomes), default=READ)


def _status(outcome: "Outcome") -> int:
    if outcome.error is None:
        return READ
    return WRONG_USE if isinstance(outcome.error, UseError) else NOT_ALL_READ


def _tell_failure(outcomes: Sequence["Outcome"]) -> None:
    """Tell of the last outcome's failure; wrong use that concerns many photographs, only once."""
    *before, last = outcomes
    if isinstance(last.error, UseError):
        if str(last.error) not in {str(outcome.error) for outcome in before}:
            _complain(str(last.error))
    elif last.error is not None:
        _complain(_about(last.photo, last.error))


def _about(photo: Path, error: CogloupeError) -> str:
    """Put the photograph's name before a message that does not begin with it."""
    message = str(error)
    return message if message.startswith(photo.name) else f"{photo.name}: {message}"


def _complain(message: str) -> None:
    error_console.print(message, style="red", markup=False, highlight=False, soft_wrap=True)


def _say(message: str) -> None:
    out_console.print(message, markup=False, highlight=False, soft_wrap=True)


def _show(readings: list[Reading], out: Path) -> None:
    from cogloupe.report.table import summary_table

    if not readings:
        return
    out_console.print(summary_table(readings))
    for message, where in _notices(readings).items():
        _say(f"{_named(where)}: {message}")
    _say(f"Reports are in {out}: open report.html in each photograph's folder.")


def _notices(readings: list[Reading]) -> dict[str, list[str]]:
    """What is to be said, and of which photographs; what is the same for several is said once."""
    said: dict[str, list[str]] = {}
    for reading in readings:
        for notice in reading.warnings:
            teeth = f" (teeth {', '.join(map(str, notice.teeth))})" if notice.teeth else ""
            said.setdefault(notice.message + teeth, []).append(reading.photo.file)
    return said


def _named(photos: list[str]) -> str:
    few = len(photos) <= 3
    return ", ".join(photos) if few else f"{photos[0]} and {len(photos) - 1} others"


@app.command(short_help="Read each photograph dropped into a folder.")
def watch(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Folder that photographs are dropped into.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder the readings go to; without it FOLDER/readings.")
    ] = None,
    teeth: Teeth = None,
    module: Module = None,
    dp: Dp = None,
    pressure_angle: Angle = None,
    rack: Rack = None,
    calibration: CalibrationFile = None,
    scale: ScaleOption = None,
    known_tip_diameter: KnownTip = None,
    known_bore: KnownBore = None,
    datum: Datum = None,
    measuring_diameter: MeasuringDiameter = None,
    pin_diameter: PinDiameter = None,
    edge: Edge = None,
    pick: Pick = None,
    partial: Partial = None,
) -> None:
    """Read each photograph that is dropped into a folder, until stopped with Ctrl+C."""
    from cogloupe.folder import check_writable, watch_folder
    from cogloupe.settings import make_settings, settings_for

    given = _given(ctx)
    make_settings(given)
    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the folder pictures are dropped into")
    target = out or folder / "readings"
    check_writable(target)
    _say(f"Watching {folder}; readings go to {target}. Stop with Ctrl+C.")
    with suppress(KeyboardInterrupt):  # the way to end it
        for outcome in watch_folder(folder, target, lambda photo: settings_for(photo, given)):
            if outcome.reading is not None:
                _show([outcome.reading], target)
            elif outcome.error is not None:
                _complain(_about(outcome.photo, outcome.error))


@app.command(short_help="Find the scale of a set-up from a known size.")
def calibrate(
    photo: Annotated[
        Path | None, typer.Argument(help="Picture of something of known size.", metavar="PHOTO")
    ] = None,
    out: Annotated[Path, typer.Option(help="Calibration file to write.", metavar="FILE")] = Path(
        "calibration.json"
    ),
    scale: ScaleOption = None,
    known_tip_diameter: KnownTip = None,
    known_bore: KnownBore = None,
    known_pin: Annotated[
        str | None, typer.Option(help="Diameter of a gauge pin or disc.", metavar="LENGTH")
    ] = None,
    ruled_scale: Annotated[
        str | None,
        typer.Option(help="Distance between the lines of a ruled scale.", metavar="LENGTH"),
    ] = None,
    checkerboard: Annotated[
        str | None, typer.Option(help="Side of the squares of a checkerboard.", metavar="LENGTH")
    ] = None,
    dots: Annotated[
        str | None,
        typer.Option(help="Distance between the dots of a dot grid.", metavar="LENGTH"),
    ] = None,
    size: Annotated[
        str | None, typer.Option(help="Squares or dots across and down, as 9x7.", metavar="NxN")
    ] = None,
    print_target: Annotated[
        TargetChoice | None,
        typer.Option(help="Write a target to print (to --out, .pdf or .svg) instead."),
    ] = None,
    pitch: Annotated[
        str, typer.Option(help="Squares, dots or divisions of that target.", metavar="LENGTH")
    ] = "5mm",
    paper: Annotated[PaperChoice, typer.Option(help="Its paper.")] = PaperChoice.A4,
    uncertainty: Annotated[
        str | None,
        typer.Option(help="How well the known size is known (k = 2), as 0.01mm.", metavar="LENGTH"),
    ] = None,
    note: Annotated[str, typer.Option(help="Magnification or setting, for later.")] = "",
) -> None:
    """Make a calibration file from a picture of something of known size, or a stated scale.

    A checkerboard or dot grid also measures the lens and the lean. --print-target makes one.
    """
    from cogloupe.calibrating import CalibrationRequest, make_calibration, parse_size
    from cogloupe_calibration.calibration import save_calibration

    if print_target is not None:
        _print_target(print_target, parse_length(pitch), paper, parse_size(size), out)
        return
    request = CalibrationRequest(
        scale_um_per_px=scale,
        known_tip_diameter=known_tip_diameter,
        known_bore=known_bore,
        known_pin=known_pin,
        ruled_scale=ruled_scale,
        checkerboard=checkerboard,
        dots=dots,
        size=size,
        uncertainty=uncertainty,
        note=note,
    )
    try:
        calibration, grid = make_calibration(photo, request, datetime.date.today())
    except UseError:
        raise
    except CogloupeError as error:
        raise PhotoError(_about(photo, error) if photo else str(error)) from error
    save_calibration(calibration, out)
    if grid is not None:
        from cogloupe.report.calibration_picture import grid_picture
        from cogloupe.report.charts import save_png

        save_png(grid_picture(grid), out.with_suffix(".png"))
        _say(f"Its residuals are drawn in {out.with_suffix('.png')}.")
    um, u = 1000 * calibration.mm_per_px, 2000 * calibration.u_mm_per_px
    _say(f"{um:.5g} ± {u:.2g} µm per pixel (k = 2), {calibration.method.replace('_', ' ')}")
    _say(f"Verdict: {calibration.verdict}" + "".join(f"; {r}" for r in calibration.reasons))
    _say(f"Written to {out}. Use it with: cogloupe inspect PHOTO --calibration {out}")


def _print_target(
    kind: TargetChoice,
    pitch_mm: float,
    paper: PaperChoice,
    size: tuple[int, int] | None,
    out: Path,
) -> None:
    from cogloupe_calibration.targets import make_target
    from cogloupe_calibration.vector_page import page_pdf, page_svg

    page = make_target(kind.value, pitch_mm, paper.value, size)
    path = out if out.suffix.lower() in (".pdf", ".svg") else Path(f"{kind.value}.pdf")
    data = page_svg(page).encode() if path.suffix.lower() == ".svg" else page_pdf(page)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error
    _say(f"Written to {path}. Print it without scaling, and check its length with a caliper.")


@app.command(short_help="Work out the figures needed before a gear is cut.")
def plan(
    ctx: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(help="Plan file (TOML) that says what the options say.", metavar="PLAN"),
    ] = None,
    machine: Annotated[
        Path | None,
        typer.Option(help="Machine file; without it nothing is told of indexing.", metavar="FILE"),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Page to write (HTML), to print and take along.", metavar="FILE"),
    ] = None,
    teeth: Teeth = None,
    module: Module = None,
    dp: Dp = None,
    pressure_angle: Angle = None,
    rack: Rack = None,
    profile_shift: Annotated[
        float | None, typer.Option(help="Profile shift, in modules.", metavar="X")
    ] = None,
    blank_diameter: Annotated[
        str | None, typer.Option(help="Blank there is, if not the usual one.", metavar="LENGTH")
    ] = None,
    mate_teeth: Annotated[
        int | None, typer.Option(help="Teeth of the gear it runs with.", metavar="N")
    ] = None,
    mate_profile_shift: Annotated[
        float | None, typer.Option(help="That gear's profile shift, in modules.", metavar="X")
    ] = None,
    backlash: Annotated[
        str | None,
        typer.Option(
            help="Backlash along the pitch circle; 0.04 modules without it.", metavar="LENGTH"
        ),
    ] = None,
    passes: Annotated[
        int | None, typer.Option(help="Passes of the cutter; 2 without it.", metavar="N")
    ] = None,
    pin_diameter: Annotated[
        str | None,
        typer.Option(help="Pin you have, beside the usual 1.728 modules.", metavar="LENGTH"),
    ] = None,
    process: Annotated[
        str | None, typer.Option(help="'hob', or 'form' for a form cutter, gap by gap.")
    ] = None,
    spindle_rpm: Annotated[
        float | None,
        typer.Option(help="Hob spindle speed, for pulse and step rates.", metavar="RPM"),
    ] = None,
    hob_diameter: Annotated[
        str | None, typer.Option(help="Outside diameter of the hob.", metavar="LENGTH")
    ] = None,
    hob_gashes: Annotated[int | None, typer.Option(help="Gashes of the hob.", metavar="N")] = None,
    feed_per_turn: Annotated[
        str | None, typer.Option(help="Feed in one turn of the work.", metavar="LENGTH")
    ] = None,
    counts_from: Annotated[
        int | None, typer.Option(help="First tooth count looked at; 8.", metavar="N")
    ] = None,
    counts_to: Annotated[
        int | None, typer.Option(help="Last tooth count looked at; 120.", metavar="N")
    ] = None,
) -> None:
    """Plan a gear: blank, depth, passes, mate, sizes to check at, hob setting and indexing."""
    from cogloupe.machine import load_machine
    from cogloupe.plan import make_plan
    from cogloupe.plan_request import load_request, make_request
    from cogloupe.report.plan_page import plan_html, plan_tables

    renamed = {"module": "module_mm", "pressure_angle": "pressure_angle_deg"}
    given = {
        renamed.get(name, name): value
        for name, value in ctx.params.items()
        if name not in {"file", "machine", "out"}
    }
    request = load_request(file, given) if file is not None else make_request(given)
    made = make_plan(request, load_machine(machine) if machine is not None else None)
    for table in plan_tables(made):
        out_console.print(table)
    if out is not None:
        _write_page(out, plan_html(made))


def _write_page(path: Path, page: str) -> None:
    try:
        path.write_text(page, "utf-8")
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error
    _say(f"Written to {path}.")


@app.command(short_help="Draw pictures of gears with stated faults.")
def simulate(
    scenes: Annotated[
        list[Path] | None, typer.Argument(help="Scene files (TOML).", metavar="SCENE")
    ] = None,
    out: Out = Path("simulated"),
) -> None:
    """Draw pictures of gears with stated faults, and write their truth beside them.

    Without a scene, one example is drawn.
    """
    from cogloupe.folder import check_writable
    from cogloupe.simulation import example_scene, simulate_files
    from cogloupe.simulation import simulate as draw

    check_writable(out)
    example = [("example", example_scene())]
    for path in simulate_files(scenes, out) if scenes else draw(example, out):
        _say(str(path))


def main() -> None:
    """Run the command line; errors a person can mend end in one line and an exit status."""
    try:
        # Without the library's own handling, which puts three lines of usage before each error.
        status = app(prog_name="cogloupe", standalone_mode=False)
    except _CommandError as error:
        status = _wrong_command(error)
    except (KeyboardInterrupt, typer.Abort):
        status = INTERRUPTED
    except UseError as error:
        _complain(str(error))
        status = WRONG_USE
    except CogloupeError as error:
        _complain(str(error))
        status = NOT_ALL_READ
    sys.exit(status)


def _wrong_command(error: Exception) -> int:
    """Tell of an option or argument that cannot be, in one line, or show the help asked for."""
    message = str(error.format_message())  # type: ignore[attr-defined]
    if "\n" in message:  # a command without arguments is answered with its help
        _say(message)
        return WRONG_USE
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "cogloupe"
    message = message.replace("Value error, ", "").rstrip(".")
    _complain(f"{message}; '{command} --help' tells what there is")
    return WRONG_USE
