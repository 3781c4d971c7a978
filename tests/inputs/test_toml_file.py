"""TOML as people write it."""

import time

import pytest

from cogloupe.inputs.settings import settings_for
from cogloupe.inputs.toml_file import parse_toml, read_toml, save_toml
from cogloupe_calibration.errors import UseError


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("module_mm = 0,5", 0.5),
        ("module_mm = 0,5  # of the drawing", 0.5),
        ("known_bore = 4mm", "4mm"),
        ("known_bore = 12,19 mm", "12,19 mm"),
        ("span = 7.646mm/4", "7.646mm/4"),
        ("known_tip = 0.4792in # caliper", "0.4792in"),
        (r'calibration = "C:\pictures\scale.json"', "C:/pictures/scale.json"),
        (r'calibration = "C:\temp\new.json"', "C:/temp/new.json"),
        (r'calibration = "pictures\scale.json"', "pictures/scale.json"),
        ("teeth = 21", 21),
        ("drive_ratio = [72, 24]", [72, 24]),
    ],
)
def test_what_is_meant_is_read(line, wanted):
    (value,) = parse_toml(f"# head\n{line}\n", "gear.toml").values()
    assert value == wanted


@pytest.mark.parametrize(
    "data",
    [b"\xef\xbb\xbfteeth = 21\r\n", "teeth = 21\n".encode("utf-16"), b"teeth = 21"],
    ids=["byte-order mark", "UTF-16", "plain"],
)
def test_a_file_may_be_as_an_editor_leaves_it(tmp_path, data):
    (tmp_path / "gear.toml").write_bytes(data)
    assert read_toml(tmp_path / "gear.toml") == {"teeth": 21}


@pytest.mark.parametrize(
    ("text", "line", "advice"),
    [
        ("teeth = 21\nform = cycloidal\n", "line 2: 'form = cycloidal'", 'form = "cycloidal"'),
        ("teeth =\n", "line 1: 'teeth ='", "teeth = 21"),
        ("teeth 21\n", "line 1", "a name, = and a value"),
        ('a = 1\nb = "open\n', "line 2", 'b = "open"'),
    ],
)
def test_what_cannot_be_read_is_told_with_its_line_and_how_to_write_it(text, line, advice):
    with pytest.raises(UseError) as told:
        parse_toml(text, "gear.toml")
    assert line in str(told.value)
    assert advice in str(told.value)
    assert "\n" not in str(told.value)


def test_a_length_with_a_comma_reaches_the_settings(tmp_path):
    (tmp_path / "gear.toml").write_text("teeth = 21\nmodule_mm = 0,5\nknown_bore = 4,02mm\n")
    settings = settings_for(tmp_path / "a.jpg", {})
    assert settings.module_mm == 0.5
    assert settings.lengths_mm["known_bore"] == pytest.approx(4.02)


def test_saving_keeps_comments_and_other_photographs(tmp_path):
    path = tmp_path / "gear.toml"
    path.write_text('# the orrery\nteeth = 30  # all\n[photo."a.jpg"]\nteeth = 12\n')
    save_toml(path, {"teeth": 21, "dp": 48.0, "known_bore": None}, photo="b [1].jpg")
    assert "# the orrery" in path.read_text()
    assert settings_for(tmp_path / "a.jpg", {}).teeth == 12
    assert settings_for(tmp_path / "b [1].jpg", {}).dp == 48
    save_toml(path, {"dp": None, "module_mm": 0.5}, photo="b [1].jpg")
    assert settings_for(tmp_path / "b [1].jpg", {}).module_mm == 0.5


def test_saving_into_a_file_that_was_mended_keeps_what_it_meant(tmp_path):
    path = tmp_path / "gear.toml"
    path.write_bytes(b"\xef\xbb\xbfmodule_mm = 0,5\r\nknown_bore = 4mm\r\n")
    save_toml(path, {"teeth": 21})
    assert read_toml(path) == {"module_mm": 0.5, "known_bore": "4mm", "teeth": 21}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
        (".".join("a" * 4000) + " = 1", "a name of more than 16 parts"),
        ("a = {" + ".".join("b" * 40) + " = 1}", "a name of more than 16 parts"),
        ("[" + " . ".join("a" * 40) + "]", "a name of more than 16 parts"),
        ("a = '" + "b" * 13_000 + "'", "line 1 has 13006 letters, more than 12000"),
        ("a = " + "9" * 5000, "TOML: "),
        ('a = ["b", "c\\u001b[31m"]', "a holds a control character: 'c\\x1b[31m'"),
    ],
)
def test_a_hostile_file_of_settings_is_refused_in_one_line_at_once(text, message):
    start = time.perf_counter()
    with pytest.raises(UseError) as caught:
        parse_toml(text, "gear.toml")
    assert time.perf_counter() - start < 1
    assert message in str(caught.value)
    assert str(caught.value).startswith("gear.toml cannot be read as TOML: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        "# a.b.c.d.e.f.g.h.i.j.k.l.m.n.o\na = [" + "1.5, " * 400 + "]",
        '[photo."2026.05.01.12.30.15.a.b.c.d.e.f.g.h.i.j.k.jpg"]\nteeth = 12',
        "note = 'and so on " + "." * 500 + "'",
    ],
)
def test_what_people_write_is_read(text):
    assert parse_toml(text, "gear.toml")


@pytest.mark.parametrize("size", [2**20 + 1, 2**30])
def test_a_file_larger_than_a_person_writes_is_not_read(tmp_path, size):
    with (tmp_path / "gear.toml").open("wb") as file:
        file.truncate(size)  # a hole: no disk is used
    with pytest.raises(UseError, match=r"cannot be read as TOML: It is larger than 1\.05 MB"):
        read_toml(tmp_path / "gear.toml")


def test_bytes_that_are_no_text_are_told(tmp_path):
    (tmp_path / "gear.toml").write_bytes(b"a = '\xff'")
    with pytest.raises(UseError, match="is no text in UTF-8: save it"):
        read_toml(tmp_path / "gear.toml")


def test_saving_keeps_the_line_ends_of_the_file(tmp_path):
    path = tmp_path / "gear.toml"
    path.write_bytes(b"teeth = 30\r\n[photo.'a.jpg']\r\nteeth = 12\r\n")
    save_toml(path, {"teeth": 21})
    assert path.read_bytes() == b"teeth = 21\r\n[photo.'a.jpg']\r\nteeth = 12\r\n"


def test_saving_into_a_file_of_another_encoding_keeps_what_it_meant(tmp_path):
    path = tmp_path / "gear.toml"
    path.write_bytes("teeth = 30\n# für alle\n".encode("utf-16"))
    save_toml(path, {"dp": 48.0})
    assert "# für alle" in path.read_text("utf-8")
    assert read_toml(path) == {"teeth": 30, "dp": 48.0}
