"""Sets of pictures on the command line."""

import json
import sys

import pytest
from PIL import Image

from cogloupe.commands import main

from ..sets.test_rotation_set import Z, turned_photos

KNOWN = ("--teeth", Z, "--module", 1, "--scale", 60)


@pytest.fixture
def run(tmp_path, monkeypatch, capfd):
    """Run inspect in a folder with three turned pictures: exit status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    for photo in turned_photos():
        Image.fromarray(photo.pixels).save(tmp_path / photo.name)

    def with_arguments(*arguments):
        monkeypatch.setattr(sys, "argv", ["cogloupe", "inspect", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code or 0, out, err

    return with_arguments


def test_turned_pictures_become_one_folder(run, tmp_path):
    status, out, err = run("--turned", ".", *KNOWN, "--out", "readings")
    assert (status, err) == (0, "")
    folder = tmp_path / "readings" / "at-131-0-turned"
    assert {path.name for path in folder.iterdir()} >= {
        "camera.png", "chart.png", "overlay.png", "reading.json", "report.html", "teeth.csv",
    }  # fmt: skip
    assert f"One reading of 3 pictures is in {folder.relative_to(tmp_path)}" in out
    found = json.loads((folder / "reading.json").read_text())["photo_set"]
    assert [p["file"] for p in found["pictures"]] == [
        "at-131-0.png", "at-245-0.png", "at-4-0.png",
    ]  # fmt: skip
    page = (folder / "report.html").read_text()
    assert "3 turned pictures" in page
    assert "The pictures of this reading" in page


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--turned", "--join", "."), "--turned, --repeats and --join"),
        (("--turned", "at-4-0.png"), "--turned needs two pictures"),
        (("--mark", "3,4", "."), "--mark is for --turned and --join"),
        (("--repeats", "--mark", "1,2", "."), "--mark has no use there"),
        (("--turned", "--mark", "1/2,3,4", "."), "one tooth a picture is named"),
        (("--turned", "--pick", "all", "."), "--pick all reads every gear by itself"),
    ],
)
def test_wrong_use_is_told_in_one_line(run, arguments, message):
    status, _, err = run(*arguments, *KNOWN)
    assert status == 2
    assert message in err
    assert err.count("\n") == 1
