"""One photograph into its folder: files, faults, what is kept of an older reading."""

import json
from types import SimpleNamespace

import pytest

from cogloupe.folders import single_photo
from cogloupe.folders.batch import known_of
from cogloupe.folders.jobs import Job
from cogloupe.folders.single_photo import read_job
from cogloupe.inputs.settings import make_settings
from cogloupe.reading.provenance import load_mark, load_refused
from cogloupe.report import write
from cogloupe.report.markup import shared_script
from cogloupe_calibration.errors import PhotoError, UseError

FILES = {
    "reading.json", "teeth.csv", "overlay.png", "chart.png", "outline.svg", "thumbnail.jpg",
    "report.html", ".cogloupe.json",
}  # fmt: skip


def job(photo, place, every=False, **given):
    settings = make_settings({"teeth": 24, "module_mm": 1.0, "scale_um_per_px": 40.0} | given)
    known = known_of(settings, every)
    return Job(
        photo=photo, settings=settings, known=known, out=place.parent, place=place, every=every
    )


@pytest.fixture
def photo(tmp_path, wheel_png):
    path = tmp_path / "Zähne [1] 50%.png"
    path.write_bytes(wheel_png)
    (tmp_path / "out").mkdir()
    return path


def test_reading_one_writes_its_files_and_leaves_nothing_else(photo, tmp_path):
    (outcome,) = read_job(job(photo, tmp_path / "out" / "wheel"))
    assert outcome.error is None
    assert outcome.reading.gear.teeth == 24
    assert {path.name for path in outcome.folder.iterdir()} == FILES
    told = json.loads((outcome.folder / "reading.json").read_bytes())
    assert told["photo"]["file"] == "Zähne [1] 50%.png"
    mark = load_mark(outcome.folder)
    assert (mark.sha256, set(mark.files)) == (told["photo"]["sha256"], FILES - {".cogloupe.json"})
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "wheel", ".cogloupe.lock", shared_script()[0],
    }  # fmt: skip


def test_a_fault_of_ours_is_told_with_the_photograph_s_name_and_noted_with_its_place(
    photo, tmp_path, monkeypatch
):
    def stumble(path):
        raise ZeroDivisionError("by accident")

    monkeypatch.setattr(single_photo, "read_photo", stumble)
    (outcome,) = read_job(job(photo, tmp_path / "out" / "wheel"))
    assert isinstance(outcome.error, PhotoError)
    assert str(outcome.error).startswith(f"{photo.name} could not be read (ZeroDivisionError: by")
    noted = (tmp_path / "out" / "wheel" / "not-read.txt").read_text()
    assert "in stumble" in noted


@pytest.mark.usefixtures("quick")
def test_a_picture_that_cannot_be_read_leaves_its_older_reading(photo, tmp_path):
    place = tmp_path / "out" / "wheel"
    read_job(job(photo, place))
    before = (place / "reading.json").read_bytes()
    (outcome,) = read_job(job(photo, place, teeth=25))
    assert str(outcome.error).startswith("24 teeth are seen")
    assert (place / "reading.json").read_bytes() == before
    assert load_refused(place).reason == str(outcome.error)
    read_job(job(photo, place))
    assert load_refused(place) is None


@pytest.mark.usefixtures("quick")
def test_a_folder_that_another_picture_took_meanwhile_is_left_to_it(photo, tmp_path, wheel_jpg):
    """Two programs that read pictures of one name at once, both told to use the same folder."""
    other = tmp_path / "two" / photo.name
    other.parent.mkdir()
    other.write_bytes(wheel_jpg)
    place = tmp_path / "out" / "wheel"
    folders = [read_job(job(each, place))[0].folder for each in (photo, other, photo)]
    assert folders[0] == folders[2] == place
    assert folders[1].name == "Zähne [1] 50%"
    hashes = {json.loads((f / "reading.json").read_bytes())["photo"]["sha256"] for f in folders}
    assert len(hashes) == 2


@pytest.mark.usefixtures("quick")
def test_every_gear_of_a_picture_gets_a_folder_and_the_picture_a_mark(photo, tmp_path, monkeypatch):
    two = [SimpleNamespace(sure=True)] * 2
    monkeypatch.setattr("cogloupe.finding.gear_selection.gears_on", lambda *_, **__: two)
    outcomes = read_job(job(photo, tmp_path / "out" / "wheel", every=True))
    assert [outcome.folder.name for outcome in outcomes] == ["gear-1", "gear-2"]
    assert set(load_mark(tmp_path / "out" / "wheel").files) == {
        "gear-1/reading.json", "gear-2/reading.json",
    }  # fmt: skip


@pytest.mark.usefixtures("quick")
def test_a_full_disk_is_told_and_leaves_the_old_reading(photo, tmp_path, monkeypatch):
    place = tmp_path / "out" / "wheel"
    read_job(job(photo, place))
    before = {path.name: path.read_bytes() for path in place.iterdir()}

    def full(path, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cogloupe.reading.atomic_folder.Path.write_bytes", full)
    (outcome,) = read_job(job(photo, place, module_mm=1.01))
    assert isinstance(outcome.error, UseError)
    assert "No space left on device; choose another folder with --out" in str(outcome.error)
    assert {path.name: path.read_bytes() for path in place.iterdir()} == before


def test_a_file_that_changes_while_it_is_read_is_not_known_by_its_time(
    photo, tmp_path, quick, monkeypatch
):
    reading = write.report_files

    def touch(*given):
        photo.touch()
        return reading(*given)

    monkeypatch.setattr(write, "report_files", touch)
    (outcome,) = read_job(job(photo, tmp_path / "out" / "wheel"))
    assert load_mark(outcome.folder).stamp is None
    assert quick == [(photo.name, 24)]
