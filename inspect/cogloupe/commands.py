"""The command line, and the only module that prints."""

import datetime
import sys
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from cogloupe.reading import Reading
from cogloupe_calibration.errors import CogloupeError, UseError

READ, NOT_ALL_READ, WRONG_USE = 0, 1, 2

app = typer.Typer(
    help="Reads photographs of small cut gears and tells, tooth by tooth, what is wrong.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
out_console = Console()
error_console = Console(stderr=True)


class DatumChoice(StrEnum):
    """Axis that angles are measured about."""

    BORE = "bore"
    TEETH = "teeth"
    TIPS = "tips"


_GEAR = "The gear"
_SCALE = "The picture's scale (one of)"

Teeth = Annotated[int | None, typer.Option(help="Number of teeth.", rich_help_panel=_GEAR)]
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
Partial = Annotated[bool, typer.Option("--partial", help="Accept a gear cut off by the frame.")]
Out = Annotated[Path, typer.Option(help="Folder the readings go to.", metavar="DIR")]


@app.command()
def inspect(
    photos: Annotated[
        list[Path], typer.Argument(help="Photographs, or folders of them.", metavar="PHOTO...")
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
    partial: Partial = False,
) -> None:
    """Read photographs; write reading.json, teeth.csv, overlay, chart and report for each.

    A gear.toml beside the photographs can say what the options say, so that pictures are only
    dropped in.
    """
    given = _given(
        teeth, module, dp, pressure_angle, rack, calibration, scale, known_tip_diameter,
        known_bore, datum, measuring_diameter, pin_diameter, partial,
    )  # fmt: skip
    raise typer.Exit(_inspect_all(photos, out, given))


def _given(*values: object) -> dict[str, object]:
    """Options under the names the settings have for them."""
    names = (
        "teeth", "module_mm", "dp", "pressure_angle_deg", "rack", "calibration",
        "scale_um_per_px", "known_tip_diameter", "known_bore", "datum", "measuring_diameter",
        "pin_diameter", "partial",
    )  # fmt: skip
    fields = dict(zip(names, values, strict=True))
    if fields["partial"] is False:
        fields["partial"] = None
    if isinstance(fields["datum"], DatumChoice):
        fields["datum"] = fields["datum"].value
    return fields


def _inspect_all(paths: list[Path], out: Path, given: Mapping[str, object]) -> int:
    from cogloupe.folder import check_writable, find_photos, read_one, reading_folder
    from cogloupe.settings import make_settings, settings_for

    make_settings({name: value for name, value in given.items() if value is not None})
    photos = find_photos(paths)
    check_writable(out)
    readings: list[Reading] = []
    taken: set[Path] = set()
    failed = 0
    with Progress(console=error_console, transient=True, disable=len(photos) < 2) as progress:
        for photo in progress.track(photos, description="reading"):
            folder = reading_folder(photo, out, taken)
            taken.add(folder)
            try:
                readings.append(read_one(photo, settings_for(photo, given), folder))
            except UseError:
                raise
            except CogloupeError as error:
                failed += 1
                _complain(f"{photo.name}: {str(error).removeprefix(f'{photo.name} ')}")
    _show(readings, out)
    return NOT_ALL_READ if failed else READ


def _complain(message: str) -> None:
    error_console.print(message, style="red", markup=False, highlight=False, soft_wrap=True)


def _say(message: str) -> None:
    out_console.print(message, markup=False, highlight=False, soft_wrap=True)


def _show(readings: list[Reading], out: Path) -> None:
    from cogloupe.report.table import summary_table

    if not readings:
        return
    out_console.print(summary_table(readings))
    for reading in readings:
        for notice in reading.warnings:
            teeth = f" (teeth {', '.join(map(str, notice.teeth))})" if notice.teeth else ""
            _say(f"{reading.photo.file}: {notice.message}{teeth}")
    _say(f"Reports are in {out}: open report.html in each photograph's folder.")


@app.command()
def watch(
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
    partial: Partial = False,
) -> None:
    """Read each photograph that is dropped into a folder, until stopped with Ctrl+C."""
    from cogloupe.folder import check_writable, watch_folder
    from cogloupe.settings import settings_for

    given = _given(
        teeth, module, dp, pressure_angle, rack, calibration, scale, known_tip_diameter,
        known_bore, datum, measuring_diameter, pin_diameter, partial,
    )  # fmt: skip
    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the folder pictures are dropped into")
    target = out or folder / "readings"
    check_writable(target)
    _say(f"Watching {folder}; readings go to {target}. Stop with Ctrl+C.")
    for outcome in watch_folder(folder, target, lambda photo: settings_for(photo, given)):
        if outcome.reading is not None:
            _show([outcome.reading], target)
        elif outcome.error is not None:
            name = outcome.photo.name
            _complain(f"{name}: {str(outcome.error).removeprefix(f'{name} ')}")


@app.command()
def calibrate(
    photo: Annotated[
        Path | None, typer.Argument(help="Picture of something of known size.", metavar="PHOTO")
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Calibration file to write.", metavar="FILE")
    ] = Path("calibration.json"),
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
    uncertainty: Annotated[
        str | None,
        typer.Option(help="How well the known size is known (k = 2), as 0.01mm.", metavar="LENGTH"),
    ] = None,
    note: Annotated[str, typer.Option(help="Magnification or setting, for later.")] = "",
) -> None:
    """Make a calibration file from a picture of something of known size, or a stated scale."""
    from cogloupe.calibrating import CalibrationRequest, make_calibration
    from cogloupe_calibration.calibration import save_calibration

    request = CalibrationRequest(
        scale_um_per_px=scale,
        known_tip_diameter=known_tip_diameter,
        known_bore=known_bore,
        known_pin=known_pin,
        ruled_scale=ruled_scale,
        uncertainty=uncertainty,
        note=note,
    )
    calibration = make_calibration(photo, request, datetime.date.today())
    save_calibration(calibration, out)
    um, u = 1000 * calibration.mm_per_px, 2000 * calibration.u_mm_per_px
    _say(f"{um:.5g} ± {u:.2g} µm per pixel (k = 2), {calibration.method.replace('_', ' ')}")
    _say(f"Verdict: {calibration.verdict}" + "".join(f"; {r}" for r in calibration.reasons))
    _say(f"Written to {out}. Use it with: cogloupe inspect PHOTO --calibration {out}")


@app.command()
def simulate(
    scenes: Annotated[
        list[Path] | None, typer.Argument(help="Scene files (TOML).", metavar="SCENE...")
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
    if scenes:
        written = simulate_files(scenes, out)
    else:
        written = draw([("example", example_scene())], out)
    for path in written:
        _say(str(path))


def main() -> None:
    """Run the command line; errors a person can mend end in one line and an exit status."""
    try:
        app()
    except UseError as error:
        _complain(str(error))
        sys.exit(WRONG_USE)
    except CogloupeError as error:
        _complain(str(error))
        sys.exit(NOT_ALL_READ)
