"""Options of the gear and the picture, which several commands take."""

import datetime
from collections.abc import Callable
from enum import StrEnum
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import Annotated, Any

import typer

from cogloupe.forms.basic_racks import RACK_NAMES


def option(help: str, metavar: str | None = None) -> Any:
    """An option of a command: what it is, and what is written behind it."""
    return typer.Option(help=help, metavar=metavar)


class EdgeChoice(StrEnum):
    """Edge of a bevel."""

    OUTER = "outer"
    INNER = "inner"


class EditionChoice(StrEnum):
    """Edition of ISO 1328-1."""

    OF_2013 = "2013"
    OF_1995 = "1995"


class FormChoice(StrEnum):
    """Form of the teeth."""

    INVOLUTE = "involute"
    CYCLOIDAL = "cycloidal"
    STRAIGHT = "straight"


class DatumChoice(StrEnum):
    """Axis that angles are measured about."""

    BORE = "bore"
    TEETH = "teeth"
    TIPS = "tips"


Teeth = Annotated[int | None, option("Number of teeth.", "N")]
Module = Annotated[float | None, option("Module, mm.", "MM")]
Dp = Annotated[float | None, option("Diametral pitch, teeth per inch.", "N")]
Angle = Annotated[float | None, option("Pressure angle; 20 where nothing is said.", "DEG")]
Rack = Annotated[
    str | None,
    typer.Option(
        help=f"Basic rack by name: {', '.join(RACK_NAMES)}. Without it the usual one for the "
        "pressure angle."
    ),
]
ScaleOption = Annotated[
    float | None, typer.Option("--scale", help="Micrometres per pixel.", metavar="UM_PER_PX")
]
KnownTip = Annotated[str | None, option("Measured tip diameter, as 12.19mm.", "LENGTH")]
KnownBore = Annotated[str | None, option("Measured bore, as 4mm.", "LENGTH")]
Turned = Annotated[
    bool,
    typer.Option(
        "--turned",
        help="All pictures show one gear, turned on the stage between them: one reading, the "
        "camera's own errors told from the gear's.",
    ),
]
Repeats = Annotated[
    bool,
    typer.Option(
        "--repeats",
        help="All pictures show one gear left where it lies: one reading, with repeatability.",
    ),
]
Join = Annotated[
    bool,
    typer.Option(
        "--join",
        help="All pictures show parts of one gear, best in their order round it, each sharing "
        "three teeth or more with the next: one reading.",
    ),
]
Mark = Annotated[
    str | None,
    option(
        "Number of a marked tooth in each picture, as 3,17,9; with --join the teeth shared "
        "with the picture before and the next, as 9,3/9,2.",
        "N,N,...",
    ),
]
Jobs = Annotated[
    int | None,
    typer.Option(
        min=1, max=256, metavar="N",
        help="Photographs read at a time, each in a process of its own; as many as there are "
        "cores where nothing is said.",
    ),
]  # fmt: skip
Resume = Annotated[
    bool,
    typer.Option(
        "--resume",
        help="Leave out photographs whose whole reading by the same settings and version is there.",
    ),
]
Scheduler = Annotated[
    str | None,
    option(
        "Read on the workers of a Dask cluster, by its scheduler's address, as "
        "tcp://host:8786; they read and write by the same paths as here.",
        "ADDRESS",
    ),
]
Ship = Annotated[
    bool,
    typer.Option(
        "--ship", help="With --scheduler: send the photographs, where no storage is shared."
    ),
]
Since = Annotated[
    datetime.datetime | None,
    typer.Option(formats=["%Y-%m-%d"], help="First day, as 2026-05-01.", metavar="DATE"),
]
Until = Annotated[
    datetime.datetime | None,
    typer.Option(formats=["%Y-%m-%d"], help="Last day, as 2026-05-31.", metavar="DATE"),
]
Out = Annotated[Path, option("Folder the readings go to.", "DIR")]


def _stated(kind: Any, help: str, metavar: str | None = None) -> Any:
    """An option that is None where it is not given."""
    return Annotated[kind | None, option(help, metavar)]


def _flag(name: str, help: str) -> Any:
    """A flag without an opposite, None where it is not given."""
    return Annotated[bool | None, typer.Option(name, help=help)]


SETTINGS: dict[str, tuple[str, Any]] = {
    "teeth": ("teeth", Teeth),
    "module": ("module_mm", Module),
    "dp": ("dp", Dp),
    "pressure_angle": ("pressure_angle_deg", Angle),
    "form": ("form", _stated(
        FormChoice, "Form of the teeth: involute (where nothing is said), cycloidal as in clocks, "
        "or straight-sided (ratchets, chain wheels), which are read for their pitch alone.")),
    "generating_circle": ("generating_circle", _stated(
        str, "Cycloidal teeth: diameter of the circle whose rolling made the addendum.", "LENGTH")),
    "mate_teeth": ("mate_teeth", _stated(
        int, "The same by the mate's number of teeth: half its pitch diameter.", "N")),
    "addendum_radius": ("addendum_radius", _stated(
        str, "Cycloidal teeth whose addendum is an arc of this radius, as on round leaves.",
        "LENGTH")),
    "addendum": ("addendum", _stated(
        float, "Cycloidal teeth: height above the pitch circle, in modules; 1.38 for a wheel and "
        "0.75 for a pinion where nothing is said. Only used where the module is not stated.",
        "N")),
    "rack": ("rack", Rack),
    "calibration": ("calibration", _stated(Path, "Calibration file.", "FILE")),
    "scale": ("scale_um_per_px", ScaleOption),
    "known_tip_diameter": ("known_tip_diameter", KnownTip),
    "known_bore": ("known_bore", KnownBore),
    "span": ("span", _stated(
        str, "Span that a micrometer found over K teeth, as 7.65mm/3: compared with the picture, "
        "or the scale where nothing else gives one.", "LENGTH[/K]")),
    "over_pins": ("over_pins", _stated(
        str, "Size that a micrometer found over two pins (--pin-diameter), used likewise.",
        "LENGTH")),
    "datum": ("datum", _stated(
        DatumChoice, "Axis of the angles; without it the bore where one is seen.")),
    "measuring_diameter": ("measuring_diameter", _stated(
        str, "Measuring circle, if not the reference circle.", "LENGTH")),
    "pin_diameter": ("pin_diameter", _stated(
        str, "Pin for runout and size over pins, if not 1.728 modules.", "LENGTH")),
    "tolerance_edition": ("tolerance_edition", _stated(
        EditionChoice, "Edition of ISO 1328-1 for the tolerance classes; 2013 without it.")),
    "wanted_class": ("wanted_class", _stated(
        int, "Flank tolerance class of ISO 1328-1 that the gear should reach; the verdict is held "
        "against it.", "N")),
    "edge": ("edge", _stated(EdgeChoice, "Which edge of a bevel to measure; outer without it.")),
    "pick": ("pick", _stated(
        str, "Which of several gears on a picture, counted from the left, or 'all'.", "N")),
    "partial": ("partial", _flag("--partial", "Accept a gear cut off by the frame.")),
    "unknown": ("unknown", _flag(
        "--unknown", "Find out module or pitch, pressure angle and rack, and the sizes to cut a "
        "lost twin by; a scale is needed to tell sizes.")),
    "even_so": ("even_so", _flag(
        "--even-so", "Use a calibration file that itself says: take it again.")),
}  # fmt: skip
"""Options of the gear and the picture: the names that the settings have for them, and what they
take."""


def with_settings(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of `SETTINGS` where its parameter `given` stands.

    It is handed what was given of them as one table, under the settings' names.
    """

    @wraps(command)
    def run(**values: Any) -> None:
        given = {field: values.pop(option) for option, (field, _) in SETTINGS.items()}
        told = {n: v.value if isinstance(v, StrEnum) else v for n, v in given.items()}
        command(given=told, **values)

    parameters = dict(signature(command).parameters)
    own = [
        Parameter(option, Parameter.POSITIONAL_OR_KEYWORD, default=None, annotation=kind)
        for option, (_, kind) in SETTINGS.items()
    ]
    place = [*parameters].index("given")
    others = [*parameters.values()]
    together = Signature([*others[:place], *own, *others[place + 1 :]])
    run.__signature__ = together  # type: ignore[attr-defined]
    run.__annotations__ = {p.name: p.annotation for p in together.parameters.values()}
    return run
