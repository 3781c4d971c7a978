"""Whether the doubt about an edge's level covers how far it is read from where it is.

python -m tests.benchmarks.level; with a number, so many discs of a kind, and nothing is written.

Discs drawn by plain formulas (`tests.helpers.any_camera`), stored as any camera might.
"""

import sys

import numpy as np
from tests.benchmarks.common import report, table
from tests.helpers.any_camera import KINDS, edges_off

COUNT = 100


def main(count: int) -> None:
    """Read, compare and report."""
    rows = []
    for kind in KINDS:
        read = edges_off(kind, count)
        off, seen, edge = (
            np.array([getattr(one, name) for one in read]) for name in ("off", "u_level", "u_edge")
        )
        shares = [float(np.mean(np.abs(off) <= 2 * u)) for u in (seen, edge)]
        ratios = [float(np.sqrt(np.mean((off / u) ** 2))) for u in (seen, edge)]
        rows.append([kind, float(np.sqrt(np.mean(off**2))), *shares, *ratios])
    head = [
        "stored", "off, px RMS", "within 2 u_level", "within 2 u", "off / u_level", "off / u",
    ]  # fmt: skip
    text = [
        f"{count} discs of each kind, ratios RMS; u is u_level or the allowance.\n",
        table(head, rows),
    ]
    if count == COUNT:
        report("level", "How far the light leaves edges in doubt", text)
    else:
        print(*text, sep="\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT)
