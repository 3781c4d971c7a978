"""The truth about a simulated gear: the models behind truth.json.

Names, frames and signs are those of a reading; `true_sizes` fills them in.
"""

from cogloupe.forms.tooth_form import FormName
from cogloupe_calibration.file_model import FileModel


class TrueFlank(FileModel):
    """One flank on the measuring circle, and its profile over the range of `TrueProfile`.

    The slope is positive where material is outside the design involute at the tip; the form
    deviation is what the flank strays from its own straight line.
    """

    position_deg: float
    single_pitch_um: float
    cumulative_pitch_um: float
    profile_slope_um: float
    profile_form_um: float


class TrueTooth(FileModel):
    """One tooth, numbered clockwise from twelve o'clock; `tip_diameter_mm` is twice the radius."""

    number: int
    centre_deg: float
    left: TrueFlank
    right: TrueFlank
    thickness_mm: float
    tip_diameter_mm: float


class TrueGap(FileModel):
    """The gap clockwise after the tooth of the same number.

    `pin_radius_mm` is the distance of a seated pin's centre from the datum; None where such a pin
    would not rest on the flanks. `floor_ratio` is None where the floor is above the circle on
    which its width is taken.
    """

    number: int
    width_mm: float
    root_diameter_mm: float
    floor_width_mm: float
    floor_ratio: float | None
    pin_radius_mm: float | None


class TrueSummary(FileModel):
    """The gear in a few figures; a pair is left flanks, right flanks.

    `spacing_spread_um` is the standard deviation (z in the denominator) of the z pitches;
    `eccentricity_um` and its direction are the first harmonic of the seated pin's distance.
    """

    single_pitch_max_um: float
    cumulative_pitch_total_um: float
    single_pitch_max_by_side_um: tuple[float, float]
    cumulative_pitch_total_by_side_um: tuple[float, float]
    spacing_spread_um: tuple[float, float]
    spacing_range_um: tuple[float, float]
    runout_um: float | None
    pin_diameter_mm: float
    eccentricity_um: float | None
    eccentricity_direction_deg: float | None
    thickness_mean_mm: float
    gap_width_mean_mm: float
    tip_diameter_mean_mm: float
    root_diameter_mean_mm: float
    floor_ratio_mean: float | None


class TrueTable(FileModel):
    """Figures about one datum axis, which lies at `axis_mm` from the bore's."""

    datum: str
    axis_mm: tuple[float, float]
    teeth: tuple[TrueTooth, ...]
    gaps: tuple[TrueGap, ...]
    summary: TrueSummary


class TrueProfile(FileModel):
    """What the cutter left on the mean flank: the slope is over the lengths of roll, + at the tip.

    `pressure_angle_deg` is the cutter's. Of forms other than the involute, lengths are those along
    the flank, and there is no pressure angle, undercut or shift.
    """

    pressure_angle_deg: float | None
    profile_slope_um: float
    roll_start_mm: float
    roll_end_mm: float
    form_diameter_mm: float
    undercut: bool
    profile_shift_cut: float | None


class TrueCause(FileModel):
    """Something wrong with the machine or its setting, with its size in the machine's own unit."""

    name: str
    size: float
    unit: str
    where: str = ""


class Covered(FileModel):
    """Something that hides or spoils a flank."""

    tooth: int
    side: str
    what: str


class TruePicture(FileModel):
    """Where things lie on the upright picture, after tilt and lens distortion."""

    file: str
    width_px: int
    height_px: int
    mm_per_px: float
    bore_xy_px: tuple[float, float]
    teeth_xy_px: tuple[float, float]
    exif_orientation: int


class TrueGear(FileModel):
    """The gear as drawn; what belongs to another form is None."""

    form: FormName
    teeth: int
    module_mm: float
    pressure_angle_deg: float | None
    profile_shift: float | None
    rack: str | None
    generating_circle_mm: float | None
    addendum_radius_mm: float | None
    bore_diameter_mm: float
    tip_diameter_mm: float
    measuring_diameter_mm: float


class Truth(FileModel):
    """Contents of truth.json.

    `made_eccentricity_um` and its direction are the offset of the teeth's axis as set in the
    scene; random pitch errors move the first harmonic in `about_bore` a little away from it.
    `causes` are those of the process, where one was stated.
    """

    about: str
    seed: int
    picture: TruePicture
    gear: TrueGear
    made_eccentricity_um: float
    made_eccentricity_direction_deg: float
    profile: TrueProfile
    covered: tuple[Covered, ...]
    causes: tuple[TrueCause, ...]
    about_bore: TrueTable
    about_teeth: TrueTable
