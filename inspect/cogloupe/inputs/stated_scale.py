"""The scale that the settings bring along."""

import datetime
from dataclasses import dataclass
from math import inf

from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.calibration import Calibration, Camera, Lens, check_fits, load_calibration
from cogloupe_calibration.errors import CalibrationError
from cogloupe_calibration.plain_text import printable
from cogloupe_calibration.scale import Scale, from_stated_scale

OUTSIDE_WARNS = 0.05
"""Share of its tip radius by which a gear may reach outside the calibrated part of the frame
(common practice, no source: less than a tooth)."""


@dataclass(frozen=True)
class StatedScale:
    """What is known of scale and lens before anything is seen.

    The scale is None where the picture itself must give it; notices are warnings of the calibration
    file.
    """

    scale: Scale | None = None
    calibration: Calibration | None = None
    file: str | None = None
    notices: tuple[Notice, ...] = ()

    @property
    def lens(self) -> Lens | None:
        """The measured lens, if any."""
        return self.calibration.lens if self.calibration is not None else None


def stated_scale(photo: Photo, settings: GearSettings) -> StatedScale:
    """Scale that the settings bring along, if any.

    Raises
    ------
    CalibrationError
        Where the calibration file is wrong, cannot fit the photograph, or says of itself that it
        is to be taken again, and nobody said to use it even so.
    """
    if settings.scale_um_per_px is not None:
        return StatedScale(from_stated_scale(settings.scale_um_per_px))
    if settings.calibration is None:
        return StatedScale()
    calibration = load_calibration(settings.calibration)
    if calibration.verdict == "take it again" and not settings.even_so:
        reasons = "; ".join(calibration.reasons)
        raise CalibrationError(
            f"{settings.calibration} says of itself: take it again; {reasons}. "
            "Make it anew with 'cogloupe calibrate', or use it with --even-so"
        )
    warnings = check_fits(
        calibration, photo.width, photo.height, camera=camera_of(photo), today=datetime.date.today()
    )
    scale = Scale(
        mm_per_px=calibration.mm_per_px,
        u_mm_per_px=calibration.u_mm_per_px,
        method=calibration.method,
    )
    notices = tuple(flag("calibration", what=text) for text in warnings)
    return StatedScale(scale, calibration, printable(str(settings.calibration)), notices)


def reach_notices(
    calibration: Calibration | None, x: float, y: float, tip_radius: float
) -> tuple[Notice, ...]:
    """Say so where a gear lies, px, outside what the calibration's target covered."""
    if calibration is None or calibration.valid_region_px is None:
        return ()
    left, top, right, bottom = calibration.valid_region_px
    beyond = tip_radius + max(left - x, x - right, top - y, y - bottom, -tip_radius)
    if beyond < OUTSIDE_WARNS * tip_radius:
        return ()
    what = f"the gear reaches {beyond:.0f} px outside the part of the frame that its target covered"
    return (flag("calibration", what=what),)


def camera_of(photo: Photo) -> Camera:
    """What EXIF tells of the camera."""
    exif = photo.exif
    try:
        length = float(exif.get("FocalLength", ""))
    except ValueError:
        length = 0.0
    # Microscopes and phones write 0, or 0/0, for what they do not know.
    return Camera(
        make=exif.get("Make"), model=exif.get("Model"), lens=exif.get("LensModel"),
        focal_length_mm=length if 0 < length < inf else None,
    )  # fmt: skip
