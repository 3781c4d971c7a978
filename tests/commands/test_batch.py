"""Many photographs, odd files and hostile names, as a person meets them at the terminal."""

import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from ..helpers.pictures import write

KNOWN = ("--teeth", "24", "--module", "1", "--scale", "40")
TWO = [sys.executable, "-c", "from cogloupe.commands import main; main()", "inspect"]


def sha256_in(folder):
    return json.loads((folder / "reading.json").read_bytes())["photo"]["sha256"]


@pytest.mark.usefixtures("quick_reading")
def test_two_pictures_of_one_name_keep_a_reading_each(run, tmp_path, wheel_png, wheel_jpg):
    for name, data in (("one", wheel_png), ("two", wheel_jpg)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "wheel.png").write_bytes(data)
    for _ in range(2):
        assert run("inspect", "one/wheel.png", *KNOWN)[0] == 0
        assert run("inspect", "two/wheel.png", *KNOWN)[0] == 0
    folders = [path for path in (tmp_path / "readings").iterdir() if path.is_dir()]
    assert {folder.name for folder in folders} == {"wheel", "wheel.png"}
    assert len({sha256_in(folder) for folder in folders}) == 2


@pytest.mark.usefixtures("quick_reading")
def test_a_reading_that_was_compared_and_logged_is_never_replaced(run, tmp_path, wheel_png):
    for name in ("before.png", "after.png"):
        (tmp_path / name).write_bytes(wheel_png + name.encode())
    assert run("inspect", "before.png", "after.png", *KNOWN)[0] == 0
    names = [f"readings/{name}/reading.json" for name in ("before", "after")]
    kept = [(tmp_path / name).read_bytes() for name in names]
    logged = ("compare", *names, "--log", "trials.toml", "--changed", "belt tightened")
    assert run(*logged)[0] == 0
    assert run("inspect", "before.png", "after.png", *KNOWN, "--datum", "tips")[0] == 0
    assert [(tmp_path / name).read_bytes() for name in names] == kept
    assert (tmp_path / "readings" / "after.png" / "reading.json").exists()
    assert run("compare", "--log", "trials.toml")[0] == 0


@pytest.mark.usefixtures("quick_reading")
def test_resuming_reads_only_what_is_missing(run, tmp_path, wheel_png):
    for k in range(3):
        (tmp_path / f"{k}.png").write_bytes(wheel_png)
    run("inspect", "0.png", "1.png", *KNOWN)
    (tmp_path / "readings" / "1" / "reading.json").unlink()
    status, out, err = run("inspect", ".", *KNOWN, "--resume")
    assert (status, err) == (0, [])
    assert "1 photograph was read before by the same settings" in out
    assert "2.png" in out
    assert "0.png" not in out


@pytest.mark.usefixtures("quick_reading")
def test_too_many_for_a_table_are_counted_and_listed_by_the_catalogue(
    run, tmp_path, wheel_png, monkeypatch
):
    monkeypatch.setattr("cogloupe.commands.batch.MOST_SHOWN", 1)
    for k in range(2):
        (tmp_path / f"{k}.png").write_bytes(wheel_png)
    _, out, _ = run("inspect", ".", *KNOWN)
    assert out == "2 readings are in readings: 'cogloupe catalogue readings' lists them.\n"
    listed = run("catalogue")[1]
    assert re.findall(r"^ \d{4}-\d\d-\d\d +(\d) ", listed, re.MULTILINE) == ["0", "1"]
    assert run("catalogue", "--teeth", "99")[1] == "No such readings in readings.\n"


@pytest.mark.usefixtures("quick_reading")
def test_readings_of_a_gear_since_a_day_are_compared(run, tmp_path, wheel_png):
    for k in range(3):
        (tmp_path / f"{k}.png").write_bytes(wheel_png)
    run("inspect", ".", *KNOWN)
    teeth = json.loads((tmp_path / "readings/0/reading.json").read_bytes())["gear"]["teeth"]
    status, out, err = run("compare", "readings", "--teeth", teeth, "--since", "2020-01-01")
    assert (status, err) == (0, [])
    assert "From first to last (0 → 2)" in out
    status, _, err = run("compare", "readings", "--teeth", "999")
    assert (status, err) == (2, ["readings holds 0 such readings: two or more are compared"])


@pytest.mark.usefixtures("quick_reading")
def test_a_name_reaches_the_terminal_and_the_files_spelt_out(run, tmp_path, wheel_png):
    (tmp_path / "a\x1b]0;owned\x07\n.png").write_bytes(wheel_png)
    (tmp_path / "bad\x1b[31m.png").write_text("no picture")
    with open(os.fsencode(tmp_path) + b"/not text \xff.png", "wb") as file:
        file.write(wheel_png)
    status, out, err = run("inspect", ".", *KNOWN)
    assert status == 1
    assert err == [r"bad\x1b[31m.png is not a picture: save it as JPEG, PNG or TIFF"]
    assert "\x1b" not in out.replace("\x1b[0m", "")
    assert r"not text \xff.png" in out
    folders = {path.name for path in (tmp_path / "readings").iterdir() if path.is_dir()}
    assert folders == {"a_x1b]0;owned_x07_x0a", "bad_x1b[31m", "not text _xff"}


@pytest.mark.usefixtures("quick_reading")
@pytest.mark.parametrize("name", ["...png", ". .png", "x" * 251 + ".png", "-.png", "CON.png"])
def test_no_name_leads_out_of_the_folder_of_readings(run, tmp_path, wheel_png, name):
    (tmp_path / name).write_bytes(wheel_png)
    before = set(tmp_path.iterdir())
    assert run("inspect", f"./{name}", *KNOWN)[0] == 0
    assert set(tmp_path.iterdir()) - before == {tmp_path / "readings"}
    assert len(list((tmp_path / "readings").glob("*/reading.json"))) == 1


@pytest.mark.parametrize(
    ("command", "message"),
    [
        (("inspect", "pipe.png", *KNOWN), "pipe.png cannot be opened: It is no ordinary file"),
        (("inspect", "zero.png", *KNOWN), "zero.png cannot be opened: It is no ordinary file"),
        (
            ("inspect", "a.png", "--module", "1", "--calibration", "pipe.png"),
            "a.png: calibration pipe.png cannot be read: It is no ordinary file; check the name",
        ),
        (("plan", "/dev/zero"), "/dev/zero cannot be read as TOML: It is no ordinary file"),
        (("plan", "--machine", "pipe.png", "--teeth", "24", "--module", "1"), "pipe.png cannot"),
        (("causes", "pipe.png"), "pipe.png cannot be read: It is no ordinary file"),
        (("causes", "/dev/zero"), "/dev/zero cannot be read: It is no ordinary file"),
        (("inspect", "long.png", *KNOWN), "long.png is too large (64 x 1390000 px): up to 32767"),
        (("inspect", "long.png", *KNOWN, "--pick", "all"), "long.png is too large"),
        (("calibrate", "long.png", "--known-pin", "3mm"), "long.png is too large"),
        (("inspect", "a.png", "a.png", "--repeats", "--module", "1e300"), "--module must be at "),
    ],
)
def test_what_must_not_be_opened_or_decoded_is_told_at_once(
    run, tmp_path, wheel_png, command, message
):
    (tmp_path / "a.png").write_bytes(wheel_png)
    os.mkfifo(tmp_path / "pipe.png")
    (tmp_path / "zero.png").symlink_to("/dev/zero")
    if "long.png" in command:
        write(tmp_path / "long.png", np.zeros((1_390_000, 64), np.uint8))
    start = time.monotonic()
    status, out, err = run(*command)
    assert time.monotonic() - start < 10
    assert (status > 0, out, len(err)) == (True, "", 1), err
    assert err[0].startswith(message)


def test_a_fault_of_ours_is_told_in_one_line_with_where_its_details_are(run, tmp_path, monkeypatch):
    def stumble(*given, **more):
        raise ZeroDivisionError("by accident")

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr("cogloupe.planning.plan.make_plan", stumble)
    status, out, err = run("plan", "--teeth", "24", "--module", "1")
    assert (status, out, len(err)) == (3, "", 1)
    found = re.fullmatch(
        r"this is a fault of Cogloupe \(ZeroDivisionError: by accident\): please report it with "
        r"(.*), which holds the details",
        err[0],
    )
    assert "in stumble" in Path(found[1]).read_text()


def test_what_image_libraries_print_themselves_is_not_seen(run, monkeypatch):
    def chatter(*given, **more):
        os.write(2, b"TIFFReadDirectory: Warning, unknown field.\n")
        raise SystemExit(0)

    monkeypatch.setattr("cogloupe.planning.plan.make_plan", chatter)
    assert run("plan", "--teeth", "24", "--module", "1") == (0, "", [])


def test_a_full_disk_leaves_the_old_page(run, tmp_path, monkeypatch):
    (tmp_path / "plan.html").write_text("old")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("cogloupe_calibration.files.os.fsync", full)
    status, _, err = run("plan", "--teeth", "24", "--module", "1", "--out", "plan.html")
    assert status == 2
    assert err == ["plan.html cannot be written (No space left on device): choose another"]
    assert (tmp_path / "plan.html").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["plan.html"]


def test_ctrl_c_finishes_what_is_in_hand_and_says_how_far_it_got(tmp_path, wheel_png):
    """For real, with two processes."""
    for k in range(30):
        (tmp_path / f"{k:02}.png").write_bytes(wheel_png)
    started = subprocess.Popen(
        [*TWO, ".", *KNOWN, "--jobs", "2"], cwd=tmp_path, stderr=subprocess.PIPE, text=True,
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        until = time.monotonic() + 60
        while not list(tmp_path.glob("readings/*/reading.json")):
            assert time.monotonic() < until
            time.sleep(0.05)
        started.send_signal(signal.SIGINT)
        _, err = started.communicate(timeout=60)
    finally:
        started.kill()
    assert started.returncode == 130
    stopping, stopped = err.splitlines()
    assert stopping == "Stopping after the photographs in hand; Ctrl+C again drops them."
    done = int(re.fullmatch(r"Stopped: (\d+) of 30 photographs are done; the .*", stopped)[1])
    assert 1 <= done < 30
    read = {path.parent for path in tmp_path.glob("readings/*/reading.json")}
    assert len(read) == done
    assert all((folder / "report.html").exists() for folder in read)
