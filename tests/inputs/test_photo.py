"""Photographs: formats, depths, orientations, and files that are none."""

import hashlib
import struct

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from cogloupe.inputs.photo import CutShortError, read_photo
from cogloupe_calibration.errors import PhotoError

ROWS, COLUMNS = np.mgrid[0:70, 0:90]
GREY8 = (ROWS + 2 * COLUMNS % 97).astype(np.uint8)
RGB8 = np.stack([GREY8, 255 - GREY8, (3 * ROWS).astype(np.uint8)], axis=-1)
GREY16 = GREY8.astype(np.uint16) * 257 + 13
RGB16 = RGB8.astype(np.uint16) * 257 - np.minimum(RGB8, 5)
ALPHA8 = np.dstack([RGB8, GREY8])
ALPHA16 = np.dstack([RGB16, GREY16])
# A smooth picture, so that the codec's own error stays within a few levels.
SMOOTH = np.stack([ROWS, 2 * COLUMNS, 100 + ROWS], axis=-1).astype(np.uint8)
DEPTHS = {"grey8": GREY8, "rgb8": RGB8, "grey16": GREY16, "rgb16": RGB16}
# How a file must lie for its orientation to turn it upright (Exif 2.3, tag 0x0112): row 0 and
# column 0 of the file are, for 1 to 8: top left, top right, bottom right, bottom left, left top,
# right top, right bottom, left bottom of the scene.
STORED = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
    8: lambda a: np.rot90(a, -1),
}


def encoded(pixels, kind):
    """PNG or TIFF bytes at full depth, uncompressed order RGB."""
    flip = {2: [0], 3: [2, 1, 0], 4: [2, 1, 0, 3]}
    stored = pixels if pixels.ndim == 2 else pixels[..., flip[pixels.shape[2]]]
    done, data = cv2.imencode(f".{kind}", np.ascontiguousarray(stored))
    assert done
    return data.tobytes()


def plain_tiff(pixels, orientation):
    """Uncompressed TIFF of any depth with an orientation (TIFF 6.0, sections 2 and 6)."""
    height, width = pixels.shape[:2]
    samples, bits = pixels.size // (height * width), 8 * pixels.itemsize
    entries = [
        (256, 4, 1, width), (257, 4, 1, height), (259, 3, 1, 1),
        (262, 3, 1, 2 if samples == 3 else 1), (273, 4, 1, 200), (274, 3, 1, orientation),
        (277, 3, 1, samples), (278, 4, 1, height), (279, 4, 1, pixels.nbytes),
    ]  # fmt: skip
    # Three bit depths do not fit into an entry, which then holds the place where they are.
    depths = (258, 3, 1, bits) if samples == 1 else (258, 3, samples, 190)
    table = b"".join(struct.pack("<HHII", *entry) for entry in sorted([*entries, depths]))
    head = b"II*\0" + struct.pack("<IH", 8, len(entries) + 1) + table + bytes(4)
    return (
        head.ljust(190, b"\0")
        + struct.pack("<3H", bits, bits, bits)
        + bytes(4)
        + (np.ascontiguousarray(pixels).astype(pixels.dtype.newbyteorder("<")).tobytes())
    )


def saved(path, pixels, **options):
    Image.fromarray(np.ascontiguousarray(pixels)).save(path, **options)
    return path


@pytest.mark.parametrize("kind", ["png", "tiff"])
@pytest.mark.parametrize("name", DEPTHS)
def test_lossless_pictures_keep_their_values_and_depth(tmp_path, name, kind):
    path = tmp_path / f"a.{kind}"
    path.write_bytes(encoded(DEPTHS[name], kind))
    photo = read_photo(path)
    assert photo.pixels.dtype == DEPTHS[name].dtype
    np.testing.assert_array_equal(photo.pixels, DEPTHS[name])


@pytest.mark.parametrize(("pixels", "shape"), [(GREY8, (70, 90)), (RGB8, (70, 90, 3))])
def test_a_jpeg_keeps_grey_grey_and_colour_colour(tmp_path, pixels, shape):
    photo = read_photo(saved(tmp_path / "a.JPG", pixels, quality=98))
    assert photo.pixels.shape == shape
    assert photo.full_scale == 255


@pytest.mark.parametrize("pixels", [ALPHA8, ALPHA16], ids=["8 bits", "16 bits"])
@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_alpha_is_left_out_and_the_colours_stay(tmp_path, pixels, kind):
    path = tmp_path / f"a.{kind}"
    path.write_bytes(encoded(pixels, kind))
    np.testing.assert_array_equal(read_photo(path).pixels, pixels[..., :3])


def test_grey_with_alpha_stays_grey(tmp_path):
    path = saved(tmp_path / "a.png", np.dstack([GREY8, GREY8]))
    np.testing.assert_array_equal(read_photo(path).pixels, GREY8)


def test_a_palette_gives_its_colours(tmp_path):
    path = tmp_path / "a.png"
    image = Image.fromarray(RGB8).quantize(16)
    image.save(path)
    np.testing.assert_array_equal(read_photo(path).pixels, np.asarray(image.convert("RGB")))


def test_black_and_white_becomes_grey(tmp_path):
    path = tmp_path / "a.png"
    Image.fromarray(GREY8 > 60).save(path)
    np.testing.assert_array_equal(read_photo(path).pixels, np.where(GREY8 > 60, 255, 0))


def test_numbers_beyond_16_bits_are_stretched_to_them(tmp_path):
    path = tmp_path / "a.tiff"
    Image.fromarray(GREY8.astype(np.float32) / 1000 - 0.05).save(path)
    pixels = read_photo(path).pixels
    assert pixels.dtype == np.uint16
    assert (pixels.min(), pixels.max()) == (0, 65535)


@pytest.mark.parametrize("orientation", STORED)
@pytest.mark.parametrize(("kind", "most"), [("png", 0), ("jpg", 8)])
def test_every_orientation_gives_the_same_upright_picture(tmp_path, orientation, kind, most):
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"quality": 100, "subsampling": 0} if kind == "jpg" else {}
    stored = STORED[orientation](SMOOTH)
    photo = read_photo(saved(tmp_path / f"a.{kind}", stored, exif=exif, **options))
    assert (photo.width, photo.height) == (90, 70)
    assert np.abs(photo.pixels.astype(int) - SMOOTH).max() <= most


@pytest.mark.parametrize("orientation", STORED)
@pytest.mark.parametrize("name", DEPTHS)
def test_a_tiff_is_turned_upright_once_whatever_its_depth(tmp_path, orientation, name):
    upright, path = DEPTHS[name], tmp_path / "a.tiff"
    path.write_bytes(plain_tiff(STORED[orientation](upright), orientation))
    np.testing.assert_array_equal(read_photo(path).pixels, upright)


def heic(path, pixels, **options):
    modes = {(2, 1): "L", (3, 1): "RGB", (2, 2): "L;16", (3, 2): "RGB;16"}
    mode = modes[pixels.ndim, pixels.itemsize]
    size = pixels.shape[1::-1]
    stored = pillow_heif.from_bytes(mode, size, np.ascontiguousarray(pixels).tobytes())
    stored.save(path, quality=-1, chroma=444, matrix_coefficients=0, **options)
    return path


@pytest.mark.parametrize("orientation", STORED)
def test_a_heic_file_is_turned_upright_once(tmp_path, orientation):
    exif = Image.Exif()
    exif[0x0112], exif[0x0110] = orientation, "Phone"
    photo = read_photo(heic(tmp_path / "a.heic", STORED[orientation](SMOOTH), exif=exif.tobytes()))
    assert (photo.width, photo.height) == (90, 70)
    # What the codec rounds of smooth greys, in colour and back.
    assert np.abs(photo.pixels.astype(int) - SMOOTH).max() <= 2
    assert photo.exif == {"Model": "Phone"}


@pytest.mark.parametrize("pixels", [SMOOTH, SMOOTH[..., 0]], ids=["colour", "grey"])
def test_a_heic_file_of_ten_bits_keeps_them(tmp_path, pixels):
    deep = pixels.astype(np.uint16) * 257
    photo = read_photo(heic(tmp_path / "a.HEIC", deep))
    assert photo.full_scale == 65535
    assert photo.pixels.shape == pixels.shape
    # A step of 10 bits is 64 of 65536; the codec rounds once more.
    assert np.abs(photo.pixels.astype(int) - deep).max() <= 3 * 64


def test_the_largest_page_is_read_and_the_first_of_equals(tmp_path):
    pages = [Image.fromarray(a) for a in (RGB8[:65, :70], RGB8, 255 - RGB8)]
    pages[0].save(tmp_path / "a.tiff", save_all=True, append_images=pages[1:])
    np.testing.assert_array_equal(read_photo(tmp_path / "a.tiff").pixels, RGB8)
    deep = [a[..., ::-1] for a in (RGB16[:65, :70], RGB16)]
    (tmp_path / "b.tiff").write_bytes(cv2.imencodemulti(".tiff", deep)[1].tobytes())
    np.testing.assert_array_equal(read_photo(tmp_path / "b.tiff").pixels, RGB16)


def test_printing_colours_are_turned_into_light(tmp_path):
    image = Image.fromarray(RGB8).convert("CMYK")
    image.save(tmp_path / "a.tiff")
    np.testing.assert_array_equal(read_photo(tmp_path / "a.tiff").pixels, RGB8)


FTYP = b"\0\0\0\x18ftyp"
RAW = r"is a raw file, .*save it from there as TIFF or JPEG"
MOVIE = r"is a movie: take a still picture"


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.dng", plain_tiff(RGB8, 1), RAW),
        ("a.NEF", b"MM\0*" + bytes(60), RAW),
        ("a.cr3", FTYP + b"crx \0\0\0\1crx isom" + bytes(60), RAW),
        ("a.jpg", b"FUJIFILMCCD-RAW 0201" + bytes(60), RAW),
        ("a.mp4", b"", r"a.mp4 is empty"),
        ("a.mov", bytes(4) + b"moov" + bytes(60), MOVIE),
        ("a.mov", FTYP + b"qt  " + bytes(60), MOVIE),
        ("a.jpg", FTYP + b"isom\0\0\2\0isommp41" + bytes(60), MOVIE),
        ("a.avi", b"RIFF\0\0\0\0AVI LIST" + bytes(60), MOVIE),
    ],
)
def test_a_movie_or_raw_file_is_told_with_what_to_do(tmp_path, name, data, message):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(PhotoError, match=message):
        read_photo(tmp_path / name)


def test_the_moving_part_of_a_live_photo_names_the_still_one(tmp_path):
    heic(tmp_path / "IMG_[1].HEIC", SMOOTH)
    (tmp_path / "IMG_[1].MOV").write_bytes(FTYP + b"qt  " + bytes(60))
    with pytest.raises(PhotoError, match=r"still picture that lies beside it, IMG_\[1\]\.HEIC"):
        read_photo(tmp_path / "IMG_[1].MOV")


def test_what_is_refused_is_not_decoded(tmp_path, monkeypatch):
    path = saved(tmp_path / "a.png", GREY8[:40])
    monkeypatch.setattr(Image.Image, "load", lambda _: pytest.fail("decoded"))
    monkeypatch.setattr("PIL.PngImagePlugin.PngImageFile.load", lambda _: pytest.fail("decoded"))
    with pytest.raises(PhotoError, match="only 90 x 40 px"):
        read_photo(path)


def test_a_tiff_of_an_unknown_kind_is_told_apart_from_a_damaged_one(tmp_path):
    (tmp_path / "a.tiff").write_bytes(plain_tiff(RGB8.astype(np.float64), 1))
    with pytest.raises(PhotoError, match="of a kind that is not known: save it as"):
        read_photo(tmp_path / "a.tiff")


@pytest.mark.parametrize("orientation", [0, 9, 200])
def test_an_orientation_that_does_not_exist_turns_nothing(tmp_path, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = saved(tmp_path / "a.png", GREY8, exif=exif)
    np.testing.assert_array_equal(read_photo(path).pixels, GREY8)


def test_the_camera_is_told_from_exif(tmp_path):
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker", "Model 1"
    exif[0x9003] = "2025:01:02 03:04:05"
    photo = read_photo(saved(tmp_path / "a.jpg", GREY8, exif=exif))
    assert photo.exif == {"Make": "Maker", "Model": "Model 1"}


def test_damaged_exif_does_not_cost_the_picture(tmp_path):
    path = saved(tmp_path / "a.jpg", GREY8, exif=b"Exif\0\0II*\0\xff\xff\xff\xff rubbish")
    assert read_photo(path).exif == {}


def test_name_and_hash_are_those_of_the_file(tmp_path):
    path = saved(tmp_path / "Zähne [1] 50%.png", GREY8)
    photo = read_photo(path)
    assert photo.name == "Zähne [1] 50%.png"
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


CUT = {
    "jpg": lambda p: saved(p, RGB8),
    "grey8.png": lambda p: p.write_bytes(encoded(GREY8, "png")),
    "rgb16.png": lambda p: p.write_bytes(encoded(RGB16, "png")),
    "rgb8.tiff": lambda p: p.write_bytes(encoded(RGB8, "tiff")),
    "rgb16.tiff": lambda p: p.write_bytes(encoded(RGB16, "tiff")),
    "grey16.tiff": lambda p: saved(p, GREY16),
    "heic": lambda p: heic(p, RGB8),
}


@pytest.mark.parametrize("share", [0.4, 0.7, 0.9])
@pytest.mark.parametrize("name", CUT)
def test_a_file_cut_short_is_told_as_such_and_quietly(tmp_path, capfd, name, share):
    path = tmp_path / f"a.{name}"
    CUT[name](path)
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    with pytest.raises(CutShortError, match=r"^a\..* is cut short.*copy it again$"):
        read_photo(path)
    assert capfd.readouterr().err == ""  # the decoders' own words stay away


def test_a_deep_png_without_its_last_bytes_is_told_quietly(tmp_path, capfd):
    path = tmp_path / "a.png"
    path.write_bytes(encoded(RGB16, "png")[:-9])
    with pytest.raises(CutShortError):
        read_photo(path)
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.jpg", b"", r"a\.jpg is empty \(0 bytes\): copy it"),
        ("a.jpg", b"meet me at noon\n" * 20, r"a\.jpg is not a picture: save it as JPEG, PNG or"),
        ("a.tiff", b"II*\0" + bytes(60), r"a\.tiff is cut short or damaged"),
        ("a.png", b"\x89PNG\r\n\x1a\n" + bytes(60), r"a\.png is cut short or damaged"),
        ("a.jpg", b"\xff\xd8\xff" + bytes(60), r"a\.jpg is cut short or damaged"),
    ],
)
def test_what_is_no_picture_is_told_in_one_line(tmp_path, name, data, message):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PhotoError, match=message) as caught:
        read_photo(path)
    assert "\n" not in str(caught.value)


def test_a_folder_and_a_missing_file_cannot_be_opened(tmp_path):
    (tmp_path / "a.jpg").mkdir()
    for name in ("a.jpg", "b.jpg"):
        with pytest.raises(PhotoError, match=f"{name} cannot be opened: "):
            read_photo(tmp_path / name)


def test_a_picture_too_small_for_a_gear_says_what_it_needs(tmp_path):
    path = saved(tmp_path / "a.png", GREY8[:40])
    with pytest.raises(PhotoError, match=r"only 90 x 40 px.*at least 64 px"):
        read_photo(path)
