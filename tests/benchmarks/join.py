"""Partial pictures joined into one reading: errors against the truth, and what is refused.

Run: ``python -m tests.benchmarks.join [cases]`` (about ten minutes on two cores). With a number, so
many cases a row, and nothing is written.
"""

import sys
from dataclasses import dataclass
from math import cos, pi, radians, sin

import numpy as np
from tests.benchmarks.common import report, rms, settings_of, table
from tests.benchmarks.turned import photo_of

from cogloupe.inputs.photo import Photo
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe.sets.stitching import inspect_stitched
from cogloupe.simulation import Camera, Faults, GearSpec, Truth, render
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import CogloupeError

CASES = 3
FRAME = (1000, 800)
PITCH_PX = 131.0
"""Pitch of the teeth on the picture, so that a frame shows eight or nine of them."""
LEAN = radians(20)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A row: how the gear is moved between the pictures, and what the camera does.

    Attributes
    ----------
    words : str
    turned : bool
        The gear is turned under the lens; else slid, so that another part of it comes into view.
    step_teeth : float
        From picture to picture.
    distortion, tilt_deg, scatter_um : float
        Largest distortion (either sign) and lean; indexing scatter of the gear.
    """

    words: str
    turned: bool
    step_teeth: float
    distortion: float
    tilt_deg: float
    scatter_um: float = 5.0


KINDS = (
    Kind(
        words="turned, overlap 4 to 5 teeth, no distortion",
        turned=True,
        step_teeth=4.2,
        distortion=0.0,
        tilt_deg=0.0,
    ),
    Kind(
        words="turned, overlap 4 to 5 teeth, 0.5 %, 1°",
        turned=True,
        step_teeth=4.2,
        distortion=0.005,
        tilt_deg=1.0,
    ),
    Kind(
        words="slid, overlap 3 to 5 teeth, no distortion",
        turned=False,
        step_teeth=3.2,
        distortion=0.0,
        tilt_deg=0.0,
    ),
    Kind(
        words="slid, overlap 3 to 5 teeth, 0.5 %, 1°",
        turned=False,
        step_teeth=3.2,
        distortion=0.005,
        tilt_deg=1.0,
    ),
    Kind(
        words="turned, overlap about 3 teeth, 0.5 %, 1°",
        turned=True,
        step_teeth=5.2,
        distortion=0.005,
        tilt_deg=1.0,
    ),
    Kind(
        words="turned, overlap 4 to 5 teeth, teeth even to 0.5 µm",
        turned=True,
        step_teeth=4.2,
        distortion=0.005,
        tilt_deg=1.0,
        scatter_um=0.5,
    ),
)


def arcs(kind: Kind, seed: int) -> tuple[list[Photo], Truth]:
    """Pictures of parts of one gear round its whole turn.

    Parameters
    ----------
    kind : Kind
    seed : int

    Returns
    -------
    list of Photo
    Truth
        Of the first picture.
    """
    rng = np.random.default_rng([seed, 43])
    teeth = int(rng.integers(24, 49))
    count = int(np.ceil(teeth / kind.step_teeth))
    mm_per_px = pi / PITCH_PX
    radius, middle = teeth / 2 / mm_per_px, (np.array(FRAME) - 1) / 2
    bend, lean, way = rng.uniform(-1, 1), rng.uniform(), rng.uniform(0, 360)
    photos, truths = [], []
    for n in range(count):
        on = 360 * n / count + rng.uniform(-1.5, 1.5)
        look, turn = (-90.0, -on) if kind.turned else (on - 90, rng.uniform(-4, 4))
        out = np.array([cos(radians(look)), sin(radians(look))])
        place = middle + rng.uniform(-20, 20, 2) - out * (radius - 10)
        camera = Camera(
            mm_per_px=mm_per_px, width_px=FRAME[0], height_px=FRAME[1], bore_x_px=place[0],
            bore_y_px=place[1], rotation_deg=(turn + 3) % 360, blur_px=1.0, noise=0.0, bits=16,
            gamma="linear", distortion=bend * kind.distortion, tilt_deg=lean * kind.tilt_deg,
            tilt_direction_deg=way,
        )  # fmt: skip
        faults = Faults(pitch_scatter_um=kind.scatter_um, flank_scatter_um=kind.scatter_um / 2)
        spec = GearSpec(teeth=teeth, module_mm=1.0, bore_mm=4.0)
        made = render(spec, faults, camera, np.random.default_rng(seed))
        photos.append(photo_of(made.image, n, rng))
        truths.append(made.truth)
    return photos, truths[0]


def errors(reading: Reading, truth: Truth) -> tuple[Floats, Floats, Floats, Floats]:
    """Errors and standard uncertainties of cumulative and single pitch, µm, each shape (z, 2).

    Parameters
    ----------
    reading : Reading
    truth : Truth

    Returns
    -------
    cumulative, u_cumulative, single, u_single : ndarray

    Notes
    -----
    The reading is about the axis that takes the once-a-turn part out of both flank sides; the true
    places, which are about the axis the gear was made about, are brought to the same.
    """
    teeth = truth.about_teeth.teeth
    true = np.array([[t.left.cumulative_pitch_um, t.right.cumulative_pitch_um] for t in teeth])
    angle = np.radians([[t.left.position_deg, t.right.position_deg] for t in teeth])
    sign = np.array([-1.0, 1.0])
    facing = angle + sign * (pi / 2 - LEAN)
    design = np.stack([np.cos(facing), np.sin(facing), sign + 0 * angle, 1 + 0 * angle], axis=-1)
    out = (sign * true * cos(LEAN)).ravel()
    shift = np.linalg.lstsq(design.reshape(-1, 4), out, rcond=None)[0][:2]
    true = true - sign * (design[..., :2] @ shift) / cos(LEAN)
    off = flank_array(reading, "cumulative_pitch_um") - (true - true[0])
    single = flank_array(reading, "single_pitch_um") - (true - np.roll(true, 1, axis=0))
    return (
        off, flank_array(reading, "u_cumulative_pitch_um"),
        single, flank_array(reading, "u_single_pitch_um"),
    )  # fmt: skip


HEAD = (
    "pictures", "sets", "joined", "cumulative pitch RMS, px", "worst set, px", "U (k = 2), px",
    "within ±U", "single pitch RMS, px", "U (k = 2), px", "within ±U",
)  # fmt: skip


def row(kind: Kind, cases: int) -> tuple[list[object], list[str]]:
    """Row of the table, and what was refused.

    Parameters
    ----------
    kind : Kind
    cases : int

    Returns
    -------
    list, list of str
    """
    found, refused = [], []
    for seed in range(cases):
        photos, truth = arcs(kind, seed)
        try:
            reading = inspect_stitched(photos, settings_of(truth)).reading
        except CogloupeError as error:
            refused.append(f"- {kind.words}: {error}")
            continue
        px = 1000 * truth.picture.mm_per_px
        found.append([values / px for values in errors(reading, truth)])
    cells: list[object] = [kind.words, cases, len(found)]
    if not found:
        return [*cells, *["-"] * (len(HEAD) - 3)], refused
    for which in (0, 2):
        off = np.concatenate([f[which] for f in found])
        u = np.concatenate([f[which + 1] for f in found])
        seen = np.isfinite(off) & (u > 0)
        cells.append(f"{rms(off):.4f}")
        if which == 0:
            cells.append(f"{max(rms(f[0]) for f in found):.4f}")
        within = np.mean(np.abs(off[seen]) <= 2 * u[seen])
        cells += [f"{2 * rms(u):.4f}", f"{100 * within:.1f} %"]
    return cells, refused


def main() -> None:
    """Run all rows; write the table unless fewer cases were asked for."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    rows, refused = zip(*(row(kind, cases) for kind in KINDS), strict=True)
    told = [message for messages in refused for message in messages]
    parts = [
        "Gears of 24 to 48 teeth, module 1 mm, in five to fifteen pictures of 1000 x 800 px round "
        "the whole turn, each showing eight or nine teeth, teeth matched by their own errors; "
        "noise 1 % in 8 bits. No grid: distortion and lean are allowed for, and told in part by "
        "the overlaps. Errors about the axis of the teeth.\n",
        table(HEAD, rows),
        "\n" + ("Refused:\n\n" + "\n".join(told) if told else "Every set was joined.") + "\n",
    ]
    if len(sys.argv) > 1:
        print("\n".join(parts))
    else:
        report("join", "Partial pictures joined", parts)


if __name__ == "__main__":
    main()
