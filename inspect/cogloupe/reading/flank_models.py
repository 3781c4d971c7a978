"""What a reading keeps of the measured flanks beyond their figures: enough to run the gear.

Place, slope and status of every flank stand with its tooth, tips with theirs and floors with their
gaps; here is what those leave over. Fields named ``u_...`` are standard uncertainties (k = 1).
"""

from cogloupe_calibration.file_model import FileModel

Flanks = tuple[float | None, ...]
"""One figure of a side's flanks, teeth in the order of their numbers."""


class FlankSource(FileModel):
    """What one source of doubt does to all flanks together, with one standard uncertainty.

    To their places, along the measuring circle about the datum, clockwise; to their slopes over the
    evaluation range, and to the size of the whole gear, as a share, which is in neither. Signs
    count.
    """

    left_place_um: Flanks
    right_place_um: Flanks
    left_slope_um: Flanks
    right_slope_um: Flanks
    stretch: float


class FlankCurves(FileModel):
    """Form of every measured flank about the axis of the teeth, and doubts in their parts.

    A flank runs along the theoretical one that crosses the measuring circle at its place, by its
    slope over the evaluation range of `Profile`, and by its form: what is left at each of
    `along_mm` (lengths of roll, or along the flank of other forms), positive out of the material.
    Tables run over teeth in the order of their numbers. `u_place_…` and `u_slope_…` are each
    flank's own, and `u_point_um` that of one value of the form; `u_slope_common_um` is shared by
    all flanks, and `sources` move them together. `u_edge_um` moves all edges out of the material
    together, and the scale by `edge_on_scale` with it, a share; `u_scale` is what else is open of
    the scale, and `u_stretch` what lens and lean stretch this gear by beside what `sources` have of
    it, as shares.

    `gap_xy_mm` is the mean outline of all gaps from tip to tip: origin on the axis of the teeth, y
    outwards along the middle of the gap, x clockwise; empty where the floors are not seen.
    """

    axis_from_datum_mm: tuple[float, float]
    along_mm: tuple[float, ...]
    left_form_um: tuple[Flanks, ...]
    right_form_um: tuple[Flanks, ...]
    u_point_um: float
    u_place_left_um: Flanks
    u_place_right_um: Flanks
    u_slope_left_um: Flanks
    u_slope_right_um: Flanks
    u_slope_common_um: float
    u_edge_um: float
    u_scale: float
    u_stretch: float
    edge_on_scale: float
    sources: tuple[FlankSource, ...]
    gap_xy_mm: tuple[tuple[float, float], ...] = ()
