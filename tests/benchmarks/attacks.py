"""The attack: mutated pictures and files, kills, writers at once, a full disk, hostile names.

Run: ``python -m tests.benchmarks.attacks FOLDER [PART ...]``. What was done is kept in FOLDER, one
line a share, so that the attack goes on where it was stopped; with the last share of all parts the
table is written. Pictures and files that find a fault lie in FOLDER/found.
"""

import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import monotonic

import cv2
from tests.benchmarks import attack_bounds, attack_files, attack_folders, attack_pictures
from tests.benchmarks.common import report, table

WORST = ("seconds", "mb")
"""Counts of which the largest is told, not the sum."""


@dataclass(frozen=True)
class Part:
    """A part of the attack.

    Attributes
    ----------
    title : str
    work : callable
        Takes a number, a count and the folder for what finds a fault; gives counts.
    shares, each : int
        Shares, and how much a share has.
    """

    title: str
    work: Callable[[int, int, Path], dict[str, float]]
    shares: int
    each: int


_gently = partial(attack_pictures.attack, drawn=attack_pictures.GENTLE)
PARTS = {
    "pictures": Part("Mutated pictures", attack_pictures.attack, 210, 50),
    "gently": Part("Gently mutated pictures", _gently, 20, 50),
    "bounds": Part("Files that flood or hang", attack_bounds.attack, 12, 10),
    "files": Part("Mutated settings, logs and readings", attack_files.attack, 60, 50),
    "kills": Part("Kills of inspect", attack_folders.kill_inspect, 15, 20),
    "writing": Part("Kills of what replaces a folder", attack_folders.kill_writing, 15, 20),
    "at-once": Part("Log entries at once", attack_folders.log_at_once, 1, 200),
    "disk": Part("Full disk", attack_folders.fill_disk, 4, 5),
    "names": Part("Hostile names", attack_folders.hostile_names, 1, 1),
}


def done_in(folder: Path) -> dict[str, dict[int, dict[str, float]]]:
    """What earlier runs did.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    dict of str to dict of int to dict
        Counts by part and share.
    """
    done: dict[str, dict[int, dict[str, float]]] = {name: {} for name in PARTS}
    path = folder / "done.jsonl"
    for line in path.read_text().splitlines() if path.exists() else ():
        entry = json.loads(line)
        done[entry["part"]][entry["share"]] = entry["counts"]
    return done


def attack(folder: Path, names: list[str]) -> None:
    """Do what is left to be done.

    Parameters
    ----------
    folder : Path
    names : list of str
        Parts.
    """
    kept = folder / "found"
    kept.mkdir(parents=True, exist_ok=True)
    for name in names:
        part, done = PARTS[name], done_in(folder)[name]
        for share in (n for n in range(part.shares) if n not in done):
            start = monotonic()
            counts = part.work(share, part.each, kept)
            entry = {"part": name, "share": share, "counts": counts}
            with (folder / "done.jsonl").open("a") as file:
                file.write(json.dumps(entry) + "\n")
            print(f"{name} {share + 1}/{part.shares}, {monotonic() - start:.0f} s: {counts}")


def tables(done: dict[str, dict[int, dict[str, float]]]) -> Iterator[str]:
    """Tables of all parts that were begun.

    Parameters
    ----------
    done : dict
        As `done_in` gives it.

    Yields
    ------
    str
        Markdown.
    """
    for name, part in PARTS.items():
        total: Counter[str] = Counter()
        worst: dict[str, float] = {}
        for counts in done[name].values():
            for what, value in counts.items():
                if what in WORST:
                    worst[what] = max(worst.get(what, 0.0), value)
                else:
                    total[what] += int(value)
        if not done[name]:
            continue
        rows = [[what, count] for what, count in total.items()]
        if worst:
            rows.append(["processor seconds at most", f"{worst['seconds']:.1f}"])
            rows.append(["memory at most, MB", f"{worst['mb']:.0f}"])
        yield f"## {part.title}\n\n{table(('what', 'count'), rows)}"


def main() -> None:
    """Run from the command line."""
    folder, *names = sys.argv[1:]
    cv2.setNumThreads(1)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    attack(Path(folder), names or list(PARTS))
    done = done_in(Path(folder))
    found = list(tables(done))
    if all(len(done[name]) == part.shares for name, part in PARTS.items()):
        report("attacks", "Attacks: what is counted, and how often", found)
    else:
        print("\n\n".join(found))


if __name__ == "__main__":
    main()
