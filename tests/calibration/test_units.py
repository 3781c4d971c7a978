"""Lengths as people write them."""

import pytest

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import parse_length


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("12.19mm", 12.19),
        ("0.4792in", 0.4792 * 25.4),
        ("45thou", 1.143),
        ("3 µm", 0.003),
        ("3μm", 0.003),
        ("1e3um", 1.0),
        ("1.2 cm", 12.0),
        ('0.5"', 12.7),
        (" 2 MM ", 2.0),
        (".5in", 12.7),
    ],
)
def test_length_with_unit_is_read_in_millimetres(text, length_mm):
    # One multiplication.
    assert parse_length(text) == pytest.approx(length_mm, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("10", "no unit"),
        ("10furlong", "'furlong'"),
        ("-1mm", "above zero"),
        ("0mm", "above zero"),
        ("nanmm", "not a length"),
        ("infmm", "not a length"),
        ("1e999mm", "must lie between"),
        ("0.0000001mm", "must lie between"),
        ("mm", "not a length"),
        ("", "not a length"),
        ("1,5,0mm", "not a length"),
        ("1 2mm", "not a length"),
    ],
)
def test_what_is_not_a_length_is_refused_with_the_reason(text, message):
    with pytest.raises(UseError, match=message):
        parse_length(text)
