"""The figures that two readings are compared by: where each stands, what is good, what it shares.

One table; a further figure is a line at its end, as the first one is the headline.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import isclose, pi, radians, sin, sqrt, tan
from typing import Literal

import numpy as np

from cogloupe.comparing.tooth_pattern import pattern_of, scatter
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import SIDES, Reading, Side
from cogloupe_calibration.arrays import Floats

Needs = Literal["pitch", "axis", "length", "shape"]
Aim = Literal["small", "one", "none"]

SAME_SIZE = 1e-3
"""Share within which two measuring circles are one: pitch figures differ by no more."""
SAME_SCALE = 1e-9
"""The same for scales, which are one only where they come from one calibration."""
MOSTLY_TEETH = ("spread_left", "spread_right", "single")
"""Figures that a blank off centre changes a little, but that the scatter of the teeth makes."""


@dataclass(frozen=True)
class Value:
    """A figure of one reading.

    `u` is standard (k = 1), `u_scale` the part of it that comes from the picture's scale;
    `by_tooth` is the standard error of a mean from the scatter of the teeth.
    """

    value: float | None
    u: float | None
    u_scale: float = 0.0
    by_tooth: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A figure that is compared.

    Attributes
    ----------
    key, name, symbol, unit : str
        Key in results; what a person reads.
    needs : {'pitch', 'axis', 'length', 'shape'}
        What both readings must share: the same datum ('pitch', and 'axis' for figures that only a
        datum gives a meaning), gear size and scale ('length'), rack ('shape').
    aim : {'small', 'one', 'none'}
        Which way is better: towards zero, towards 1, or neither.
    each_blank : bool
        Every blank set up anew can change it, whatever the machine does.
    """

    key: str
    name: str
    symbol: str = ""
    unit: str
    needs: Needs
    aim: Aim
    each_blank: bool


KINDS: tuple[Kind, ...] = (
    Kind(key="scatter", name="spacing spread less once a turn", unit="µm",
         needs="pitch", aim="small", each_blank=False),
    Kind(key="spread_left", name="spacing spread, left flanks", unit="µm",
         needs="pitch", aim="small", each_blank=True),
    Kind(key="spread_right", name="spacing spread, right flanks", unit="µm",
         needs="pitch", aim="small", each_blank=True),
    Kind(key="single", name="largest single pitch deviation", symbol="f_p", unit="µm",
         needs="pitch", aim="small", each_blank=True),
    Kind(key="total", name="total cumulative pitch deviation", symbol="F_p", unit="µm",
         needs="pitch", aim="small", each_blank=True),
    Kind(key="runout", name="runout", symbol="F_r", unit="µm",
         needs="axis", aim="small", each_blank=True),
    Kind(key="eccentricity", name="eccentricity", unit="µm",
         needs="axis", aim="small", each_blank=True),
    Kind(key="thickness", name="tooth thickness, mean", symbol="s", unit="mm",
         needs="length", aim="none", each_blank=True),
    Kind(key="depth", name="depth, mean", symbol="h", unit="mm",
         needs="length", aim="none", each_blank=True),
    Kind(key="tip", name="tip diameter, mean", symbol="d_a", unit="mm",
         needs="length", aim="none", each_blank=True),
    Kind(key="floor_ratio", name="floor ratio, mean", unit="",
         needs="shape", aim="one", each_blank=True),
    Kind(key="slope_left", name="profile slope, left flanks", symbol="f_Hα", unit="µm",
         needs="shape", aim="small", each_blank=False),
    Kind(key="slope_right", name="profile slope, right flanks", symbol="f_Hα", unit="µm",
         needs="shape", aim="small", each_blank=False),
    Kind(key="form", name="profile form, mean", symbol="f_fα", unit="µm",
         needs="shape", aim="small", each_blank=False),
)  # fmt: skip
"""The first is the question: what the machine does to the spacing. The wave once a turn is taken
out of it, since every blank sits on its arbor in its own way."""


def figure_value(reading: Reading, key: str) -> Value:
    """A figure of a reading, by its key in `KINDS`."""
    return _READ[key](reading)


def _plain(name: str) -> Callable[[Reading], Value]:
    return lambda r: Value(getattr(r.summary, name), getattr(r.summary, f"u_{name}"))


def _sided(name: str, side: Side) -> Callable[[Reading], Value]:
    return lambda r: Value(
        getattr(getattr(r.summary, name), side), getattr(getattr(r.summary, f"u_{name}"), side)
    )


def _scatter(reading: Reading) -> Value:
    """Spread of the pitches of both sides without the once-a-turn wave.

    Its uncertainty is built as that of the reading's own spreads: half of what noise can have
    added, what it scatters by, and a wave twice a turn of lens and lean in full.
    """
    pattern = pattern_of(reading)
    z = len(pattern.place)
    if np.isfinite(pattern.single).sum() < z:
        return Value(None, None)
    size = float(scatter(pattern.place))
    noise = sqrt(2) * pattern.u_own
    added = size - sqrt(max(size**2 - noise**2, 0.0))
    lens = 2 * sin(2 * pi / z) * pattern.u_smooth[1]
    return Value(size, float(np.hypot.reduce([added / 2, noise / sqrt(4 * z), lens])))


def _of_teeth(value: Value, each: Floats, u_scale: float = 0.0) -> Value:
    seen = each[np.isfinite(each)]
    by_tooth = float(seen.std(ddof=1) / sqrt(seen.size)) if seen.size > 1 else 0.0
    # A share larger than the whole is none of it: nothing is known to be shared then.
    shared = u_scale if u_scale <= (value.u or 0.0) else 0.0
    return Value(value.value, value.u, shared, by_tooth)


def _slope(side: Side) -> Callable[[Reading], Value]:
    def read(reading: Reading) -> Value:
        plain = _sided("profile_slope_mean_um", side)(reading)
        each = flank_array(reading, "profile_slope_um")[:, SIDES.index(side)]
        # A scale error is a base circle error: the flank leans by its share of the roll length.
        roll = reading.profile.roll_length_mm if reading.profile is not None else ()
        reach = 1e3 * (roll[-1] - roll[0]) if roll else 0.0
        return _of_teeth(plain, each, reach * _relative(reading))

    return read


def _form(reading: Reading) -> Value:
    form, u = (flank_array(reading, f"{p}profile_form_um") for p in ("", "u_"))
    if not np.isfinite(form).any():
        return Value(None, None)
    return _of_teeth(Value(float(np.nanmean(form)), float(np.nanmean(u))), form.ravel())


def _relative(reading: Reading) -> float:
    return reading.calibration.u_mm_per_px / reading.calibration.mm_per_px


def _thickness(reading: Reading) -> Value:
    plain = _plain("thickness_mean_mm")(reading)
    radius = reading.gear.measuring_diameter_mm / 2
    # A scale error moves the measuring circle along the flanks: ds = (s / r - 2 tan a) dr.
    angle = radians(reading.gear.pressure_angle_deg or 0.0)
    slope = (plain.value or 0.0) / radius - 2 * tan(angle)
    each = np.array([t.thickness_mm for t in reading.teeth], dtype=float)
    return _of_teeth(plain, each, abs(slope) * radius * _relative(reading))


def _length(name: str, each: Callable[[Reading], list[float | None]]) -> Callable[[Reading], Value]:
    def read(reading: Reading) -> Value:
        plain = _plain(name)(reading)
        share = (plain.value or 0.0) * _relative(reading)
        return _of_teeth(plain, np.array(each(reading), dtype=float), share)

    return read


def _floor(reading: Reading) -> Value:
    each = np.array([gap.floor_ratio for gap in reading.gaps], dtype=float)
    return _of_teeth(_plain("floor_ratio_mean")(reading), each)


_READ: dict[str, Callable[[Reading], Value]] = {
    "scatter": _scatter,
    "spread_left": _sided("spacing_spread_um", "left"),
    "spread_right": _sided("spacing_spread_um", "right"),
    "single": _plain("single_pitch_max_um"),
    "total": _plain("cumulative_pitch_total_um"),
    "runout": _plain("runout_um"),
    "eccentricity": _plain("eccentricity_um"),
    "thickness": _thickness,
    "depth": _length("depth_mean_mm", lambda r: [g.depth_mm for g in r.gaps]),
    "tip": _length("tip_diameter_mean_mm", lambda r: [t.tip_diameter_mm for t in r.teeth]),
    "floor_ratio": _floor,
    "slope_left": _slope("left"),
    "slope_right": _slope("right"),
    "form": _form,
}


def same_calibration(first: Reading, second: Reading) -> bool:
    """Tell whether both pictures' scales are one and the same statement.

    Same value, uncertainty, method and file. A scale found in each picture by itself differs in its
    last digits; one that the stated module set is none.
    """
    a, b = first.calibration, second.calibration
    return (
        isclose(a.mm_per_px, b.mm_per_px, rel_tol=SAME_SCALE)
        and isclose(a.u_mm_per_px, b.u_mm_per_px, rel_tol=SAME_SCALE)
        and (a.method, a.file) == (b.method, b.file)
        and a.method != "from_module"
    )


def in_arc(first: Reading, second: Reading) -> bool:
    """Tell whether pitch errors must be compared as angles, the gears differing in size."""
    a, b = first.gear, second.gear
    same = isclose(a.measuring_diameter_mm, b.measuring_diameter_mm, rel_tol=SAME_SIZE)
    return a.teeth != b.teeth or not same


def why_not(first: Reading, second: Reading, kind: Kind) -> str:
    """Say why a figure of two readings cannot be compared; empty where it can."""
    a, b = first.gear, second.gear
    if kind.needs in ("pitch", "axis") and first.datum.kind != second.datum.kind:
        return (
            f"one is about the {first.datum.kind}, the other about the {second.datum.kind}: read "
            "both with the same --datum"
        )
    if kind.needs in ("length", "shape") and in_arc(first, second):
        return "the gears differ in size"
    if kind.key == "runout" and first.summary.pin_diameter_mm != second.summary.pin_diameter_mm:
        return "the pins differ: read both with the same --pin-diameter"
    if kind.needs == "length" and "from_module" in (
        first.calibration.method, second.calibration.method,
    ):  # fmt: skip
        return "the module set the scale, so no length was measured: give a scale"
    if kind.needs == "shape" and (a.rack, a.pressure_angle_deg) != (b.rack, b.pressure_angle_deg):
        return "they were held against different racks"
    return ""
