"""The command that works out the figures needed before a gear is cut."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import out_console, write_page
from cogloupe.commands.options import Angle, Dp, Module, Rack, Teeth, option


def plan(
    ctx: typer.Context,
    file: Annotated[
        Path | None,
        typer.Argument(help="Plan file (TOML) that says what the options say.", metavar="PLAN"),
    ] = None,
    machine: Annotated[
        Path | None, option("Machine file; without it nothing is told of indexing.", "FILE")
    ] = None,
    out: Annotated[
        Path | None, option("Page to write (HTML), to print and take along.", "FILE")
    ] = None,
    teeth: Teeth = None,
    module: Module = None,
    dp: Dp = None,
    pressure_angle: Angle = None,
    rack: Rack = None,
    profile_shift: Annotated[float | None, option("Profile shift, in modules.", "X")] = None,
    blank_diameter: Annotated[
        str | None, option("Blank there is, if not the usual one.", "LENGTH")
    ] = None,
    mate_teeth: Annotated[int | None, option("Teeth of the gear it runs with.", "N")] = None,
    mate_profile_shift: Annotated[
        float | None, option("That gear's profile shift, in modules.", "X")
    ] = None,
    backlash: Annotated[
        str | None,
        option("Backlash along the reference circle; 0.04 modules without it.", "LENGTH"),
    ] = None,
    passes: Annotated[int | None, option("Passes of the cutter; 2 without it.", "N")] = None,
    pin_diameter: Annotated[
        str | None, option("Pin you have, beside the usual 1.728 modules.", "LENGTH")
    ] = None,
    process: Annotated[
        str | None, typer.Option(help="'hob', or 'form' for a form cutter, gap by gap.")
    ] = None,
    spindle_rpm: Annotated[
        float | None, option("Hob spindle speed, for pulse and step rates.", "RPM")
    ] = None,
    hob_diameter: Annotated[str | None, option("Outside diameter of the hob.", "LENGTH")] = None,
    hob_gashes: Annotated[int | None, option("Gashes of the hob.", "N")] = None,
    feed_per_turn: Annotated[str | None, option("Feed in one turn of the work.", "LENGTH")] = None,
    counts_from: Annotated[int | None, option("First tooth count looked at; 8.", "N")] = None,
    counts_to: Annotated[int | None, option("Last tooth count looked at; 120.", "N")] = None,
) -> None:
    """Plan a gear: blank, depth, passes, mate, sizes to check at, hob setting and indexing."""
    from cogloupe.planning.machine import load_machine
    from cogloupe.planning.plan import make_plan
    from cogloupe.planning.request import load_request, make_request
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
        write_page(out, plan_html(made))
