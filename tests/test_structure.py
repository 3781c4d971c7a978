"""The house itself: what no module may do."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]
MODULES = sorted([*(ROOT / "inspect").rglob("*.py"), *(ROOT / "calibration").rglob("*.py")])
MOST_BY_POSITION = 5
"""Fields of a record beyond which arguments given by position get swapped (our own judgement)."""


def _large_records(path):
    """Names and decorators of the dataclasses in a module that have many fields."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ClassDef):
            fields = [each for each in node.body if isinstance(each, ast.AnnAssign)]
            how = [ast.unparse(each) for each in node.decorator_list]
            if len(fields) > MOST_BY_POSITION and any(h.startswith("dataclass") for h in how):
                yield node.name, how


def test_records_of_many_fields_name_their_arguments():
    loose = [
        (path.stem, name)
        for path in MODULES
        for name, how in _large_records(path)
        if not any("kw_only=True" in each for each in how)
    ]
    assert loose == []


def test_only_what_ties_the_steps_together_lies_on_top():
    on_top = {path.stem for path in (ROOT / "inspect" / "cogloupe").glob("*.py")}
    assert on_top <= {"__init__", "__main__", "calibrating", "inspection"}
