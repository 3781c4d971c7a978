"""`cogloupe pair` as a person meets it: what it says, writes and refuses."""

import json
import sys

import pytest

from cogloupe.commands import main
from cogloupe.reading.files import reading_json
from cogloupe.simulation import Faults, GearSpec

from ..helpers.pair_gears import exact_reading, made_gear

PAGES = {"pair.html", "drilling.pdf", "drilling.svg", "drilling.dxf"}
TRAIN = """
[[gear]]
reading = "pinion"
[[gear]]
reading = "wheel"
centre_distance = "13.55mm"
[[gear]]
mate_teeth = 20
backlash = "0.03mm"
direction_deg = 90
"""


def made(teeth, name, **more):
    spec = GearSpec(teeth=teeth, bore_mm=2.0, **({"module_mm": 0.5} | more))
    reading = exact_reading(made_gear(spec, Faults(eccentricity_um=10.0)))
    photo = reading.photo.model_copy(update={"file": f"{name}.jpg"})
    return reading_json(reading.model_copy(update={"photo": photo}))


@pytest.fixture(scope="module")
def written():
    return {
        "pinion": made(18, "pinion"),
        "wheel": made(36, "wheel"),
        "other": made(20, "other", module_mm=0.6),
    }


@pytest.fixture
def run(tmp_path, monkeypatch, capfd, written):
    """Run the command beside readings of some gears: exit status, stdout, lines of stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")
    for name, text in written.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "reading.json").write_text(text, "utf-8")

    def with_arguments(*arguments):
        monkeypatch.setattr(sys, "argv", ["cogloupe", "pair", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code or 0, out, err.splitlines()

    return with_arguments


def test_a_pair_is_told_and_drawn(run, tmp_path):
    status, out, err = run("pinion", "wheel/reading.json", "--backlash", "0.03mm", "--out", "pair")
    assert status == 0
    said = " ".join((out + "\n".join(err)).split())
    assert "pinion with wheel: Runs freely at 13.5" in said
    assert "the least backlash is 0.03" in said, said
    for wanted in ("tip", "contact ratio", "rolling fixture", "wear eye protection", "guard"):
        assert wanted in said
    names = {path.name for path in (tmp_path / "pair").iterdir()}
    assert names >= PAGES
    assert any(name.startswith("cogloupe-") for name in names)


def test_one_reading_runs_with_a_perfect_mate(run):
    status, out, err = run("pinion", "--mate-teeth", "36", "--centre-distance", "13.6mm")
    assert status == 0
    assert "theory-36 is the perfect gear of theory" in " ".join((out + " ".join(err)).split())


def test_a_train_is_laid_out_with_a_page_for_each_mesh(run, tmp_path):
    (tmp_path / "train.toml").write_text(TRAIN, "utf-8")
    status, out, err = run("--train", "train.toml", "--out", "plate")
    assert status == 0
    assert "At the last gear" in out + "\n".join(err)
    names = {path.name for path in (tmp_path / "plate").iterdir()}
    assert names >= (PAGES - {"pair.html"}) | {"pair-1.html", "pair-2.html"}


REFUSED = {
    "one reading": (["pinion"], "1 readings were given: give two, or one with --mate-teeth"),
    "three": (["pinion", "wheel", "other"], "3 readings were given"),
    "other module": (["pinion", "other"], r"modules, 0.5 mm (50.8 DP) and 0.6 mm (42.33 DP)"),
    "no file": (["pinion", "nothing"], "nothing cannot be read"),
    "both wishes": (
        ["pinion", "wheel", "--backlash", "0.02mm", "--centre-distance", "13.5mm"],
        "either --centre-distance or --backlash",
    ),
    "apart": (
        ["pinion", "wheel", "--centre-distance", "15mm"],
        "the teeth miss each other by 0.500 mm",
    ),
    "overlapping": (["pinion", "wheel", "--centre-distance", "13mm"], "the teeth overlap"),
    "no unit": (["pinion", "wheel", "--centre-distance", "13"], "13"),
    "no pair of teeth": (["pinion", "wheel", "--start", "7"], "--start 7 is not a pair"),
    "no tooth": (["pinion", "wheel", "--start", "19,1"], "has no tooth 19: it has 1 to 18"),
    "few teeth": (["pinion", "--mate-teeth", "3"], "a mate of 3 teeth is outside 5 to 1000"),
    "readings and train": (
        ["pinion", "--train", "train.toml"],
        "readings beside --train: say that in",
    ),
    "wish and train": (
        ["--train", "train.toml", "--backlash", "0.1mm"],
        "--backlash beside --train: say that in train.toml",
    ),
    "less than nothing": (["pinion", "wheel", "--backlash", "-1mm"], "-1mm"),
    "no distance": (["pinion", "wheel", "--centre-distance", "0mm"], "0mm"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_done_is_told_in_one_line(run, what):
    arguments, told = REFUSED[what]
    status, _, err = run(*arguments)
    assert status == 2
    assert len(err) == 1
    assert told in err[0]


def test_a_reading_of_a_later_schema_is_refused(run, tmp_path, written):
    later = json.loads(written["wheel"]) | {"schema_version": "3.0"}
    (tmp_path / "wheel" / "reading.json").write_text(json.dumps(later), "utf-8")
    status, _, err = run("pinion", "wheel")
    assert status == 2
    assert err == [
        "wheel/reading.json has schema version 3.0, this program reads 1.0: read the "
        "photograph again, or update Cogloupe"
    ]
