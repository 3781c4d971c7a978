"""Draws charts in a second process: importing their library takes as long as all drawing.

As ``python -m cogloupe.report.chart_process`` this module answers readings with their charts, both
pickled, until there are no more.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # begun before anything slow to import
    from cogloupe.reading.models import Reading

Draw = Callable[["Reading"], dict[str, bytes]]
"""Draws the charts of a reading: PNG pictures by name."""


def charts_here(reading: "Reading") -> dict[str, bytes]:
    """Draw the charts of a reading in this process: PNG pictures by name."""
    from cogloupe.report.charts import chart_pngs

    return chart_pngs(reading)


@contextmanager
def charts_beside() -> Iterator[Draw]:
    """Begin a process that draws charts, and end it afterwards.

    Gives the same pictures as `charts_here`, which also serves where the library is there already,
    and where the process comes to grief.
    """
    if "cogloupe.report.charts" in sys.modules:
        yield charts_here
        return
    # -P: modules in the folder the person happens to be in are none of ours.
    command = [sys.executable, "-P", "-m", "cogloupe.report.chart_process"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as process:
        try:
            yield partial(_ask, process)
        finally:
            process.kill()
            with suppress(OSError):  # what it can no longer be asked
                process.stdin.close()  # type: ignore[union-attr]


def _ask(process: "subprocess.Popen[bytes]", reading: "Reading") -> dict[str, bytes]:
    try:
        _send(process.stdin, reading)
        charts: dict[str, bytes] = pickle.load(process.stdout)  # type: ignore[arg-type]
    except (OSError, EOFError, pickle.UnpicklingError):
        return charts_here(reading)
    return charts


def _send(stream: Any, what: object) -> None:
    pickle.dump(what, stream)
    stream.flush()


def _answer_all() -> None:
    if hasattr(os, "nice"):  # until a reading is there, whoever measures it goes first
        os.nice(5)
    from cogloupe.report.charts import chart_pngs, warm_up

    warm_up()
    with suppress(EOFError):
        while True:
            _send(sys.stdout.buffer, chart_pngs(pickle.load(sys.stdin.buffer)))


if __name__ == "__main__":
    _answer_all()
