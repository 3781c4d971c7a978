"""Put measured figures into the reading's models."""

from collections.abc import Sequence
from math import degrees, hypot

import numpy as np

from cogloupe.evaluation.pitch_and_runout import Figures, thickness_uncertainty
from cogloupe.evaluation.profile import ProfileFigures
from cogloupe.evaluation.shapes import Shapes
from cogloupe.fits.bore_uncertainty import axes_notices, round_enough
from cogloupe.fits.datum import Axes
from cogloupe.fits.flank_guard import flank_status
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.clock_wheel import addendum_sizes
from cogloupe.forms.rack import Gear
from cogloupe.numerics.angles import atan2_deg
from cogloupe.numerics.missing import mean_seen, number
from cogloupe.reading.models import SIDES, CommonErrors, Datum, Flank, GearInfo, Tooth
from cogloupe.uncertainty.combination import place_uncertainty
from cogloupe.uncertainty.flank_uncertainty import datum_doubt
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.lens import UNMEASURED_LEAN, UNMEASURED_RADIAL, observed_points
from cogloupe_calibration.units import MM_PER_INCH


def build_teeth(
    measured: Measured,
    figures: Figures,
    profiles: ProfileFigures,
    pitch_u: tuple[Floats, Floats],
    shapes: Shapes,
) -> tuple[Tooth, ...]:
    """Teeth of the reading.

    Parameters
    ----------
    measured, figures, profiles, shapes
        What was worked out.
    pitch_u : tuple of ndarray, shape (z, 2)
        Standard uncertainties of single and cumulative pitch, µm.
    """
    status = np.roll(flank_status(measured.fits), -figures.first, axis=0)
    u_thick = thickness_uncertainty(measured, figures)
    u_position = np.sqrt(figures.noise**2 + sum(mode.position**2 for mode in figures.modes))
    arm_mm = measured.fits.curve.measuring_arm * measured.scale.mm_per_px
    u_position = np.hypot(u_position, figures.edge / arm_mm)
    columns: dict[str, Floats] = {
        "u_position_deg": np.degrees(u_position),
        "single_pitch_um": figures.single_um,
        "u_single_pitch_um": pitch_u[0],
        "cumulative_pitch_um": figures.cumulative_um,
        "u_cumulative_pitch_um": pitch_u[1],
        "place_um": figures.cumulative_um - [mean_seen(side) for side in figures.cumulative_um.T],
        "u_place_um": place_uncertainty(
            figures.noise, figures.modes, 1000 * figures.measuring_radius
        ),
        "profile_total_um": profiles.total,
        "u_profile_total_um": profiles.u_total,
        "profile_form_um": profiles.form,
        "u_profile_form_um": profiles.u_form,
        "profile_slope_um": profiles.slope,
        "u_profile_slope_um": profiles.u_slope,
        "pressure_angle_deg": np.degrees(profiles.angle),
        "u_pressure_angle_deg": np.degrees(profiles.u_angle),
        "u_own_um": 1000 * figures.measuring_radius * figures.noise,
    }

    def flank(k: int, side: int) -> Flank:
        seen = np.isfinite(figures.position[k, side])
        values = {n: number(v[k, side]) if seen else None for n, v in columns.items()}
        position = atan2_deg(figures.position[k, side])
        return Flank(position_deg=position, status=str(status[k, side]), **values)  # type: ignore[arg-type]

    return tuple(
        Tooth(
            number=k + 1,
            centre_deg=atan2_deg(figures.position[k].mean()),
            left=flank(k, 0),
            right=flank(k, 1),
            thickness_mm=number(figures.thickness[k]),
            u_thickness_mm=number(u_thick[k]),
            tip_diameter_mm=number(2 * shapes.tip.value[k]),
            u_tip_diameter_mm=number(2 * shapes.tip.u[k]),
        )
        for k in range(measured.wheel.teeth)
    )


def build_gear(measured: Measured) -> GearInfo:
    """What the teeth were compared with."""
    wheel, fits, px = measured.wheel, measured.fits, measured.scale.mm_per_px
    gear = wheel if isinstance(wheel, Gear) else None
    circle, arc = addendum_sizes(wheel)
    sized = wheel.flank.name != "straight"
    return GearInfo(
        form=wheel.flank.name,
        teeth=wheel.teeth,
        module_mm=wheel.module_mm,
        diametral_pitch=MM_PER_INCH / wheel.module_mm,
        pressure_angle_deg=degrees(gear.rack.pressure_angle) if gear else None,
        profile_shift=gear.profile_shift if gear else None,
        measuring_diameter_mm=2 * fits.curve.measuring_radius * px,
        source="given" if measured.source == "given" else "estimated",
        rack=gear.rack.name if gear else None,
        generating_circle_mm=circle,
        addendum_radius_mm=arc,
        addendum_source=measured.addendum_source,
        module_seen_mm=measured.module_seen.px * px if sized else None,
        u_module_seen_mm=measured.module_seen.u_px * px if sized else None,
    )


def build_datum(measured: Measured, axes: Axes, lens: Lens | None) -> Datum:
    """The datum and the other axes."""
    bore, px = measured.bore, measured.scale.mm_per_px

    def pair(axis: Floats | None) -> tuple[float, float] | None:
        if axis is None:
            return None
        x, y = axis if lens is None else observed_points(lens, axis)
        return float(x), float(y)

    datum = pair(axes.datum)
    assert datum is not None  # a datum was chosen
    u = None
    if bore is not None:
        edge = measured.outlines.u_edge_px
        u = 2 * hypot(bore.u_radius, edge) * px
        u = hypot(u, 2 * bore.radius * measured.scale.u_mm_per_px)
    return Datum(
        kind=axes.kind,
        x_px=datum[0],
        y_px=datum[1],
        bore_xy_px=pair(axes.bore),
        teeth_xy_px=pair(axes.teeth),
        tips_xy_px=pair(axes.tips),
        bore_diameter_mm=2 * bore.radius * px if bore is not None else None,
        u_bore_diameter_mm=u,
    )


def build_common(measured: Measured, axes: Axes, edge_mm: float, lens: Lens) -> CommonErrors:
    """What moves the figures of one picture together.

    Parameters
    ----------
    edge_mm : float
        Standard uncertainty of all edges together.
    lens : Lens
        Measured, or with the allowance that the figures were given.
    """
    px = 1000 * measured.scale.mm_per_px
    u_px, (x, y) = datum_doubt(measured, axes)
    return CommonErrors(
        edge_um=1000 * edge_mm, datum_um=px * u_px, rims_um=(px * x, px * y), lens=lens
    )


def build_notices(
    measured: Measured, axes: Axes, teeth: Sequence[Tooth], lens_measured: bool
) -> tuple[Notice, ...]:
    """What a person should know about the reading.

    Parameters
    ----------
    lens_measured : bool
        False where the calibration knows nothing of the lens.
    """
    notices = list(measured.notices)
    if axes.bore is None:
        notices.append(flag("no_bore"))
    elif measured.bore is not None and measured.bore.rms > max(0.3, 0.005 * measured.bore.radius):
        um = 1000 * measured.bore.rms * measured.scale.mm_per_px
        code = "bore_not_round" if round_enough(measured.bore) else "bore_no_datum"
        notices.append(flag(code, um=um))
    if axes.bore_doubted and axes.bore is not None and axes.tips is not None:
        um = 1000 * float(np.hypot(*(axes.bore - axes.tips))) * measured.scale.mm_per_px
        notices.append(flag("bore_or_rim", um=um))
    else:
        notices += _axes_notices(measured, axes)
    for status in ("obstructed", "partial", "not_seen"):
        numbers = tuple(t.number for t in teeth if status in {getattr(t, s).status for s in SIDES})
        if numbers:
            notices.append(flag(status, teeth=numbers))
    if not lens_measured:
        percent, lean = 200 * UNMEASURED_RADIAL, degrees(2 * UNMEASURED_LEAN)
        notices.append(flag("lens_not_measured", percent=percent, lean=lean))
    return tuple(notices)


def _axes_notices(measured: Measured, axes: Axes) -> tuple[Notice, ...]:
    """Say so where the middles that bore, tips and flanks tell disagree."""
    seen = {"teeth": axes.teeth, "bore": axes.bore, "tips": axes.tips}
    places = {name: place for name, place in seen.items() if place is not None}
    # Less than what is not known of every edge is not worth a word, though it moves no middle.
    level = measured.outlines.u_level_px
    u = {name: float(np.hypot(axes.u_px[name], level)) for name in places}
    return axes_notices(places, u, measured.scale.mm_per_px)
