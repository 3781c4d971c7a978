"""A reading's verdict in lines and paragraphs, as its models hold it."""

from collections.abc import Iterator, Sequence

from cogloupe.reading.models import Reading
from cogloupe.wording.cautions import CAUTIONS


def verdict_lines(reading: Reading) -> Iterator[str]:
    """What is wrong most, the class, and what to do next, for a terminal.

    Parameters
    ----------
    reading : Reading

    Yields
    ------
    str
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


def verdict_paragraphs(reading: Reading) -> list[str]:
    """The same for a page: the fault, the class, its cause, and the next step after its cautions.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    list of str
    """
    verdict, causes = reading.verdict, reading.causes
    if verdict is None:
        return []
    found = [verdict.dominant.text, verdict.class_text]
    if causes is not None and named(reading):
        found.append(causes.sentence)
        for cause in causes.causes[:1]:
            found.append(f"The pattern: {cause.pattern}. What else would look alike: {cause.alike}")
        cautions = cautions_of([reading])
        if cautions:
            found.append(f"Before a hand goes to the machine: {' '.join(cautions)}")
    return [*found, f"Next: {verdict.next_step}"]


def named(reading: Reading) -> bool:
    """Tell whether a cause was found of something that should be mended.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    bool
    """
    causes = reading.causes
    return causes is not None and causes.outcome in ("named", "open", "none_of_the_usual")


def cautions_of(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Cautions for the hand that goes to the machine, each once.

    Parameters
    ----------
    readings : sequence of Reading

    Returns
    -------
    tuple of str
        Empty where no verdict leads there.
    """
    found: set[str] = set()
    for reading in readings:
        if named(reading) and reading.causes is not None and reading.causes.causes:
            found.update(reading.causes.causes[0].cautions)
    return tuple(sentence for sentence in CAUTIONS.values() if sentence in found)
