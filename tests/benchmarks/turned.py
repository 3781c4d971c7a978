"""Turned pictures without a grid: errors against the truth, and how honest U is.

Run: ``python -m tests.benchmarks.turned [cases]`` (about fifteen minutes on two cores).
With a number, so many cases a row, and nothing is written.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.clean_set import noisy
from tests.benchmarks.common import report, rms, settings_of, table

from cogloupe.inputs.photo import Photo
from cogloupe.inspection import inspect_photo
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe.sets.rotation_set import inspect_rotation_set
from cogloupe.sets.set_reading import SetReading
from cogloupe.simulation import Camera, Faults, GearSpec, Truth, render
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import CogloupeError

CASES = 10
SIDE_PX, FILL = 900, 0.8
NOISE = 0.01
SUMMARY = (
    "single_pitch_max_um", "cumulative_pitch_total_um", "runout_um", "eccentricity_um",
)  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A row: what the camera does, and how the gear is turned.

    Attributes
    ----------
    words : str
    distortion, tilt_deg : float
        Largest radial distortion at the corner, of either sign, and largest lean; each case draws
        its own below them, or has just these where `exact`.
    turns_deg : tuple of float
        Turns of the pictures; each is spread by +-25 degrees.
    exact : bool
    """

    words: str
    distortion: float
    tilt_deg: float
    turns_deg: tuple[float, ...] = (0.0, 120.0, 240.0)
    exact: bool = False


KINDS = (
    Kind("distortion 1 %, three pictures", 0.01, 0.0, exact=True),
    Kind("distortion 1 %, lean 2°, three pictures", 0.01, 2.0, exact=True),
    Kind("distortion to 2 %, lean to 2°, three pictures", 0.02, 2.0),
    Kind("the same, four pictures", 0.02, 2.0, (0.0, 80.0, 170.0, 260.0)),
    Kind("the same, two pictures a quarter turn apart", 0.02, 2.0, (0.0, 90.0)),
    Kind("the same, two pictures half a turn apart", 0.02, 2.0, (0.0, 180.0)),
)


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Errors of one case over stated uncertainties, and in px.

    Attributes
    ----------
    cumulative, u_cumulative, single, u_single : ndarray
        Px along the measuring circle, every flank.
    alone : float
        RMS error of the first picture's cumulative pitch by itself, px.
    figures : dict
        Error over standard uncertainty of the main figures.
    """

    cumulative: Floats
    u_cumulative: Floats
    single: Floats
    u_single: Floats
    alone: float
    figures: dict[str, float]


def turned_case(kind: Kind, seed: int) -> tuple[list[Photo], list[Truth]]:
    """Pictures of one gear, turned and laid anew between them, under one camera.

    Parameters
    ----------
    kind : Kind
    seed : int

    Returns
    -------
    list of Photo
    list of Truth
    """
    rng = np.random.default_rng([seed, 41])
    teeth = int(rng.integers(12, 41))
    share = (1.0, 1.0) if kind.exact else (rng.uniform(-1, 1), rng.uniform())
    lean_way, start, off_centre = rng.uniform(0, 360), rng.uniform(0, 360), rng.uniform(0, 30)
    mm_per_px = (teeth + 2) / (SIDE_PX * FILL)
    photos, truths = [], []
    for turn in kind.turns_deg:
        turned = (start + turn + rng.uniform(-25, 25)) % 360
        place = (SIDE_PX - 1) / 2 + rng.uniform(-55, 55, 2)
        camera = Camera(
            mm_per_px=mm_per_px, width_px=SIDE_PX, height_px=SIDE_PX, bore_x_px=place[0],
            bore_y_px=place[1], rotation_deg=turned, blur_px=1.0, noise=0.0, bits=16,
            gamma="linear", oversample=2, distortion=share[0] * kind.distortion,
            tilt_deg=share[1] * kind.tilt_deg, tilt_direction_deg=lean_way,
        )  # fmt: skip
        faults = Faults(
            pitch_scatter_um=6, flank_scatter_um=3, eccentricity_um=off_centre,
            eccentricity_direction_deg=(40 + turned) % 360,
        )  # fmt: skip
        spec = GearSpec(teeth=teeth, module_mm=1.0, bore_mm=0.35 * teeth)
        made = render(spec, faults, camera, np.random.default_rng(seed))
        photos.append(photo_of(made.image, len(photos), rng))
        truths.append(made.truth)
    return photos, truths


def photo_of(image: NDArray[np.generic], number: int, rng: np.random.Generator) -> Photo:
    """Photograph with noise of its own, rounded to 8 bits.

    Parameters
    ----------
    image : ndarray, shape (h, w), uint16
    number : int
        For its name.
    rng : Generator

    Returns
    -------
    Photo
    """
    pixels = noisy(image, NOISE, rng)
    return Photo(f"{number}.png", sha256(pixels.tobytes()).hexdigest(), pixels, {})


def run(kind: Kind, seed: int) -> Outcome | str:
    """Read one case and compare it with the truth.

    Parameters
    ----------
    kind : Kind
    seed : int

    Returns
    -------
    Outcome or str
        The message where it was refused.
    """
    photos, truths = turned_case(kind, seed)
    settings = settings_of(truths[0])
    try:
        found = inspect_rotation_set(photos, settings)
    except CogloupeError as error:
        return str(error)
    alone = inspect_photo(photos[0], settings)[0]
    px = 1000 * truths[0].picture.mm_per_px
    error = true_errors(alone, truths[0], "cumulative_pitch_um")
    return outcome_of(found, truths[0], rms(error) / px)


def true_errors(reading: Reading, truth: Truth, name: str) -> Floats:
    """Errors of a figure of every flank about the bore, µm.

    Parameters
    ----------
    reading : Reading
    truth : Truth
    name : str

    Returns
    -------
    ndarray, shape (z, 2)
    """
    true = [[getattr(getattr(t, s), name) for s in ("left", "right")]
            for t in truth.about_bore.teeth]  # fmt: skip
    return flank_array(reading, name) - np.array(true)


def outcome_of(found: SetReading, truth: Truth, alone: float) -> Outcome:
    """Compare a reading of turned pictures with the truth.

    Parameters
    ----------
    found : SetReading
    truth : Truth
    alone : float

    Returns
    -------
    Outcome
    """
    px, reading = 1000 * truth.picture.mm_per_px, found.reading
    true = truth.about_bore.summary
    figures = {
        name: (getattr(reading.summary, name) - getattr(true, name))
        / getattr(reading.summary, f"u_{name}")
        for name in SUMMARY
    }
    values = {
        name: (true_errors(reading, truth, f"{name}_pitch_um") / px,
               flank_array(reading, f"u_{name}_pitch_um") / px)
        for name in ("single", "cumulative")
    }  # fmt: skip
    (cumulative, u_cumulative), (single, u_single) = values["cumulative"], values["single"]
    return Outcome(
        cumulative=cumulative,
        u_cumulative=u_cumulative,
        single=single,
        u_single=u_single,
        alone=alone,
        figures=figures,
    )


HEAD = (
    "camera and turns", "cases", "one picture: cumulative pitch RMS, px", "the set: RMS, px",
    "worst case, px", "U (k = 2), px", "error / u", "within ±U", "single pitch RMS, px",
    "error / u", "within ±U",
)  # fmt: skip


def row(words: str, found: Sequence[Outcome]) -> list[object]:
    """Row of the table.

    Parameters
    ----------
    words : str
    found : sequence of Outcome

    Returns
    -------
    list
    """
    cells: list[object] = [words, len(found), float(np.sqrt(np.mean([f.alone**2 for f in found])))]
    for name in ("cumulative", "single"):
        error = [getattr(f, name) for f in found]
        u = [getattr(f, f"u_{name}") for f in found]
        off, doubt = np.concatenate(error).ravel(), np.concatenate(u).ravel()
        seen = np.isfinite(off) & (doubt > 0)
        cells.append(f"{rms(off):.4f}")
        if name == "cumulative":
            cells += [f"{max(rms(e) for e in error):.4f}", f"{2 * rms(doubt):.4f}"]
        ratio = off[seen] / doubt[seen]
        cells += [f"{rms(ratio):.2f}", f"{100 * np.mean(np.abs(ratio) <= 2):.1f} %"]
    return cells


def main() -> None:
    """Run all rows; write the table unless fewer cases were asked for."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else CASES
    rows, figures, refused = [], [], []
    for kind in KINDS:
        outcomes = [run(kind, seed) for seed in range(cases)]
        found = [o for o in outcomes if isinstance(o, Outcome)]
        refused += [f"- {kind.words}: {o}" for o in outcomes if isinstance(o, str)]
        rows.append(row(kind.words, found))
        ratios = {name: np.array([f.figures[name] for f in found]) for name in SUMMARY}
        figures.append([kind.words, *(
            f"{rms(r):.2f}, {100 * np.mean(np.abs(r) <= 2):.0f} %" for r in ratios.values()
        )])  # fmt: skip
    parts = [
        "No grid, no calibration: the lens is told by turning the gear. Pictures of 900² px, gear "
        "of 12 to 40 teeth laid up to 55 px off the middle, anew in each, noise 1 % in 8 bits, "
        "turns spread by ±25°; errors about the bore, against the truth.\n",
        table(HEAD, rows),
        "\nMain figures: error over standard uncertainty (RMS), and share within ±U.\n",
        table(("camera and turns", *SUMMARY), figures),
        "\n" + ("\n".join(refused) or "Every set was read.") + "\n",
    ]
    if len(sys.argv) > 1:
        print("\n".join(parts))
    else:
        report("turned", "Turned pictures", parts)


if __name__ == "__main__":
    main()
