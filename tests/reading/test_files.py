"""The reading file: its published schema, and reading it back."""

import csv
import io
import json
from importlib.resources import files

import pytest

from cogloupe.reading.files import load_reading, reading_json, reading_schema
from cogloupe.reading.teeth_table import teeth_csv
from cogloupe_calibration.errors import UseError

from ..helpers.report_examples import example_reading


def test_the_published_schema_is_that_of_the_models():
    published = files("cogloupe.reading").joinpath("reading.schema.json").read_text("utf-8")
    # Made by json.dumps(reading_schema(), indent=1, ensure_ascii=False); make it again on change.
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
