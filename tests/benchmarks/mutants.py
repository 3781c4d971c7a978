"""How many changes of the computing code the tests notice.

python -m tests.benchmarks.mutants FOLDER; with a number after it, so many mutants;
python -m tests.benchmarks.mutants FOLDER again: those passed over, against tests written since.

Mutants (one operator, number or branch changed) are drawn with a fixed seed by a general mutation
tester, and each is held against the tests of the computing rooms that run its line, or its module
where the line runs on import: the quick ones first, up to 60 s of them together. What is left unrun
(and the tests of pages and commands) makes "passed over" an upper bound. FOLDER keeps a copy of the
code as it was drawn from, which test runs which line, and what became of each mutant, a line each:
a study that was stopped goes on from there. Which of those passed over change nothing that could be
noticed is judged by hand, with the reason, in `equal_mutants.toml`. Needs the extra `mutants`.
"""

import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from dataclasses import asdict, dataclass, replace
from filecmp import cmp
from itertools import accumulate, takewhile
from pathlib import Path
from xml.etree import ElementTree

from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator
from coverage import CoverageData
from tests.benchmarks.common import ROOT, report, table

ROOMS = (
    "numerics", "forms", "finding", "optics", "fits", "uncertainty", "evaluation", "cutting",
    "comparing", "causes", "planning", "sets", "pairing", "judging",
)  # fmt: skip
TESTS = (
    *(f"tests/{room}" for room in ROOMS),
    "tests/test_inspection.py",
    "tests/test_other_forms.py",
    "tests/test_structure.py",
)
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
TESTS_S = 60
"""Tests of one mutant take so long together, as timed while lines were counted."""

LONGEST_S = 4 * TESTS_S
"""A run of tests that takes so much longer hangs on the mutant, which counts as noticed."""

EQUAL = Path(__file__).with_name("equal_mutants.toml")
FAILED = re.compile(r"^(?:FAILED|ERROR) (\S+?\.py(?:::\w+)?)", re.MULTILINE)
PLAIN_PYTEST = ("-m", "pytest", "-q", "-p", "no:xdist", "-p", "no:cacheprovider")


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """One change of the code: `occurrence` counts an operator's places in a module.

    `noticed_by` is the test that failed, empty where none did, None before any was run.
    """

    module: str
    operator: str
    occurrence: int
    line: int
    change: str = ""
    noticed_by: str | None = None

    @property
    def room(self) -> str:
        """The room its module lies in."""
        return Path(self.module).parts[2]

    @property
    def name(self) -> str:
        """Module and change: the same wherever in the module the line stands."""
        return f"{Path(self.module).relative_to('inspect/cogloupe')}: {self.change}"


def mutants_of(root: Path, module: str) -> list[Mutant]:
    """Every mutant of a module, in order."""
    tree, found = get_ast_from_path(root / module), []
    for operator in OPERATORS:
        mutator = get_operator(f"core/{operator}")()
        places = [
            start[0] for node in ast_nodes(tree) for start, _ in mutator.mutation_positions(node)
        ]
        found += [
            Mutant(module=module, operator=operator, occurrence=n, line=line)
            for n, line in enumerate(places)
        ]
    return found


def mutated(root: Path, mutant: Mutant) -> str:
    """Text of the module with the change in it."""
    operator = get_operator(f"core/{mutant.operator}")()
    return str(mutate_code((root / mutant.module).read_text("utf-8"), operator, mutant.occurrence))


def described(root: Path, mutant: Mutant) -> Mutant:
    """The mutant with its line as it was and as it is."""
    before, after = (
        text.splitlines()[mutant.line - 1].strip()
        for text in ((root / mutant.module).read_text("utf-8"), mutated(root, mutant))
    )
    return replace(mutant, change=f"{before} -> {after}")


def drawn(root: Path, count: int) -> list[Mutant]:
    """Mutants at random, each as probable as any other."""
    every = [
        mutant
        for room in ROOMS
        for module in sorted((root / "inspect" / "cogloupe" / room).rglob("*.py"))
        for mutant in mutants_of(root, str(module.relative_to(root)))
    ]
    return random.Random(SEED).sample(every, min(count, len(every)))


@dataclass(frozen=True)
class Tests:
    """Tests that run each line ("module:line") or module, and how long each takes, s."""

    of: dict[str, list[str]]
    seconds: dict[str, float]

    def of_mutant(self, mutant: Mutant) -> list[str]:
        """Those that run its line, the quick ones first, as many as `TESTS_S` holds."""
        runs = self.of.get(f"{mutant.module}:{mutant.line}") or self.of.get(mutant.module, [])
        quick = sorted(runs, key=lambda test: self.seconds[test])
        spent = accumulate(self.seconds[test] for test in quick)
        return [
            test for test, _ in takewhile(lambda t: t[1] <= TESTS_S, zip(quick, spent, strict=True))
        ]


def tests_of_lines(folder: Path) -> Tests:
    """Which tests run which line of the folder's copy: run once, then kept in the folder."""
    kept, copy = folder / "tests.json", folder / "copy"
    if not kept.exists():
        settings, junit = folder / "contexts.cfg", folder / "times.xml"
        settings.write_text("[run]\ndynamic_context = test_function\nsource = inspect\n", "utf-8")
        counting = ("-m", "coverage", "run", f"--rcfile={settings}", *PLAIN_PYTEST)
        _run(copy, [*counting, f"--junitxml={junit}", *TESTS], limit=None)
        seconds = _seconds(junit)
        kept.write_text(json.dumps({"of": _runs(copy, set(seconds)), "seconds": seconds}), "utf-8")
    return Tests(**json.loads(kept.read_text("utf-8")))


def _seconds(junit: Path) -> dict[str, float]:
    """Seconds of each test function, all its cases together.

    One that fails as things are (it times something, beside the counting of lines) says nothing of
    a mutant and is left out.
    """
    seconds: Counter[str] = Counter()
    failing = set()
    for case in ElementTree.parse(junit).getroot().iter("testcase"):
        test = _node(f"{case.get('classname')}.{str(case.get('name')).partition('[')[0]}")
        seconds[test] += float(case.get("time", 0))
        if case.find("failure") is not None or case.find("error") is not None:
            failing.add(test)
    return {test: spent for test, spent in seconds.items() if test not in failing}


def _runs(copy: Path, tests: set[str]) -> dict[str, list[str]]:
    data = CoverageData(str(copy / ".coverage"))
    data.read()
    runs: dict[str, set[str]] = defaultdict(set)
    for file in data.measured_files():
        module = str(Path(file).relative_to(copy))
        for line, contexts in data.contexts_by_lineno(file).items():
            nodes = {_node(context) for context in contexts} & tests
            runs[f"{module}:{line}"] |= nodes
            runs[module] |= nodes
    return {place: sorted(nodes) for place, nodes in runs.items()}


def _node(context: str) -> str:
    """What pytest calls a test function, from what coverage calls it: path and name."""
    module, _, name = context.rpartition(".")
    return f"{module.replace('.', '/')}.py::{name}"


def _run(copy: Path, words: list[str], limit: float | None = LONGEST_S) -> tuple[int | None, str]:
    """Exit status and output of a Python command in a copy; None where it took too long."""
    paths = os.pathsep.join(str(copy / part) for part in ("inspect", "calibration"))
    setting = os.environ | {"PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"}
    started = subprocess.Popen(
        [sys.executable, *words], cwd=copy, env=setting, text=True, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        text, _ = started.communicate(timeout=limit)
    except subprocess.TimeoutExpired:
        return None, ""
    finally:
        # The tests' own processes with it, also where a person stops the study.
        if started.poll() is None:
            os.killpg(started.pid, signal.SIGKILL)
    return started.returncode, text


def noticed(copy: Path, mutant: Mutant, tests: list[str]) -> Mutant:
    """Run tests with the mutant in place."""
    by = "" if not tests else _failing(copy, mutant, tests)
    return replace(mutant, noticed_by=by)


def _failing(copy: Path, mutant: Mutant, tests: list[str]) -> str:
    """The test that fails; empty where all pass."""
    path, arguments = copy / mutant.module, copy / "tests.txt"
    whole = path.read_text("utf-8")
    arguments.write_text("\n".join(tests), "utf-8")
    path.write_text(mutated(copy, mutant), "utf-8")
    try:
        status, text = _run(copy, [*PLAIN_PYTEST, "-x", "-rfE", f"@{arguments}"])
    finally:
        path.write_text(whole, "utf-8")
    if status == 0:
        return ""
    failed = FAILED.search(text)
    return failed[1] if failed else f"status {status}"


def borne_out(copy: Path, mutants: list[Mutant]) -> list[Mutant]:
    """The mutants; those noticed by a test that fails without them as well count as passed over."""
    arguments, found = copy / "tests.txt", {m.noticed_by for m in mutants if m.noticed_by}
    arguments.write_text("\n".join(sorted(test for test in found if "::" in test)), "utf-8")
    _, text = _run(copy, [*PLAIN_PYTEST, "-rfE", f"@{arguments}"], limit=None)
    failing = set(FAILED.findall(text))
    return [replace(m, noticed_by="") if m.noticed_by in failing else m for m in mutants]


def study(folder: Path, count: int) -> list[Mutant]:
    """Every drawn mutant with its outcome; those not yet run are run."""
    copy, kept = folder / "copy", folder / "outcomes.jsonl"
    if not copy.exists():
        _copy(copy)
    tests = tests_of_lines(folder)
    done = _read(kept)
    # A study that was stopped leaves a mutant behind in what it worked on.
    at_work = shutil.copytree(copy, folder / "at_work", dirs_exist_ok=True)
    for mutant in drawn(copy, count)[len(done) :]:
        named = described(copy, mutant)
        done.append(noticed(at_work, named, tests.of_mutant(named)))
        _keep(kept, done[-1])
    return done


def study_again(folder: Path, before: list[Mutant]) -> dict[str, Mutant]:
    """Those passed over, by name, held against the tests written since; not those that are gone.

    What was noticed in an earlier run of this is not run again.
    """
    copy, kept, equal = folder / "again", folder / "again.jsonl", equal_mutants()
    shutil.rmtree(copy, ignore_errors=True)
    _copy(copy)
    tests, now = tests_of_lines(folder), _tests_now(copy)
    changed = {test for test in now if not _as_it_was(folder, test.partition("::")[0])}
    new = [test for test in now if test not in tests.seconds]
    found = {mutant.name: mutant for mutant in _read(kept) if mutant.noticed_by}
    for old in before:
        if old.noticed_by or old.name in equal or old.name in found:
            continue
        if mutant := _still_there(copy, old):
            own = [test for test in tests.of_mutant(old) if test in changed]
            found[old.name] = noticed(copy, mutant, new + own)
            _keep(kept, found[old.name])
    return {mutant.name: mutant for mutant in borne_out(copy, [*found.values()])}


def equal_mutants() -> dict[str, str]:
    """Names of mutants that change nothing, and why."""
    return tomllib.loads(EQUAL.read_text("utf-8"))


def _tests_now(copy: Path) -> list[str]:
    """Every test function that pytest collects in a copy."""
    _, text = _run(copy, [*PLAIN_PYTEST, "--collect-only", *TESTS], limit=None)
    nodes = (line.partition("[")[0] for line in text.splitlines() if "::" in line)
    return list(dict.fromkeys(nodes))


def _as_it_was(folder: Path, file: str) -> bool:
    before = folder / "copy" / file
    return before.exists() and cmp(before, folder / "again" / file, shallow=False)


def _still_there(root: Path, old: Mutant) -> Mutant | None:
    """The same change in the code as it is now; of several, that of the nearest line."""
    if not (root / old.module).exists():
        return None
    alike = (m for m in mutants_of(root, old.module) if m.operator == old.operator)
    same = [m for m in (described(root, m) for m in alike) if m.name == old.name]
    return min(same, key=lambda m: abs(m.line - old.line), default=None)


def _read(kept: Path) -> list[Mutant]:
    lines = kept.read_text("utf-8").splitlines() if kept.exists() else []
    return [Mutant(**json.loads(line)) for line in lines]


def _keep(kept: Path, mutant: Mutant) -> None:
    with kept.open("a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(mutant), ensure_ascii=False) + "\n")
    print(f"{mutant.noticed_by or 'passed over':60} {mutant.name}", flush=True)


def _copy(to: Path) -> None:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)


def outcome(mutant: Mutant, equal: dict[str, str], again: dict[str, Mutant]) -> str:
    """What became of a mutant: a column of the table."""
    if mutant.noticed_by:
        return "noticed at first"
    if mutant.name in equal:
        return "changes nothing"
    if mutant.name not in again:
        return "line changed"
    return "noticed since" if again[mutant.name].noticed_by else "passed over"


COLUMNS = ("noticed at first", "noticed since", "passed over", "changes nothing", "line changed")


def tell(mutants: list[Mutant], again: dict[str, Mutant]) -> None:
    """Write the table: rooms, and each mutant that no test noticed."""
    equal = equal_mutants()
    became = {mutant: outcome(mutant, equal, again) for mutant in mutants}
    tally = Counter((mutant.room, what) for mutant, what in became.items())
    rows = [[room, *(tally[room, what] for what in COLUMNS)] for room in ROOMS]
    total = ["all", *(sum(tally[room, what] for room in ROOMS) for what in COLUMNS)]
    left = [[f"`{m.name}`"] for m, what in became.items() if what == "passed over"]
    same = [[f"`{m.name}`", equal[m.name]] for m, w in became.items() if w == "changes nothing"]
    parts = [
        f"{COUNT} mutants drawn with the seed {SEED}, {len(mutants)} of them run.\n",
        table(["room", *COLUMNS], [*rows, total]),
        table(["passed over"], left),
        table(["changes nothing", "because"], same),
    ]
    report("mutants", "Changes of the code that the tests notice", parts)


def main(folder: Path, words: list[str]) -> None:
    """Draw, run and report."""
    folder.mkdir(parents=True, exist_ok=True)
    if "again" in words:
        before = borne_out(folder / "copy", _read(folder / "outcomes.jsonl"))
        tell(before, study_again(folder, before))
    else:
        study(folder, int(words[0]) if words else COUNT)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), sys.argv[2:])
