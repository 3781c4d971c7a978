"""Scale of a picture from a size that a micrometer found on the gear: a span, or over two pins."""

from math import hypot, sqrt

import numpy as np

from cogloupe.finding.tooth_map import ToothMap
from cogloupe.fits.flanks import fit_flanks, rough_involute
from cogloupe.fits.gauged_flanks import (
    GaugedFlanks,
    gauged_flanks,
    nearest_span,
    over_pins,
    scale_for_over_pins,
    seated_pins,
    spans,
)
from cogloupe.fits.module_seen import SeenModule
from cogloupe.forms.check_sizes import STANDARD_PIN, teeth_to_span
from cogloupe.forms.rack import Gear
from cogloupe.inputs.settings import GearSettings
from cogloupe.optics.outlines import Outlines
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.calibration import Method
from cogloupe_calibration.errors import PhotoError, UseError
from cogloupe_calibration.scale import MICROMETER_U_MM, Scale


def scale_from_gauge(
    settings: GearSettings,
    outlines: Outlines,
    teeth: ToothMap,
    centre: Floats,
    seen: SeenModule,
) -> Scale | None:
    """Scale at which the gear has the size that a micrometer found on it.

    None where no such size is known, or something else sets the scale.

    Parameters
    ----------
    outlines, teeth
        Edges and their teeth.
    centre : ndarray, shape (2,)
        Axis of the teeth, px.
    seen : SeenModule
        Module as the picture shows it.

    Raises
    ------
    UseError
        Where the pins' diameter is not known.
    PhotoError
        Where the size does not belong to what the picture shows.
    """
    known = settings.lengths_mm
    if known.keys() & {"known_tip_diameter", "known_bore"}:
        return None
    if settings.span_mm is None and "over_pins" not in known:
        return None
    angle = np.radians(settings.pressure_angle_deg)
    fits = fit_flanks(outlines.outer, teeth, centre, rough_involute(teeth, seen.px, float(angle)))
    flanks = gauged_flanks(fits)
    level = outlines.u_edge_px
    noise = float(np.nanmedian(fits.u_unwound)) * flanks.base_radius
    if settings.span_mm is not None:
        return _from_span(settings, flanks, seen, level, noise)
    return _from_pins(settings, flanks, known["over_pins"], level, noise)


def _from_span(
    settings: GearSettings, flanks: GaugedFlanks, seen: SeenModule, level: float, noise: float
) -> Scale:
    assert settings.span_mm is not None  # the caller saw to it
    size_mm, count = settings.span_mm
    module = settings.module
    if count is None and module is not None:
        count = nearest_span(flanks, size_mm / module * seen.px)
    elif count is None:
        rack = settings.basic_rack(1.0)
        count = teeth_to_span(Gear(len(flanks.unwound), 1.0, rack))
    sizes = spans(flanks, count)[0]
    around = sizes[np.isfinite(sizes)]
    if not around.size:
        raise PhotoError(f"no {count} teeth side by side are seen well enough for --span")
    mean = float(around.mean())
    u_px = hypot(2 * level, sqrt(2) * noise, float(around.std()))
    return _scale("known_span", size_mm, mean, mean, u_px, 2.0)


def _from_pins(
    settings: GearSettings, flanks: GaugedFlanks, size_mm: float, level: float, noise: float
) -> Scale:
    pin = settings.lengths_mm.get("pin_diameter")
    if pin is None and settings.module is None:
        raise UseError(
            "--over-pins can set the scale only where the pins are known: give --pin-diameter"
        )
    pin = pin if pin is not None else STANDARD_PIN * settings.module  # type: ignore[operator]
    px = scale_for_over_pins(flanks, pin, size_mm)
    if not np.isfinite(px):
        raise PhotoError(
            f"pins of {pin:.4g} mm do not rest in gaps of a gear {size_mm:.4g} mm over them: "
            "check --over-pins and --pin-diameter"
        )
    radius, angle, _ = seated_pins(flanks, pin / px)
    sizes = over_pins(radius, angle, pin / px)
    sine = sqrt(1 - min(flanks.base_radius / float(np.nanmean(radius)), 1.0) ** 2)
    # The pin does not grow with the scale, so the size answers to it by less than itself.
    answers = float(np.nanmean(sizes)) - pin / px * (1 + 1 / sine)
    u_px = hypot(2 * level / sine, noise / sine, float(np.nanstd(sizes)))
    return _scale("known_over_pins", size_mm, size_mm / px, answers, u_px, 2 / sine)


def _scale(
    method: Method, size_mm: float, size_px: float, answers_px: float, u_px: float, edges: float
) -> Scale:
    """Scale from a size.

    `answers_px` is what the size grows by with the scale, `edges` what it grows by with each px
    that all edges stand out. The size was taken at some place, so its spread counts.
    """
    mm = size_mm / size_px
    relative = hypot(u_px, MICROMETER_U_MM / mm) / answers_px
    details: dict[str, float | str] = {"size_mm": size_mm, "size_px": size_px}
    return Scale(
        mm_per_px=mm,
        u_mm_per_px=mm * relative,
        method=method,
        details=details,
        by_edge=-edges / answers_px,
    )
