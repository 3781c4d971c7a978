"""Sets of pictures of one gear on the command line: turned, repeats, partial pictures to join."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cogloupe.commands.console import READ, notice_line, out_console, say
from cogloupe_calibration.errors import UseError

if TYPE_CHECKING:
    from cogloupe.inputs.photo import Photo
    from cogloupe.inputs.settings import GearSettings
    from cogloupe.reading.photo_set import SetKind
    from cogloupe.sets.set_reading import SetReading


def chosen_kind(turned: bool, repeats: bool, join: bool) -> "SetKind | None":
    """The one kind of set that was asked for; None where each picture is to be read by itself.

    Raises
    ------
    UseError
        Where more than one was asked for.
    """
    kinds: dict[SetKind, bool] = {"turned": turned, "repeats": repeats, "joined": join}
    asked = [kind for kind, given in kinds.items() if given]
    if len(asked) > 1:
        raise UseError("--turned, --repeats and --join read the pictures differently: give one")
    return asked[0] if asked else None


def inspect_set(
    kind: "SetKind", paths: Sequence[Path], out: Path, given: dict[str, object], mark: str | None
) -> int:
    """Read a set of pictures, in order, as one gear; write its report; give the exit status.

    Raises
    ------
    CogloupeError
        Where the set cannot be read.
    """
    from cogloupe.folders.batch import known_of
    from cogloupe.folders.index import Bookkeeper
    from cogloupe.folders.photos import SetOfPhotos, find_photos
    from cogloupe.folders.places import check_writable
    from cogloupe.folders.storing import keep_set
    from cogloupe.inputs.photo import read_photo
    from cogloupe.inputs.settings import settings_for
    from cogloupe.report.console_tables import readings_table
    from cogloupe.report.verdict_text import verdict_lines
    from cogloupe.report.write import report_files

    if given["pick"] == "all":
        raise UseError("--pick all reads every gear by itself: name one for a set, as --pick 2")
    files = find_photos(list(paths))
    settings = settings_for(files[0], given)
    check_writable(out)
    photos = [read_photo(path) for path in files]
    found = _read(kind, photos, settings, mark)
    made = report_files(found.reading, found.drawing, extra=_pictures(found))
    pictures = SetOfPhotos.of(files[0], kind, [photo.sha256 for photo in photos])
    folder = keep_set(pictures, out, made, known_of(settings))
    Bookkeeper(out).bring_up_to_date()
    out_console.print(readings_table([found.reading], out_console.width))
    for line in verdict_lines(found.reading):
        say(line)
    for notice in found.reading.warnings:
        say(notice_line(notice))
    say(f"One reading of {len(files)} pictures is in {folder}: open report.html.")
    return READ


def _read(
    kind: "SetKind", photos: "Sequence[Photo]", settings: "GearSettings", mark: str | None
) -> "SetReading":
    """Read the set, its teeth marked: one a picture, or to join by, two shared with neighbours."""
    if kind == "repeats":
        from cogloupe.sets.repeats import inspect_repeats

        if mark is not None:
            raise UseError(
                "--repeats are pictures of a gear left where it lies: --mark has no use there"
            )
        return inspect_repeats(photos, settings)
    from cogloupe.sets.correspondence_choice import parse_marks

    pairs = None if mark is None else parse_marks(mark)
    if kind == "joined":
        from cogloupe.sets.stitching import inspect_stitched

        return inspect_stitched(photos, settings, pairs)
    from cogloupe.sets.rotation_set import inspect_rotation_set

    if pairs is not None and any(before != after for before, after in pairs):
        raise UseError(
            f"--mark {mark}: for --turned one tooth a picture is named, as --mark 3,17,9"
        )
    marks = None if pairs is None else [before for before, _ in pairs]
    return inspect_rotation_set(photos, settings, marks)


def _pictures(found: "SetReading") -> dict[str, bytes]:
    """Pictures that only sets have, by file name."""
    if found.pictures.kind != "turned":
        return {}
    from cogloupe.report.camera_picture import camera_picture
    from cogloupe.report.charts import figure_png
    from cogloupe.sets.camera_map import camera_map

    return {"camera.png": figure_png(camera_picture(camera_map(found.pictures)))}
