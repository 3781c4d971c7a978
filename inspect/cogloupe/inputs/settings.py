"""What the person says of a gear: on the command line, or in a `gear.toml` beside the pictures."""

import re
from collections.abc import Callable, Mapping
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal
from unicodedata import normalize

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator
from pydantic_core import ErrorDetails

from cogloupe.forms.basic_racks import BasicRack, basic_rack, rack_for_angle
from cogloupe.forms.tooth_form import FormName
from cogloupe.inputs.toml_file import read_toml
from cogloupe.reading.bounds import (
    MOST_ON_A_PICTURE,
    MOST_TEETH,
    DiametralPitch,
    MicrometresPerPixel,
    ModuleMm,
)
from cogloupe.reading.models import DatumKind
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import MM_PER_INCH, parse_length

SETTINGS_FILE = "gear.toml"
MACHINE_FILE = "machine.toml"
"""Taken from beside the picture where no other is named."""

_SIZE = ("module_mm", "dp")
_CURVE = ("generating_circle", "mate_teeth", "addendum_radius")
"""What the addendum of cycloidal teeth can be stated by."""
_STATED = ("calibration", "scale_um_per_px")
_KNOWN = ("known_tip_diameter", "known_bore")
"""Beside a stated scale a known diameter is only compared with it."""
_SCALE = _STATED + _KNOWN

_LENGTHS = (
    "known_tip_diameter", "known_bore", "over_pins", "measuring_diameter", "pin_diameter",
    "generating_circle", "addendum_radius", "thickness",
)  # fmt: skip

_NUMBER = "a number, as 0.5"
_ALLOWED = {
    "greater_than_equal": "at least {ge:g}",
    "less_than_equal": "at most {le:g}",
    "finite_number": _NUMBER,
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "string_type": 'text in quotes, as "12.19mm"',
    "literal_error": "{expected}",
    "path_type": "the name of a file, in quotes",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}
"""What a field may be, by pydantic's type of error."""

Length = str | None


def _read_by(reads: Callable[[str], object], text: str | None) -> str | None:
    """The text itself; what cannot be read is refused in the way that a validator must."""
    if text is not None:
        try:
            reads(text)
        except UseError as error:
            raise ValueError(str(error)) from error
    return text


class GearSettings(BaseModel):
    """What is known of a gear and its picture before it is measured.

    Lengths are text with a unit. At most one is given of `module_mm` and `dp`, of the two that
    state a scale, of the two known diameters, and of the three that state an addendum curve;
    `make_settings` sees to that.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    teeth: Annotated[int, Field(ge=5, le=420)] | None = None
    module_mm: ModuleMm | None = None
    dp: DiametralPitch | None = None
    form: FormName = "involute"
    generating_circle: Length = None
    mate_teeth: Annotated[int, Field(ge=5, le=MOST_TEETH)] | None = None
    addendum_radius: Length = None
    addendum: Annotated[float, Field(ge=0.1, le=10, allow_inf_nan=False)] | None = None
    pressure_angle_deg: Annotated[float, Field(ge=10, le=32)] = 20.0
    rack: str | None = None
    calibration: Path | None = None
    scale_um_per_px: MicrometresPerPixel | None = None
    known_tip_diameter: Length = None
    known_bore: Length = None
    span: str | None = None
    over_pins: Length = None
    datum: DatumKind | None = None
    measuring_diameter: Length = None
    pin_diameter: Length = None
    thickness: Length = None
    tolerance_edition: Literal["2013", "1995"] = "2013"
    wanted_class: Annotated[int, Field(ge=1, le=12)] | None = None
    machine: Path | None = None
    edge: Literal["outer", "inner"] = "outer"
    partial: bool = False
    unknown: bool = False
    even_so: bool = False
    pick: Annotated[int, Field(ge=1, le=MOST_ON_A_PICTURE)] | None = None

    @field_validator(*_LENGTHS)
    @classmethod
    def _is_length(cls, text: str | None) -> str | None:
        return _read_by(parse_length, text)

    @field_validator("span")
    @classmethod
    def _is_span(cls, text: str | None) -> str | None:
        return _read_by(parse_span, text)

    @field_validator("tolerance_edition", mode="before")
    @classmethod
    def _is_year(cls, year: object) -> object:
        return str(year) if isinstance(year, int) else year

    @field_validator("rack")
    @classmethod
    def _is_rack(cls, name: str | None) -> str | None:
        return _read_by(lambda known: basic_rack(known, 1.0), name)

    @property
    def curve_stated(self) -> bool:
        """True where the addendum curve of cycloidal teeth was stated."""
        return any(getattr(self, name) is not None for name in _CURVE)

    @property
    def module(self) -> float | None:
        """Stated module, mm; None where neither module nor DP was given."""
        if self.module_mm is not None:
            return self.module_mm
        return MM_PER_INCH / self.dp if self.dp is not None else None

    @cached_property
    def lengths_mm(self) -> dict[str, float]:
        """The lengths that were given, mm."""
        return {n: parse_length(text) for n in _LENGTHS if (text := getattr(self, n)) is not None}

    @property
    def span_mm(self) -> tuple[float, int | None] | None:
        """Measured span, mm, and the teeth it was taken over where that was said."""
        return None if self.span is None else parse_span(self.span)

    def basic_rack(self, module_mm: float) -> BasicRack:
        """Rack that was named, or the one the trade uses for the pressure angle."""
        if self.rack is not None:
            return basic_rack(self.rack, module_mm)
        return rack_for_angle(self.pressure_angle_deg, module_mm, dp=self.dp is not None)


def parse_span(text: str) -> tuple[float, int | None]:
    """Read a measured span, ``8.12mm``, or ``8.12mm/3`` with the teeth it was taken over.

    Gives its size, mm, and the teeth, None where it was not said.

    Raises
    ------
    UseError
        Where the text is not such a size.
    """
    size, slash, count = text.partition("/")
    if not slash:
        return parse_length(size), None
    if not re.fullmatch(r"\s*[0-9]{1,3}\s*", count) or int(count) < 2:
        raise UseError(
            f"'{text}' is not a span: after the slash goes the number of teeth spanned, "
            "2 or more, as 8.12mm/3"
        )
    return parse_length(size), int(count)


def make_settings(given: Mapping[str, object], where: str = "") -> GearSettings:
    """Check what was given, in the file that a message would name; None counts as not given.

    Raises
    ------
    UseError
        One line naming the field, what was given and what is allowed.

    Examples
    --------
    >>> settings = make_settings({"teeth": 21, "dp": 48, "known_tip_diameter": "0.4792in"})
    >>> round(settings.lengths_mm["known_tip_diameter"], 3)
    12.172
    """
    spelt = str if where else as_option
    prefix = f"{where}: " if where else ""
    for group in (_SIZE, _STATED, _KNOWN, _CURVE):
        names = [spelt(name) for name in group if given.get(name) is not None]
        if len(names) > 1:
            raise UseError(f"{prefix}{' and '.join(names)} say the same thing twice: give one")
    _check_form({n: v for n, v in given.items() if v is not None}, spelt, prefix)
    try:
        return GearSettings.model_validate(_given(given))
    except ValidationError as error:
        first = error.errors()[0]
        raise UseError(f"{prefix}{_in_words(first, spelt(str(first['loc'][0])))}") from error


def _check_form(given: Mapping[str, object], spelt: Callable[[str], str], prefix: str) -> None:
    """Refuse what does not belong to the stated tooth form."""
    form = given.get("form", "involute")
    only = {"involute": ("span", "over_pins"), "cycloidal": (*_CURVE, "addendum")}
    for owner, names in only.items():
        stray = [spelt(name) for name in names if name in given]
        if stray and form != owner:
            raise UseError(
                f"{prefix}{stray[0]} is for {owner} teeth, but {spelt('form')} is {form}: leave "
                f"one of them out"
            )


def as_option(name: str) -> str:
    """Spell a field as the command line's option for it."""
    short = {"module_mm": "module", "pressure_angle_deg": "pressure-angle"}
    short["scale_um_per_px"] = "scale"
    return "--" + short.get(name, name.replace("_", "-"))


def _in_words(error: ErrorDetails, name: str) -> str:
    """Say what is wrong with a field, what was given, and what is allowed."""
    if error["type"] == "value_error":
        return f"{name}: {error['msg'].removeprefix('Value error, ')}"
    if error["type"] == "extra_forbidden":
        known = ", ".join(GearSettings.model_fields)
        return f'{name} is not known here: use {known}, or a [photo."NAME"] table'
    allowed = _ALLOWED.get(error["type"], error["msg"]).format(**error.get("ctx", {}))
    return f"{name} must be {allowed}, not {error['input']!r}"


def settings_for(photo: Path, given: Mapping[str, object]) -> GearSettings:
    """Settings of one photograph: its folder's `gear.toml`, overridden by what was given.

    None counts as not given.

    Raises
    ------
    UseError
        Where file or fields are wrong.
    """
    path = photo.parent / SETTINGS_FILE
    stated = _from_file(path, photo.name) if path.exists() else {}
    settings = make_settings(_overridden(stated, given), str(path) if stated else "")
    if settings.calibration is not None and not settings.calibration.is_absolute():
        beside = photo.parent / settings.calibration
        if "calibration" not in _given(given) and beside.exists():
            settings = settings.model_copy(update={"calibration": beside})
    return _with_machine(settings, photo.parent)


def _with_machine(settings: GearSettings, folder: Path) -> GearSettings:
    """Settings with the machine file that is named, looked for beside the picture, or found there.

    A machine that nobody named is not missed.
    """
    named = settings.machine or Path(MACHINE_FILE)
    beside = folder / named
    if (settings.machine is None and not beside.is_file()) or named.is_absolute():
        return settings
    return settings.model_copy(update={"machine": beside if beside.is_file() else named})


def _given(fields: Mapping[str, object]) -> dict[str, object]:
    return {name: value for name, value in fields.items() if value is not None}


def _overridden(base: Mapping[str, object], over: Mapping[str, object]) -> dict[str, object]:
    """Lay one set of fields over another; a field displaces those that say the same thing."""
    over = _given(over)
    merged = dict(base)
    for group in (_SIZE, _SCALE, _CURVE):
        if any(name in over for name in group):
            merged = {name: value for name, value in merged.items() if name not in group}
    return {**merged, **over}


def _from_file(path: Path, photo: str) -> dict[str, Any]:
    """Fields of a gear.toml for one photograph: its defaults under its own table."""
    status = path.stat()
    defaults, own = _tables(path, status.st_size, status.st_mtime_ns)
    return _overridden(defaults, own.get(normalize("NFC", photo), {}))


@lru_cache(maxsize=16)
def _tables(path: Path, size: int, mtime_ns: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Defaults of a gear.toml and its tables by photograph; read once for all in its folder."""
    document = read_toml(path)
    tables = document.pop("photo", {})
    if not isinstance(tables, dict) or not all(isinstance(t, dict) for t in tables.values()):
        raise UseError(f'{path}: "photo" must be tables such as [photo."NAME.jpg"]')
    # One letter with an accent can be written as one code or as two, in a file and in its name.
    return document, {normalize("NFC", name): table for name, table in tables.items()}
