"""What is wanted of a gear before it is cut: on the command line, or in a plan file (TOML)."""

from collections.abc import Mapping
from pathlib import Path
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from cogloupe.forms.basic_racks import BasicRack, basic_rack, rack_for_angle
from cogloupe.inputs.lengths import LENGTH, Length
from cogloupe.inputs.toml_file import read_toml
from cogloupe.wording.wrong_fields import wrong_field
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import MM_PER_INCH

Process = Literal["hob", "form"]


class PlanRequest(BaseModel):
    """What is wanted of a gear; lengths are written with a unit and kept in millimetres."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    teeth: int = Field(strict=True, ge=5, le=420, description="a whole number from 5 to 420")
    module_mm: float | None = Field(
        default=None, ge=0.05, le=25, strict=True, description="module, 0.05 to 25 mm"
    )
    dp: float | None = Field(
        default=None, ge=1, le=500, strict=True, description="diametral pitch, 1 to 500"
    )
    pressure_angle_deg: float = Field(
        default=20.0, ge=10, le=32, strict=True, description="pressure angle, 10 to 32 degrees"
    )
    rack: str | None = Field(default=None, description="the name of a basic rack")
    profile_shift: float = Field(
        default=0.0, ge=-1, le=1.5, strict=True, description="profile shift, -1 to 1.5 modules"
    )
    blank_diameter: Length | None = Field(default=None, description=LENGTH)
    mate_teeth: int | None = Field(
        default=None, strict=True, ge=5, le=1000, description="a whole number from 5 to 1000"
    )
    mate_profile_shift: float = Field(
        default=0.0, ge=-1, le=1.5, strict=True, description="profile shift, -1 to 1.5 modules"
    )
    backlash: Length | None = Field(default=None, description=LENGTH)
    passes: int = Field(
        default=2, strict=True, ge=1, le=50, description="a whole number of passes, 1 to 50"
    )
    pin_diameter: Length | None = Field(default=None, description=LENGTH)
    process: Process = Field(
        default="hob", description="hob, or form for a form cutter, gap by gap"
    )
    spindle_rpm: float | None = Field(
        default=None, gt=0, le=100_000, strict=True,
        description="hob spindle speed, turns a minute above 0",
    )  # fmt: skip
    hob_diameter: Length | None = Field(default=None, description=LENGTH)
    hob_gashes: int | None = Field(
        default=None, strict=True, ge=2, le=100, description="a whole number of gashes, 2 to 100"
    )
    feed_per_turn: Length | None = Field(default=None, description=LENGTH)
    counts_from: int = Field(default=8, strict=True, ge=5, le=1000, description="5 to 1000 teeth")
    counts_to: int = Field(default=120, strict=True, ge=5, le=1000, description="5 to 1000 teeth")

    @model_validator(mode="after")
    def _check_consistency(self) -> Self:
        if (self.module_mm is None) == (self.dp is None):
            raise ValueError("give either module_mm or dp, one of the two")
        if self.counts_to < self.counts_from:
            raise ValueError(
                f"counts_to ({self.counts_to}) is below counts_from ({self.counts_from}): swap them"
            )
        return self

    @property
    def module(self) -> float:
        """Module, mm."""
        return self.module_mm if self.module_mm is not None else MM_PER_INCH / (self.dp or 1.0)

    @property
    def basic_rack(self) -> BasicRack:
        """Rack that was named, or the usual one for the pressure angle."""
        if self.rack is not None:
            return basic_rack(self.rack, self.module)
        return rack_for_angle(self.pressure_angle_deg, self.module, dp=self.dp is not None)


def make_request(given: Mapping[str, object], where: str = "") -> PlanRequest:
    """Check what was asked for, in the file that a message would name; None counts as not given.

    Raises
    ------
    UseError
        One line naming the field, what was given and what is allowed.

    Examples
    --------
    >>> request = make_request({"teeth": 21, "dp": 48})
    >>> round(request.module, 4)
    0.5292
    """
    stated = {name: value for name, value in given.items() if value is not None}
    try:
        return PlanRequest.model_validate(stated)
    except ValidationError as error:
        raise UseError(wrong_field(error, PlanRequest, where)) from error


def load_request(path: Path, given: Mapping[str, object] | None = None) -> PlanRequest:
    """Read a plan file, laid under what was given on the command line; None counts as not given.

    Raises
    ------
    UseError
        Where file or fields are wrong.
    """
    stated = read_toml(path)
    over = {name: value for name, value in (given or {}).items() if value is not None}
    if "module_mm" in over or "dp" in over:
        stated = {k: v for k, v in stated.items() if k not in ("module_mm", "dp")}
    return make_request({**stated, **over}, str(path))
