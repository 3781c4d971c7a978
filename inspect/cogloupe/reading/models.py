"""The reading of one photograph: the models behind reading.json and teeth.csv.

Field names carry their units. Fields named ``u_...`` are standard uncertainties (k = 1); what a
person is shown is U = 2u. A figure that was not measured is None, never invented.
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cogloupe.forms.tooth_form import FormName
from cogloupe.reading.bounds import ModuleMm, SidePx, TeethCount, ToothNumber
from cogloupe.reading.cutting_models import Cutting, Identity
from cogloupe.reading.flank_models import FlankCurves
from cogloupe.reading.photo_set import PhotoSet
from cogloupe.reading.verdict_models import CauseFindings, Verdict
from cogloupe.wording.notices import Notice
from cogloupe_calibration.calibration import Lens
from cogloupe_calibration.file_model import FileModel

SCHEMA_VERSION = "1.0"

FlankStatus = Literal["ok", "partial", "obstructed", "not_seen"]
DatumKind = Literal["bore", "teeth", "tips"]
Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")


class PhotoInfo(FileModel):
    """Which photograph was read."""

    file: str
    sha256: str
    width_px: SidePx
    height_px: SidePx
    camera: str | None = None
    taken: str | None = None


class GearInfo(FileModel):
    """The gear the teeth were compared with; what its form does not have is None.

    Cycloidal teeth have a generating circle (its diameter) or an arc for their addendum. The module
    is the reference diameter over the number of teeth; where nobody stated that of straight-sided
    teeth, it goes with a circle half-way up them.
    """

    form: FormName = "involute"
    teeth: TeethCount
    module_mm: ModuleMm
    diametral_pitch: float
    pressure_angle_deg: float | None
    profile_shift: float | None
    measuring_diameter_mm: float
    source: Literal["given", "estimated"]
    rack: str | None
    generating_circle_mm: float | None = None
    addendum_radius_mm: float | None = None
    addendum_source: Literal["given", "estimated"] | None = None
    module_seen_mm: float | None = None
    u_module_seen_mm: float | None = None


class CalibrationInfo(FileModel):
    """The picture's scale."""

    mm_per_px: Annotated[float, Field(gt=0)]
    u_mm_per_px: float
    method: str
    file: str | None


class Datum(FileModel):
    """The axis that angles are measured about; the other centres that can be seen beside it."""

    kind: DatumKind
    x_px: float
    y_px: float
    bore_xy_px: tuple[float, float] | None = None
    teeth_xy_px: tuple[float, float] | None = None
    tips_xy_px: tuple[float, float] | None = None
    bore_diameter_mm: float | None = None
    u_bore_diameter_mm: float | None = None


class Flank(FileModel):
    """One flank of one tooth.

    `place_um` is the cumulative pitch deviation about the mean of its side: how far the flank
    stands ahead (clockwise) of its place. `u_own_um` is what its place errs by itself, without its
    fellows.
    """

    position_deg: float | None
    u_position_deg: float | None
    single_pitch_um: float | None
    u_single_pitch_um: float | None
    cumulative_pitch_um: float | None
    u_cumulative_pitch_um: float | None
    profile_total_um: float | None
    u_profile_total_um: float | None
    profile_form_um: float | None
    u_profile_form_um: float | None
    profile_slope_um: float | None
    u_profile_slope_um: float | None
    pressure_angle_deg: float | None
    u_pressure_angle_deg: float | None
    u_own_um: float | None = None
    status: FlankStatus
    place_um: float | None = None
    u_place_um: float | None = None


class Tooth(FileModel):
    """One tooth; numbered clockwise on the picture from twelve o'clock."""

    number: ToothNumber
    centre_deg: float | None
    left: Flank
    right: Flank
    thickness_mm: float | None
    u_thickness_mm: float | None
    tip_diameter_mm: float | None
    u_tip_diameter_mm: float | None


class Gap(FileModel):
    """The gap clockwise after the tooth of the same number.

    Widths are arcs: where the flanks meet the tip circle, on the measuring and form circles, near
    the floor and of the floor (0.25 and 0.05 modules above it). `lean_deg` is the angle of the
    middle line against the radius, positive where it runs clockwise outwards.
    """

    number: ToothNumber
    width_mm: float | None
    u_width_mm: float | None
    root_diameter_mm: float | None
    u_root_diameter_mm: float | None
    depth_mm: float | None
    u_depth_mm: float | None
    floor_width_mm: float | None
    u_floor_width_mm: float | None
    fillet_radius_mm: float | None
    u_fillet_radius_mm: float | None
    floor_ratio: float | None
    u_floor_ratio: float | None
    pin_radius_mm: float | None
    tip_width_mm: float | None = None
    u_tip_width_mm: float | None = None
    form_width_mm: float | None = None
    u_form_width_mm: float | None = None
    near_floor_width_mm: float | None = None
    u_near_floor_width_mm: float | None = None
    floor_flatness_um: float | None = None
    u_floor_flatness_um: float | None = None
    lean_deg: float | None = None
    u_lean_deg: float | None = None


class GapMean(FileModel):
    """The mean of all gaps; names as in `Gap`."""

    tip_width_mm: float | None
    u_tip_width_mm: float | None
    width_mm: float | None
    u_width_mm: float | None
    form_width_mm: float | None
    u_form_width_mm: float | None
    near_floor_width_mm: float | None
    u_near_floor_width_mm: float | None
    floor_width_mm: float | None
    u_floor_width_mm: float | None
    floor_flatness_um: float | None
    u_floor_flatness_um: float | None
    fillet_radius_mm: float | None
    u_fillet_radius_mm: float | None
    depth_mm: float | None
    u_depth_mm: float | None
    lean_deg: float | None
    u_lean_deg: float | None


class GapTheory(FileModel):
    """The gap that the stated tooth gives at the depth that was found, and what a mate may use.

    `depth_mm` is the stated whole depth. A mating rack in tight mesh uses the flanks down to
    `rack_contact_diameter_mm`; `rack_contact_margin_mm` is the length of roll by which it stays
    above the form circle, and below zero, beyond its U, it would touch the fillet.
    """

    profile_shift: float | None
    tip_diameter_mm: float
    form_diameter_mm: float
    near_floor_diameter_mm: float
    root_diameter_mm: float
    tip_width_mm: float
    width_mm: float
    form_width_mm: float
    near_floor_width_mm: float
    floor_width_mm: float
    fillet_radius_mm: float | None
    depth_mm: float | None
    undercut: bool | None = None
    rack_contact_diameter_mm: float | None = None
    rack_contact_margin_mm: float | None = None
    u_rack_contact_margin_mm: float | None = None


class SizeAround(FileModel):
    """A size taken at every place round the gear; `nominal_mm` is that of the stated gear.

    `range_um` is the largest less the smallest.
    """

    mean_mm: float | None
    u_mean_mm: float | None
    least_mm: float | None
    most_mm: float | None
    range_um: float | None
    u_range_um: float | None
    nominal_mm: float
    places: int


class SpanSize(SizeAround):
    """Size over some teeth between parallel anvils."""

    teeth_spanned: int


class PinSize(SizeAround):
    """Size over two pins in gaps as nearly opposite as there are."""

    pin_diameter_mm: float


class ChordSize(SizeAround):
    """Thickness of a tooth along the chord on the reference circle, at a height below the tip."""

    height_mm: float | None
    u_height_mm: float | None


class SizeCheck(FileModel):
    """A micrometer's reading beside the picture's.

    `agrees` is None where the reading itself sets the scale, so that nothing is left to compare.
    `fits_teeth` is the number of teeth whose span comes nearest to the reading.
    """

    kind: Literal["span", "over_pins"]
    teeth_spanned: int | None = None
    fits_teeth: int | None = None
    pin_diameter_mm: float | None = None
    stated_mm: float
    u_stated_mm: float
    measured_mm: float | None
    u_measured_mm: float | None
    difference_um: float | None
    u_difference_um: float | None
    agrees: bool | None


class Sizes(FileModel):
    """Sizes that gauges would find on the measured gear."""

    spans: tuple[SpanSize, ...] = ()
    over_pins: PinSize | None = None
    pins_note: str = ""
    chord: ChordSize | None = None
    base_pitch_left: SizeAround | None = None
    base_pitch_right: SizeAround | None = None
    checks: tuple[SizeCheck, ...] = ()


class PerSide(FileModel):
    """A figure for the left flanks and one for the right."""

    left: float | None
    right: float | None


class Summary(FileModel):
    """The gear in a few figures."""

    single_pitch_max_um: float | None
    u_single_pitch_max_um: float | None
    cumulative_pitch_total_um: float | None
    u_cumulative_pitch_total_um: float | None
    spacing_spread_um: PerSide
    u_spacing_spread_um: PerSide
    spacing_range_um: PerSide
    u_spacing_range_um: PerSide
    runout_um: float | None
    u_runout_um: float | None
    pin_diameter_mm: float | None
    eccentricity_um: float | None
    u_eccentricity_um: float | None
    eccentricity_direction_deg: float | None
    u_eccentricity_direction_deg: float | None
    thickness_mean_mm: float | None
    u_thickness_mean_mm: float | None
    gap_width_mean_mm: float | None
    u_gap_width_mean_mm: float | None
    tip_diameter_mean_mm: float | None
    u_tip_diameter_mean_mm: float | None
    root_diameter_mean_mm: float | None
    u_root_diameter_mean_mm: float | None
    depth_mean_mm: float | None
    u_depth_mean_mm: float | None
    floor_ratio_mean: float | None
    u_floor_ratio_mean: float | None
    profile_slope_mean_um: PerSide
    u_profile_slope_mean_um: PerSide
    pressure_angle_mean_deg: float | None
    u_pressure_angle_mean_deg: float | None
    profile_total_mean_um: PerSide | None = None
    u_profile_total_mean_um: PerSide | None = None
    profile_form_mean_um: PerSide | None = None
    u_profile_form_mean_um: PerSide | None = None
    profile_slope_spread_um: PerSide | None = None
    pressure_angle_side_mean_deg: PerSide | None = None
    u_pressure_angle_side_mean_deg: PerSide | None = None
    pressure_angle_spread_deg: PerSide | None = None


class Tolerance(FileModel):
    """Tolerance classes as [low, high]; None where not graded, with the reason."""

    standard: str
    pitch_class: tuple[int, int] | None = None
    cumulative_class: tuple[int, int] | None = None
    profile_class: tuple[int, int] | None = None
    runout_class: tuple[int, int] | None = None
    note: str = ""


class BudgetLine(FileModel):
    """One source in the uncertainty budget of a summary figure (GUM, JCGM 100:2008)."""

    figure: str
    source: str
    value: str
    distribution: str
    sensitivity: str
    contribution: float
    unit: str


class Profile(FileModel):
    """Mean profile deviation of either flank side over the evaluation range.

    The range runs from the start diameter (the form circle, clear of its blur) to the end diameter
    (the tip less its rounding). Deviations are about the axis of the teeth, positive out of the
    material; an eccentricity of the bore is not in them. Totals and forms are those of the mean
    flanks.
    """

    roll_length_mm: tuple[float, ...]
    left_um: tuple[float | None, ...]
    right_um: tuple[float | None, ...]
    start_roll_mm: float | None = None
    end_roll_mm: float | None = None
    start_diameter_mm: float | None = None
    end_diameter_mm: float | None = None
    form_diameter_mm: float | None = None
    total_um: PerSide | None = None
    u_total_um: PerSide | None = None
    form_um: PerSide | None = None
    u_form_um: PerSide | None = None


class CommonErrors(FileModel):
    """What moves figures together, as standard uncertainties: what one cause could do to all.

    `edge_um` moves all edges along their normals, `datum_um` the datum's centre either way and
    `rims_um` along x and y together, where a bore shows two rims; `lens` is what is known of lens
    and lean with the covariance of what is not.
    """

    edge_um: float
    datum_um: float
    rims_um: tuple[float, float] = (0.0, 0.0)
    lens: Lens


class Reading(FileModel):
    """Everything read from one photograph, or from the set of them in `photo_set`."""

    schema_version: str = SCHEMA_VERSION
    software_version: str
    photo: PhotoInfo
    gear: GearInfo
    calibration: CalibrationInfo
    datum: Datum
    teeth: tuple[Tooth, ...]
    gaps: tuple[Gap, ...]
    summary: Summary
    tolerance: Tolerance | None
    budget: tuple[BudgetLine, ...] = ()
    profile: Profile | None = None
    flank_curves: FlankCurves | None = None
    gap_mean: GapMean | None = None
    gap_theory: GapTheory | None = None
    sizes: Sizes | None = None
    cutting: Cutting | None = None
    identity: Identity | None = None
    verdict: Verdict | None = None
    causes: CauseFindings | None = None
    common: CommonErrors | None = None
    photo_set: PhotoSet | None = None
    warnings: tuple[Notice, ...] = ()

    @model_validator(mode="after")
    def _check_numbers(self) -> Self:
        for name, items in (("teeth", self.teeth), ("gaps", self.gaps)):
            if [item.number for item in items] != list(range(1, self.gear.teeth + 1)):
                raise ValueError(f"{name} must be numbered from 1 to {self.gear.teeth}, in order")
        return self
