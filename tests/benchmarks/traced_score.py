"""Read traced pictures as a user would and compare with their truth."""

import json
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import report, table

from tests.benchmarks.traced_look import look
from tests.benchmarks.traced_noise import own_noise_px

Floats = NDArray[np.float64]

CLEAN_PX = 0.04
"""Single pitch RMS to stay below on a lamp or a dark ground."""

NOISE_TIMES = 1.3
"""Single pitch RMS to stay below elsewhere, in times of the picture's own noise."""

UNSAID_PX = 0.3
"""Greatest error that needs neither a flag nor U."""

THICKNESS_PX = 1.0
"""Error of the mean thickness to stay below."""


@dataclass(frozen=True, kw_only=True)
class Result:
    """How one picture was read.

    Attributes
    ----------
    name, half, ground, light, material : str
    refused : str
        What was said in place of a reading; empty where there is one.
    rms_px, greatest_px : float
        Of single pitch errors that carry no flag.
    unsaid_px : float
        The greatest that neither a flag nor U tells.
    noise_px : float
        The picture's own.
    pitches, inside, not_seen : int
        Figures given; those within U; flanks left out.
    thickness_px, u_thickness_px : float
        Error of the mean thickness, and U.
    untold : int
        Teeth counted without being told; 0 for refused.
    teeth : int
    seconds : float
        Whole process.
    """

    name: str
    half: str
    ground: str
    light: str
    material: str
    refused: str
    rms_px: float
    greatest_px: float
    unsaid_px: float
    noise_px: float
    pitches: int
    inside: int
    not_seen: int
    thickness_px: float
    u_thickness_px: float
    untold: int
    teeth: int
    seconds: float

    @property
    def limit_px(self) -> float:
        """What single pitch RMS should stay below."""
        clean = self.ground in {"lamp", "dark card"}
        return max(CLEAN_PX, NOISE_TIMES * self.noise_px) if clean else NOISE_TIMES * self.noise_px

    @property
    def good(self) -> bool:
        """Whether the reading keeps to every limit."""
        thick = abs(self.thickness_px)
        return (
            not self.refused
            and self.rms_px <= self.limit_px
            and self.unsaid_px <= UNSAID_PX
            and thick <= min(THICKNESS_PX, self.u_thickness_px)
        )


def score(folder: Path, names: list[str]) -> None:
    """Read all pictures of a folder, or those named, and tell how well.

    Parameters
    ----------
    folder : Path
    names : list of str
        With any, the result is printed and not written.
    """
    known = json.loads((folder / "manifest.json").read_text())
    chosen = {n: k for n, k in known.items() if not names or n in names}
    results = [read_one(folder, name, told) for name, told in chosen.items()]
    if names:
        print(pictures_table(results))
        return
    (folder / "score.json").write_text(json.dumps([asdict(r) for r in results], indent=1))
    parts = [f"## {half}\n\n{_half(results, half)}" for half in ("development", "held")]
    report("traced", "Path-traced solid gears", [_EXPLAINED, *parts])


_EXPLAINED = """\
Pitch: RMS and greatest error of the single pitches that carry no flag, px. Unsaid: greatest error
that neither a flag nor U tells. Noise: what odd against even rows of the flanks leave in a single
pitch, whoever reads the picture. Thickness: error of the mean, px, and U. Untold: count found
without `--teeth`. Good: on a lamp or a dark ground at most 0.04 px (or 1.3 times the noise),
elsewhere 1.3 times the noise; at most 0.3 px unsaid; thickness within 1 px and U.
"""


def read_one(folder: Path, name: str, told: dict[str, Any]) -> Result:
    """Run ``inspect`` on one picture, with and without the number of teeth.

    Parameters
    ----------
    folder : Path
    name : str
    told : dict
        The picture's entry in the manifest.

    Returns
    -------
    Result
    """
    start = perf_counter()
    reading, refused = inspect(folder / f"{name}.jpg", told, teeth=True)
    seconds = perf_counter() - start
    untold, _ = inspect(folder / f"{name}.jpg", told, teeth=False)
    truth = json.loads((folder / "truth" / f"{name}.json").read_text())
    figures = _figures(reading, truth, told["scale_um_per_px"]) if reading else _NO_FIGURES
    return Result(
        name=name,
        half=told["half"],
        ground=told["ground"],
        light=told["light"],
        material=told["material"],
        refused=refused,
        noise_px=own_noise_px(folder / f"{name}.jpg", look(int(name[1:3]))),
        untold=untold["gear"]["teeth"] if untold else 0,
        teeth=told["teeth"],
        seconds=seconds,
        **figures,
    )


def inspect(picture: Path, told: dict[str, Any], teeth: bool) -> tuple[dict[str, Any] | None, str]:
    """Run the command as a user would.

    Parameters
    ----------
    picture : Path
    told : dict
    teeth : bool
        Whether the count is stated.

    Returns
    -------
    reading : dict or None
    refused : str
        The last line that was said where there is no reading.
    """
    command = [str(Path(sys.executable).with_name("cogloupe")), "inspect", str(picture)]
    command += ["--module", str(told["module_mm"]), "--scale", str(told["scale_um_per_px"])]
    command += ["--pressure-angle", str(told["pressure_angle_deg"])]
    command += ["--teeth", str(told["teeth"])] if teeth else []
    with TemporaryDirectory() as out:
        run = subprocess.run(
            [*command, "--out", out], capture_output=True, text=True, check=False
        )
        found = list(Path(out).rglob("reading.json"))
        if run.returncode or not found:
            return None, " ".join((run.stderr or run.stdout).split())[-300:]
        return json.loads(found[0].read_text()), ""


_NO_FIGURES: dict[str, Any] = {
    "rms_px": float("nan"), "greatest_px": float("nan"), "unsaid_px": float("nan"),
    "pitches": 0, "inside": 0, "not_seen": 0,
    "thickness_px": float("nan"), "u_thickness_px": float("nan"),
}  # fmt: skip


def _figures(reading: dict[str, Any], truth: dict[str, Any], um_per_px: float) -> dict[str, Any]:
    error, reach, flagged = (np.concatenate(part) for part in zip(*_sides(reading, truth), strict=True))
    error, reach = error / um_per_px, reach / um_per_px
    given = np.isfinite(error)
    plain = given & ~flagged
    unsaid = np.abs(error[plain & (np.abs(error) > reach)])
    summary = reading["summary"]
    off = (summary["thickness_mean_mm"] or np.nan) - truth["thickness_mean_mm"]
    return {
        "rms_px": float(np.sqrt(np.mean(error[plain] ** 2))) if plain.any() else float("nan"),
        "greatest_px": float(np.abs(error[plain]).max(initial=0)),
        "unsaid_px": float(unsaid.max(initial=0)),
        "pitches": int(plain.sum()),
        "inside": int((plain & (np.abs(error) <= reach)).sum()),
        "not_seen": int((~plain).sum()),
        "thickness_px": off * 1000 / um_per_px,
        "u_thickness_px": 2000 * (summary["u_thickness_mean_mm"] or np.nan) / um_per_px,
    }


def _sides(reading: dict[str, Any], truth: dict[str, Any]) -> Iterable[tuple[Floats, Floats, Any]]:
    """Of each side: single pitch less its truth and U, um; whether a flank carries a flag."""
    about = truth["about_teeth" if reading["datum"]["kind"] == "teeth" else "about_bore"]
    for side in ("left", "right"):
        true = np.array(about[f"{side}_flanks_deg"])
        flanks = [t[side] for t in reading["teeth"]]
        got = np.array([_place(f) for f in flanks])
        flanks, got = [flanks[k] for k in np.argsort(got)], np.sort(got)
        off = _nearest(got, true)
        along = np.radians(off) * truth["reference_radius_mm"] * 1000
        flagged = np.array([f["status"] != "ok" for f in flanks])
        u = [np.nan if f["u_single_pitch_um"] is None else f["u_single_pitch_um"] for f in flanks]
        stated = np.array([f["single_pitch_um"] is not None for f in flanks])
        error = np.where(stated, along - np.roll(along, 1), np.nan)
        yield error, 2 * np.array(u, float), flagged | np.roll(flagged, 1)


def _place(flank: dict[str, Any]) -> float:
    place = flank["position_deg"]
    return float("nan") if place is None else float(place % 360)


def _nearest(got: Floats, true: Floats) -> Floats:
    """Angle from each flank's nearest true one; NaN where none is given."""
    off = (np.nan_to_num(got)[:, None] - true[None, :] + 180) % 360 - 180
    best = np.abs(off).argmin(axis=1)
    return np.where(np.isfinite(got), off[np.arange(len(got)), best], np.nan)


def pictures_table(results: list[Result]) -> str:
    """A row a picture.

    Parameters
    ----------
    results : list of Result

    Returns
    -------
    str
    """
    head = ("picture", "light", "pitch RMS", "greatest", "unsaid", "noise", "inside U", "not seen",
            "thickness", "untold", "good", "s")  # fmt: skip
    return table(head, [_line(r) for r in results])


def _line(r: Result) -> tuple[object, ...]:
    untold = "right" if r.untold == r.teeth else f"{r.untold or 'refused'} for {r.teeth}"
    if r.refused:
        return r.name, r.light, f"refused: {r.refused[:90]}", "", "", r.noise_px, "", "", "", untold, "no", r.seconds
    return (
        r.name, r.light, r.rms_px, r.greatest_px, r.unsaid_px, r.noise_px,
        f"{r.inside / max(r.pitches, 1):.0%}", r.not_seen,
        f"{r.thickness_px:+.2f} ± {r.u_thickness_px:.2f}", untold, "yes" if r.good else "no", r.seconds,
    )  # fmt: skip


def _half(results: list[Result], half: str) -> str:
    mine = [r for r in results if r.half == half]
    return f"{summed(mine)}\n{pictures_table(mine)}" if mine else "No pictures.\n"


def summed(results: list[Result]) -> str:
    """All pictures of a half in a table of one row each ground, and all.

    Parameters
    ----------
    results : list of Result

    Returns
    -------
    str
    """
    grounds = sorted({r.ground for r in results})
    groups = [(g, [r for r in results if r.ground == g]) for g in grounds]
    rows = [_group(name, group) for name, group in [*groups, ("all", results)]]
    head = ("ground", "pictures", "read", "good", "count right untold", "pitches inside U", "median RMS", "median noise", "median s")  # fmt: skip
    return table(head, rows)


def _group(name: str, group: list[Result]) -> tuple[object, ...]:
    read = [r for r in group if not r.refused]
    inside, pitches = (sum(getattr(r, key) for r in read) for key in ("inside", "pitches"))
    return (
        name, len(group), len(read), sum(r.good for r in group),
        sum(r.untold == r.teeth for r in group), f"{inside / max(pitches, 1):.0%}",
        float(np.median([r.rms_px for r in read])) if read else float("nan"),
        float(np.median([r.noise_px for r in group])), float(np.median([r.seconds for r in group])),
    )  # fmt: skip
