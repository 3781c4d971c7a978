"""A real scheduler and two worker processes, one of them killed in the middle."""

import datetime
import hashlib
import json
import os
import pickle
import subprocess
import sys
import threading
import time
from concurrent.futures import Future
from pathlib import Path

import pytest

from cogloupe.folders.batch import jobs_for, read_by
from cogloupe.folders.cluster import ClusterCrew, _packed, cluster_crew, read_sent
from cogloupe.folders.jobs import Job
from cogloupe.folders.single_photo import read_parts
from cogloupe.inputs.settings import make_settings, settings_for
from cogloupe.report.markup import shared_script
from cogloupe_calibration.calibration import save_calibration
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.scale import calibration_from_scale, from_stated_scale

pytest.importorskip("distributed")

QUICK = Path(__file__).parents[1] / "helpers" / "quick_readings.py"
HOME = "127.0.0.1"
PICTURES = 24


def begin(*words):
    """Start a program of the cluster, its output thrown away."""
    command = [sys.executable, "-m", *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Address of a scheduler."""
    told = tmp_path_factory.mktemp("cluster") / "scheduler.json"
    process = begin(
        "distributed.cli.dask_scheduler", "--host", HOME, "--port", 0,
        "--no-dashboard", "--no-jupyter", "--scheduler-file", told,
    )  # fmt: skip
    # It is there before it is written.
    wait_for(lambda: told.exists() and told.read_text().rstrip().endswith("}"))
    yield json.loads(told.read_text())["address"]
    process.kill()
    process.wait()


@pytest.fixture
def workers(scheduler, monkeypatch):
    """Two worker processes."""
    monkeypatch.setattr("cogloupe.folders.cluster.FIND_SECONDS", "120s")  # on a busy machine
    words = (scheduler, "--nthreads", 1, "--no-nanny", "--no-dashboard", "--preload", QUICK)
    processes = [begin("distributed.cli.dask_worker", *words) for _ in range(2)]
    yield processes
    for process in processes:
        process.kill()
        process.wait()


def wait_for(told):
    until = time.monotonic() + 120
    while not told():
        assert time.monotonic() < until
        time.sleep(0.05)


@pytest.fixture
def pictures(tmp_path, wheel_png):
    """Different photographs, and the folder their readings go to."""
    out = tmp_path / "out"
    out.mkdir()
    for k in range(PICTURES):
        (tmp_path / f"{k:02}.png").write_bytes(wheel_png + bytes([k]))
    return sorted(tmp_path.glob("*.png")), out


def jobs(photos, out, **given):
    return jobs_for(photos, out, lambda photo: settings_for(photo, given), every=False)


def readings_in(out):
    return {path.parent.name: json.loads(path.read_bytes()) for path in out.glob("*/reading.json")}


# A worker that writes what it read can leave more behind than one whose readings are sent back.
@pytest.mark.parametrize("ship", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_a_worker_killed_in_the_middle_loses_nothing_and_doubles_nothing(
    scheduler, workers, pictures, ship
):
    photos, out = pictures
    with cluster_crew(scheduler, ship) as crew:
        wait_for(lambda: crew.count == 2)
        found = read_by(jobs(photos, out), crew, threading.Event())
        outcomes = [next(found), next(found)]
        workers[0].kill()
        outcomes += found
    assert [one.photo for (one,) in outcomes] == photos
    assert [one.error for (one,) in outcomes] == [None] * PICTURES
    readings = readings_in(out)
    assert set(readings) == {photo.stem for photo in photos}
    assert len({reading["photo"]["sha256"] for reading in readings.values()}) == PICTURES
    assert {path.name for path in out.iterdir()} - set(readings) == {
        ".cogloupe.lock", shared_script()[0],
    }  # fmt: skip


def test_what_is_sent_is_read_as_what_lies_here(tmp_path, wheel_png):
    """In this process: the reading names the calibration as the person did."""
    (tmp_path / "a.png").write_bytes(wheel_png)
    stated = calibration_from_scale(from_stated_scale(40.0), datetime.date.today())
    save_calibration(stated, tmp_path / "set-up.json")
    settings = make_settings({"teeth": 24, "calibration": tmp_path / "set-up.json"})
    job = Job(
        photo=tmp_path / "a.png", settings=settings, known="", out=tmp_path, place=tmp_path / "a"
    )
    (here,) = read_parts(job.photo, settings, every=False)
    (sent,) = read_sent(_packed(job))
    assert here.files == sent.files
    assert sent.reading.calibration.file == str(tmp_path / "set-up.json")


class ByPickle:
    """A client whose one worker is this process, though all comes and goes as bytes."""

    def submit(self, work, *sent, **_):
        future = Future()
        future.set_result(as_sent(work(*as_sent(sent))))
        return future


def as_sent(what):
    return pickle.loads(pickle.dumps(what))


@pytest.mark.usefixtures("quick")
def test_what_comes_back_is_kept_here(tmp_path, wheel_png):
    (tmp_path / "a.png").write_bytes(wheel_png)
    (tmp_path / "out").mkdir()
    (job,) = jobs([tmp_path / "a.png"], tmp_path / "out")
    crew = ClusterCrew(ByPickle(), ship=True)
    (outcome,) = crew.take(job, crew.give(job))
    assert outcome.error is None
    sha256 = hashlib.sha256(wheel_png).hexdigest()
    assert readings_in(tmp_path / "out")["a"]["photo"]["sha256"] == sha256


@pytest.mark.usefixtures("quick")
def test_what_cannot_be_sent_is_told_as_from_here(tmp_path):
    os.mkfifo(tmp_path / "pipe.png")
    (tmp_path / "out").mkdir()
    (job,) = jobs([tmp_path / "pipe.png"], tmp_path / "out")
    crew = ClusterCrew(None, ship=True)
    (outcome,) = crew.take(job, crew.give(job))
    assert str(outcome.error) == "pipe.png cannot be opened: It is no ordinary file"


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch):
    monkeypatch.setattr("cogloupe.folders.cluster.FIND_SECONDS", "1s")
    with (
        pytest.raises(UseError, match=r"no scheduler answers at tcp://127\.0\.0\.1:1: start one"),
        cluster_crew(f"tcp://{HOME}:1", ship=False),
    ):
        pass
