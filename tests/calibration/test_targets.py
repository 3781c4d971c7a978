"""Printable targets: exact size in both files, the caliper warning, and reading back by eye."""

import re
import zlib
from xml.etree import ElementTree

import numpy as np
import pytest

from cogloupe.simulation.coverage import area_coverage
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.grid import measure_grid
from cogloupe_calibration.ruled import measure_ruled_scale
from cogloupe_calibration.targets import (
    PAPERS_MM,
    checkerboard_target,
    dot_target,
    make_target,
    ruled_target,
)
from cogloupe_calibration.vector_page import Disc, Page, page_pdf, page_svg

from ..helpers.tolerances import ROUNDING, SOLVED

KINDS = ("checkerboard", "dots", "ruled")


def picture_of(page, corner, size, px_per_mm):
    """Exact picture of part of a page; `corner` and `size` in mm."""
    rings = [
        np.array([[b.x, b.y], [b.x + b.width, b.y]])[[0, 1, 1, 0]]
        + np.array([[0, 0], [0, 0], [0, b.height], [0, b.height]])
        for b in page.bars
    ]
    turn = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    rings += [
        d.radius * np.stack([np.cos(turn), np.sin(turn)], axis=1) + [[d.x, d.y]] for d in page.discs
    ]
    shape = (round(size[1] * px_per_mm), round(size[0] * px_per_mm))
    rings = [(ring - np.array(corner)) * px_per_mm - 0.5 for ring in rings]
    ground = np.array([[-9e3, -9e3], [9e3, -9e3], [9e3, 9e3], [-9e3, 9e3]])
    return 20 + 200 * area_coverage(ground, shape, rings)


@pytest.mark.parametrize("kind", ["checkerboard", "dots"])
def test_printed_grid_is_read_back_with_its_pitch_and_size(kind):
    page = make_target(kind, 4.0, size=(20, 15))
    left = min(item.x for item in (*page.bars, *page.discs))
    picture = picture_of(page, (left - 9, 55), (98, 78), 5.0)
    grid = measure_grid(picture, 4.0, kind, size=(20, 15))
    # Drawn without noise: what 8 bits leave of a point, 0.003 px over 400 px.
    assert grid.summary.scale.mm_per_px == pytest.approx(0.2, rel=1e-5)
    assert "stated" not in " ".join(grid.summary.reasons)


def test_printed_ruled_scale_is_read_back_with_its_division():
    page = ruled_target(1.0)
    picture = picture_of(page, (80, 63), (50, 12), 10.0)
    # Lines on whole pixels.
    assert measure_ruled_scale(picture, 1.0).summary.scale.mm_per_px == pytest.approx(0.1, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("paper", PAPERS_MM)
def test_page_warns_and_states_the_dimension_to_gauge(kind, paper):
    page = make_target(kind, 2.0, paper)
    words = " ".join(text.text for text in page.texts)
    assert "check the printer with a caliper" in words
    assert "longest printed dimension must be 140.00 mm" in words
    assert "100 %" in words
    assert (page.width_mm, page.height_mm) == PAPERS_MM[paper]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("pitch", [0.5, 1.0, 3.0, 10.0])
def test_everything_lies_on_the_page_and_apart_from_the_words(kind, paper, pitch):
    page = make_target(kind, pitch, paper)
    low = min([b.y for b in page.bars] + [d.y - d.radius for d in page.discs])
    high = max([b.y + b.height for b in page.bars] + [d.y + d.radius for d in page.discs])
    right = max([b.x + b.width for b in page.bars] + [d.x + d.radius for d in page.discs])
    left = min([b.x for b in page.bars] + [d.x - d.radius for d in page.discs])
    paragraphs = [text for text in page.texts if len(text.text) > 20]
    assert max(text.y for text in paragraphs) + 1 < low
    # Helvetica is narrower than 0.55 of its size on average.
    assert max(t.x + 0.5 * t.size * len(t.text) for t in paragraphs) < page.width_mm - 5
    assert left > 10
    assert right < page.width_mm - 10
    assert high < page.height_mm - 10


def test_ticks_stand_at_the_dimension_that_is_stated():
    page = checkerboard_target(2.0)
    upright = sorted(b.x for b in page.bars if b.width == 0.25)
    lying = sorted(b.y for b in page.bars if b.height == 0.25)
    assert upright[1] - upright[0] == pytest.approx(140.0, abs=ROUNDING)
    assert lying[1] - lying[0] == pytest.approx(104.0, abs=ROUNDING)


def test_svg_is_drawn_in_millimetres():
    page = dot_target(5.0)
    root = ElementTree.fromstring(page_svg(page))
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert root.get("viewBox") == "0 0 210 297"
    circles = [item for item in root if item.tag.endswith("circle")]
    assert len(circles) == len(page.discs) == 29 * 22
    assert float(circles[-1].get("cx")) - float(circles[0].get("cx")) == pytest.approx(140.0)


def content_of(pdf):
    packed = re.search(rb"/FlateDecode>>\nstream\n(.*)\nendstream", pdf, re.S).group(1)
    return zlib.decompress(packed).decode("cp1252")


def test_pdf_page_and_bars_have_the_right_size_in_points():
    page = checkerboard_target(2.0)
    pdf = page_pdf(page)
    box = [float(v) for v in re.search(rb"/MediaBox\[(.*?)\]", pdf).group(1).split()]
    # Written to five places of a point.
    assert box == pytest.approx([0, 0, 210 / 25.4 * 72, 297 / 25.4 * 72], abs=1e-5)
    content = content_of(pdf)
    scale = float(content.split()[0])
    bars = np.array([[float(v) for v in line.split()[:4]]
                     for line in content.splitlines() if line.endswith(" re")])  # fmt: skip
    assert len(bars) == len(page.bars)
    assert scale * 2.0 * 25.4 / 72 == pytest.approx(2.0, rel=SOLVED)
    first = page.bars[0]
    np.testing.assert_allclose(bars[0], [first.x, 297 - first.y - 2, 2, 2], atol=ROUNDING)


def test_pdf_circle_is_round():
    """The curves at their middles: (p0 + 3 p1 + 3 p2 + p3) / 8."""
    content = content_of(
        page_pdf(Page(title="", width_mm=100, height_mm=100, bars=(), discs=(Disc(40, 30, 10),)))
    )
    numbers = [float(v) for v in re.findall(r"-?[\d.]+", content.splitlines()[1])]
    points = np.array(numbers).reshape(-1, 2) - [40, 70]
    start, curves = points[0], points[1:].reshape(-1, 3, 2)
    begins = np.concatenate([[start], curves[:-1, 2]])
    middles = (begins + 3 * curves[:, 0] + 3 * curves[:, 1] + curves[:, 2]) / 8
    # Written to five places of a millimetre.
    np.testing.assert_allclose(np.hypot(*middles.T), 10, rtol=1e-6)
    np.testing.assert_allclose(np.hypot(*begins.T), 10, rtol=1e-6)


def test_pdf_lists_where_its_objects_begin():
    pdf = page_pdf(ruled_target())
    start = int(re.search(rb"startxref\n(\d+)\n%%EOF", pdf).group(1))
    assert pdf[start:].startswith(b"xref\n0 7\n")
    places = [int(line[:10]) for line in pdf[start:].splitlines()[3:9]]
    assert [pdf[place:].split(b" ")[0] for place in places] == [b"%d" % n for n in range(1, 7)]
    assert b"/PrintScaling/None" in pdf


def test_text_with_special_letters_is_kept():
    page = ruled_target()
    odd = Page(title="a (b) \\ µ", width_mm=50, height_mm=50, texts=page.texts[:1])
    assert rb"/Title(a \(b\) \\ " in page_pdf(odd)
    assert "a (b) \\ µ" in page_svg(odd)


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: checkerboard_target(10.0, "A4", (24, 16)), "240 x 160 mm, the A4 page holds 170"),
        (lambda: dot_target(0.1), "pitch is 0.1 mm: 0.3 mm is the least"),
        (lambda: ruled_target(float("nan")), "pitch is nan mm"),
        (lambda: dot_target(60.0), "3 x 2 marks at 60 mm: at least 4 x 4"),
        (lambda: make_target("dots", 2.0, "A7"), "paper 'A7' is not known: choose A4 or Letter"),
    ],
)
def test_target_that_cannot_be_printed_is_refused_with_both_numbers(made, words):
    with pytest.raises(UseError, match=re.escape(words)):
        made()
