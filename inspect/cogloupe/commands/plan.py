"""The command that works out the figures needed before a gear is cut."""

from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import out_console, write_page
from cogloupe.commands.options import Angle, Dp, Module, Rack, Teeth


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
            help="Backlash along the reference circle; 0.04 modules without it.", metavar="LENGTH"
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
