"""The house itself: what no module may do."""

import ast
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
MODULES = sorted([*(ROOT / "inspect").rglob("*.py"), *(ROOT / "calibration").rglob("*.py")])
MOST_BY_POSITION = 5
"""Fields of a record beyond which arguments given by position get swapped (our own judgement)."""


FILLED_LATER = {("model", "Field"), ("batch", "Tally")}
"""Records that keep what was worked out once, or count."""


def _is_given(line):
    """Whether a line of a record is a field that a call may give, and nothing kept for later."""
    return isinstance(line, ast.AnnAssign) and not line.target.id.startswith("_")


@cache
def _records():
    """Module, name, number of fields given and decorator of every dataclass."""
    return [
        (path.stem, node.name, sum(map(_is_given, node.body)), how)
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ClassDef)
        for how in map(ast.unparse, node.decorator_list)
        if how.startswith("dataclass")
    ]


def test_records_of_many_fields_name_their_arguments():
    loose = [
        (module, name)
        for module, name, fields, how in _records()
        if fields > MOST_BY_POSITION and "kw_only=True" not in how
    ]
    assert loose == []


def test_records_stay_as_they_were_made():
    loose = {(module, name) for module, name, _, how in _records() if "frozen=True" not in how}
    assert loose == FILLED_LATER


def test_only_what_ties_the_steps_together_lies_on_top():
    on_top = {path.stem for path in (ROOT / "inspect" / "cogloupe").glob("*.py")}
    assert on_top <= {"__init__", "__main__", "calibrating", "inspection"}
