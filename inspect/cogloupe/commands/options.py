"""Options of the gear and the picture, which several commands take."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class EdgeChoice(StrEnum):
    """Edge of a bevel."""

    OUTER = "outer"
    INNER = "inner"


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

SETTINGS = {
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
