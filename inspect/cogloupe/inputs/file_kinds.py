"""Tell by its first bytes what a file is, and what a person can do with one that is no picture."""

from glob import escape
from pathlib import Path

from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.plain_text import shown_name

HEAD_BYTES = 64
"""Enough for every mark by which files are told, the list of brands included."""
RAW_SUFFIXES = (
    ".dng", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".srf", ".sr2", ".raf", ".orf",
    ".rw2", ".pef", ".srw", ".x3f", ".raw", ".rwl", ".iiq", ".3fr", ".erf", ".kdc", ".mrw",
)  # fmt: skip
"""Files as the sensor gave them; most are TIFF inside, with a small preview in the first place."""
MOVIE_SUFFIXES = (
    ".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".3gp", ".mts", ".m2ts", ".mpg", ".mpeg",
    ".wmv",
)  # fmt: skip

_STILL_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2", b"msf1"}
_OTHER_STILLS = {b"avif", b"avis", b"jp2 ", b"jpx ", b"jpm "}
_RAW_BRANDS = {b"crx "}
_MOVIE_BOXES = (b"moov", b"mdat", b"wide", b"skip", b"pnot")
_MOVIE_STARTS = (b"\x1aE\xdf\xa3", b"\0\0\x01\xba", b"\0\0\x01\xb3", b"\x30\x26\xb2\x75")
_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM")
_STILL_SUFFIXES = (".heic", ".heif", ".jpg", ".jpeg", ".png")


def is_heif(head: bytes) -> bool:
    """Tell a HEIF file, as phones store them, by its first bytes."""
    brands = _brands(head)
    return bool(brands & _STILL_BRANDS) and not brands & _OTHER_STILLS


def refuse_other_kinds(path: Path, head: bytes) -> None:
    """Refuse what is no photograph but is often taken for one, by its first bytes.

    Raises
    ------
    PhotoError
        For a movie or a raw file, with what to do.
    """
    suffix = path.suffix.lower()
    if suffix in RAW_SUFFIXES or head.startswith(_RAW_STARTS) or _brands(head) & _RAW_BRANDS:
        raise raw_file(shown_name(path))
    if suffix in MOVIE_SUFFIXES or _is_movie(head):
        raise PhotoError(f"{shown_name(path)} is a movie: {_still_beside(path)}")


def why_not(name: str) -> str:
    """Why a file of this name is not read, and what to do."""
    kind = Path(name).suffix.lower()
    if kind in MOVIE_SUFFIXES:
        return "a movie: save a still picture of it as JPEG or PNG"
    if kind in RAW_SUFFIXES:
        return "a camera's raw format: develop it without sharpening, and save it as TIFF or PNG"
    named = f"files ending in {kind}" if kind else "files without an ending"
    return f"{named} are not read: save the picture as JPEG, PNG or TIFF"


def raw_file(name: str) -> PhotoError:
    """What is said of a raw file."""
    return PhotoError(
        f"{name} is a raw file, as the sensor gave it: open it in the camera's or phone's own "
        "program and save it from there as TIFF or JPEG, without sharpening and at full size"
    )


def _brands(head: bytes) -> set[bytes]:
    """Brands of an ISO base media file (ISO/IEC 14496-12, 4.3); none of any other file."""
    if head[4:8] != b"ftyp":
        return set()
    end = min(int.from_bytes(head[:4], "big"), len(head))
    return {head[8:12], *(head[at : at + 4] for at in range(16, end - 3, 4))}


def _is_movie(head: bytes) -> bool:
    brands = _brands(head)
    if brands:
        return not brands & (_STILL_BRANDS | _OTHER_STILLS)
    riff = head.startswith(b"RIFF") and head[8:12] == b"AVI "
    return riff or head[4:8] in _MOVIE_BOXES or head.startswith(_MOVIE_STARTS)


def _still_beside(path: Path) -> str:
    """What to do instead; a live photo is a movie and a still picture of one name."""
    stills = [
        shown_name(other)
        for other in sorted(path.parent.glob(f"{escape(path.stem)}.*"))
        if other.suffix.lower() in _STILL_SUFFIXES and other.name != path.name
    ]
    if stills:
        return f"take the still picture that lies beside it, {stills[0]}"
    return "take a still picture, or save one sharp frame of it as PNG"
