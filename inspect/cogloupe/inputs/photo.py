"""Load a photograph, turn it upright, and say what is known of it."""

import hashlib
import io
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError
from PIL.TiffImagePlugin import TiffImageFile

from cogloupe_calibration.errors import PhotoError

PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp")
SMALLEST_SIDE_PX = 64

_MAGIC = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*")  # JPEG, PNG, TIFF in both orders
_BAND = 64  # rows copied at a time
# What the decoders of the imaging library let through when a file is damaged.
_DAMAGED = (
    OSError, SyntaxError, ValueError, EOFError, TypeError, LookupError, ArithmeticError,
    struct.error,
)  # fmt: skip


class CutShortError(PhotoError):
    """The file ends before the picture does; it may still be on its way."""


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
        raise CutShortError(f"{path.name} is empty (0 bytes): copy it from the camera again")
    pixels, exif = _decode(data, path.name)
    if min(pixels.shape[:2]) < SMALLEST_SIDE_PX:
        height, width = pixels.shape[:2]
        raise PhotoError(
            f"{path.name} is only {width} x {height} px: a gear needs at least "
            f"{SMALLEST_SIDE_PX} px a side, better 1000"
        )
    return Photo(path.name, hashlib.sha256(data).hexdigest(), np.ascontiguousarray(pixels), exif)


def _decode(data: bytes, name: str) -> tuple[NDArray[Any], dict[str, str]]:
    """Upright pixel values and EXIF fields of an encoded picture."""
    try:
        with warnings.catch_warnings(action="ignore"), Image.open(io.BytesIO(data)) as image:
            deep = _is_deep_colour(image, data)
            # Decoding tells a file that is cut short. It also turns a TIFF upright and takes its
            # orientation away, so that is asked for afterwards.
            image.load()
            tags = _tags(image)
            pixels = _deep_colour(data, name) if deep else _values(image)
            # OpenCV turns TIFFs upright, and leaves PNGs as they lie.
            turned = deep and image.format == "TIFF"
    except Image.DecompressionBombError as error:
        raise PhotoError(f"{name} is too large to read safely: {error}") from error
    except _DAMAGED as error:
        if isinstance(error, UnidentifiedImageError) and not data.startswith(_MAGIC):
            message = f"{name} is not a picture: save it as JPEG, PNG or TIFF"
            raise PhotoError(message) from error
        raise CutShortError(f"{name} is cut short or damaged: copy it again") from error
    orientation = tags.get(ExifTags.Base.Orientation, 1)
    return pixels if turned else _upright(pixels, orientation), _exif_fields(tags)


def _is_deep_colour(image: Image.Image, data: bytes) -> bool:
    """Tell 16-bit colour, which the first library would cut down to 8 bits."""
    if image.format == "PNG":
        # IHDR: bit depth and colour type (PNG specification, 11.2.2); type 0 is plain grey.
        return data[24] == 16 and data[25] != 0
    if isinstance(image, TiffImageFile):
        return bool(max(image.tag_v2.get(258, (1,))) == 16 and image.tag_v2.get(277, 1) > 1)
    return False


def _tags(image: Image.Image) -> dict[int, Any]:
    """EXIF tags; none where they are damaged, which does not make the picture worse."""
    try:
        exif = image.getexif()
        return {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
    except _DAMAGED:
        return {}


def _exif_fields(tags: dict[int, Any]) -> dict[str, str]:
    wanted = ("Make", "Model", "LensModel", "FocalLength", "DateTime")
    found = {ExifTags.TAGS.get(tag, ""): str(value).strip(" \0") for tag, value in tags.items()}
    return {key: found[key] for key in wanted if found.get(key)}


def _values(image: Image.Image) -> NDArray[Any]:
    """Grey or RGB values in the depth that the picture has."""
    if image.mode in ("1", "L", "LA", "La"):
        return np.asarray(image.convert("L"))
    if image.mode in ("F", "I") or image.mode.startswith("I;16"):
        return _as_uint16(np.asarray(image))
    return _rgb(image)


def _rgb(image: Image.Image) -> NDArray[np.uint8]:
    """RGB values, taken over in bands: the library's own way holds the picture four times."""
    pixels = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, _BAND):
        band = image.crop((0, top, image.width, min(top + _BAND, image.height)))
        pixels[top : top + _BAND] = np.asarray(band.convert("RGB"))
    return pixels


def _as_uint16(values: NDArray[Any]) -> NDArray[np.uint16]:
    """Grey values of any number type: as they are where they fit, else stretched."""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    if values.dtype.kind in "iu" and low >= 0 and high <= 65535:
        return np.asarray(values, dtype=np.uint16)
    stretched = (np.nan_to_num(values, nan=low) - low) * (65535 / ((high - low) or 1.0))
    return np.asarray(np.round(stretched), dtype=np.uint16)


def _deep_colour(data: bytes, name: str) -> NDArray[Any]:
    """Decode a PNG or TIFF of 16 bits a colour; alpha is left out."""
    if data.startswith(b"\x89PNG") and b"IEND" not in data[-64:]:
        raise CutShortError(f"{name} is cut short: copy it again")
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        pixels = None
    if pixels is None or pixels.ndim != 3 or pixels.shape[2] < 3:
        raise PhotoError(f"{name} is of a kind that is not known: save it as JPEG, PNG or TIFF")
    return np.asarray(pixels[:, :, 2::-1])


def _upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Undo the camera's turn: EXIF orientation 1 to 8 (Exif standard, tag 0x0112)."""
    if orientation in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return pixels
