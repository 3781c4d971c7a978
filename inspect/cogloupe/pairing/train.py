"""A train of several gears, as a person writes it down: `train.toml`.

Each ``[[gear]]`` after the first runs with the one before it, or sits on its arbor. Lengths are
written with a unit and kept in millimetres.
"""

from pathlib import Path
from typing import Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from cogloupe.inputs.lengths import LENGTH, Length
from cogloupe.inputs.toml_file import read_toml
from cogloupe.wording.wrong_fields import wrong_field
from cogloupe_calibration.errors import UseError

FEWEST_GEARS = 2
"""One gear alone meshes with nothing."""


class TrainGear(BaseModel):
    """One gear of a train: a reading, or the perfect mate of the gear before it.

    `direction_deg` is where it lies as seen from the one before: 0 to the right, 90 up.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    reading: str | None = Field(default=None, description="the folder of a reading, a text")
    mate_teeth: int | None = Field(
        default=None, strict=True, ge=5, le=1000, description="a whole number from 5 to 1000"
    )
    mate_profile_shift: float = Field(
        default=0.0, ge=-1, le=1.5, strict=True, description="profile shift, -1 to 1.5 modules"
    )
    hole: Length | None = Field(default=None, description=LENGTH)
    centre_distance: Length | None = Field(default=None, description=LENGTH)
    backlash: Length | None = Field(default=None, description=LENGTH)
    direction_deg: float = Field(
        default=0.0, ge=-360, le=360, description="degrees, from -360 to 360"
    )
    same_arbor: bool = Field(
        default=False, strict=True, description="true for a gear on the arbor of the one before"
    )

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        if (self.reading is None) == (self.mate_teeth is None):
            raise ValueError("give either reading or mate_teeth, one of the two")
        if self.centre_distance is not None and self.backlash is not None:
            raise ValueError("give either centre_distance or backlash, one of the two")
        if self.same_arbor and (self.centre_distance or self.backlash or self.mate_teeth):
            raise ValueError("a gear on the arbor of the one before does not run with it")
        return self


class Train(BaseModel):
    """What `train.toml` says.

    `edge_x` and `edge_y` are the first hole's distances from the left and the lower edge of the
    plate; without them every gear gets room within the edges.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(default="", max_length=80, description="what the train is called, a text")
    edge_x: Length | None = Field(default=None, description=LENGTH)
    edge_y: Length | None = Field(default=None, description=LENGTH)
    gear: tuple[TrainGear, ...] = Field(
        min_length=FEWEST_GEARS, description="two tables [[gear]] or more"
    )

    @model_validator(mode="after")
    def _first_stands_alone(self) -> Self:
        first = self.gear[0]
        if first.reading is None or first.same_arbor:
            raise ValueError("the first gear must be a reading with an arbor of its own")
        return self


def load_train(path: Path) -> Train:
    """Read a train's file.

    Raises
    ------
    UseError
        One line naming the file, the field, what was given and what is allowed.
    """
    stated = read_toml(path)
    gears = stated.get("gear")
    for number, table in enumerate(gears if isinstance(gears, list) else [], 1):
        try:
            TrainGear.model_validate(table)
        except ValidationError as error:
            raise UseError(wrong_field(error, TrainGear, f"{path}, gear {number}")) from error
    try:
        return Train.model_validate(stated)
    except ValidationError as error:
        raise UseError(wrong_field(error, Train, str(path))) from error
