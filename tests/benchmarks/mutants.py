"""How many changes of the computing code the tests notice.

python -m tests.benchmarks.mutants; with a number, so many mutants; with a name, only that room.

Mutants (one operator, number or branch changed) are drawn with a fixed seed by a general mutation
tester, and each is held against the tests that run its line, the quick ones first. The table names
those that no test noticed; which of them change nothing that could be noticed is judged by hand,
in `EQUIVALENT`. Needs the extra `mutants`.
"""

import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue
from xml.etree import ElementTree

from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import apply_mutation
from cosmic_ray.plugins import get_operator
from coverage import CoverageData
from tests.benchmarks.common import ROOT, report, table

ROOMS = (
    "numerics", "forms", "finding", "optics", "fits", "uncertainty", "figures", "cutting",
    "comparing", "causes", "planning", "sets", "pairing", "verdict",
)  # fmt: skip
OPERATORS = (
    "ReplaceBinaryOperator_Add_Sub", "ReplaceBinaryOperator_Sub_Add",
    "ReplaceBinaryOperator_Mul_Div", "ReplaceBinaryOperator_Div_Mul",
    "ReplaceBinaryOperator_Pow_Mul", "ReplaceBinaryOperator_Mod_Mul",
    "ReplaceComparisonOperator_Lt_GtE", "ReplaceComparisonOperator_Gt_LtE",
    "ReplaceComparisonOperator_LtE_Gt", "ReplaceComparisonOperator_GtE_Lt",
    "ReplaceComparisonOperator_Eq_NotEq", "ReplaceComparisonOperator_NotEq_Eq",
    "ReplaceUnaryOperator_Delete_USub", "ReplaceUnaryOperator_Delete_Not",
    "ReplaceAndWithOr", "ReplaceOrWithAnd", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue",
    "NumberReplacer", "ZeroIterationForLoop",
)  # fmt: skip
COUNT, SEED = 300, 20261130
LONGEST_S = 900
"""A run of tests that takes longer hangs on the mutant, which counts as noticed."""

EQUIVALENT: frozenset[str] = frozenset()
"""Names of mutants that change nothing which could be noticed, each judged by hand."""


@dataclass(frozen=True)
class Mutant:
    """One change of the code: `occurrence` counts an operator's places in a module."""

    module: Path
    operator: str
    occurrence: int
    line: int

    @property
    def name(self) -> str:
        """Module, line and what was changed."""
        return f"{self.module.relative_to('inspect/cogloupe')}:{self.line} {self.operator}"


def all_mutants(room: str) -> list[Mutant]:
    """Every mutant of a room's modules, in order."""
    found = []
    for module in sorted((ROOT / "inspect" / "cogloupe" / room).glob("*.py")):
        tree, path = get_ast_from_path(module), module.relative_to(ROOT)
        for operator in OPERATORS:
            mutator = get_operator(f"core/{operator}")()
            places = [
                start[0]
                for node in ast_nodes(tree)
                for start, _ in mutator.mutation_positions(node)
            ]
            found += [Mutant(path, operator, n, line) for n, line in enumerate(places)]
    return found


def tests_of_lines(copy: Path) -> tuple[dict[tuple[str, int], set[str]], dict[str, float]]:
    """Tests that run each line, and how long each test takes, s."""
    settings = copy / "contexts.cfg"
    settings.write_text("[run]\ndynamic_context = test_function\nsource = inspect\n", "utf-8")
    junit = copy / "times.xml"
    words = [
        "-m",
        "coverage",
        "run",
        f"--rcfile={settings}",
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:xdist",
    ]
    _run(copy, [*words, f"--junitxml={junit}"], limit=None)
    # A test that fails as things are (one that times something, beside the counting of lines) says
    # nothing of a mutant.
    failing = {_context(case) for case in _cases(junit) if case.find("failure") is not None}
    times = {
        context: float(case.get("time", 0))
        for case in _cases(junit)
        if (context := _context(case)) not in failing
    }
    data = CoverageData(str(copy / ".coverage"))
    data.read()
    lines: dict[tuple[str, int], set[str]] = defaultdict(set)
    for file in data.measured_files():
        for line, contexts in data.contexts_by_lineno(file).items():
            lines[str(Path(file).relative_to(copy)), line] |= {c for c in contexts if c in times}
    return lines, times


def _cases(junit: Path) -> Iterator[ElementTree.Element]:
    return ElementTree.parse(junit).getroot().iter("testcase")


def _context(case: ElementTree.Element) -> str:
    """A test's function as coverage names it, without parameters."""
    return f"{case.get('classname')}.{str(case.get('name')).partition('[')[0]}"


def _run(copy: Path, words: list[str], limit: float | None = LONGEST_S) -> int | None:
    """Exit status of a Python command in a copy; None where it took too long."""
    paths = os.pathsep.join(str(copy / part) for part in ("inspect", "calibration"))
    setting = os.environ | {"PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            [sys.executable, *words], cwd=copy, env=setting, check=False,
            stdout=subprocess.DEVNULL, timeout=limit,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return None
    return done.returncode


def noticed(mutant: Mutant, copy: Path, tests: list[str]) -> bool:
    """Whether a test fails where the mutant is in place."""
    if not tests:
        return False
    path = copy / mutant.module
    whole = path.read_text("utf-8")
    arguments = copy / "tests.txt"
    arguments.write_text("\n".join(tests), "utf-8")
    try:
        operator = get_operator(f"core/{mutant.operator}")()
        apply_mutation(path, operator, mutant.occurrence)
        return _run(copy, ["-m", "pytest", "-x", "-q", "-p", "no:xdist", f"@{arguments}"]) != 0
    finally:
        path.write_text(whole, "utf-8")


def _node(context: str) -> str:
    """What pytest calls a test function: path and name."""
    module, _, name = context.rpartition(".")
    return f"{module.replace('.', '/')}.py::{name}"


def study(mutants: list[Mutant], workers: int = 2) -> Iterator[tuple[Mutant, bool]]:
    """Hold each mutant against the tests of its line, in copies of the repository."""
    with tempfile.TemporaryDirectory() as folder:
        copies: Queue[Path] = Queue()
        for n in range(workers):
            copies.put(_copied(Path(folder) / str(n)))
        first = copies.get()
        lines, times = tests_of_lines(first)
        copies.put(first)

        def judge(mutant: Mutant) -> tuple[Mutant, bool]:
            contexts = lines.get((str(mutant.module), mutant.line), set())
            tests = [_node(c) for c in sorted(contexts, key=lambda c: times[c])]
            copy = copies.get()
            try:
                return mutant, noticed(mutant, copy, tests)
            finally:
                copies.put(copy)

        with ThreadPoolExecutor(workers) as pool:
            yield from pool.map(judge, mutants)


def _copied(to: Path) -> Path:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)
    return to


def main(count: int, rooms: tuple[str, ...]) -> None:
    """Draw, run and report."""
    every = [mutant for room in rooms for mutant in all_mutants(room)]
    drawn = random.Random(SEED).sample(every, min(count, len(every)))
    kept, tally = [], Counter[tuple[str, str]]()
    for mutant, seen in study(drawn):
        room = mutant.module.parts[2]
        outcome = "noticed" if seen else "equal" if mutant.name in EQUIVALENT else "passed over"
        tally[room, outcome] += 1
        print(f"{outcome:12} {mutant.name}", flush=True)
        if outcome == "passed over":
            kept.append([mutant.name])
    rows = [
        [room, *(tally[room, what] for what in ("noticed", "passed over", "equal"))]
        for room in rooms
    ]
    head = ["room", "noticed", "passed over", "changes nothing"]
    text = [table(head, rows), table(["passed over"], kept)]
    if (count, rooms) == (COUNT, ROOMS):
        report("mutants", "Changes of the code that the tests notice", text)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    names = tuple(word for word in sys.argv[1:] if not word.isdigit())
    main(numbers[0] if numbers else COUNT, names or ROOMS)
