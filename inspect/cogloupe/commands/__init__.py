"""The command line, and the only part that prints."""

import os
import sys
import tempfile
import traceback
from collections.abc import Callable
from contextlib import suppress
from typing import Annotated

import typer

from cogloupe import __version__
from cogloupe.commands.bench import bench
from cogloupe.commands.calibrate import calibrate
from cogloupe.commands.catalogue import catalogue, schema
from cogloupe.commands.causes import causes
from cogloupe.commands.compare import compare
from cogloupe.commands.console import (
    INTERRUPTED,
    NOT_ALL_READ,
    OUR_FAULT,
    READ,
    WRONG_USE,
    complain,
    only_our_words,
    say,
)
from cogloupe.commands.doctor import doctor
from cogloupe.commands.export import export
from cogloupe.commands.inspect import inspect, watch
from cogloupe.commands.pair import pair
from cogloupe.commands.plan import plan
from cogloupe.commands.simulate import simulate
from cogloupe.commands.start import start
from cogloupe_calibration.errors import CogloupeError, UseError

# The class above all errors of options and arguments, which the library names differently from
# version to version.
_CommandError: type[Exception] = typer.BadParameter.__mro__[1]

app = typer.Typer(
    help="Reads photographs of small cut gears and tells, tooth by tooth, what is wrong.",
    epilog="Begin with: cogloupe bench  (a page in the browser), or: cogloupe start",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _tell_version(asked: bool) -> None:
    if asked:
        say(f"cogloupe {__version__}")
        raise typer.Exit


@app.callback()
def _cogloupe(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True, help="Tell the version."),
    ] = False,
) -> None:
    """Read photographs of small cut gears."""


_COMMANDS: tuple[tuple[Callable[..., None], str, str], ...] = (
    (bench, "All of it on a page in the browser.", "cogloupe bench pictures/"),
    (start, "Ask a few questions and write gear.toml.", "cogloupe start pictures/"),
    (
        calibrate,
        "Find the scale of a set-up from a known size.",
        "cogloupe calibrate grid.jpg --checkerboard 1mm --size 9x7",
    ),
    (
        inspect,
        "Read photographs of gears and write their reports.",
        "cogloupe inspect wheel.jpg --teeth 21 --dp 48 --known-tip-diameter 0.4792in",
    ),
    (watch, "Read each photograph dropped into a folder.", "cogloupe watch pictures/"),
    (
        causes,
        "Tell what on the machine would leave this pattern.",
        "cogloupe causes readings/wheel --machine machine.toml --out causes.html",
    ),
    (
        compare,
        "Tell whether a change on the machine helped.",
        'cogloupe compare readings/before readings/after --changed "belt tightened"',
    ),
    (
        pair,
        "Run two gears together, and tell where to drill.",
        "cogloupe pair readings/pinion readings/wheel --backlash 0.02mm --out pair",
    ),
    (
        catalogue,
        "List the readings of a folder.",
        "cogloupe catalogue readings --teeth 21 --since 2026-05-01",
    ),
    (
        plan,
        "Work out the figures needed before a gear is cut.",
        "cogloupe plan --teeth 21 --dp 48 --mate-teeth 48 --machine machine.toml",
    ),
    (export, "Make a spreadsheet and outlines for CAD.", "cogloupe export readings/wheel"),
    (doctor, "Tell what is installed, and what works.", "cogloupe doctor --no-camera"),
    (
        simulate,
        "Draw pictures of gears with stated faults.",
        "cogloupe simulate scene.toml --out simulated",
    ),
    (
        schema,
        "Print what a reading or calibration file may hold.",
        "cogloupe schema reading > reading.schema.json",
    ),
)
"""In the order of the help: the command, what it does in short, and an example."""

for _command, _short, _example in _COMMANDS:
    app.command(short_help=_short, epilog=f"Example: {_example}")(_command)


def main() -> None:
    """Run the command line; errors a person can mend end in one line and an exit status."""
    # Our matrices are small: waiting for further threads costs more time than they save.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with only_our_words():
        status = _run()
    sys.exit(status)


def _run() -> int:
    """Run what was asked for; whatever goes wrong ends in an exit status."""
    try:
        # Without the library's own handling, which puts three lines of usage before each error.
        return app(prog_name="cogloupe", standalone_mode=False) or READ
    except _CommandError as error:
        return _wrong_command(error)
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except CogloupeError as error:
        complain(str(error))
        return WRONG_USE if isinstance(error, UseError) else NOT_ALL_READ
    except BrokenPipeError:  # whoever was to read on has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return NOT_ALL_READ
    except Exception as error:
        complain(_our_fault(error))
        return OUR_FAULT


def _our_fault(error: Exception) -> str:
    """Keep what there is to know of a fault of ours, and say where."""
    what = f"{type(error).__name__}: {str(error)[:200]}"
    told = f"this is a fault of Cogloupe ({what}): please report it"
    with suppress(OSError):
        handle, name = tempfile.mkstemp(prefix="cogloupe-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(f"cogloupe {__version__}, Python {sys.version}, {sys.platform}\n")
            file.write(f"{sys.argv[1:]}\n\n{''.join(traceback.format_exception(error))}")
        return f"{told} with {name}, which holds the details"
    return told


def _wrong_command(error: Exception) -> int:
    """Tell of an option or argument that cannot be, in one line, or show the help asked for."""
    message = str(error.format_message())  # type: ignore[attr-defined]
    if "\n" in message:  # a command without arguments is answered with its help
        say(message)
        return WRONG_USE
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "cogloupe"
    message = message.replace("Value error, ", "").rstrip(".")
    complain(f"{message}; '{command} --help' tells what there is")
    return WRONG_USE
