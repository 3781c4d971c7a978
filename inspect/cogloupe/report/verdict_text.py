"""A reading's verdict in lines for the terminal, and the cautions that go with it."""

from collections.abc import Iterator, Sequence

from cogloupe.reading.models import Reading
from cogloupe.wording.cautions import CAUTIONS


def verdict_lines(reading: Reading) -> Iterator[str]:
    """What is wrong most, the class, and what to do next, for a terminal.

    Nothing where there is no verdict.
    """
    verdict, causes = reading.verdict, reading.causes
    if verdict is None:
        return
    yield f"{reading.photo.file}: {verdict.dominant.text}"
    yield f"    {verdict.class_text}"
    if causes is not None and named(reading):
        yield f"    {causes.sentence}"
    yield f"    Next: {verdict.next_step}"


def named(reading: Reading) -> bool:
    """Tell whether a cause was found of something that should be mended."""
    causes = reading.causes
    return causes is not None and causes.outcome in ("named", "open", "none_of_the_usual")


def cautions_of(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Cautions for the hand that goes to the machine, each once.

    Empty where no verdict leads there.
    """
    found: set[str] = set()
    for reading in readings:
        if named(reading) and reading.causes is not None and reading.causes.causes:
            found.update(reading.causes.causes[0].cautions)
    return tuple(sentence for sentence in CAUTIONS.values() if sentence in found)
