import io
import json
import re
import sys

import pytest
from rich.console import Console

from cogloupe.reading.files import load_reading
from cogloupe.report import write
from cogloupe.report.chart_process import charts_beside, charts_here
from cogloupe.report.console_tables import readings_table
from cogloupe.report.write import report_files, write_report
from cogloupe_calibration.errors import CogloupeError, UseError

from ..helpers.report_examples import (
    example_evidence,
    example_reading,
    example_summary,
    nothing_seen,
)

FILES = {
    "reading.json", "teeth.csv", "overlay.png", "chart.png", "report.html", "thumbnail.jpg",
}  # fmt: skip


@pytest.fixture(scope="module")
def example():
    evidence, px = example_evidence(12, size=300)
    return example_reading(12, px=px, file="Sätürn [1].jpg"), evidence


@pytest.fixture
def made(example, monkeypatch):
    """The example's files, made once: these tests are about writing them."""
    files = dict.fromkeys((*sorted(FILES - {"reading.json"}), "reading.json"), b"new")
    monkeypatch.setattr(write, "report_files", lambda *arguments: files)
    return example


def test_whole_files_are_written(example, tmp_path):
    folder = tmp_path / "aus gabe" / "Sätürn"
    write_report(*example, folder)
    assert {path.name for path in folder.iterdir()} == FILES
    assert load_reading(folder / "reading.json") == example[0]
    assert (folder / "overlay.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "chart.png").read_bytes().startswith(b"\x89PNG")
    assert "Sätürn [1].jpg" in (folder / "report.html").read_text(encoding="utf-8")
    assert len((folder / "teeth.csv").read_text().splitlines()) == 13


def test_same_reading_gives_the_same_bytes(example):
    assert report_files(*example) == report_files(*example)


def test_failure_leaves_the_old_reading_and_nothing_half_written(made, tmp_path, monkeypatch):
    (tmp_path / "reading.json").write_text("old")

    def full(path, contents):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cogloupe.reading.atomic_folder.Path.write_bytes", full)
    with pytest.raises(UseError, match="No space left on device; choose another folder"):
        write_report(*made, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["reading.json"]
    assert (tmp_path / "reading.json").read_text() == "old"


def test_folder_that_cannot_be_is_a_one_line_error(made, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CogloupeError, match="cannot be written") as caught:
        write_report(*made, tmp_path / "file" / "out")
    assert "\n" not in str(caught.value)


@pytest.fixture
def beside(monkeypatch):
    """Charts as a process of their own draws them; here their library is there already."""
    monkeypatch.delitem(sys.modules, "cogloupe.report.charts", raising=False)
    with charts_beside() as draw:
        yield draw


def test_a_process_beside_draws_the_same_charts_for_each_reading(example, beside, monkeypatch):
    monkeypatch.setattr("cogloupe.report.chart_process.charts_here", lambda reading: {})
    charts = [beside(reading) for reading in (example[0], nothing_seen(), example[0])]
    assert charts[0] == charts[2] == charts_here(example[0])
    assert charts[1] == charts_here(nothing_seen())


def test_charts_are_drawn_here_when_the_process_is_gone(example, beside):
    beside.args[0].kill()
    beside.args[0].wait()
    assert beside(example[0]) == beside(example[0]) == charts_here(example[0])


def shown(*readings, width=80):
    out = io.StringIO()
    Console(file=out, width=width).print(readings_table(readings, width))
    return out.getvalue()


def test_terminal_table_has_a_row_for_each_photograph(example):
    text = shown(example[0], nothing_seen())
    assert "Sätürn [1].jpg" in text  # square brackets are not taken as markup
    assert "± 3.0" in text
    assert "not seen" in text
    assert "z 12, module 1 mm " in text
    assert readings_table([example[0]] * 3).row_count == 3


def test_terminal_table_keeps_two_lines_a_row_at_80_columns(example):
    lines = shown(example[0], example[0]).splitlines()
    assert max(len(line) for line in lines) <= 80
    named = [k for k, line in enumerate(lines) if "Sätürn [1].jpg" in line]
    assert [lines[k + 1].split(",")[0].strip() for k in named] == ["z 12"] * 2
    assert named[1] - named[0] <= 3
    assert [lines[k].split()[-2:] for k in named] == [["1.5214", "9"]] * 2  # all is there


def test_a_wide_terminal_is_used(example):
    wide = shown(example[0], width=150)
    assert "eccentr." in wide
    assert "1.5214 ± " in wide
    row = next(line for line in wide.splitlines() if "Sätürn [1].jpg" in line)
    assert "z 12, module 1 mm" in row


def test_terminal_table_shows_what_is_not_resolved():
    text = shown(example_reading(summary=example_summary(runout_um=1.0)))
    assert re.search(r"n\. r\..*\n.*\(2\.4\)", text)


def test_reading_of_a_report_is_plain_json(example):
    files = report_files(*example)
    assert json.loads(files["reading.json"])["gear"]["teeth"] == 12
