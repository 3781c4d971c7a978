"""The report's table of the pictures of a set."""

from cogloupe.reading.photo_set import PhotoSet
from cogloupe.report.tables import Table, text_table
from cogloupe.wording.numbers import NOT_SEEN


def set_table(found: PhotoSet) -> Table:
    """Pictures of a set: how each was turned, and what was used of it."""
    rows = [
        (
            one.file,
            f"{one.turn_deg:+.2f}°",
            f"tooth {one.tooth_1_is}",
            str(one.teeth_seen),
            NOT_SEEN if one.residual_rms_px is None else f"{one.residual_rms_px:.4f} px",
            str(one.left_out) if one.left_out else "none",
        )
        for one in found.pictures
    ]
    heads = ("picture", "turn", "tooth 1 is there", "teeth used", "left over", "places left out")
    return text_table("The pictures of this reading", heads, rows)
