"""The local page of `cogloupe bench`: its frame and its script."""

from functools import cache

from cogloupe import __version__
from cogloupe.planning.machine import Machine
from cogloupe.report.markup import asset, page_template

SCRIPTS = (
    "bench/api.js", "bench/picture.js", "bench/ask.js", "bench/camera.js", "bench/forms.js",
    "bench/bench.js",
)  # fmt: skip
"""Parts of the page's own script, in their order; it uses the one that reports have."""

_MACHINE_FIELDS = (
    "name", "encoder_pulses_per_revolution", "hob_starts", "motor_steps_per_revolution",
    "microsteps", "drive_ratio", "belt_teeth", "worm_wheel_teeth", "worm_starts",
)  # fmt: skip
"""What the page's form asks of a machine; the file may say more."""


@cache
def bench_html() -> str:
    """Write the page, whose script asks the server for what it shows."""
    fields = [
        (name, name.replace("_", " "), Machine.model_fields[name].description or "")
        for name in _MACHINE_FIELDS
    ]
    return page_template("bench.html.j2").render(version=__version__, machine_fields=fields)


@cache
def bench_script() -> str:
    """Script of the page."""
    return "\n".join(asset(name) for name in SCRIPTS)


def problem_html(text: str) -> str:
    """Write the page that says in a sentence why another could not be made."""
    return page_template("problem.html.j2").render(text=text)
