"""The command that asks a few questions and writes gear.toml, and machine.toml where wanted."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from cogloupe.commands.console import complain, say
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import as_typed


@dataclass(frozen=True)
class Question:
    """A question, the field that its answer fills, a word on it, and whether that is a number."""

    field: str
    text: str
    hint: str
    number: bool = True


_SCALES = (
    Question(
        "known_tip_diameter", "Tip diameter (outside), with its unit", "12.17mm or 0.4792in", False
    ),
    Question("known_bore", "Bore, with its unit", "4mm", False),
    Question("calibration", "Calibration file", "calibration.json", False),
    Question("scale_um_per_px", "Micrometres per pixel", "8.5"),
)

_MACHINE = (
    Question("name", "What the machine is called", "the orrery bench", False),
    Question(
        "encoder_pulses_per_revolution",
        "Pulses that the controller counts in one turn of the hob spindle",
        "an encoder of 600 lines counts 600, or 2400 where it counts all four edges; none: Enter",
    ),
    Question(
        "motor_steps_per_revolution",
        "Full steps in one turn of the motor",
        "200 for a motor of 1.8° a step; none: Enter",
    ),
    Question(
        "microsteps",
        "Microsteps to a full step",
        "what the driver's switches are set to; 1 without",
    ),
    Question(
        "drive_ratio",
        "Teeth of the pulleys or gears from motor to work, driven then driving",
        "72/24; 1 where the motor sits on the spindle",
    ),
    Question(
        "worm_wheel_teeth",
        "Teeth of a worm wheel on the work spindle",
        "40 on many dividing heads; none: Enter",
    ),
)


def start(
    folder: Annotated[
        Path, typer.Argument(help="Folder that your photographs lie in.", metavar="FOLDER")
    ] = Path(),
    machine: Annotated[
        bool | None,
        typer.Option("--machine/--no-machine", help="Ask about the machine; asked without it."),
    ] = None,
) -> None:
    """Ask a few questions, and write gear.toml (and machine.toml) into a folder of photographs.

    Enter leaves a question out: what is left out is found on the picture, or asked for later.
    """
    from cogloupe.inputs.settings import MACHINE_FILE, SETTINGS_FILE, make_settings
    from cogloupe.inputs.toml_file import save_toml
    from cogloupe.planning.machine import make_machine

    if not folder.is_dir():
        raise UseError(f"{folder} is not a folder: name the one your photographs lie in")
    fields = _gear(make_settings)
    save_toml(folder / SETTINGS_FILE, fields)
    say(f"Written to {folder / SETTINGS_FILE}.")
    if machine if machine is not None else typer.confirm("Tell about the machine too?", False):
        told = _whole_machine(make_machine)
        save_toml(folder / MACHINE_FILE, told)
        say(f"Written to {folder / MACHINE_FILE}.")
    say(f"Next: put photographs into {folder}, then run: cogloupe inspect {folder}")


def _gear(check: Callable[[Mapping[str, object]], object]) -> dict[str, Any]:
    """Ask about the gear and what sets the scale."""
    fields: dict[str, Any] = {}

    def ask(question: Question) -> bool:
        return _answered(fields, question, check)

    ask(Question("teeth", "Teeth", "21; Enter: they are counted on the picture"))
    if not ask(Question("module_mm", "Module, mm", "0.5; Enter: it is stated in DP, or unknown")):
        ask(Question("dp", "Diametral pitch (DP)", "48; Enter: unknown"))
    ask(Question("pressure_angle_deg", "Pressure angle, degrees", "20, which Enter takes"))
    say("One known size sets the scale of the pictures. Answer the first that you have.")
    for question in _SCALES:
        if ask(question):
            break
    from cogloupe.inputs.settings import GearSettings

    if "wanted_class" in GearSettings.model_fields:
        ask(Question("wanted_class", "Class of ISO 1328-1 that you want", "9; Enter: none"))
    return fields


def _answered(
    fields: dict[str, Any], question: Question, check: Callable[[Mapping[str, object]], object]
) -> bool:
    """Ask until the answer will do; False where it was left out."""
    while answer := _asked(question):
        value = as_typed(answer) if question.number else answer
        try:
            check({**fields, question.field: value})
        except UseError as error:
            complain(str(error).replace("--", ""))
            continue
        fields[question.field] = value
        return True
    return False


def _asked(question: Question) -> str:
    answer: str = typer.prompt(f"{question.text} ({question.hint})", default="", show_default=False)
    return answer.strip()


def _whole_machine(check: Callable[[Mapping[str, object]], object]) -> dict[str, Any]:
    """Ask about the machine until the answers together make one."""
    say("Count, do not guess: a ratio such as 3.33 never closes a division. Enter leaves out.")
    while True:
        given = [(q, answer) for q in _MACHINE if (answer := _asked(q))]
        fields = {q.field: as_typed(answer) if q.number else answer for q, answer in given}
        try:
            check(fields)
        except UseError as error:
            complain(str(error))
            continue
        return fields
