"""Many photographs: order, resuming, processes that die, Ctrl+C."""

import datetime
import os
import signal
import threading
import time
from pathlib import Path

import pytest

from cogloupe.folders import batch, processes
from cogloupe.folders.batch import AHEAD, jobs_for, known_of, read_by, was_read
from cogloupe.folders.jobs import Job, Outcome
from cogloupe.folders.processes import process_crew
from cogloupe.folders.single_photo import read_job
from cogloupe.inputs.settings import make_settings, settings_for
from cogloupe_calibration.calibration import save_calibration
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.scale import calibration_from_scale, from_stated_scale

DAY = datetime.date(2026, 5, 1)


@pytest.fixture
def pictures(tmp_path, wheel_png):
    """Make photographs, and what is to be read of them."""
    (tmp_path / "out").mkdir()

    def make(*names, **given):
        for name in names:
            if not (tmp_path / name).exists():
                (tmp_path / name).write_bytes(wheel_png)
        paths = [tmp_path / name for name in names]
        return list(
            jobs_for(paths, tmp_path / "out", lambda p: settings_for(p, given), every=False)
        )

    return make


def test_wrong_settings_of_one_photograph_cost_no_other(pictures, tmp_path):
    (tmp_path / "gear.toml").write_text('[photo."b.png"]\nteeth = 1\n')
    jobs = pictures("a.png", "b.png", "c.png")
    assert [type(job) for job in jobs] == [Job, Outcome, Job]
    assert isinstance(jobs[1].error, UseError)


@pytest.mark.usefixtures("quick")
def test_what_was_read_by_the_same_settings_and_version_is_known_again(
    pictures, tmp_path, monkeypatch
):
    (job,) = pictures("a.png")
    assert not was_read(job)
    read_job(job)
    assert was_read(pictures("a.png")[0])
    assert not was_read(pictures("a.png", teeth=24)[0])
    monkeypatch.setattr(batch, "__version__", "99")
    assert not was_read(pictures("a.png")[0])
    monkeypatch.undo()
    (job.place / "report.html").unlink()
    assert not was_read(pictures("a.png")[0])


def test_another_calibration_in_the_same_file_is_other_settings(tmp_path):
    path = tmp_path / "set-up.json"
    known = []
    for um in (8.5, 9.5):
        made = calibration_from_scale(from_stated_scale(um), DAY)
        save_calibration(made, path)
        os.utime(path, ns=(0, int(um * 1e9)))
        known.append(known_of(make_settings({"calibration": path})))
    assert known[0] != known[1]


class OneByOne:
    """A crew that reads when it is asked, and remembers what it was told."""

    count = 2

    def __init__(self):
        self.given, self.taken, self.off = [], [], []

    def give(self, job):
        self.given.append(job)
        return job

    def take(self, job, handle):
        self.taken.append(job)
        return (Outcome(Path(str(job)), None, None),)

    def call_off(self, handle):
        if handle % 2:
            return False
        self.off.append(handle)
        return True


def test_outcomes_come_in_order_and_few_are_given_out_ahead():
    crew, wrong = OneByOne(), Outcome(Path("wrong"), None, UseError("no"))
    found = read_by([*range(20), wrong], crew, threading.Event())
    first = next(found)
    assert len(crew.given) == AHEAD * crew.count
    names = [str(outcome.photo) for (outcome,) in [first, *found]]
    assert names == [*map(str, range(20)), "wrong"]


def test_stopping_calls_off_what_nobody_has_begun_and_finishes_the_rest():
    crew, stop = OneByOne(), threading.Event()
    found = read_by(range(100), crew, stop)
    next(found)
    stop.set()
    left = [int(str(outcome.photo)) for (outcome,) in found]
    assert crew.given == [*range(AHEAD * 2)]
    assert crew.off == [2, 4, 6]
    assert left == [1, 3, 5, 7]


# Processes for real: the work in them is short, and named here so that they can import it.


def short_work(job):
    time.sleep(0.02)
    return (Outcome(job.photo, None, None),)


def deadly_work(job):
    if job.photo.name == "deadly.png":
        os.kill(os.getpid(), signal.SIGKILL)
    return short_work(job)


def test_a_picture_that_kills_its_reader_costs_no_other(pictures, monkeypatch):
    monkeypatch.setattr(processes, "read_job", deadly_work)
    monkeypatch.setattr(processes, "_begin", no_beginning)
    jobs = pictures(*(f"{k}.png" for k in range(5)), "deadly.png", *(f"{k}.png" for k in "abcde"))
    with process_crew(2) as crew:
        outcomes = [one for (one,) in read_by(jobs, crew, threading.Event())]
    assert [outcome.photo for outcome in outcomes] == [job.photo for job in jobs]
    failed = [outcome for outcome in outcomes if outcome.error is not None]
    assert [outcome.photo.name for outcome in failed] == ["deadly.png"]
    assert "deadly.png ended the program that read it" in str(failed[0].error)


def no_beginning():
    pass


def test_processes_read_as_one_does(pictures, tmp_path):
    """Two real readings, beside each other and one after the other: the same bytes."""
    jobs = pictures("a.png", "b.png", teeth=24, module_mm=1.0, scale_um_per_px=40.0)
    with process_crew(2) as crew:
        beside = [one.folder for (one,) in read_by(jobs, crew, threading.Event())]
    together = {p.relative_to(tmp_path): p.read_bytes() for f in beside for p in f.iterdir()}
    after = [read_job(job)[0].folder for job in jobs]
    assert after == beside
    assert together == {p.relative_to(tmp_path): p.read_bytes() for f in after for p in f.iterdir()}
