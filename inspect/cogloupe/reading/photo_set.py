"""What a reading says of the set of pictures it was made from: models of reading.json."""

from typing import Literal

from cogloupe_calibration.file_model import FileModel

SetKind = Literal["turned", "repeats", "joined"]


class PictureOfSet(FileModel):
    """One picture of a set, against the first.

    `turn_deg` is how far the gear stands clockwise of its place in the first picture; `tooth_1_is`
    the number that the reading's tooth 1 has when this picture is read alone. `residual_rms_px` is
    what its teeth show beside the reading, of which `left_out` places were set aside.
    """

    file: str
    sha256: str
    turn_deg: float
    tooth_1_is: int
    teeth_seen: int
    residual_rms_px: float | None
    left_out: int


class LensTerm(FileModel):
    """One term of the lens, dimensionless, as calibrations have them."""

    name: str
    words: str
    value: float
    u_value: float


class CameraError(FileModel):
    """What the camera does to places on the teeth, beyond scale, turn and place, as found.

    `rms_px` and `largest_px` are over all teeth in all pictures; it is undone in the reading.
    """

    rms_px: float
    largest_px: float
    terms: tuple[LensTerm, ...]


class PhotoSet(FileModel):
    """The pictures behind a reading.

    `misfit` is the scatter of the pictures about the reading over what each states by itself, with
    its degrees of freedom; about 1 where both are right. `repeatability_um` is the standard
    deviation of one picture's flanks along the measuring circle, all flanks pooled;
    `flank_repeatability_um` that of each tooth's left and right flank, with one degree of freedom
    less than pictures show it.
    """

    kind: SetKind
    pictures: tuple[PictureOfSet, ...]
    misfit: float
    degrees_of_freedom: int
    repeatability_um: float | None
    flank_repeatability_um: tuple[tuple[float | None, float | None], ...]
    camera: CameraError | None = None
