"""The reading file: its published schema, and reading it back."""

import csv
import io
import json
from importlib.resources import files
from pathlib import Path

import pytest

from cogloupe.reading.files import load_reading, reading_json, reading_schema
from cogloupe.reading.models import SCHEMA_VERSION
from cogloupe.reading.teeth_table import teeth_csv
from cogloupe_calibration.errors import UseError

from ..helpers.report_examples import example_reading

OLD = Path(__file__).parent / "old"
"""Readings as earlier versions wrote them, named by their schema; none is ever changed."""
KNOWN = SCHEMA_VERSION
LATER = f"{KNOWN.split('.')[0]}.{int(KNOWN.split('.')[1]) + 1}"


def test_the_published_schema_is_that_of_the_models():
    published = files("cogloupe.reading").joinpath("reading.schema.json").read_text("utf-8")
    # Made by `cogloupe schema reading`; make it again on change.
    assert json.loads(published) == reading_schema()


def test_a_reading_comes_back_from_its_file(tmp_path):
    reading = example_reading()
    path = tmp_path / "reading.json"
    path.write_text(reading_json(reading), "utf-8")
    assert load_reading(path) == reading


def test_a_file_that_is_no_reading_is_told_in_one_line(tmp_path):
    path = tmp_path / "reading.json"
    path.write_text("{}", "utf-8")
    with pytest.raises(UseError, match="is not a reading") as told:
        load_reading(path)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("path", sorted(OLD.glob("*.json")), ids=lambda path: path.stem)
def test_a_reading_of_an_earlier_version_still_opens_and_keeps_what_it_says(path):
    told = json.loads(path.read_bytes())
    assert_says(json.loads(reading_json(load_reading(path))), told)


def assert_says(found, told):
    """Whatever the old file says, the new one says too; it may say more."""
    if isinstance(told, dict):
        for name, value in told.items():
            assert_says(found[name], value)
    elif isinstance(told, list):
        assert len(found) == len(told)
        for one, other in zip(found, told, strict=True):
            assert_says(one, other)
    else:
        assert found == told


def changed(**fields):
    told = json.loads((OLD / "1.0-involute.json").read_bytes())
    for name, value in fields.items():
        *way, last = name.split("__")
        place = told
        for step in way:
            place = place[int(step) if step.isdigit() else step]
        place[last] = value
    return told


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"schema_version": LATER}, rf"has schema version {LATER}, this program reads {KNOWN}: re"),
        ({"schema_version": "2.0"}, rf"has schema version 2\.0, this program reads {KNOWN}: re"),
        ({"schema_version": "x" * 99}, "has schema version x{20}, this"),
        ({"gear__teeth": 10**9}, r"gear\.teeth: Input should be less than or equal to 2000"),
        ({"gear__teeth": 3}, "teeth must be numbered from 1 to 3, in order"),
        ({"gear__module_mm": -1}, r"gear\.module_mm: Input should be greater than or equal to 0"),
        ({"teeth__3__number": 99}, "teeth must be numbered from 1 to 12, in order"),
        ({"gaps": []}, "gaps must be numbered from 1 to 12"),
        ({"summary__runout_um": 1e300}, r"runout_um is beyond use: 1e\+300"),
        ({"summary__runout_um": float("nan")}, "runout_um is beyond use: nan"),
        ({"photo__file": "a\x1b[31m.jpg"}, "file holds a control character"),
        ({"photo__width_px": 0}, r"photo\.width_px: Input should be greater than or equal to 1"),
    ],
)
def test_a_reading_that_cannot_be_is_told_in_one_line(tmp_path, fields, message):
    path = tmp_path / "reading.json"
    path.write_text(json.dumps(changed(**fields)))
    with pytest.raises(UseError, match=message) as told:
        load_reading(path)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[" * 100_000, "is not a reading: recursion limit exceeded"),
        ("[]", "is not a reading: it holds no table of fields"),
        ("", "is not a reading: EOF"),
        (" " * (2**24 + 1), r"cannot be read: It is larger than 16\.8 MB"),
    ],
)
def test_a_hostile_file_is_refused(tmp_path, text, message):
    path = tmp_path / "reading.json"
    path.write_text(text)
    with pytest.raises(UseError, match=message):
        load_reading(path)


def test_the_table_has_a_row_a_tooth_with_the_same_figures():
    reading = example_reading()
    rows = list(csv.DictReader(io.StringIO(teeth_csv(reading))))
    assert [int(row["number"]) for row in rows] == [tooth.number for tooth in reading.teeth]
    for row, tooth, gap in zip(rows, reading.teeth, reading.gaps, strict=True):
        assert _same(row["left_single_pitch_um"], tooth.left.single_pitch_um, 0.05)
        assert _same(row["right_u_cumulative_pitch_um"], tooth.right.u_cumulative_pitch_um, 0.005)
        assert _same(row["gap_width_mm"], gap.width_mm, 0.00005)


def _same(cell, value, half_a_digit):
    return cell == "" if value is None else abs(float(cell) - value) <= half_a_digit


def test_the_table_is_rounded_to_what_is_known_and_has_both_uncertainties():
    # U of the example's single pitches is 3.0 µm, so tenths are written.
    rows = list(csv.DictReader(io.StringIO(teeth_csv(example_reading()))))
    assert {row["left_U_single_pitch_um"] for row in rows} == {"3.0"}
    assert {row["left_u_single_pitch_um"] for row in rows} == {"1.5"}
    assert all(len(row["left_single_pitch_um"].partition(".")[2]) == 1 for row in rows)
