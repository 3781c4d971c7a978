"""TOML files as people write them: read with what editors and keyboards do to them, and written.

A byte-order mark, a decimal comma, a length without quotes and a Windows path with single
backslashes are taken for what they mean; anything else that is no TOML is answered with its line
and how to write it.
"""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cogloupe_calibration.errors import UseError
from cogloupe_calibration.files import TOML_MOST_BYTES, read_file, write_whole
from cogloupe_calibration.plain_text import check_letters, printable

LONGEST_LINE = 12_000
"""Letters; a note of 500, each written as an escape, is half as long."""
LONGEST_NAME = 16
"""Parts of a name; a person writes two."""

_MARKS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"", "utf-8-sig"))
_ASSIGNED = re.compile(r"^(?P<key>\s*[\w\"'.-]+\s*=\s*)(?P<value>[^#]*?)(?P<rest>\s*(?:#.*)?)$")
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")
_LENGTH = re.compile(
    r"[-+]?(?:\d+[.,]?\d*|[.,]\d+)\s*(?:mm|cm|um|µm|μm|in|inch|thou)(?:\s*/\s*\d+)?", re.IGNORECASE
)
_QUOTED = re.compile(r'"[^"]*"')
_WINDOWS_PATH = re.compile(r'"[A-Za-z]:\\(?!\\)[^"\n]*"')
_LINE_NUMBER = re.compile(r"\(at line (\d+)")
# A name of very many parts costs the parser time and memory by their square.
_LONG_NAME = re.compile(r"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){16}")
_ANY_QUOTED = re.compile(r"\"[^\"\n]*+\"|'[^'\n]*+'")


def read_toml(path: Path, what: str = "TOML") -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    UseError
        One line: which line is wrong, and how to write it.
    """
    return parse_toml(_text_of(path, what), str(path), what)


def _text_of(path: Path, what: str) -> str:
    try:
        data = read_file(path, TOML_MOST_BYTES)
        return data.decode(next(name for mark, name in _MARKS if data.startswith(mark)))
    except UnicodeDecodeError as error:
        raise UseError(f"{path} is no text in UTF-8: save it as UTF-8 in the editor") from error
    except OSError as error:
        raise UseError(f"{path} cannot be read as {what}: {error.strerror}") from error


def parse_toml(text: str, where: str, what: str = "TOML") -> dict[str, Any]:
    """Read TOML text from the file that a message would name.

    Raises
    ------
    UseError
        Where it is no TOML, or longer or deeper than a person writes.
    """
    text = _plain_paths(text.removeprefix("\ufeff"))  # which some editors put there
    try:
        _check_lines(text)
        document = _parsed(text, where, what)
        check_letters(document)
    except RecursionError as error:
        raise UseError(f"{where} cannot be read as {what}: it is nested too deeply") from error
    except ValueError as error:
        raise UseError(f"{where} cannot be read as {what}: {printable(str(error))}") from error
    return document


def _parsed(text: str, where: str, what: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        mended = mend_toml(text)
    try:
        return tomllib.loads(mended)
    except tomllib.TOMLDecodeError as error:
        raise UseError(printable(_told(mended, where, what, str(error)))) from error


def _check_lines(text: str) -> None:
    """Refuse lines that nobody writes, and that a parser would take minutes and gigabytes for."""
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise ValueError(f"line {number} has {len(line)} letters, more than {LONGEST_LINE}")
        if line.count(".") >= LONGEST_NAME and _LONG_NAME.search(_ANY_QUOTED.sub("q", line)):
            raise ValueError(f"line {number} has a name of more than {LONGEST_NAME} parts")


def _plain_paths(text: str) -> str:
    r"""Text whose Windows paths have slashes: in "C:\temp" TOML would take \t for a tab."""
    text = text.replace("\r\n", "\n")
    return _WINDOWS_PATH.sub(lambda found: found[0].replace("\\", "/"), text)


def mend_toml(text: str) -> str:
    """Write TOML text as it was meant, line by line; what is TOML already stays as it is."""
    return "\n".join(map(_mended, text.split("\n")))


def _mended(line: str) -> str:
    found = _ASSIGNED.match(line)
    if found is None or _is_toml(line):
        return line
    value = found["value"].strip()
    if _DECIMAL_COMMA.fullmatch(value):
        value = value.replace(",", ".")
    elif _LENGTH.fullmatch(value):
        value = f'"{value}"'
    else:
        # A Windows path's slashes mean the same there, and nothing else in TOML.
        value = _QUOTED.sub(lambda quoted: quoted[0].replace("\\", "/"), value)
    return found["key"] + value + found["rest"]


def _is_toml(line: str) -> bool:
    try:
        tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _told(text: str, where: str, what: str, error: str) -> str:
    """Which line is no TOML, and how to write what it seems to mean."""
    lines = text.split("\n")
    wrong = next((k for k, line in enumerate(lines) if _stands_alone(line)), None)
    if wrong is None:
        seen = _LINE_NUMBER.search(error)
        wrong = min(int(seen[1]) - 1, len(lines) - 1) if seen else 0
    line = lines[wrong].strip()
    return f"{where}, line {wrong + 1}: '{line}' cannot be read as {what}; {_advice(line)}"


def _stands_alone(line: str) -> bool:
    """True for a line that is meant to be whole by itself and is not."""
    found = _ASSIGNED.match(line)
    whole = found is None or not found["value"].strip().startswith(("[", '"""', "'''"))
    return found is not None and whole and not _is_toml(line)


def _advice(line: str) -> str:
    found = _ASSIGNED.match(line)
    if found is None:
        return 'each line is a name, = and a value, as teeth = 21, or a heading as [photo."a.jpg"]'
    value = found["value"].strip().strip("\"'")
    if not value:
        return f"write a value behind it, as {found['key'].strip()} 21"
    return f'write text in quotes, as {found["key"].strip()} "{value}", and numbers as 0.5'


def save_toml(path: Path, fields: Mapping[str, object], photo: str | None = None) -> None:
    """Put fields into a TOML file; comments and what else stands there stay as they are.

    Parameters
    ----------
    path : Path
        Made where it is not there.
    fields : mapping
        Names and values; None takes a field out.
    photo : str, optional
        Put them into the table of this photograph.

    Raises
    ------
    UseError
        Where the file there is no TOML, or it cannot be written.
    """
    import tomlkit

    document = tomlkit.parse(_text_to_keep(path))
    table: Any = document
    if photo is not None:
        tables: Any = document.setdefault("photo", tomlkit.table(is_super_table=True))
        table = tables.setdefault(photo, tomlkit.table())
    for name, value in fields.items():
        if value is None:
            table.pop(name, None)
        else:
            table[name] = value
    write_text(path, tomlkit.dumps(document))


def _text_to_keep(path: Path) -> str:
    """What stands in the file already, mended where that is needed; its line ends as they are."""
    if not path.exists():
        return ""
    text = _text_of(path, "TOML")
    parse_toml(text, str(path))
    line_end = "\r\n" if "\r\n" in text else "\n"
    text = _plain_paths(text)
    return (text if _is_toml(text) else mend_toml(text)).replace("\n", line_end)


def write_text(path: Path, text: str) -> None:
    """Write a text file whole or not at all.

    Raises
    ------
    UseError
        Where it cannot be written.
    """
    try:
        write_whole(path, text.encode())
    except OSError as error:
        raise UseError(f"{path} cannot be written ({error.strerror}): choose another") from error
