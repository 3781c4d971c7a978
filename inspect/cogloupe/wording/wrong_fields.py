"""The sentence for what is wrong in a file that a person wrote."""

from pydantic import (
    BaseModel,
    ValidationError,
)


def wrong_field(error: ValidationError, model: type[BaseModel], where: str) -> str:
    """Sentence for the first thing wrong in a file or in what was given; one line.

    Parameters
    ----------
    error : ValidationError
        What was found.
    model : type of BaseModel
        Model that was filled; its fields' descriptions say what is allowed.
    where : str
        File it came from; may be empty.
    """
    first = error.errors()[0]
    prefix = f"{where}: " if where else ""
    if not first["loc"]:
        return prefix + first["msg"].removeprefix("Value error, ")
    name = str(first["loc"][0])
    field = model.model_fields.get(name)
    if field is None:
        return f"{prefix}{name} is not known here: use {', '.join(model.model_fields)}"
    # In a list, the entry that is wrong says more than the whole list.
    return f"{prefix}{name} = {first['input']!r} will not do: give {field.description}"
