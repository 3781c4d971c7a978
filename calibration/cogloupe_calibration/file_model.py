"""The base of every model that is read from a file or written to one."""

from pydantic import BaseModel, ConfigDict


class FileModel(BaseModel):
    """Frozen, and strict about its fields: an unknown one is an error, not passed over."""

    model_config = ConfigDict(extra="forbid", frozen=True)
