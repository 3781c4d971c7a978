"""Profiles, gap shapes and gauged sizes on rendered gears: errors, and how often U holds.

``python -m tests.benchmarks.check_sizes`` reads 80 gears; with a number, so many, and nothing is
written.
"""

import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from math import pi, radians

import numpy as np
from tests.benchmarks.common import Case, make_case, report, settings_of, table

from cogloupe.forms.involute import involute, pin_centre_radius
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Scene
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import CogloupeError

Figure = tuple[str, float, float]
"""Name of a figure, its error and its standard uncertainty."""

TEETH = (8, 10, 12, 14, 17, 21, 24, 30, 40, 60, 90, 120)
DEPTHS_PX = (16.0, 25.0, 40.0, 60.0, 120.0)
LARGEST = 2600
"""Teeth times px of depth that a picture may have, so that it stays below some 8 Mpx."""


@dataclass(frozen=True)
class TrueSizes:
    """Sizes of the drawn gear, mm, taken off its true flanks."""

    base: float
    unwound: Floats

    def span(self, teeth_spanned: int) -> Floats:
        """Span from every tooth on."""
        size = self.base * (self._further(self.unwound[:, 1], teeth_spanned - 1))
        return np.asarray(size - self.base * self.unwound[:, 0])

    def over_pins(self, pin: float) -> Floats:
        """Size over every pair of pins."""
        following = self._further(self.unwound[:, 0], 1)
        half = (following - self.unwound[:, 1]) / 2
        centre = pin_centre_radius(self.base, half, pin) * np.exp(
            1j * (following + self.unwound[:, 1]) / 2
        )
        z = len(centre)
        size = np.abs(centre - np.roll(centre, -(z // 2))) + pin
        return np.asarray(size[: z // 2] if z % 2 == 0 else size)

    def _further(self, angle: Floats, teeth: int) -> Floats:
        index = np.arange(len(angle)) + teeth
        return np.asarray(angle[index % len(angle)] + 2 * pi * (index // len(angle)))


def true_sizes(case: Case) -> TrueSizes:
    """Flanks of the drawn gear, unwound from its own base circle."""
    angle = radians(case.truth.profile.pressure_angle_deg)
    radius = case.truth.gear.measuring_diameter_mm / 2
    rows = [[t.left.position_deg, t.right.position_deg] for t in case.truth.about_teeth.teeth]
    place = np.unwrap(np.radians(np.array(rows)).ravel()).reshape(-1, 2)
    return TrueSizes(radius * np.cos(angle), place + np.array([-1.0, 1.0]) * float(involute(angle)))


def random_case(seed: int) -> Case:
    """One gear of any kind, drawn with errors of spacing, thickness and pressure angle."""
    rng = np.random.default_rng(seed)
    teeth = int(rng.choice(TEETH))
    depth = float(rng.choice([d for d in DEPTHS_PX if teeth * d < LARGEST or d == DEPTHS_PX[0]]))
    shift = float(rng.uniform(0.2, 0.35)) if teeth < 14 else float(rng.uniform(-0.1, 0.3))
    mm = 2.25 / depth
    side = int((teeth + 2.6 + 2 * shift) / mm * 1.15)
    return make_case(
        Scene(
            gear=GearSpec(
                teeth=teeth, module_mm=1.0, bore_mm=0.25 * teeth, profile_shift=shift,
                pressure_angle_deg=float(rng.choice([20.0, 20.0, 14.5])),
            ),
            faults=Faults(
                pitch_scatter_um=300 * mm, thinning_um=float(rng.uniform(0, 40)),
                pressure_angle_error_deg=float(rng.normal(0, 0.4)),
            ),
            camera=Camera(
                mm_per_px=mm, width_px=side, height_px=side, oversample=2, gamma="linear",
                rotation_deg=float(rng.uniform(0, 10)), blur_px=float(rng.uniform(0.7, 1.4)),
                noise=0.01, bore_x_px=side / 2 + float(rng.uniform(-1, 1)),
            ),
            seed=seed,
        )
    )  # fmt: skip


def figures(case: Case, reading: Reading) -> Iterator[Figure]:
    """Errors of every figure with their stated standard uncertainties: px, degrees, or plain."""
    yield from _profile_figures(case, reading)
    yield from _gap_figures(case, reading)
    yield from _size_figures(case, reading)


def _profile_figures(case: Case, reading: Reading) -> Iterator[Figure]:
    px, true = 1000 * case.truth.picture.mm_per_px, case.truth.profile
    summary, profile = reading.summary, reading.profile
    angle, u = summary.pressure_angle_mean_deg, summary.u_pressure_angle_mean_deg
    if angle is not None and u is not None:
        yield "pressure angle, mean / deg", angle - true.pressure_angle_deg, u
    assert profile is not None
    assert profile.start_roll_mm is not None
    assert profile.end_roll_mm is not None
    share = (profile.end_roll_mm - profile.start_roll_mm) / (true.roll_end_mm - true.roll_start_mm)
    for tooth, drawn in zip(reading.teeth, case.truth.about_teeth.teeth, strict=True):
        for got, is_so in ((tooth.left, drawn.left), (tooth.right, drawn.right)):
            if got.profile_slope_um is not None and got.u_profile_slope_um is not None:
                off = got.profile_slope_um - share * is_so.profile_slope_um
                yield "f_Ha, each flank / px", off / px, got.u_profile_slope_um / px
            if got.profile_form_um is not None and got.u_profile_form_um is not None:
                yield "f_fa, each flank / px", got.profile_form_um / px, got.u_profile_form_um / px


def _gap_figures(case: Case, reading: Reading) -> Iterator[Figure]:
    deep = 2.25 / case.truth.picture.mm_per_px
    name = "floor ratio, mean, teeth " + ("from 25 px deep" if deep > 24 else "16 px deep")
    found, u = reading.summary.floor_ratio_mean, reading.summary.u_floor_ratio_mean
    true = case.truth.about_teeth.summary.floor_ratio_mean
    if found is not None and u is not None and true is not None:
        yield name, found - true, u
    mean = reading.gap_mean
    if mean is not None and mean.lean_deg is not None and mean.u_lean_deg is not None:
        yield "lean of the gaps, mean / deg", mean.lean_deg, mean.u_lean_deg


def _size_figures(case: Case, reading: Reading) -> Iterator[Figure]:
    sizes, true, px = reading.sizes, true_sizes(case), case.truth.picture.mm_per_px
    assert sizes is not None
    for span in sizes.spans:
        if span.mean_mm is not None and span.u_mean_mm is not None:
            around = true.span(span.teeth_spanned)
            yield "span, mean / px", (span.mean_mm - around.mean()) / px, span.u_mean_mm / px
            assert span.range_um is not None
            assert span.u_range_um is not None
            off = span.range_um / 1000 - np.ptp(around)
            yield "span, range / px", off / px, span.u_range_um / 1000 / px
    pins = sizes.over_pins
    if pins is not None and pins.mean_mm is not None and pins.u_mean_mm is not None:
        off = pins.mean_mm - true.over_pins(pins.pin_diameter_mm).mean()
        yield "size over pins, mean / px", off / px, pins.u_mean_mm / px
    chord = sizes.chord
    if chord is not None and chord.mean_mm is not None and chord.u_mean_mm is not None:
        radius = case.truth.gear.measuring_diameter_mm / 2
        thick = np.array([t.thickness_mm for t in case.truth.about_teeth.teeth])
        off = chord.mean_mm - float(np.mean(2 * radius * np.sin(thick / radius / 2)))
        yield "chordal thickness, mean / px", off / px, chord.u_mean_mm / px
    pitch = 2 * pi * true.base / case.truth.gear.teeth
    for found in (sizes.base_pitch_left, sizes.base_pitch_right):
        if found is not None and found.mean_mm is not None and found.u_mean_mm is not None:
            yield "base pitch, mean / px", (found.mean_mm - pitch) / px, found.u_mean_mm / px


def read_all(count: int) -> dict[str, dict[str, list[tuple[float, float]]]]:
    """Errors and uncertainties of so many gears, by how the scale was set and by figure."""
    found: dict[str, dict[str, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
    for seed in range(count):
        case = random_case(seed)
        over = max(round(case.truth.gear.teeth / 9 + 0.5), 2)  # the workshop's rule of thumb
        span = true_sizes(case).span(over).mean()
        gauged = settings_of(case.truth, scale_um_per_px=None, span=f"{span:.3f}mm/{over}")
        for name, settings in (("stated", case.settings), ("by a micrometer", gauged)):
            try:
                reading, _ = inspect_photo(case.photo, settings)
            except CogloupeError as error:
                print(f"gear {seed}, {case.truth.gear.teeth} teeth: {error}")
                continue
            for figure, off, u in figures(case, reading):
                found[name][figure].append((off, u))
    return found


def rows(found: dict[str, list[tuple[float, float]]]) -> list[list[object]]:
    """One row a figure: bias, RMS error, RMS of u, and the share within U = 2u."""
    made: list[list[object]] = []
    for figure, values in found.items():
        off, u = np.array(values).T
        inside = 100 * float(np.mean(np.abs(off) <= 2 * u))
        root = [float(np.sqrt(np.mean(v**2))) for v in (off, u)]
        made.append([figure, len(off), float(off.mean()), *root, f"{inside:.1f} %"])
    return made


def main(count: int, write: bool) -> None:
    """Read the gears, print the tables, and write them where asked."""
    head = ("figure", "values", "bias", "RMS error", "RMS of u", "within U")
    parts = [
        f"{count} random gears of 8 to 120 teeth, module 1, 14.5 and 20 degrees, teeth 16 to 120 "
        "px deep, blur 0.7 to 1.4 px, noise 1 %, with scattered pitch, thin teeth and a pressure "
        "angle wrong by 0.4 degrees (RMS). The scale is right to the last digit where it is "
        "stated, so U, which allows for its error and the lens's, is far from used up; a span "
        "known to 1 µm as the only scale leaves U less room. Forms are none in truth: what is "
        "read is noise, which U says.\n",
    ]
    for name, found in read_all(count).items():
        parts += [f"Scale {name}:\n", table(head, rows(found))]
    if write:
        report("check_sizes", "Profiles, gap shapes and gauged sizes", parts)
    else:
        print("\n".join(parts))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 80, len(sys.argv) == 1)
