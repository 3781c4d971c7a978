"""What profiles, gaps and unknown gears are read as, on rendered gears whose truth is known.

Run: ``python -m tests.benchmarks.unknown [profile] [identity] [cutters]``. Without part names all
are run and the tables are written to results/unknown.md.
"""

from collections.abc import Callable, Iterator
from math import ceil

import numpy as np
from tests.benchmarks.common import Case, both_sides, make_case, run_parts, settings_of, table
from tests.benchmarks.cutting_set import CUT_CASES, CutCase

from cogloupe.cutting.cut_ranking import ALIKE
from cogloupe.inputs.settings import make_settings
from cogloupe.inspection import inspect_photo
from cogloupe.reading.models import Reading
from cogloupe.simulation import Camera, Faults, GearSpec, Scene

TEETH = (8, 12, 17, 30, 60, 120)
DEPTH_MODULES = 2.25
FAULTS = Faults(pitch_scatter_um=4, pressure_angle_error_deg=0.3)
PROFILE_HEAD = (
    "teeth", "tooth depth px", "angle", "angle less true, deg", "its U but for the scale",
    "f_Ha error px RMS", "of the mean flank", "f_Ha within U", "floor ratio less true", "U",
)  # fmt: skip


def scene(teeth: int, depth_px: float, faults: Faults = FAULTS, seed: int = 1, **gear: object):
    """Scene of a gear whose teeth are so many px deep.

    Parameters
    ----------
    teeth : int
    depth_px : float
        Of 2.25 modules.
    faults : Faults
    seed : int
    **gear
        Fields of the gear; module 1 mm where neither module nor DP is given.

    Returns
    -------
    Scene
    """
    if not {"module_mm", "dp"} & gear.keys():
        gear["module_mm"] = 1.0
    spec = GearSpec(teeth=teeth, **gear)
    spec = spec.model_copy(update={"bore_mm": 0.3 * teeth * spec.module})
    px = DEPTH_MODULES * spec.module / depth_px
    side = ceil((teeth + 3.2) * spec.module / px * 1.06)
    camera = Camera(
        mm_per_px=px, width_px=side, height_px=side, rotation_deg=1.7 + 13.0 * seed % 9,
        blur_px=1.0, noise=0.01, oversample=2 if side < 2200 else 1,
    )  # fmt: skip
    return Scene(gear=spec, camera=camera, faults=faults, seed=seed)


def read(case: Case, **given: object) -> Reading:
    """Reading of a case, with other settings where they are given."""
    settings = settings_of(case.truth, **given) if given else case.settings
    return inspect_photo(case.photo, settings)[0]


def profile() -> str:
    """Table of pressure angles, profile slopes and floor ratios.

    Returns
    -------
    str
    """
    depths = {8: (40, 200), 12: (40, 200), 17: (40, 200), 30: (40, 100), 60: (40, 80), 120: (40,)}
    rows = [
        _profile_row(teeth, depth, angle)
        for teeth in TEETH
        for depth in depths[teeth]
        for angle in (20.0, 14.5)
    ]
    return table(PROFILE_HEAD, rows)


def _profile_row(teeth: int, depth: float, angle: float) -> list[object]:
    case = make_case(scene(teeth, depth, pressure_angle_deg=angle))
    reading, truth = read(case), case.truth
    found, u = reading.summary.pressure_angle_mean_deg, reading.summary.u_pressure_angle_mean_deg
    assert found is not None
    assert u is not None
    by_scale = np.degrees(reading.calibration.u_mm_per_px / reading.calibration.mm_per_px)
    own = np.sqrt(max(u**2 - (by_scale / np.tan(np.radians(found))) ** 2, 0.0))
    slopes = both_sides(reading.teeth, "profile_slope_um")
    true = both_sides(truth.about_teeth.teeth, "profile_slope_um")
    px_um = 1000 * truth.picture.mm_per_px
    error = (slopes - true) / px_um
    inside = np.abs(slopes - true) < 2 * both_sides(reading.teeth, "u_profile_slope_um")
    ratio, u_ratio = _ratios(reading)
    true_ratio = _true_floor_ratio(case)
    return [
        teeth, depth, angle, f"{found - truth.profile.pressure_angle_deg:+.3f}", f"{2 * own:.3f}",
        f"{np.sqrt(np.mean(error**2)):.3f}", f"{error.mean():+.3f}", f"{inside.mean():.0%}",
        f"{ratio - true_ratio:+.4f}", f"{2 * u_ratio:.4f}",
    ]  # fmt: skip


def _ratios(reading: Reading) -> tuple[float, float]:
    value, u = reading.summary.floor_ratio_mean, reading.summary.u_floor_ratio_mean
    return (np.nan if value is None else value), (np.nan if u is None else u)


def _true_floor_ratio(case: Case) -> float:
    """Floor ratio of the truth as the reading means it: against the gap at the depth as cut.

    The scenes here are cut to the drawn depth, so that the truth's own definition, on the drawn
    circle, is the same.
    """
    value = case.truth.about_teeth.summary.floor_ratio_mean
    return np.nan if value is None else value


IDENTITY = (
    "teeth", "tooth depth px", "gears", "size right and alone", "size right among those alike",
    "angle right and alone", "rack among those alike", "shift within U",
    "no scale: more than one size alike",
)  # fmt: skip
KINDS: tuple[dict[str, object], ...] = tuple(
    {**size, "pressure_angle_deg": angle, "profile_shift": shift}
    for size in ({"module_mm": 0.5}, {"dp": 48})
    for angle in (20.0, 14.5)
    for shift in (0.0, 0.2, -0.1)
)


def identity() -> str:
    """Table of unknown gears of module 0.5 mm and 48 DP, 14.5 and 20 degrees.

    Returns
    -------
    str
    """
    return table(IDENTITY, [_identity_row(z, 40) for z in (12, 24, 60)])


def _identity_row(teeth: int, depth: float) -> list[object]:
    told = np.array([list(_identified(teeth, depth, kind, k)) for k, kind in enumerate(KINDS)])
    return [teeth, depth, len(KINDS), *(f"{int(column.sum())}" for column in told.T)]


def _identified(teeth: int, depth: float, kind: dict[str, object], seed: int) -> Iterator[bool]:
    faults = Faults(pitch_scatter_um=4)
    case = make_case(scene(teeth, depth, faults, seed + 1, **kind))
    px = 1000 * case.truth.picture.mm_per_px
    reading = inspect_photo(case.photo, make_settings({"unknown": True, "scale_um_per_px": px}))[0]
    found = reading.identity
    assert found is not None
    size = f"{kind['dp']:g} DP" if "dp" in kind else f"module {kind['module_mm']:g} mm"
    sizes, angles, systems = (
        [one.name for one in group if one.probability > group[0].probability / ALIKE]
        for group in (found.sizes, found.pressure_angles, found.systems)
    )
    yield sizes == [size]
    yield size in sizes
    yield angles == [f"{kind['pressure_angle_deg']:g}°"]
    yield case.truth.gear.rack in systems
    best = found.candidates[0]
    yield abs(best.profile_shift - float(kind["profile_shift"])) < 2 * best.u_profile_shift
    blind = inspect_photo(case.photo, make_settings({"unknown": True}))[0].identity
    assert blind is not None
    shares = [one.probability for one in blind.sizes]
    yield not blind.scale_known and shares[1] > shares[0] / ALIKE


CUTTERS = ("what was done", "teeth", "named alone", "named among those alike", "likeliest", "size")


def cutters() -> str:
    """Table of what cut gears that were cut, or drawn, in a known way.

    Returns
    -------
    str
    """
    return table(CUTTERS, [_cutter_row(case) for case in CUT_CASES])


def _cutter_row(cut: CutCase) -> list[object]:
    case = make_case(cut.scene)
    reading = read(case, **cut.settings)
    told = reading.cutting
    assert told is not None
    kinds = {row.situation: row.kind for row in told.situations}
    alike = [kinds[name] for name in told.alike]
    named = cut.label in told.alike if cut.label else cut.kind in alike
    best = next(row for row in told.situations if row.situation == told.alike[0])
    return [
        cut.what, case.truth.gear.teeth, "yes" if named and len(alike) == 1 else "",
        "yes" if named else "NO", best.situation, _size(best, cut),
    ]  # fmt: skip


def _size(best: object, cut: CutCase) -> str:
    """Size found beside the true one, where there is one to compare."""
    sizes = {size.name: size for size in best.sizes}  # type: ignore[attr-defined]
    if cut.size not in sizes:
        return ""
    found = sizes[cut.size]
    inside = abs(found.value - cut.true) < 2 * found.u_value
    text = f"{found.value:.4g} ± {2 * found.u_value:.2g} {found.unit}, true {cut.true:.4g}"
    return text + ("" if inside else " (outside U)")


PARTS: dict[str, tuple[str, Callable[[], str]]] = {
    "profile": (
        "## Pressure angle, f_Ha and floor ratio\n\nCutter 0.3 degrees off its angle, pitch "
        "scatter 4 µm, blur 1 px, noise 1 %, 8 bits; the scale is stated right, and its "
        "uncertainty (0.29 %) is left out of the angle's U here; what is left of it allows for a "
        "lens that was not measured (the pictures have none). f_Ha within U: share of the flanks, "
        "that U with scale and lens; its error over the whole evaluation range in px.\n",
        profile,
    ),
    "identity": (
        "## Unknown gears\n\n`--unknown` on gears of module 0.5 mm and 48 DP, 14.5 and 20 degrees, "
        "profile shift 0, 0.2 and -0.1; the scale stated (u 0.29 %), and not stated. Numbers of "
        "gears of which it is true.\n",
        identity,
    ),
    "cutters": (
        "## What cut it\n\nGears cut by the generating model (hob, form cutter) or drawn, 50 px "
        "deep, with a stated scale. Alike: situations within a factor of 20.\n",
        cutters,
    ),
}


if __name__ == "__main__":
    run_parts("unknown", "Profiles, gaps and unknown gears", PARTS)
