"""Load a photograph, turn it upright, and say what is known of it."""

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError

from cogloupe_calibration.errors import PhotoError

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp")
SMALLEST_SIDE_PX = 64

_PNG = b"\x89PNG\r\n\x1a\n"
_TIFF = (b"II*\x00", b"MM\x00*")


@dataclass(frozen=True)
class Photo:
    """A photograph, upright.

    Attributes
    ----------
    name : str
        File name without folder.
    sha256 : str
        Hash of the file's bytes.
    pixels : ndarray, shape (h, w) or (h, w, 3), uint8 or uint16
        Grey or RGB values; pixel (0, 0) is centred at (0, 0).
    exif : dict of str to str
        Make, Model, LensModel, FocalLength, DateTime where the file has them.
    """

    name: str
    sha256: str
    pixels: NDArray[Any]
    exif: dict[str, str]

    @property
    def width(self) -> int:
        """Width, px."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height, px."""
        return int(self.pixels.shape[0])

    @property
    def full_scale(self) -> float:
        """Largest value a pixel can have."""
        return float(np.iinfo(self.pixels.dtype).max)

    def as_rgb8(self) -> NDArray[np.uint8]:
        """Copy for drawing on.

        Returns
        -------
        ndarray, shape (h, w, 3), uint8
        """
        pixels = self.pixels
        eight: NDArray[np.uint8] = (
            pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
        )
        return np.repeat(eight[:, :, None], 3, axis=2) if eight.ndim == 2 else eight.copy()


def read_photo(path: Path) -> Photo:
    """Read a photograph and turn it upright by its EXIF orientation.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF (8 or 16 bits a channel, grey or colour), or another format the
        imaging library knows.

    Returns
    -------
    Photo

    Raises
    ------
    PhotoError
        Where the file cannot be opened, is empty, cut short, not a picture, or too small.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise PhotoError(f"{path.name} cannot be opened: {error.strerror}") from error
    if not data:
        raise PhotoError(f"{path.name} is empty (0 bytes): copy it from the camera again")
    pixels, exif = _decode(data, path.name)
    pixels = _upright(pixels, int(exif.pop("Orientation", "1")))
    if min(pixels.shape[:2]) < SMALLEST_SIDE_PX:
        height, width = pixels.shape[:2]
        raise PhotoError(
            f"{path.name} is only {width} x {height} px: a gear needs at least "
            f"{SMALLEST_SIDE_PX} px a side, better 1000"
        )
    return Photo(path.name, hashlib.sha256(data).hexdigest(), pixels, exif)


def _decode(data: bytes, name: str) -> tuple[NDArray[Any], dict[str, str]]:
    """Pixel values and EXIF fields of an encoded picture."""
    deep = data.startswith((_PNG, *_TIFF))
    exif: dict[str, str] = {}
    try:
        with Image.open(io.BytesIO(data)) as image:
            exif = _exif_fields(image.getexif())
            if not deep or image.mode in ("1", "L", "P", "RGB"):
                return _eight_bit(image), exif
    except UnidentifiedImageError as error:
        # 16-bit colour TIFF is beyond the first library; the second reads it.
        if not deep:
            raise PhotoError(f"{name} is not a picture: save it as JPEG, PNG or TIFF") from error
    except Image.DecompressionBombError as error:
        raise PhotoError(f"{name} is too large to read safely: {error}") from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise PhotoError(f"{name} is cut short or damaged ({error}): copy it again") from error
    return _deep(data, name), exif


def _exif_fields(exif: Image.Exif) -> dict[str, str]:
    fields = {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
    wanted = ("Orientation", "Make", "Model", "LensModel", "FocalLength", "DateTime")
    found = {ExifTags.TAGS.get(tag, ""): str(value).strip() for tag, value in fields.items()}
    return {key: found[key] for key in wanted if found.get(key)}


def _eight_bit(image: Image.Image) -> NDArray[np.uint8]:
    grey = image.mode in ("1", "L", "LA")
    return np.asarray(image.convert("L" if grey else "RGB"))


def _deep(data: bytes, name: str) -> NDArray[Any]:
    """Decode a PNG or TIFF with its full bit depth."""
    if data.startswith(_PNG) and b"IEND" not in data[-4096:]:
        raise PhotoError(f"{name} is cut short: copy it from the camera again")
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error as error:
        raise PhotoError(f"{name} cannot be decoded: save it as JPEG, PNG or TIFF") from error
    if pixels is None:
        raise PhotoError(f"{name} is damaged or of an unknown kind: save it as JPEG, PNG or TIFF")
    if pixels.ndim == 3:
        pixels = pixels[:, :, :3][:, :, ::-1] if pixels.shape[2] >= 3 else pixels[:, :, 0]
    if pixels.dtype not in (np.uint8, np.uint16):
        low, high = float(np.nanmin(pixels)), float(np.nanmax(pixels))
        span = high - low or 1.0
        pixels = np.round((np.nan_to_num(pixels, nan=low) - low) * (65535 / span))
        pixels = pixels.astype(np.uint16)
    return np.ascontiguousarray(pixels)


def _upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Undo the camera's turn: EXIF orientation 1 to 8 (Exif standard, tag 0x0112)."""
    if orientation in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)
