"""First steps: questions, a look at the installation, help, completion, exports."""

import io
import os
import subprocess
import sys
import tomllib

import pytest
from openpyxl import load_workbook

from cogloupe import __version__
from cogloupe.commands import _COMMANDS, main
from cogloupe.reading.files import load_reading

KNOWN = ("--teeth", "24", "--module", "1", "--scale", "40")


@pytest.fixture
def run(tmp_path, monkeypatch, capfd):
    """Run a command in a folder of its own, with what is typed: exit status, output, errors."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")

    def with_arguments(*arguments, typed=""):
        monkeypatch.setattr(sys, "argv", ["cogloupe", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        with pytest.raises(SystemExit) as ended:
            main()
        return ended.value.code or 0, *capfd.readouterr()

    return with_arguments


def answers(*lines):
    return "\n".join(lines) + "\n"


def test_a_few_answers_make_a_gear_file(run, tmp_path):
    typed = answers("21", "", "48", "", "12,17mm", "", "n")
    status, out, _ = run("start", typed=typed)
    assert status == 0
    said = tomllib.loads((tmp_path / "gear.toml").read_text("utf-8"))
    assert said == {"teeth": 21, "dp": 48, "known_tip_diameter": "12,17mm"}
    assert "cogloupe inspect" in out


def test_an_answer_that_will_not_do_is_asked_again(run, tmp_path):
    typed = answers("two", "21", "0,5", "", "", "4", "4mm", "", "n")
    status, _, err = run("start", typed=typed)
    assert status == 0
    assert "teeth must be a whole number" in err
    assert "has no unit" in err
    said = tomllib.loads((tmp_path / "gear.toml").read_text("utf-8"))
    assert said == {"teeth": 21, "module_mm": 0.5, "known_bore": "4mm"}


def test_the_machine_is_told_in_counts_with_their_meaning(run, tmp_path):
    typed = answers(*[""] * 9, "the orrery bench", "2400", "200", "8", "72/24", "")
    status, out, _ = run("start", "--machine", typed=typed)
    assert status == 0
    assert "2400 where it counts all four edges" in out
    said = tomllib.loads((tmp_path / "machine.toml").read_text("utf-8"))
    assert said["drive_ratio"] == "72/24"
    assert said["microsteps"] == 8


def test_what_stood_in_the_gear_file_stays(run, tmp_path):
    (tmp_path / "gear.toml").write_text('# the orrery\n[photo."a.jpg"]\nteeth = 12\n')
    run("start", "--no-machine", typed=answers("21", *[""] * 8))
    text = (tmp_path / "gear.toml").read_text("utf-8")
    assert "# the orrery" in text
    assert tomllib.loads(text)["photo"]["a.jpg"]["teeth"] == 12
    assert tomllib.loads(text)["teeth"] == 21


def test_doctor_names_every_library_and_reads_a_picture(run):
    status, out, _ = run("doctor", "--no-camera")
    assert status == 0
    for name in ("numpy", "starlette", "ezdxf", "reading a picture", "browser for the bench"):
        assert name in out
    assert "All that the readings need is there." in out


def test_doctor_says_what_is_missing(run, monkeypatch):
    def gone(name):
        raise OSError("libGL.so.1: cannot open shared object file")

    monkeypatch.setattr("cogloupe.inputs.photo.read_photo", gone)
    status, out, _ = run("doctor", "--no-camera")
    assert status == 1
    assert "libGL" in out
    assert "Missing: reading a picture" in out


@pytest.mark.parametrize("command", [command.__name__ for command, _, _ in _COMMANDS])
def test_each_help_ends_with_an_example_of_that_command(run, command):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert f"Example: cogloupe {command} " in out


def test_examples_use_options_that_there_are(run):
    for command, _, example in _COMMANDS:
        options = [word for word in example.split() if word.startswith("--")]
        _, out, _ = run(command.__name__, "--help")
        assert all(option in out for option in options)


def from_shell(*arguments, **environment):
    return subprocess.run(
        [sys.executable, "-m", "cogloupe", *arguments], capture_output=True, text=True,
        check=False, timeout=60, env={**os.environ, **environment},
    )  # fmt: skip


def test_the_module_is_the_command_and_tells_its_version():
    assert from_shell("--version").stdout == f"cogloupe {__version__}\n"


def test_a_shell_completes_commands():
    asked = {"COMP_WORDS": "cogloupe ins", "COMP_CWORD": "1"}
    found = from_shell(_COGLOUPE_COMPLETE="complete_bash", **asked).stdout.split()
    assert found == ["inspect"]


def test_readings_are_exported_for_spreadsheet_and_cad(run, tmp_path, wheel_png):
    (tmp_path / "wheel.png").write_bytes(wheel_png)
    assert run("inspect", "wheel.png", *KNOWN)[0] == 0
    status, out, _ = run("export", "readings/wheel")
    assert status == 0
    place = tmp_path / "readings" / "wheel"
    assert (place / "outline.dxf").read_bytes().startswith(b"  0\nSECTION")
    rows = list(load_workbook(place / "teeth.xlsx")["teeth"].iter_rows(values_only=True))
    assert len(rows) == 25
    assert "outline.dxf" in out


def test_simulated_pictures_can_be_read_at_once(run, tmp_path):
    (tmp_path / "little.toml").write_text(
        "[gear]\nteeth = 18\nmodule_mm = 0.8\npressure_angle_deg = 20\n"
        "[camera]\nmm_per_px = 0.03\nwidth_px = 640\nheight_px = 640\n"
    )
    assert run("simulate", "little.toml", "--out", "made")[0] == 0
    said = tomllib.loads((tmp_path / "made" / "gear.toml").read_text("utf-8"))
    assert said["photo"]["little.png"]["scale_um_per_px"] == 30
    assert run("inspect", "made")[0] == 0
    reading = load_reading(tmp_path / "readings" / "little" / "reading.json")
    assert (reading.gear.teeth, reading.gear.module_mm) == (18, 0.8)


def test_a_bench_without_its_folder_is_told(run):
    status, _, err = run("bench", "nowhere")
    assert status == 2
    assert "nowhere is not a folder" in err
