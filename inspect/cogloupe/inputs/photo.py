"""Load a photograph, turn it upright, and say what is known of it."""

import hashlib
import io
import logging
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError
from PIL.TiffImagePlugin import TiffImageFile

from cogloupe.inputs.file_kinds import HEAD_BYTES, is_heif, raw_file, refuse_other_kinds
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.files import read_file
from cogloupe_calibration.plain_text import shown_name

PHOTO_SUFFIXES = (
    ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".webp", ".heic", ".heif", ".hif",
)  # fmt: skip
FORMATS = ("JPEG", "PNG", "TIFF", "BMP", "WEBP")
"""What the imaging library opens at all, as it calls them: each decoder less is a risk less. HEIF
has a decoder of its own."""
MOST_BYTES = 400_000_000
"""An uncompressed picture of `MOST_PIXELS` in colour, and as much again beside it."""
MOST_PIXELS = 110_000_000
"""Of 8 bits a colour; half as many of 16. What cannot be read then stays below 1.5 GB."""
MOST_SCANS = 20
"""Of the largest picture; programs that save JPEG in several scans take ten."""
SMALLEST_SIDE_PX, LARGEST_SIDE_PX = 64, 32_767
"""OpenCV samples no wider pictures (its places are whole numbers of 16 bits)."""

_TIFFS = (b"II*\0", b"MM\0*")  # in both orders of bytes
_MAGIC = (b"\xff\xd8\xff", b"\x89PNG", *_TIFFS)
# DNG's version, and the pattern of a sensor's colour filters (DNG specification, TIFF/EP): only raw
# files have them.
_RAW_TAGS = {50706, 33421}
_BAND = 64  # rows copied at a time
# What the decoders of the imaging library let through when a file is damaged.
_DAMAGED = (
    OSError, SyntaxError, ValueError, EOFError, TypeError, LookupError, ArithmeticError,
    struct.error,
)  # fmt: skip


# The imaging library also tells of damage by logging, which without a handler reaches the terminal.
logging.getLogger("PIL").addHandler(logging.NullHandler())


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
        JPEG, PNG or TIFF (8 or 16 bits a channel, grey or colour), HEIC (8 to 12 bits), BMP or
        WebP. Of several pages the largest, the first of equals.

    Raises
    ------
    PhotoError
        Where the file cannot be opened, is empty, cut short, a movie, a raw file, not a picture,
        too small or too large.

    Examples
    --------
    >>> photo = read_photo(Path("sample_images/day-wheel-48dp-21.jpg"))
    >>> photo.width, photo.height
    (1600, 1600)
    """
    name = shown_name(path)
    if path.is_file() and path.stat().st_size:
        refuse_other_kinds(path, b"")  # by its name, before a long movie is read
    try:
        data = read_file(path, MOST_BYTES)
    except OSError as error:
        raise PhotoError(f"{name} cannot be opened: {error.strerror}") from error
    if not data:
        raise CutShortError(f"{name} is empty (0 bytes): copy it from the camera again")
    head = data[:HEAD_BYTES]
    refuse_other_kinds(path, head)
    pixels, exif = (_decode_heif if is_heif(head) else _decode)(data, name)
    return Photo(name, hashlib.sha256(data).hexdigest(), np.ascontiguousarray(pixels), exif)


def _check_size(name: str, size: tuple[int, int], deep: bool) -> None:
    """Refuse, before it is decoded, what is too small, or takes too much of a workshop's memory."""
    width, height = size
    if min(size) < SMALLEST_SIDE_PX:
        raise PhotoError(
            f"{name} is only {width} x {height} px: a gear needs at least "
            f"{SMALLEST_SIDE_PX} px a side, better 1000"
        )
    if max(size) > LARGEST_SIDE_PX or width * height > MOST_PIXELS / (1 + deep):
        raise PhotoError(
            f"{name} is too large ({width} x {height} px): up to {LARGEST_SIDE_PX} px a side and "
            f"{MOST_PIXELS / 1e6 / (1 + deep):.0f} megapixels are read; save it smaller"
        )


def _check_scans(image: Image.Image, data: bytes, name: str) -> None:
    """Refuse a JPEG file that goes over its picture again and again: each scan costs a decoding."""
    scans = data.count(b"\xff\xda") if image.info.get("progressive") else 1
    if scans * image.width * image.height > MOST_SCANS * MOST_PIXELS:
        raise PhotoError(f"{name} is built of {scans} scans of the picture: save it anew")


def _decode_heif(data: bytes, name: str) -> tuple[NDArray[Any], dict[str, str]]:
    """Pixel values and EXIF fields of a HEIF picture; the decoder turns it upright itself."""
    import pillow_heif  # slow to import, and only phones need it

    try:
        image = pillow_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        _check_size(name, image.size, image.mode.endswith("16"))
        pixels = np.asarray(image)
        exif = Image.Exif()
        exif.load(image.info.get("exif") or b"")
    except (*_DAMAGED, RuntimeError) as error:
        raise _cut_short(name) from error
    return pixels[..., :3] if pixels.ndim == 3 else pixels, _exif_fields(_all_tags(exif))


def _cut_short(name: str) -> CutShortError:
    return CutShortError(f"{name} is cut short or damaged: copy it again")


def _decode(data: bytes, name: str) -> tuple[NDArray[Any], dict[str, str]]:
    """Upright pixel values and EXIF fields of an encoded picture."""
    try:
        with (
            warnings.catch_warnings(action="ignore"),
            Image.open(io.BytesIO(data), formats=FORMATS) as image,
        ):
            page = _choose_page(image, name)
            deep = _is_deep_colour(image, data)
            _check_size(name, image.size, deep)
            _check_scans(image, data, name)
            # Decoding tells a file that is cut short. It also turns a TIFF upright and takes its
            # orientation away, so that is asked for afterwards.
            image.load()
            tags = _tags(image)
            pixels = _deep_colour(image, data, name, page) if deep else _values(image)
            # OpenCV turns TIFFs upright, and leaves PNGs as they lie.
            turned = deep and image.format == "TIFF"
    except Image.DecompressionBombError as error:
        raise PhotoError(
            f"{name} holds more than {2 * (Image.MAX_IMAGE_PIXELS or 0) / 1e6:.0f} megapixels: "
            "crop it to the gear, or save it smaller"
        ) from error
    except _DAMAGED as error:
        if isinstance(error, UnidentifiedImageError) and not _looks_damaged(data):
            what = "of a kind that is not known" if data.startswith(_TIFFS) else "not a picture"
            raise PhotoError(f"{name} is {what}: save it as JPEG, PNG or TIFF") from error
        raise _cut_short(name) from error
    orientation = tags.get(ExifTags.Base.Orientation, 1)
    return pixels if turned else _upright(pixels, orientation), _exif_fields(tags)


def _looks_damaged(data: bytes) -> bool:
    """Tell a damaged picture from one that the library does not know.

    A TIFF whose table of fields lies in the file is whole enough to be known (TIFF 6.0, section 2).
    """
    if not data.startswith(_TIFFS):
        return data.startswith(_MAGIC)
    order: Literal["little", "big"] = "little" if data.startswith(b"II") else "big"
    table = int.from_bytes(data[4:8], order)
    fields = int.from_bytes(data[table : table + 2], order)
    return not 0 < fields <= (len(data) - table - 2) // 12


def _choose_page(image: Image.Image, name: str) -> int:
    """Turn to the largest page, the first of equals; small ones are previews."""
    if not isinstance(image, TiffImageFile):
        return 0
    if _RAW_TAGS & set(image.tag_v2):
        raise raw_file(name)
    areas = []
    for page in range(image.n_frames):
        image.seek(page)
        areas.append(image.width * image.height)
    best = areas.index(max(areas))
    image.seek(best)
    return best


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
        return _all_tags(image.getexif())
    except _DAMAGED:
        return {}


def _all_tags(exif: Image.Exif) -> dict[int, Any]:
    try:
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


def _deep_colour(image: Image.Image, data: bytes, name: str, page: int) -> NDArray[Any]:
    """Decode a PNG or TIFF of 16 bits a colour; alpha is left out."""
    if data.startswith(b"\x89PNG") and b"IEND" not in data[-64:]:
        raise CutShortError(f"{name} is cut short: copy it again")
    coded = np.frombuffer(data, np.uint8)
    # PlanarConfiguration (TIFF 6.0): colour after colour, which OpenCV takes for pixel after pixel.
    planar = isinstance(image, TiffImageFile) and image.tag_v2.get(284, 1) != 1
    try:
        if page == 0:
            pixels = cv2.imdecode(coded, cv2.IMREAD_UNCHANGED)
        else:
            pixels = cv2.imdecodemulti(coded, cv2.IMREAD_UNCHANGED)[1][page]
    except (cv2.error, LookupError):
        pixels = None
    if planar or pixels is None or pixels.ndim != 3 or pixels.shape[2] < 3:
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
