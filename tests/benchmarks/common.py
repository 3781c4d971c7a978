"""What the benchmarks share: pictures with truth, errors in pixels, dated tables."""

import datetime
import os
import platform
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import pi, sqrt
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cogloupe.fits.flanks import FlankFits
from cogloupe.fits.teeth_axis import flank_angles_about
from cogloupe.forms.involute import angle_at_radius, involute
from cogloupe.inputs.photo import Photo, read_photo
from cogloupe.inputs.settings import GearSettings, make_settings
from cogloupe.reading.models import Reading
from cogloupe.simulation import Scene, Truth, render_scene
from cogloupe.simulation.write import write_picture
from cogloupe_calibration.arrays import Bools, Floats

ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results"


@dataclass(frozen=True)
class Case:
    """A picture with its truth.

    Attributes
    ----------
    photo : Photo
        The picture as it comes back from a file of the scene's format.
    truth : Truth
    settings : GearSettings
        What a person would say: teeth, module, scale.
    """

    photo: Photo
    truth: Truth
    settings: GearSettings


def make_case(scene: Scene, **given: object) -> Case:
    """Render a scene, store it in its file format and load it.

    Parameters
    ----------
    scene : Scene
    **given
        Settings that displace the usual ones.

    Returns
    -------
    Case
    """
    made = render_scene(scene, f"gear.{scene.format}")
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"gear.{scene.format}"
        write_picture(made.image, scene, path)
        photo = read_photo(path)
    return Case(photo, made.truth, settings_of(made.truth, **given))


def settings_of(truth: Truth, **given: object) -> GearSettings:
    """Settings that state what the truth says of the gear's kind and the picture's scale.

    Parameters
    ----------
    truth : Truth
    **given
        Settings that displace these; None drops one.

    Returns
    -------
    GearSettings
    """
    stated: dict[str, object] = {
        "teeth": truth.gear.teeth,
        "module_mm": truth.gear.module_mm,
        "pressure_angle_deg": truth.gear.pressure_angle_deg,
        "rack": truth.gear.rack,
        "scale_um_per_px": 1000 * truth.picture.mm_per_px,
    } | given
    return make_settings({key: value for key, value in stated.items() if value is not None})


@dataclass(frozen=True, kw_only=True)
class Errors:
    """Errors of one reading, arrays over tooth number and side (left, right).

    Attributes
    ----------
    single : ndarray, shape (z, 2)
        Single pitch, measured less true, px along the measuring circle.
    u_single : ndarray, shape (z, 2)
        Its stated standard uncertainty, px.
    cumulative : ndarray, shape (z, 2)
        Cumulative pitch about the mean of its side, measured less true, px.
    flank : ndarray, shape (z, 2)
        Place of the flank, px along its normal, positive out of the material; taken about the
        true axis of the teeth, so that no datum comes in.
    covered : ndarray, shape (z, 2), bool
        Flanks with a nick or burr, or touched by dust or swarf.
    flagged : ndarray, shape (z, 2), bool
        Flanks that the reading does not call ok.
    """

    single: Floats
    u_single: Floats
    cumulative: Floats
    flank: Floats
    covered: Bools
    flagged: Bools


def errors_of(case: Case, reading: Reading) -> Errors:
    """Compare a reading with the truth.

    Parameters
    ----------
    case : Case
    reading : Reading

    Returns
    -------
    Errors
    """
    table = case.truth.about_bore if reading.datum.kind == "bore" else case.truth.about_teeth
    px = 1000 * case.truth.picture.mm_per_px
    got = both_sides(reading.teeth, "single_pitch_um")
    true = both_sides(table.teeth, "single_pitch_um")
    u = both_sides(reading.teeth, "u_single_pitch_um")
    covered = np.zeros(got.shape, bool)
    for item in case.truth.covered:
        covered[item.tooth - 1, int(item.side == "right")] = True
    status = np.array([[t.left.status, t.right.status] for t in reading.teeth])
    flank = _places(case.truth, reading)
    whole = both_sides(reading.teeth, "cumulative_pitch_um")
    whole = (whole - both_sides(table.teeth, "cumulative_pitch_um")) / px
    whole = whole - np.nanmean(whole, axis=0)
    return Errors(
        single=(got - true) / px,
        u_single=u / px,
        cumulative=whole,
        flank=flank,
        covered=covered,
        flagged=status != "ok",
    )


def both_sides(teeth: Iterable[Any], name: str) -> Floats:
    """One figure of every flank.

    Parameters
    ----------
    teeth : iterable of Tooth or TrueTooth
    name : str
        Of the figure.

    Returns
    -------
    ndarray, shape (z, 2)
        NaN where there is none.
    """
    rows = [[getattr(t.left, name), getattr(t.right, name)] for t in teeth]
    return np.array([[np.nan if v is None else v for v in row] for row in rows])


def _places(truth: Truth, reading: Reading) -> Floats:
    """Errors of the flanks' places about the true axis of the teeth, px along the normal.

    A point of each measured flank is unwound from the true base circle and compared with the
    true flank, so that neither the datum's error nor its offset comes in.
    """
    angle = np.radians(both_sides(reading.teeth, "position_deg"))
    radius = reading.gear.measuring_diameter_mm / 2 / truth.picture.mm_per_px
    x = reading.datum.x_px + radius * np.cos(angle) - truth.picture.teeth_xy_px[0]
    y = reading.datum.y_px + radius * np.sin(angle) - truth.picture.teeth_xy_px[1]
    true = np.radians(both_sides(truth.about_teeth.teeth, "position_deg"))
    own = truth.gear.measuring_diameter_mm / 2 / truth.picture.mm_per_px
    base = own * np.cos(np.radians(truth.profile.pressure_angle_deg))
    sign = np.array([-1.0, 1.0])
    grown = involute(angle_at_radius(base, np.hypot(x, y))) - involute(angle_at_radius(base, own))
    return np.asarray(_wrapped(np.arctan2(y, x) - true + sign * grown) * base * sign)


def flank_errors(fits: FlankFits, truth: Truth) -> tuple[Floats, NDArray[np.int64]]:
    """Error of every flank's place along its normal, and the fits' order of the teeth.

    Parameters
    ----------
    fits : FlankFits
    truth : Truth

    Returns
    -------
    error : ndarray, shape (z, 2)
        Px out of the material, in the order of the true numbers.
    order : ndarray, shape (z,), int
        Index in the fits of each numbered tooth.

    Notes
    -----
    A pitch error of the whole gear cannot hide here: teeth are paired by angle, each with the
    nearest, and the numbering itself is checked elsewhere.
    """
    angles = flank_angles_about(fits, np.array(truth.picture.teeth_xy_px))
    true = np.radians(both_sides(truth.about_teeth.teeth, "position_deg"))
    z = len(true)
    start = _wrapped(angles[:, 0] - true[0, 0])
    first = int(np.nanargmin(np.abs(start)))
    order = (first + np.arange(z)) % z
    curve = fits.curve
    across = curve.measuring_arm
    return _wrapped(angles[order] - true) * across * np.array([-1.0, 1.0]), order


def _wrapped(angle: Floats) -> Floats:
    return np.asarray(np.mod(angle + pi, 2 * pi) - pi)


def rms(values: Floats) -> float:
    """Root mean square of what was measured; NaN for nothing.

    Parameters
    ----------
    values : ndarray

    Returns
    -------
    float
    """
    seen = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(seen**2))) if seen.size else float("nan")


def run_parts(name: str, title: str, parts: dict[str, tuple[str, Callable[[], str]]]) -> None:
    """Run the parts of a study that the command line names, and print them; or all, and write them.

    Parameters
    ----------
    name : str
        Stem of the file of results.
    title : str
    parts : dict of str to (str, callable)
        By their names: a heading, and what makes the table.
    """
    wanted = sys.argv[1:]
    texts = [
        f"{head}\n{run()}" for part, (head, run) in parts.items() if part in wanted or not wanted
    ]
    if wanted:
        print(*texts, sep="\n")
        return
    report(name, title, texts)


def bound(noise: float, blur: float) -> float:
    """Information bound of one edge sample: ``(sigma_n / A) sqrt(2 sqrt(pi) s)``.

    Parameters
    ----------
    noise : float
        Noise as a share of the contrast.
    blur : float
        Blur of the light, px; the pixel's box adds 1/12 to its square.

    Returns
    -------
    float
        Standard deviation of the place of one sample of unit spacing, px.
    """
    return noise * sqrt(2 * sqrt(pi) * sqrt(blur**2 + 1 / 12))


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Markdown table.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of sequence
        Cells; a float is written to three significant figures.

    Returns
    -------
    str
    """
    lines = [list(head), ["---"] * len(head), *([_cell(c) for c in row] for row in rows)]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def _cell(value: object) -> str:
    if isinstance(value, float):
        if not np.isfinite(value):
            return "-"
        return f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return str(value)


def report(name: str, title: str, parts: Sequence[str]) -> None:
    """Print a result and write it, dated, to results/NAME.md.

    Parameters
    ----------
    name : str
        File name without ending.
    title : str
    parts : sequence of str
        Paragraphs and tables.
    """
    today = datetime.date.today().isoformat()
    machine = f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}"
    text = "\n".join([f"# {title}\n", f"{today}; {machine}.\n", *parts])
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / f"{name}.md").write_text(text, encoding="utf-8")
    print(text)
