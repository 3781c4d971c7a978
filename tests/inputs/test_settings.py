"""What a person says of a gear: options, gear.toml, and what is wrong with either."""

from math import degrees

import pytest

from cogloupe.inputs.settings import GearSettings, as_option, make_settings, settings_for
from cogloupe_calibration.errors import UseError

FROM_TOML = """\
pressure_angle_deg = 14.5
scale_um_per_px = 8.5
[photo."day wheel [1].jpg"]
teeth = 21
dp = 48
[photo."Räder.png"]
module_mm = 0.5
known_bore = "4mm"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "gear.toml").write_text(FROM_TOML, "utf-8")
    return tmp_path


def test_a_photograph_takes_its_own_table_and_the_folder_s_defaults(folder):
    settings = settings_for(folder / "day wheel [1].jpg", {})
    assert (settings.teeth, settings.dp, settings.pressure_angle_deg) == (21, 48, 14.5)
    assert settings.scale_um_per_px == 8.5
    assert settings.module == pytest.approx(25.4 / 48)


def test_a_photograph_without_a_table_takes_the_defaults(folder):
    settings = settings_for(folder / "other.jpg", {})
    assert (settings.teeth, settings.module, settings.scale_um_per_px) == (None, None, 8.5)


def test_a_table_s_scale_displaces_the_folder_s(folder):
    settings = settings_for(folder / "Räder.png", {})
    assert (settings.known_bore, settings.scale_um_per_px) == ("4mm", None)
    assert settings.lengths_mm == {"known_bore": 4.0}


def test_a_name_is_found_however_its_accents_are_coded(folder):
    # Some file systems write an umlaut as a letter and a separate accent.
    assert settings_for(folder / "Ra\u0308der.png", {}).module == 0.5


def test_options_displace_what_says_the_same_in_the_file(folder):
    given = {"module_mm": 0.53, "calibration": "c.json", "teeth": None}
    settings = settings_for(folder / "day wheel [1].jpg", given)
    assert (settings.teeth, settings.module_mm, settings.dp) == (21, 0.53, None)
    assert settings.scale_um_per_px is None


def test_without_a_file_only_the_options_count(tmp_path):
    assert settings_for(tmp_path / "a.jpg", {"teeth": 12}) == make_settings({"teeth": 12})


def test_a_calibration_is_looked_for_beside_the_file_that_names_it(folder):
    (folder / "gear.toml").write_text('calibration = "c.json"')
    assert str(settings_for(folder / "a.jpg", {}).calibration) == "c.json"
    (folder / "c.json").write_text("{}")
    assert settings_for(folder / "a.jpg", {}).calibration == folder / "c.json"
    # One named on the command line is where the person stands.
    assert str(settings_for(folder / "a.jpg", {"calibration": "c.json"}).calibration) == "c.json"


def test_the_rack_is_the_named_one_or_the_usual_one():
    named = make_settings({"rack": "iso53-c"}).basic_rack(1.0)
    assert (named.name, named.fillet_radius) == ("iso53-c", 0.25)
    old = make_settings({"pressure_angle_deg": 14.5, "dp": 32}).basic_rack(25.4 / 32)
    assert (old.name, degrees(old.pressure_angle)) == ("full-depth-14.5", pytest.approx(14.5))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"teeth": -3}, "--teeth must be at least 5, not -3"),
        ({"teeth": 0}, "--teeth must be at least 5, not 0"),
        ({"teeth": 4711}, "--teeth must be at most 420, not 4711"),
        ({"teeth": 20.5}, "--teeth must be a whole number, not 20.5"),
        ({"module_mm": 0.0}, "--module must be at least 0.02, not 0.0"),
        ({"module_mm": -1.0}, "--module must be at least 0.02, not -1.0"),
        ({"module_mm": float("nan")}, "--module must be a number, as 0.5, not nan"),
        ({"dp": float("inf")}, "--dp must be a number, as 0.5, not inf"),
        ({"scale_um_per_px": 0.0}, "--scale must be at least 0.001, not 0.0"),
        ({"pressure_angle_deg": 5.0}, "--pressure-angle must be at least 10, not 5.0"),
        ({"known_bore": "0mm"}, "--known-bore: length '0mm' must be above zero"),
        ({"known_bore": "4"}, "--known-bore: '4' has no unit: write 4mm, 4in or 4thou"),
        ({"known_tip_diameter": "4ell"}, "--known-tip-diameter: unit 'ell' in '4ell' is not known"),
        ({"pin_diameter": "nanmm"}, "--pin-diameter: 'nanmm' is not a length"),
        ({"rack": "iso53-e"}, "--rack: rack 'iso53-e' is not known: use one of iso53-a"),
        ({"datum": "hub"}, "--datum must be 'bore', 'teeth' or 'tips', not 'hub'"),
        ({"module_mm": 1.0, "dp": 24.0}, "--module and --dp say the same thing twice: give one"),
        (
            {"calibration": "c.json", "scale_um_per_px": 5.0},
            "--calibration and --scale say the same thing twice: give one",
        ),
    ],
)
def test_a_wrong_option_is_named_as_it_was_typed(given, message):
    with pytest.raises(UseError) as caught:
        make_settings(given)
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("teeth = 21\nmodul = 0.5", "modul is not known here: use teeth, module_mm, dp"),
        ("teeth = ", "teeth = 21"),
        ("teeth = 'many'", "teeth must be a whole number, not 'many'"),
        ("module_mm = -1", "module_mm must be at least 0.02, not -1"),
        ("module_mm = nan", "module_mm must be a number, as 0.5, not nan"),
        ("known_bore = 4", 'known_bore must be text in quotes, as "12.19mm", not 4'),
        ("module_mm = 1\ndp = 24", "module_mm and dp say the same thing twice: give one"),
        ('[photo."a.jpg"]\nmodule_mm = 1\ndp = 24', "module_mm and dp say the same thing twice"),
        ("partial = 'maybe'", "partial must be true or false, not 'maybe'"),
        ("photo = 3", '"photo" must be tables such as [photo."NAME.jpg"]'),
        ('[photo]\n"a.jpg" = 3', '"photo" must be tables such as [photo."NAME.jpg"]'),
        ("[photo.a.jpg]\nteeth = 12", "jpg is not known here"),  # forgotten quotes
    ],
)
def test_a_wrong_file_is_named_with_the_field_as_it_stands_there(tmp_path, text, message):
    (tmp_path / "gear.toml").write_text(text)
    name = "a" if "photo.a" in text else "a.jpg"
    with pytest.raises(UseError) as caught:
        settings_for(tmp_path / name, {})
    assert str(caught.value).startswith(f"{tmp_path / 'gear.toml'}")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_text_is_named(tmp_path):
    (tmp_path / "gear.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UseError, match=r"gear\.toml is no text in UTF-8"):
        settings_for(tmp_path / "a.jpg", {})


def test_every_field_has_an_option_s_name():
    assert as_option("module_mm") == "--module"
    assert as_option("scale_um_per_px") == "--scale"
    assert as_option("known_tip_diameter") == "--known-tip-diameter"
    assert len({as_option(name) for name in GearSettings.model_fields}) == len(
        GearSettings.model_fields
    )


@pytest.mark.parametrize(
    ("text", "size_mm", "count"),
    [
        ("7.65mm", 7.65, None),
        ("7.65 mm / 3", 7.65, 3),
        ("0.3in/4", 7.62, 4),
        ("300thou", 7.62, None),
    ],
)
def test_a_span_may_say_how_many_teeth_it_was_taken_over(text, size_mm, count):
    found = make_settings({"span": text}).span_mm
    assert found == (pytest.approx(size_mm), count)


@pytest.mark.parametrize("text", ["7.65", "7.65mm/1", "7.65mm/x", "7.65mm/", "mm/3"])
def test_a_span_that_is_none_is_told(text):
    with pytest.raises(UseError, match="--span"):
        make_settings({"span": text})


def test_an_edition_may_be_written_as_a_year():
    assert make_settings({"tolerance_edition": 1995}).tolerance_edition == "1995"
    with pytest.raises(UseError, match="--tolerance-edition must be '2013' or '1995'"):
        make_settings({"tolerance_edition": 1988})


def test_the_machine_beside_a_picture_is_found_and_another_can_be_named(tmp_path):
    photo = tmp_path / "wheel.png"
    assert settings_for(photo, {}).machine is None
    (tmp_path / "machine.toml").write_text("microsteps = 4")
    assert settings_for(photo, {}).machine == tmp_path / "machine.toml"
    (tmp_path / "lathe.toml").write_text("microsteps = 8")
    assert settings_for(photo, {"machine": "lathe.toml"}).machine == tmp_path / "lathe.toml"


@pytest.mark.parametrize("wanted", [0, 13, 7.5])
def test_a_class_that_there_is_not_is_refused(wanted):
    with pytest.raises(UseError, match="--wanted-class must be"):
        make_settings({"wanted_class": wanted})
