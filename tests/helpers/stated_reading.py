"""A reading straight from the truth of a made gear, with measuring errors of stated size.

Skips picture and edges: each figure is the true one plus a random error of the standard
uncertainty that the reading then states, with the correlations a picture has (`stated_figures`).
"""

from math import degrees, hypot, sqrt, tan

import numpy as np

from cogloupe import __version__
from cogloupe.evaluation.deviations import cumulative_pitch, gap_width, pin_radius, single_pitch
from cogloupe.fits.teeth_axis import thickness
from cogloupe.forms.check_sizes import STANDARD_PIN
from cogloupe.forms.rack import Gear
from cogloupe.numerics.angles import atan2_deg
from cogloupe.numerics.missing import number
from cogloupe.reading.models import (
    CalibrationInfo,
    Datum,
    Flank,
    Gap,
    GearInfo,
    PerSide,
    PhotoInfo,
    Reading,
    Summary,
    Tooth,
)
from cogloupe.simulation.making import Made
from cogloupe.uncertainty.combination import pitch_uncertainty
from cogloupe_calibration.units import MM_PER_INCH

from ..helpers.stated_figures import (
    FRAME_PX,
    MIDDLE_PX,
    MeasuringErrors,
    StatedFigures,
    stated_figures,
)

PARTIAL_FORM_UM = 3.0
"""A flank whose form strays by more than this and five times its noise is called partial: a
reading then fits the part that follows the involute."""


def stated_reading(
    made: Made, errors: MeasuringErrors, rng: np.random.Generator | None, bore: bool = True
) -> Reading:
    """Read a made gear without a picture.

    Parameters
    ----------
    made : Made
        The gear.
    errors : MeasuringErrors
        Their sizes; they become the reading's uncertainties.
    rng : Generator or None
        Draws the errors; None leaves them out of the figures and keeps the uncertainties.
    bore : bool
        The bore is seen and the datum; without it the teeth are.

    Returns
    -------
    Reading
    """
    seen = stated_figures(made, errors, rng, bore)
    size, middle = seen.mm_per_px, MIDDLE_PX
    return Reading(
        software_version=__version__,
        photo=PhotoInfo(file="gear.png", sha256="0" * 64, width_px=FRAME_PX, height_px=FRAME_PX),
        gear=_gear_info(made.gear.design),
        calibration=CalibrationInfo(
            mm_per_px=size, u_mm_per_px=size * errors.scale, method="stated scale", file=None
        ),
        datum=Datum(
            kind="bore" if bore else "teeth", x_px=middle, y_px=middle,
            bore_xy_px=(middle, middle) if bore else None,
        ),
        teeth=_teeth(seen),
        gaps=_gaps(seen),
        summary=_summary(seen),
        tolerance=None,
    )  # fmt: skip


def _gear_info(design: Gear) -> GearInfo:
    return GearInfo(
        teeth=design.teeth,
        module_mm=design.module_mm,
        diametral_pitch=MM_PER_INCH / design.module_mm,
        pressure_angle_deg=degrees(design.rack.pressure_angle),
        profile_shift=design.profile_shift,
        measuring_diameter_mm=2 * design.reference_radius,
        source="given",
        rack=design.rack.name,
    )


def _teeth(seen: StatedFigures) -> tuple[Tooth, ...]:
    radius, errors = seen.radius, seen.errors
    noise = np.full(seen.position.shape, errors.flank_um / 1000 / radius)
    u_single, u_cumulative = pitch_uncertainty(noise, seen.modes, 1000 * radius)
    u_place = np.sqrt(noise**2 + sum(mode.position**2 for mode in seen.modes))
    columns = {
        "position_deg": np.degrees(np.angle(np.exp(1j * seen.position))),
        "u_position_deg": np.degrees(u_place),
        "single_pitch_um": single_pitch(seen.position, 1000 * radius),
        "u_single_pitch_um": u_single,
        "cumulative_pitch_um": cumulative_pitch(seen.position, 1000 * radius),
        "u_cumulative_pitch_um": u_cumulative,
        "profile_form_um": seen.form_um,
        "u_profile_form_um": np.full(noise.shape, errors.form_um),
        "profile_slope_um": seen.slope_um,
        "u_profile_slope_um": np.full(noise.shape, seen.u_slope_um),
    }
    thick = thickness(seen.position, radius)
    u_thick = hypot(sqrt(2) * errors.flank_um / 1000, seen.common)
    u_tip = _u_radius(seen, float(seen.tip.mean()))
    blank = dict.fromkeys(Flank.model_fields)
    short = seen.form_um > PARTIAL_FORM_UM + 5 * errors.form_um

    def flank(k: int, side: int) -> Flank:
        figures = {name: number(column[k, side]) for name, column in columns.items()}
        status = "partial" if short[k, side] else "ok"
        return Flank.model_validate(blank | figures | {"status": status})

    return tuple(
        Tooth(
            number=k + 1, centre_deg=atan2_deg(float(seen.position[k].mean())),
            left=flank(k, 0), right=flank(k, 1),
            thickness_mm=float(thick[k]), u_thickness_mm=u_thick,
            tip_diameter_mm=2 * float(seen.tip[k]), u_tip_diameter_mm=2 * u_tip,
        )
        for k in range(len(thick))
    )  # fmt: skip


def _u_radius(seen: StatedFigures, radius: float) -> float:
    errors = seen.errors
    return hypot(errors.radius_um / 1000, errors.edge_um / 1000, errors.scale * radius)


def _gaps(seen: StatedFigures) -> tuple[Gap, ...]:
    columns = {
        "width_mm": gap_width(seen.position, seen.radius),
        "root_diameter_mm": 2 * seen.root,
        "u_root_diameter_mm": [2 * _u_radius(seen, float(root)) for root in seen.root],
        "floor_ratio": seen.ratio,
        "pin_radius_mm": pin_radius(
            seen.position, seen.design.base_radius, seen.radius,
            STANDARD_PIN * seen.design.module_mm,
        ),
    }  # fmt: skip
    alike = dict.fromkeys(Gap.model_fields) | {
        "u_width_mm": hypot(sqrt(2) * seen.errors.flank_um / 1000, seen.common),
        "u_floor_ratio": _u_ratio(seen),
    }
    rows = zip(*columns.values(), strict=True)
    return tuple(
        Gap.model_validate(alike | {"number": k} | dict(zip(columns, map(float, row), strict=True)))
        for k, row in enumerate(rows, 1)
    )


def _u_ratio(seen: StatedFigures) -> float:
    """As a reading states it, which leaves out that both widths err by the same edge."""
    near = hypot(seen.errors.floor_um / 1000, seen.edge) / seen.near
    return hypot(near, seen.edge / seen.reference)


def _summary(seen: StatedFigures) -> Summary:
    z, errors = seen.design.teeth, seen.errors
    own = sqrt(2 / z) * errors.flank_um / 1000
    thick = float(thickness(seen.position, seen.radius).mean())
    tip, root = float(seen.tip.mean()), float(seen.root.mean())
    slope = seen.slope_um.mean(axis=0)
    u_slope = seen.u_slope_um
    blank: dict[str, object] = dict.fromkeys(Summary.model_fields)
    sides = [n for n, field in Summary.model_fields.items() if field.annotation is PerSide]
    blank |= dict.fromkeys(sides, PerSide(left=None, right=None))
    u_ecc = hypot(errors.bore_um / 1000, own / 2 / tan(seen.design.rack.pressure_angle))
    return Summary.model_validate(
        blank
        | {
            "thickness_mean_mm": thick, "u_thickness_mean_mm": hypot(own, seen.common),
            "tip_diameter_mean_mm": 2 * tip, "u_tip_diameter_mean_mm": 2 * _u_radius(seen, tip),
            "root_diameter_mean_mm": 2 * root, "u_root_diameter_mean_mm": 2 * _u_radius(seen, root),
            "floor_ratio_mean": float(seen.ratio.mean()), "u_floor_ratio_mean": _u_ratio(seen),
            "u_eccentricity_um": 1000 * u_ecc if seen.bore else None,
            "profile_slope_mean_um": PerSide(left=float(slope[0]), right=float(slope[1])),
            "u_profile_slope_mean_um": PerSide(left=u_slope, right=u_slope),
        }
    )  # fmt: skip
