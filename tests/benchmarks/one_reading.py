"""Seconds that the steps of one reading take, each after the other, in a process of its own.

Run: ``python one_reading.py PHOTO SETTINGS.json OUT``; prints JSON.
"""

import json
import sys
from pathlib import Path
from time import perf_counter


def timed_reading(photo: Path, settings: Path, out: Path) -> dict[str, float]:
    """Read a photograph and note when each step is done.

    Parameters
    ----------
    photo, settings : Path
        Picture, and the settings as JSON.
    out : Path
        Where the report goes.

    Returns
    -------
    dict of str to float
        Seconds for `imports` (the chart library's among them), `decode`, `compute`, `drawing`.
    """
    marks = [perf_counter()]
    import cogloupe.commands
    import cogloupe.folders.batch
    import cogloupe.report.charts  # noqa: F401
    from cogloupe.inputs.photo import read_photo
    from cogloupe.inputs.settings import GearSettings
    from cogloupe.inspection import inspect_photo
    from cogloupe.report.write import write_report

    known = GearSettings.model_validate_json(settings.read_text("utf-8"))
    marks.append(perf_counter())
    picture = read_photo(photo)
    marks.append(perf_counter())
    reading, drawing = inspect_photo(picture, known)
    marks.append(perf_counter())
    write_report(reading, drawing, out)
    marks.append(perf_counter())
    steps = ("imports", "decode", "compute", "drawing")
    return {name: marks[k + 1] - marks[k] for k, name in enumerate(steps)}


if __name__ == "__main__":
    print(json.dumps(timed_reading(*map(Path, sys.argv[1:4]))))
