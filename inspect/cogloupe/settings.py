"""What the person says of a gear: on the command line, or in a `gear.toml` beside the pictures."""

import tomllib
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from cogloupe.rack import BasicRack, basic_rack, rack_for_angle
from cogloupe.reading import DatumKind
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import MM_PER_INCH, parse_length

SETTINGS_FILE = "gear.toml"

_SIZE = ("module_mm", "dp")
_SCALE = ("calibration", "scale_um_per_px", "known_tip_diameter", "known_bore")

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Length = str | None


class GearSettings(BaseModel):
    """What is known of a gear and its picture before it is measured.

    Lengths are text with a unit. Of `module_mm` and `dp` at most one is given, and of the four
    that set the scale at most one.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    teeth: Annotated[int, Field(ge=5, le=420)] | None = None
    module_mm: Positive | None = None
    dp: Positive | None = None
    pressure_angle_deg: Annotated[float, Field(ge=10, le=32)] = 20.0
    rack: str | None = None
    calibration: Path | None = None
    scale_um_per_px: Positive | None = None
    known_tip_diameter: Length = None
    known_bore: Length = None
    datum: DatumKind | None = None
    measuring_diameter: Length = None
    pin_diameter: Length = None
    edge: Literal["outer", "inner"] = "outer"
    partial: bool = False

    @field_validator("known_tip_diameter", "known_bore", "measuring_diameter", "pin_diameter")
    @classmethod
    def _is_length(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                parse_length(text)
            except UseError as error:
                raise ValueError(str(error)) from error
        return text

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        for group in (_SIZE, _SCALE):
            given = [name for name in group if getattr(self, name) is not None]
            if len(given) > 1:
                raise ValueError(f"{' and '.join(given)} say the same thing twice: give one")
        return self

    @property
    def module(self) -> float | None:
        """Stated module, mm; None where neither module nor DP was given."""
        if self.module_mm is not None:
            return self.module_mm
        return MM_PER_INCH / self.dp if self.dp is not None else None

    @cached_property
    def lengths_mm(self) -> dict[str, float]:
        """The lengths that were given, mm."""
        names = ("known_tip_diameter", "known_bore", "measuring_diameter", "pin_diameter")
        return {n: parse_length(text) for n in names if (text := getattr(self, n)) is not None}

    def basic_rack(self, module_mm: float) -> BasicRack:
        """Rack that was named, or the one the trade uses for the pressure angle.

        Parameters
        ----------
        module_mm : float

        Returns
        -------
        BasicRack
        """
        if self.rack is not None:
            return basic_rack(self.rack, module_mm)
        return rack_for_angle(self.pressure_angle_deg, module_mm, dp=self.dp is not None)


def make_settings(given: Mapping[str, object], where: str = "") -> GearSettings:
    """Check what was given.

    Parameters
    ----------
    given : mapping
        Field names and values.
    where : str
        File it came from, for the message.

    Returns
    -------
    GearSettings

    Raises
    ------
    UseError
        One line naming the field, what was given and what is allowed.
    """
    try:
        return GearSettings.model_validate(given)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        message = first["msg"].removeprefix("Value error, ")
        said = f" (given: {first['input']!r})" if field else ""
        prefix = f"{where}: " if where else ""
        raise UseError(f"{prefix}{field + ': ' if field else ''}{message}{said}") from error


def settings_for(photo: Path, given: Mapping[str, object]) -> GearSettings:
    """Settings of one photograph: its folder's `gear.toml`, overridden by what was given.

    Parameters
    ----------
    photo : Path
        The photograph.
    given : mapping
        Fields given on the command line; None counts as not given.

    Returns
    -------
    GearSettings

    Raises
    ------
    UseError
        Where file or fields are wrong.
    """
    path = photo.parent / SETTINGS_FILE
    stated = _from_file(path, photo.name) if path.is_file() else {}
    settings = make_settings(_overridden(stated, given), str(path) if stated else "")
    if settings.calibration is not None and not settings.calibration.is_absolute():
        beside = photo.parent / settings.calibration
        if "calibration" not in _given(given) and beside.exists():
            return settings.model_copy(update={"calibration": beside})
    return settings


def _given(fields: Mapping[str, object]) -> dict[str, object]:
    return {name: value for name, value in fields.items() if value is not None}


def _overridden(base: Mapping[str, object], over: Mapping[str, object]) -> dict[str, object]:
    """Lay one set of fields over another; a field displaces those that say the same thing."""
    over = _given(over)
    merged = dict(base)
    for group in (_SIZE, _SCALE):
        if any(name in over for name in group):
            merged = {name: value for name, value in merged.items() if name not in group}
    return {**merged, **over}


def _from_file(path: Path, photo: str) -> dict[str, Any]:
    """Fields of a gear.toml for one photograph: its defaults under its own table."""
    try:
        document = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UseError(f"{path} cannot be read as TOML: {error}") from error
    tables = document.pop("photo", {})
    if not isinstance(tables, dict):
        raise UseError(f'{path}: "photo" must be tables such as [photo."NAME.jpg"]')
    return _overridden(document, tables.get(photo, {}))
