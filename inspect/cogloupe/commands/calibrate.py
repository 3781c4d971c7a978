"""The command that finds the scale of a set-up, or prints a target for it."""

import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cogloupe.commands.console import NOT_ALL_READ, about, complain, say, write_file
from cogloupe.commands.options import KnownBore, KnownTip, ScaleOption, option
from cogloupe_calibration.errors import CogloupeError, PhotoError, UseError
from cogloupe_calibration.plain_text import printable
from cogloupe_calibration.units import parse_length


class TargetChoice(StrEnum):
    """Targets that can be printed."""

    CHECKERBOARD = "checkerboard"
    DOTS = "dots"
    RULED = "ruled"


class PaperChoice(StrEnum):
    """Paper sizes."""

    A4 = "A4"
    LETTER = "Letter"


def calibrate(
    photos: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Picture of something of known size; of a checkerboard or dot grid also several.",
            metavar="PHOTO...",
        ),
    ] = None,
    out: Annotated[Path, option("Calibration file to write.", "FILE")] = Path("calibration.json"),
    scale: ScaleOption = None,
    known_tip_diameter: KnownTip = None,
    known_bore: KnownBore = None,
    known_pin: Annotated[str | None, option("Diameter of a gauge pin or disc.", "LENGTH")] = None,
    known_ring: Annotated[str | None, option("Inner diameter of a ring.", "LENGTH")] = None,
    ruled_scale: Annotated[
        str | None, option("Distance between the lines of a ruled scale.", "LENGTH")
    ] = None,
    checkerboard: Annotated[
        str | None, option("Side of the squares of a checkerboard.", "LENGTH")
    ] = None,
    dots: Annotated[
        str | None, option("Distance between the dots of a dot grid.", "LENGTH")
    ] = None,
    size: Annotated[str | None, option("Squares or dots across and down, as 9x7.", "NxN")] = None,
    print_target: Annotated[
        TargetChoice | None,
        typer.Option(help="Write a target to print (to --out, .pdf or .svg) instead."),
    ] = None,
    pitch: Annotated[str, option("Squares, dots or divisions of that target.", "LENGTH")] = "5mm",
    paper: Annotated[PaperChoice, typer.Option(help="Its paper.")] = PaperChoice.A4,
    uncertainty: Annotated[
        str | None, option("How well the known size is known (k = 2), as 0.01mm.", "LENGTH")
    ] = None,
    view_width: Annotated[
        str | None,
        option(
            "Roughly how much the picture shows from left to right; guards against divisions "
            "that blur hides.",
            "LENGTH",
        ),
    ] = None,
    note: Annotated[str, typer.Option(help="Magnification or setting, for later.")] = "",
) -> None:
    """Make a calibration file from a picture of something of known size, or a stated scale.

    A checkerboard or dot grid also measures the lens and the lean, a pin, disc or ring whether the
    scales in x and y differ. Several pictures of one grid make one calibration: the first shows it
    where the gear will lie, the others anywhere and aslant. --print-target makes a target.
    """
    from cogloupe.calibrating import CalibrationRequest, make_calibration, parse_size, seen_in_words
    from cogloupe_calibration.calibration import save_calibration

    if print_target is not None:
        _print_target(print_target, parse_length(pitch), paper, parse_size(size), out)
        return
    request = CalibrationRequest(
        scale_um_per_px=scale,
        known_tip_diameter=known_tip_diameter,
        known_bore=known_bore,
        known_pin=known_pin,
        known_ring=known_ring,
        ruled_scale=ruled_scale,
        checkerboard=checkerboard,
        dots=dots,
        size=size,
        uncertainty=uncertainty,
        view_width=view_width,
        note=printable(note),
    )
    photo, others = (photos[0], photos[1:]) if photos else (None, [])
    try:
        calibration, shown = make_calibration(photo, request, datetime.date.today(), others)
    except UseError:
        raise
    except CogloupeError as error:
        named = [other for other in others if str(error).startswith(other.name)]
        raise PhotoError(about((named or [photo])[0], error) if photo else str(error)) from error
    refused = calibration.verdict == "take it again"
    if not refused:
        save_calibration(calibration, out)
    if shown is not None:
        from cogloupe.report.calibration_picture import target_picture
        from cogloupe.report.charts import figure_png

        write_file(out.with_suffix(".png"), figure_png(target_picture(shown)))
        say(seen_in_words(shown))
        say(f"Its residuals are drawn in {out.with_suffix('.png')}.")
    um, u = 1000 * calibration.mm_per_px, 2000 * calibration.u_mm_per_px
    say(f"{um:.5g} ± {u:.2g} µm per pixel (k = 2), {calibration.method.replace('_', ' ')}")
    say(f"Verdict: {calibration.verdict}" + "".join(f"; {r}" for r in calibration.reasons))
    if refused:
        complain(f"{out} was not written: a calibration to be taken again must not be used.")
        raise typer.Exit(NOT_ALL_READ)
    say(f"Written to {out}. Use it with: cogloupe inspect PHOTO --calibration {out}")


def _print_target(
    kind: TargetChoice, pitch_mm: float, paper: PaperChoice, size: tuple[int, int] | None, out: Path
) -> None:
    from cogloupe_calibration.targets import make_target
    from cogloupe_calibration.vector_page import page_pdf, page_svg

    page = make_target(kind.value, pitch_mm, paper.value, size)
    path = out if out.suffix.lower() in (".pdf", ".svg") else Path(f"{kind.value}.pdf")
    data = page_svg(page).encode() if path.suffix.lower() == ".svg" else page_pdf(page)
    write_file(path, data)
    say(f"Written to {path}. Print it without scaling, and check its length with a caliper.")
