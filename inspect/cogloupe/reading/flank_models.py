"""What a reading keeps of the measured flanks beyond their figures: enough to run the gear.

Place, slope and status of every flank stand with its tooth, tips with theirs and floors with their
gaps; here is what those leave over. Fields named ``u_...`` are standard uncertainties (k = 1).
"""

from cogloupe_calibration.file_model import FileModel


class FlankSource(FileModel):
    """What one source of doubt does to the places of all flanks, with one standard uncertainty.

    Along the measuring circle about the datum, clockwise; flanks move together, so that signs
    count. A stretch of the whole gear is left out: it belongs to the scale.
    """

    name: str
    left_um: tuple[float | None, ...]
    right_um: tuple[float | None, ...]


class FlankCurves(FileModel):
    """Form of every measured flank about the axis of the teeth, and doubts in their parts.

    A flank runs along the theoretical one that crosses the measuring circle at its place, by its
    slope over the evaluation range of `Profile`, and by its form: what is left at each of
    `along_mm` (lengths of roll, or along the flank of other forms), positive out of the material.
    Tables run over teeth in the order of their numbers. `u_place_um` is each flank's own, and
    `u_point_um` that of one value of the form; `u_slope_common_um` is shared by all flanks.
    `u_edge_um` moves all edges out of the material together, and the scale by `edge_on_scale`
    with it, a share; `u_scale` is what else is open of the scale.

    `gap_xy_mm` is the mean outline of all gaps from tip to tip: origin on the axis of the teeth, y
    outwards along the middle of the gap, x clockwise; empty where the floors are not seen.
    """

    axis_from_datum_mm: tuple[float, float]
    along_mm: tuple[float, ...]
    left_form_um: tuple[tuple[float | None, ...], ...]
    right_form_um: tuple[tuple[float | None, ...], ...]
    u_point_um: float
    u_place_left_um: tuple[float | None, ...]
    u_place_right_um: tuple[float | None, ...]
    u_slope_common_um: float
    u_edge_um: float
    u_scale: float
    edge_on_scale: float
    sources: tuple[FlankSource, ...]
    gap_xy_mm: tuple[tuple[float, float], ...] = ()
