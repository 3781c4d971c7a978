"""Clock wheels, pinions and straight-sided wheels over random faults: errors, and shares within U.

Run it from anywhere; it prints a table and writes it to ``results/clock_teeth.md``. With a number,
so many gears of each kind are read, and nothing is written.
"""

import sys
from dataclasses import dataclass
from math import sqrt

import numpy as np
from tests.benchmarks.common import both_sides, report, rms, table

from cogloupe.forms.clock_wheel import CycloidalWheel
from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Truth, render
from cogloupe.simulation.truth import TrueTable

GEARS = 6
SIDE_PX = 1000
FIGURES = (
    "thickness_mean_mm", "runout_um", "eccentricity_um", "tip_diameter_mean_mm",
    "root_diameter_mean_mm", "floor_ratio_mean",
)  # fmt: skip
HEAD = (
    "teeth", "px a module", "single pitch, px RMS", "of its U, RMS", "flanks within U",
    "thickness of a tooth, px RMS", "mean slope, px", "curve found when not stated",
    "sizes and runout within U",
)  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """One kind of teeth: its drawing, what a person states, and what would be found unstated."""

    name: str
    spec: GearSpec
    stated: dict[str, object]
    unstated: float | None = None


def wheel(teeth: int, mate: int) -> Kind:
    """A clock wheel of module 1 for a pinion of so many leaves."""
    spec = GearSpec(
        teeth=teeth, module_mm=1, form="cycloidal", generating_circle_mm=mate / 2, bore_mm=teeth / 4
    )
    drawn, pitch = spec.wheel(), teeth / 2
    assert isinstance(drawn, CycloidalWheel)
    # Some land is left at the tips, so that scatter brings no tooth to a point.
    tip = pitch + min(1.3, 0.85 * (drawn.ridge - pitch))
    stated: dict[str, object] = {"form": "cycloidal", "mate_teeth": mate}
    blunt = spec.model_copy(update={"tip_radius_mm": tip})
    return Kind(f"wheel of {teeth} for {mate}", blunt, stated, mate / 2)


def pinion(leaves: int, arc: float, height: float) -> Kind:
    """A pinion of module 1 with round leaves."""
    spec = GearSpec(
        teeth=leaves, module_mm=1, form="cycloidal", addendum_radius_mm=arc,
        tip_radius_mm=leaves / 2 + height, bore_mm=leaves / 4,
    )  # fmt: skip
    return Kind(
        f"pinion of {leaves}", spec, {"form": "cycloidal", "addendum_radius": f"{arc}mm"}, arc
    )


def straight(teeth: int, lean: tuple[float, float]) -> Kind:
    """A straight-sided wheel."""
    spec = GearSpec(
        teeth=teeth, module_mm=1, form="straight", lean_deg=lean, thickness_mm=1.5,
        root_radius_mm=teeth / 2 - 0.6, tip_radius_mm=teeth / 2 + 0.5, bore_mm=teeth / 4,
    )  # fmt: skip
    return Kind(f"straight, {teeth}, lean {lean[0]:g} and {lean[1]:g}", spec, {"form": "straight"})


KINDS = (
    wheel(30, 6), wheel(45, 7), wheel(60, 8), wheel(75, 10), wheel(96, 8), wheel(120, 12),
    pinion(6, 0.525, 0.5), pinion(7, 0.6, 0.55), pinion(8, 0.7, 0.6), pinion(10, 0.8, 0.65),
    pinion(12, 0.8, 0.7), straight(20, (15, 15)), straight(24, (50, -4)), straight(60, (0, 0)),
)  # fmt: skip


def pictured(kind: Kind, seed: int) -> tuple[Photo, Truth, float]:
    """A picture with random faults, place and turn, its truth and mm per px."""
    rng = np.random.default_rng([seed, kind.spec.teeth])
    px = 2 * kind.spec.wheel().tip_radius / (0.9 * SIDE_PX)
    x, y = SIDE_PX / 2 + rng.uniform(-9, 9, 2)
    camera = Camera(
        mm_per_px=px, width_px=SIDE_PX, height_px=SIDE_PX, bore_x_px=x, bore_y_px=y, noise=0.01,
        rotation_deg=rng.uniform(0, 360), blur_px=1.2, oversample=2, gamma="linear",
    )  # fmt: skip
    um = 1000 * px
    faults = Faults(
        pitch_scatter_um=0.3 * um, flank_scatter_um=0.1 * um, thinning_um=rng.uniform(0, 0.3 * um),
        eccentricity_um=rng.uniform(0, um), eccentricity_direction_deg=rng.uniform(0, 360),
    )  # fmt: skip
    made = render(kind.spec, faults, camera, rng)
    return Photo("gear", "", np.ascontiguousarray(made.image), {}), made.truth, px


def read(photo: Photo, kind: Kind, px: float, stated: dict[str, object]) -> Reading:
    """Reading with teeth, module and scale known."""
    known = {"teeth": kind.spec.teeth, "module_mm": 1.0, "scale_um_per_px": 1000 * px}
    return inspect_photo(photo, make_settings(known | stated))[0]


def _row(kind: Kind, gears: int) -> list[object]:
    pitch, shares, thick, slopes, inside, found = [], [], [], [], [], []
    for seed in range(gears):
        photo, truth, px = pictured(kind, seed)
        reading, true, um = read(photo, kind, px, kind.stated), truth.about_bore, 1000 * px
        got, wanted = (both_sides(of.teeth, "single_pitch_um") for of in (reading, true))
        off = got - wanted
        pitch.append(off / um)
        shares.append(off / (2 * both_sides(reading.teeth, "u_single_pitch_um")))
        inside += _within(reading, true)
        if kind.unstated is None:
            continue
        pairs = zip(reading.teeth, true.teeth, strict=True)
        each = np.array([(t.thickness_mm or np.nan) - u.thickness_mm for t, u in pairs])
        thick.append((each - each.mean()) / px)
        slope = reading.summary.profile_slope_mean_um
        slopes += [v / um for v in (slope.left, slope.right) if v is not None]
        gear = read(photo, kind, px, {"form": "cycloidal"}).gear
        size = gear.generating_circle_mm or gear.addendum_radius_mm or np.nan
        found.append(size / kind.unstated)
    share = np.concatenate(shares)
    return [
        kind.name, f"{1 / px:.0f}", f"{rms(np.concatenate(pitch)):.4f}", f"{rms(share):.2f}",
        f"{100 * np.mean(np.abs(share) <= 1):.1f} %",
        f"{rms(np.concatenate(thick)):.4f}" if thick else "not read",
        f"{np.mean(slopes):+.4f} ± {np.std(slopes) / sqrt(len(slopes)):.4f}" if slopes else "–",
        f"{np.mean(found):.3f} ± {np.std(found):.3f}" if found else "–",
        f"{sum(inside)} of {len(inside)}" if inside else "not read",
    ]  # fmt: skip


def _within(reading: Reading, true: TrueTable) -> list[bool]:
    """Whether each size that was read lies within its U of the truth."""
    found = []
    for name in FIGURES:
        value, u = (getattr(reading.summary, f"{p}{name}") for p in ("", "u_"))
        wanted = getattr(true.summary, name)
        if value is not None and u is not None and wanted is not None:
            found.append(abs(value - wanted) <= 2 * u)
    return found


def main() -> None:
    """Read every kind, print the table, and write it unless a number of gears was given."""
    gears = int(sys.argv[1]) if len(sys.argv) > 1 else GEARS
    text = table(HEAD, [_row(kind, gears) for kind in KINDS])
    note = (
        f"{gears} gears a row, {SIDE_PX} px square, noise 1 %, blur 1.2 px, 8 bits; eccentric by "
        "up to a pixel, gaps off by 0.3 px. Of its U: the error as a share of U (k = 2), which "
        "also holds an allowance for the lens that these pictures do not need. Curve: the "
        "generating circle or arc that was found, over the true one.\n"
    )
    if len(sys.argv) > 1:
        print(text)
    else:
        report("clock_teeth", "Clock wheels, pinions and straight-sided wheels", [note, text])


if __name__ == "__main__":
    main()
