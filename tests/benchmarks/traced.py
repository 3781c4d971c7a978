"""Solid gears, path-traced under lamps on paper, wood and cloth: how the tool reads them.

python -m tests.benchmarks.traced render --out DIR [--first N --count N --paths N]
python -m tests.benchmarks.traced samples --out sample_images
python -m tests.benchmarks.traced score DIR [NAME ...] [--part unseen]
"""

import argparse
from pathlib import Path

from tests.benchmarks.traced_look import PARTS, PICTURES


def main() -> None:
    """Run what the command line says."""
    given = _parser().parse_args()
    {"render": _render, "samples": _samples, "lights": _lights, "score": _score}[given.kind](given)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.traced")
    kinds = parser.add_subparsers(dest="kind", required=True)
    render = kinds.add_parser("render", help="make pictures and their truth")
    render.add_argument("--first", type=int, default=0)
    render.add_argument("--count", type=int, default=PICTURES)
    samples = kinds.add_parser("samples", help="make the two among the sample pictures")
    lights = kinds.add_parser("lights", help="tell where edges seem to be, by light and ground")
    lights.add_argument("--part", type=int, default=0, help="of --parts that share the work")
    lights.add_argument("--parts", type=int, default=1)
    for made in (render, samples, lights):
        made.add_argument("--out", type=Path, required=True)
        made.add_argument("--paths", type=int, default=256, help="paths for a pixel")
        made.add_argument("--variant", help="of Mitsuba; the fastest that works without it")
    score = kinds.add_parser("score", help="read the pictures and compare with their truth")
    score.add_argument("folder", type=Path)
    score.add_argument("names", nargs="*")
    score.add_argument("--part", choices=list(PARTS))
    return parser


def _render(given: argparse.Namespace) -> None:
    from tests.benchmarks.traced_render import render

    last = min(given.first + given.count, PICTURES)
    render(list(range(given.first, last)), given.out, given.paths, given.variant)


def _samples(given: argparse.Namespace) -> None:
    from tests.benchmarks.traced_samples import make_samples

    make_samples(given.out, given.paths, given.variant)


def _lights(given: argparse.Namespace) -> None:
    from tests.benchmarks.traced_lights import rows

    for row in rows(given.out, given.paths, given.part, given.parts, given.variant):
        cells = (f"{c:+.2f}" if isinstance(c, float) else str(c) for c in row)
        print("| " + " | ".join(cells) + " |", flush=True)


def _score(given: argparse.Namespace) -> None:
    from tests.benchmarks.traced_score import score

    score(given.folder, given.names, given.part)


if __name__ == "__main__":
    main()
