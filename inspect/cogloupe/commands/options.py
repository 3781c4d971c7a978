"""Options of the gear and the picture, which several commands take."""

import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cogloupe.forms.basic_racks import RACK_NAMES


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


Teeth = Annotated[int | None, typer.Option(help="Number of teeth.", metavar="N")]
Module = Annotated[float | None, typer.Option(help="Module, mm.", metavar="MM")]
Dp = Annotated[float | None, typer.Option(help="Diametral pitch, teeth per inch.", metavar="N")]
Angle = Annotated[
    float | None, typer.Option(help="Pressure angle; 20 where nothing is said.", metavar="DEG")
]
Form = Annotated[
    FormChoice | None,
    typer.Option(
        help="Form of the teeth: involute (where nothing is said), cycloidal as in clocks, or "
        "straight-sided (ratchets, chain wheels), which are read for their pitch alone."
    ),
]
GeneratingCircle = Annotated[
    str | None,
    typer.Option(
        help="Cycloidal teeth: diameter of the circle whose rolling made the addendum.",
        metavar="LENGTH",
    ),
]
MateTeeth = Annotated[
    int | None,
    typer.Option(
        help="The same by the mate's number of teeth: half its pitch diameter.", metavar="N"
    ),
]
AddendumRadius = Annotated[
    str | None,
    typer.Option(
        help="Cycloidal teeth whose addendum is an arc of this radius, as on round leaves.",
        metavar="LENGTH",
    ),
]
Addendum = Annotated[
    float | None,
    typer.Option(
        help="Cycloidal teeth: height above the pitch circle, in modules; 1.38 for a wheel and "
        "0.75 for a pinion where nothing is said. Only used where the module is not stated.",
        metavar="N",
    ),
]
Rack = Annotated[
    str | None,
    typer.Option(
        help=f"Basic rack by name: {', '.join(RACK_NAMES)}. Without it the usual one for the "
        "pressure angle."
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
Span = Annotated[
    str | None,
    typer.Option(
        help="Span that a micrometer found over K teeth, as 7.65mm/3: compared with the picture, "
        "or the scale where nothing else gives one.",
        metavar="LENGTH[/K]",
    ),
]
OverPins = Annotated[
    str | None,
    typer.Option(
        help="Size that a micrometer found over two pins (--pin-diameter), used likewise.",
        metavar="LENGTH",
    ),
]
Datum = Annotated[
    DatumChoice | None,
    typer.Option(help="Axis of the angles; without it the bore where one is seen."),
]
MeasuringDiameter = Annotated[
    str | None,
    typer.Option(help="Measuring circle, if not the reference circle.", metavar="LENGTH"),
]
PinDiameter = Annotated[
    str | None,
    typer.Option(help="Pin for runout and size over pins, if not 1.728 modules.", metavar="LENGTH"),
]
ToleranceEdition = Annotated[
    EditionChoice | None,
    typer.Option(help="Edition of ISO 1328-1 for the tolerance classes; 2013 without it."),
]
WantedClass = Annotated[
    int | None,
    typer.Option(
        help="Flank tolerance class of ISO 1328-1 that the gear should reach; the verdict is held "
        "against it.",
        metavar="N",
    ),
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
Unknown = Annotated[
    bool | None,
    typer.Option(
        "--unknown",
        help="Find out module or pitch, pressure angle and rack, and the sizes to cut a lost twin "
        "by; a scale is needed to tell sizes.",
    ),
]
EvenSo = Annotated[
    bool | None,
    typer.Option("--even-so", help="Use a calibration file that itself says: take it again."),
]
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
    typer.Option(
        help="Number of a marked tooth in each picture, as 3,17,9; with --join the teeth shared "
        "with the picture before and the next, as 9,3/9,2.",
        metavar="N,N,...",
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
    typer.Option(
        help="Read on the workers of a Dask cluster, by its scheduler's address, as "
        "tcp://host:8786; they read and write by the same paths as here.",
        metavar="ADDRESS",
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
Out = Annotated[Path, typer.Option(help="Folder the readings go to.", metavar="DIR")]

SETTINGS = {
    "teeth": "teeth",
    "module": "module_mm",
    "dp": "dp",
    "form": "form",
    "generating_circle": "generating_circle",
    "mate_teeth": "mate_teeth",
    "addendum_radius": "addendum_radius",
    "addendum": "addendum",
    "pressure_angle": "pressure_angle_deg",
    "rack": "rack",
    "calibration": "calibration",
    "scale": "scale_um_per_px",
    "known_tip_diameter": "known_tip_diameter",
    "known_bore": "known_bore",
    "span": "span",
    "over_pins": "over_pins",
    "datum": "datum",
    "measuring_diameter": "measuring_diameter",
    "pin_diameter": "pin_diameter",
    "tolerance_edition": "tolerance_edition",
    "wanted_class": "wanted_class",
    "edge": "edge",
    "pick": "pick",
    "partial": "partial",
    "unknown": "unknown",
    "even_so": "even_so",
}
"""Options of inspect and watch, and the names the settings have for them."""
