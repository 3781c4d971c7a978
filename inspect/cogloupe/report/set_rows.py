"""Rows of the report's table of the pictures of a set."""

from dataclasses import dataclass

from cogloupe.reading.photo_set import PhotoSet
from cogloupe.wording.numbers import NOT_SEEN


@dataclass(frozen=True, kw_only=True)
class SetRow:
    """One picture of a set, in words."""

    file: str
    turn: str
    tooth_1: str
    teeth: str
    left: str
    out: str


def set_rows(found: PhotoSet) -> list[SetRow]:
    """Rows of the table of pictures.

    Parameters
    ----------
    found : PhotoSet

    Returns
    -------
    list of SetRow
    """
    return [
        SetRow(
            file=one.file,
            turn=f"{one.turn_deg:+.2f}°",
            tooth_1=f"tooth {one.tooth_1_is}",
            teeth=str(one.teeth_seen),
            left=NOT_SEEN if one.residual_rms_px is None else f"{one.residual_rms_px:.4f} px",
            out=str(one.left_out) if one.left_out else "none",
        )
        for one in found.pictures
    ]
