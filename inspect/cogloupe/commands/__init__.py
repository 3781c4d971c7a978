"""The command line, and the only part that prints."""

import os
import sys
import tempfile
import traceback
from contextlib import suppress

import typer

from cogloupe import __version__
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
from cogloupe.commands.inspect import inspect, watch
from cogloupe.commands.plan import plan
from cogloupe.commands.simulate import simulate
from cogloupe_calibration.errors import CogloupeError, UseError

# The class above all errors of options and arguments, which the library names differently from
# version to version.
_CommandError: type[Exception] = typer.BadParameter.__mro__[1]

app = typer.Typer(
    help="Reads photographs of small cut gears and tells, tooth by tooth, what is wrong.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# In the order of the help.
app.command(short_help="Find the scale of a set-up from a known size.")(calibrate)
app.command(short_help="Read photographs of gears and write their reports.")(inspect)
app.command(short_help="Read each photograph dropped into a folder.")(watch)
app.command(short_help="Tell what on the machine would leave this pattern.")(causes)
app.command(short_help="Tell whether a change on the machine helped.")(compare)
app.command(short_help="List the readings of a folder.")(catalogue)
app.command(short_help="Work out the figures needed before a gear is cut.")(plan)
app.command(short_help="Draw pictures of gears with stated faults.")(simulate)
app.command(short_help="Print what a reading or calibration file may hold.")(schema)


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
