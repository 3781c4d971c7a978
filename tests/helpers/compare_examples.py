"""Readings with known truth for the tests of comparing: true places, and what measuring adds."""

import numpy as np

from cogloupe.reading.models import BudgetLine, PerSide

from ..helpers.report_examples import example_reading

NOISE_UM, SMOOTH_UM = 0.6, 2.0
RELATIVE_U = 1 / 2000  # of the scale, as in the example reading


def machine_places(rng, teeth, scatter_um, linked=0.9, eccentric_um=0.0, wave=(), heavy=False):
    """True place errors of a gear, shape (z, 2): scatter mostly common to both flanks of a tooth,
    an eccentric mounting of random direction, and waves (harmonic, amplitude) of random phase."""
    draw = (lambda size: rng.standard_t(4, size) / np.sqrt(2)) if heavy else rng.standard_normal
    both, own = draw((teeth, 1)), draw((teeth, 2))
    place = scatter_um * (np.sqrt(linked) * both + np.sqrt(1 - linked) * own)
    angle = 2 * np.pi * np.arange(teeth)[:, None] / teeth
    for harmonic, size in ((1, eccentric_um), *wave):
        place = place + size * np.sin(harmonic * angle + rng.uniform(0, 2 * np.pi))
    return place


def measured_places(rng, place, noise_um=NOISE_UM, smooth_um=SMOOTH_UM):
    """Places as a photograph gives them: noise of each flank, and a smooth error of the lens."""
    angle = 2 * np.pi * np.arange(len(place))[:, None] / len(place)
    a = rng.normal(0, smooth_um / np.sqrt(2), 4)
    lens = sum(
        a[2 * h] * np.cos((h + 1) * angle) + a[2 * h + 1] * np.sin((h + 1) * angle) for h in (0, 1)
    )
    return place + lens + rng.normal(0, noise_um, place.shape)


def reading_of(
    place, noise_um=NOISE_UM, smooth_um=SMOOTH_UM, summary=None, statuses=None, **changed
):
    """Reading whose pitch figures follow from measured places, with the uncertainties of the
    noise and of the smooth error; `summary` displaces further figures of the summary."""
    teeth = len(place)
    made = example_reading(teeth=teeth, errors=place, statuses=statuses, **changed)
    pair = np.sqrt(2) * noise_um
    steps = 2 * np.sin(np.pi * np.array([1, 2]) / teeth)  # of waves once and twice a turn
    u_single = float(np.hypot(pair, smooth_um * np.sqrt((steps**2).mean())))
    u_sum = float(np.hypot(pair, np.sqrt(2) * smooth_um))
    u = {"u_single_pitch_um": u_single, "u_cumulative_pitch_um": u_sum}
    flanks = [
        {s: f if (f := getattr(t, s)).status == "not_seen" else f.model_copy(update=u)
         for s in ("left", "right")}
        for t in made.teeth
    ]  # fmt: skip
    single = place - np.roll(place, 1, axis=0)
    spread, wide = single.std(axis=0), np.ptp(single, axis=0)
    figures = {
        "single_pitch_max_um": float(np.abs(single).max()), "u_single_pitch_max_um": u_single,
        "cumulative_pitch_total_um": float(np.ptp(place, axis=0).max()),
        "u_cumulative_pitch_total_um": u_sum,
        "spacing_spread_um": PerSide(left=spread[0], right=spread[1]),
        "u_spacing_spread_um": PerSide(
            **dict.fromkeys(("left", "right"), u_single / np.sqrt(2 * teeth))
        ),
        "spacing_range_um": PerSide(left=wide[0], right=wide[1]),
    }  # fmt: skip
    budget = BudgetLine(
        figure="single pitch", source="edge noise and fit", value="0.04 px", unit="um",
        distribution="normal", sensitivity="two flanks", contribution=float(pair),
    )  # fmt: skip
    return made.model_copy(update={
        "teeth": tuple(
            t.model_copy(update=f) for t, f in zip(made.teeth, flanks, strict=True)
        ),
        "summary": made.summary.model_copy(update=figures | (summary or {})),
        "budget": (budget,),
    })  # fmt: skip


def blank_figures(rng, scale_error, teeth, module_mm=1.0):
    """Figures of equal blanks as measured: errors of their own, and the scale's, which readings
    with one calibration share (`scale_error`, drawn with `RELATIVE_U`)."""
    true = {
        "runout_um": (30.0, 1.2, 0.0), "eccentricity_um": (14.0, 0.6, 0.0),
        "thickness_mean_mm": (1.52, 3e-3, 1.52 - teeth * module_mm * np.tan(np.radians(20))),
        "depth_mean_mm": (2.31, 7e-3, 2.31), "floor_ratio_mean": (1.1, 0.018, 0.0),
        "tip_diameter_mean_mm": (24.0, 6e-3, 24.0),
    }  # fmt: skip
    made = {}
    for name, (value, own, by_scale) in true.items():
        made[name] = float(rng.normal(value, own) + by_scale * scale_error)
        made[f"u_{name}"] = float(np.hypot(own, by_scale * RELATIVE_U))
    sides = {s: float(rng.normal(-3.0, 0.5)) for s in ("left", "right")}
    return made | {"profile_slope_mean_um": PerSide(**sides)}


def unchanged_or_not(rng, teeth, before_um, after_um, **machine):
    """Readings of two gears cut with the given scatter, all else the same, one calibration."""
    scale_error = rng.normal(0, RELATIVE_U)
    return [
        reading_of(
            measured_places(rng, machine_places(rng, teeth, scatter, **machine)),
            summary=blank_figures(rng, scale_error, teeth),
        )
        for scatter in (before_um, after_um)
    ]
