"""What the mean gap tells beside its figures: what cut it, and which gear an unknown one is."""

from math import degrees
from typing import Any

from numpy.typing import NDArray

from cogloupe.cutting.cut_ranking import rank_cuts
from cogloupe.cutting.cutting_text import build_cutting, build_identity
from cogloupe.cutting.unknown import Identified, base_radius_seen, identify, measures
from cogloupe.evaluation.mean_gap import measure_mean_gap
from cogloupe.evaluation.pitch_and_runout import Figures, compute_pitch
from cogloupe.fits.datum import choose_datum
from cogloupe.fits.measure import measure_gear
from cogloupe.fits.measured_gear import Measured
from cogloupe.forms.basic_racks import RACK_NAMES
from cogloupe.inputs.settings import GearSettings
from cogloupe.reading.cutting_models import Cutting, Identity
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.errors import PhotoError, UseError
from cogloupe_calibration.lens import unmeasured_lens
from cogloupe_calibration.scale import Scale
from cogloupe_calibration.units import MM_PER_INCH


def gap_findings(
    measured: Measured, figures: Figures, settings: GearSettings, lens: Lens
) -> tuple[Cutting | None, Identity | None]:
    """What cut the gaps, and, where it was asked for, which gear it is.

    Parameters
    ----------
    lens : Lens
        Measured, or with an allowance.

    Returns
    -------
    Cutting or None
        None where too few gaps are seen whole, or the teeth are not of a rack that was stated.
    Identity or None
        None too where it was not asked for.
    """
    if not measured.involute or (settings.module is None and not settings.unknown):
        return None, None
    try:
        gap = measure_mean_gap(measured, figures, lens)
    except PhotoError:
        return None, None
    relative_u = _own_scale(measured)
    ranking = rank_cuts(gap, measured.gear, settings.dp is not None, relative_u is not None)
    cutting = build_cutting(ranking) if ranking is not None else None
    if not settings.unknown:
        return cutting, None
    base = base_radius_seen(measured)
    found = identify(gap, measured.gear.teeth, base[0], relative_u)
    if found is None:
        return cutting, None
    sizes = measures(found.tried[0], gap, base, measured.scale.relative_u)
    return cutting, build_identity(found, list(sizes))


def _own_scale(measured: Measured) -> float | None:
    """Relative standard uncertainty of the scale; None where the module set it."""
    scale = measured.scale
    return None if scale.method == "from_module" else scale.relative_u


def settings_by_sight(
    pixels: NDArray[Any], settings: GearSettings, stated: Scale | None, lens: Lens | None
) -> GearSettings:
    """Settings of an unknown gear by what its picture shows.

    With the likeliest module or pitch, pressure angle and rack; as given where no standard gear
    comes near.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    settings : GearSettings
        What was given.
    stated : Scale or None
        Scale from a calibration or a statement.
    lens : Lens, optional
        Measured lens.

    Raises
    ------
    PhotoError
        Where the picture cannot be measured, or too few gaps are seen whole.
    UseError
        Where teeth of another form than the involute were asked for.
    """
    if settings.form != "involute":
        raise UseError(f"--unknown looks for involute teeth, not {settings.form}: leave one out")
    if stated is None and settings.module is None and not _sets_scale(settings):
        # Shapes can be told without any size; a module of 1 mm gives them a unit.
        settings = settings.model_copy(update={"module_mm": 1.0})
    height, width = pixels.shape[:2]
    measured = measure_gear(pixels, settings, stated, lens)
    axes = choose_datum(measured, settings.datum)
    figures = compute_pitch(measured, axes, settings, (width, height), lens)
    gap = measure_mean_gap(measured, figures, lens or unmeasured_lens(width, height))
    base, _ = base_radius_seen(measured)
    found = identify(gap, measured.gear.teeth, base, _own_scale(measured))
    return settings if found is None else _as_found(settings, found)


def _sets_scale(settings: GearSettings) -> bool:
    known = {"known_tip_diameter", "known_bore", "over_pins"} & settings.lengths_mm.keys()
    return bool(known) or settings.span is not None


def _as_found(settings: GearSettings, found: Identified) -> GearSettings:
    best = found.tried[0]
    rack, module = best.gear.rack, best.module_mm
    size: dict[str, object] = {"module_mm": None, "dp": MM_PER_INCH / module}
    if not best.dp:
        size = {"module_mm": module, "dp": None}
    if not found.scale_known:
        size = {}
    return settings.model_copy(
        update=size
        | {
            "teeth": best.gear.teeth,
            "pressure_angle_deg": round(degrees(rack.pressure_angle), 6),
            "rack": rack.name if rack.name in RACK_NAMES else None,
        }
    )
