"""Read traced pictures as a user would and compare with their truth."""

import json
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.common import report, table
from tests.benchmarks.traced_look import PARTS, look
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
    name, part, ground, light, material : str
    refused : str
        What was said in place of a reading; empty where there is one.
    rms_px, greatest_px : float
        Of single pitch errors that carry no flag.
    edges_rms_px : float
        The same once an axis that is off is forgiven.
    unsaid_px : float
        The greatest that neither a flag nor U tells.
    noise_px : float
        The picture's own.
    rear_px : float
        How far the rear edge stands out beyond the upper one, at most.
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
    part: str
    ground: str
    light: str
    material: str
    refused: str
    rms_px: float
    edges_rms_px: float
    greatest_px: float
    unsaid_px: float
    noise_px: float
    rear_px: float
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
        return self.good_edges and self.rms_px <= self.limit_px

    @property
    def good_edges(self) -> bool:
        """The same once an axis that is off is forgiven."""
        return (
            not self.refused
            and self.edges_rms_px <= self.limit_px
            and self.unsaid_px <= UNSAID_PX
            and abs(self.thickness_px) <= min(THICKNESS_PX, self.u_thickness_px)
        )


def score(folder: Path, names: list[str], part: str | None = None) -> None:
    """Read all pictures of a folder, one part of them or those named, and tell how well.

    Parameters
    ----------
    folder : Path
    names : list of str
        With any, the result is printed and not written.
    part : str, optional
        A name out of `PARTS`.
    """
    known = json.loads((folder / "manifest.json").read_text())
    chosen = {
        name: told
        for name, told in known.items()
        if (not names or name in names) and part in {None, told["part"]}
    }
    results = [read_one(folder, name, told) for name, told in chosen.items()]
    if names:
        print(pictures_table(results))
        return
    (folder / "score.json").write_text(json.dumps([asdict(r) for r in results], indent=1))
    parts = [f"## {one}\n\n{_of(results, one)}" for one in ([part] if part else PARTS)]
    report("traced", "Path-traced solid gears", [_EXPLAINED, *parts])


_EXPLAINED = """\
Pitch: RMS and greatest error of the single pitches that carry no flag, px; edges alone: the RMS
once an axis that is off is forgiven. Unsaid: greatest error that neither a flag nor U tells. Noise:
what odd against even rows of the flanks leave in a single pitch, whoever reads the picture. Rear:
how far the rear edge stands out beyond the upper one on some flank; on a lamp nothing tells the two
apart. Thickness: error of the mean, px, and U. Untold: count found without `--teeth`. Good: on a
lamp or a dark ground at most 0.04 px (or 1.3 times the noise), elsewhere 1.3 times the noise; at
most 0.3 px unsaid; thickness within 1 px and U.
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
        part=told["part"],
        ground=told["ground"],
        light=told["light"],
        material=told["material"],
        refused=refused,
        rear_px=_rear_in_sight(truth),
        noise_px=own_noise_px(folder / f"{name}.jpg", look(int(name[1:].partition("_")[0]))),
        untold=untold["gear"]["teeth"] if untold else 0,
        teeth=told["teeth"],
        seconds=seconds,
        **figures,
    )


def _rear_in_sight(truth: dict[str, Any]) -> float:
    seen = truth["seen"]
    return max(0.0, *seen["left_rear_out_px"], *seen["right_rear_out_px"])


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
        run = subprocess.run([*command, "--out", out], capture_output=True, text=True, check=False)
        found = list(Path(out).rglob("reading.json"))
        if run.returncode or not found:
            return None, " ".join((run.stderr or run.stdout).split())[-300:]
        return json.loads(found[0].read_text()), ""


_NO_FIGURES: dict[str, Any] = {
    **dict.fromkeys(("rms_px", "edges_rms_px", "greatest_px", "unsaid_px"), float("nan")),
    **dict.fromkeys(("thickness_px", "u_thickness_px"), float("nan")),
    **dict.fromkeys(("pitches", "inside", "not_seen"), 0),
}


def _figures(reading: dict[str, Any], truth: dict[str, Any], um_per_px: float) -> dict[str, Any]:
    sides = [_side(reading, truth, side, um_per_px) for side in ("left", "right")]
    error, reach, flagged = (np.concatenate([s[k] for s in sides]) for k in (2, 3, 4))
    plain = np.isfinite(error) & ~flagged
    unsaid = np.abs(error[plain & (np.abs(error) > reach)])
    slope = np.tan(np.radians(truth["look"]["gear"]["pressure_angle_deg"]))
    summary = reading["summary"]
    off = (summary["thickness_mean_mm"] or np.nan) - truth["thickness_mean_mm"]
    return {
        "rms_px": _rms(error[plain]),
        "edges_rms_px": _rms(_about_own_axis(sides, slope)[plain]),
        "greatest_px": float(np.abs(error[plain]).max(initial=0)),
        "unsaid_px": float(unsaid.max(initial=0)),
        "pitches": int(plain.sum()),
        "inside": int((plain & (np.abs(error) <= reach)).sum()),
        "not_seen": int((~plain).sum()),
        "thickness_px": off * 1000 / um_per_px,
        "u_thickness_px": 2000 * (summary["u_thickness_mean_mm"] or np.nan) / um_per_px,
    }


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def _side(
    reading: dict[str, Any], truth: dict[str, Any], side: str, um_per_px: float
) -> tuple[Floats, Floats, Floats, Floats, Any]:
    """Angle of each flank, place and single pitch less the true ones, U, px; flagged or not."""
    about = truth["about_teeth" if reading["datum"]["kind"] == "teeth" else "about_bore"]
    flanks = [t[side] for t in reading["teeth"]]
    got = np.array([_place(f) for f in flanks])
    flanks, got = [flanks[k] for k in np.argsort(got)], np.sort(got)
    off = np.radians(_nearest(got, np.array(about[f"{side}_flanks_deg"])))
    along = off * truth["reference_radius_mm"] * 1000 / um_per_px
    stated = np.array([f["single_pitch_um"] is not None for f in flanks])
    u = np.array([f["u_single_pitch_um"] or np.nan for f in flanks], float) / um_per_px
    flagged = np.array([f["status"] != "ok" for f in flanks])
    error = np.where(stated, along - np.roll(along, 1), np.nan)
    return np.radians(got), along, error, 2 * u, flagged | np.roll(flagged, 1)


def _about_own_axis(
    sides: list[tuple[Floats, Floats, Floats, Floats, Any]], slope: float
) -> Floats:
    """Errors of single pitch once an axis that is off is forgiven: what the edges alone leave.

    An axis that is off moves a flank along the circle by the sideways part of the offset, and by
    the outward part times the flank's slope: one way on left flanks, the other on right ones.
    """
    angle, along = (np.concatenate([s[k] for s in sides]) for k in (0, 1))
    left = np.arange(len(angle)) < len(sides[0][0])
    tilt = np.where(left, -slope, slope)
    c, s = np.cos(angle), np.sin(angle)
    columns = np.column_stack([left, ~left, tilt * c - s, tilt * s + c]).astype(float)
    seen = np.isfinite(along)
    fitted = np.linalg.lstsq(columns[seen], along[seen], rcond=None)[0]
    rest = along - columns @ fitted
    return np.concatenate([rest[of] - np.roll(rest[of], 1) for of in (left, ~left)])


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
    head = ("picture", "light", "pitch RMS", "edges alone", "greatest", "unsaid", "noise", "rear",
            "inside U", "not seen", "thickness", "untold", "good", "s")  # fmt: skip
    return table(head, [_line(r) for r in results])


def _line(r: Result) -> tuple[object, ...]:
    untold = "right" if r.untold == r.teeth else f"{r.untold or 'refused'} for {r.teeth}"
    if r.refused:
        said = (f"refused: {r.refused[:90]}", "", "", "", r.noise_px, r.rear_px, "", "", "")
        return (r.name, r.light, *said, untold, "no", r.seconds)
    share = f"{r.inside / max(r.pitches, 1):.0%}"
    thick = f"{r.thickness_px:+.2f} ± {r.u_thickness_px:.2f}"
    pitch = (
        r.rms_px,
        r.edges_rms_px,
        r.greatest_px,
        r.unsaid_px,
        r.noise_px,
        r.rear_px,
        share,
        r.not_seen,
    )
    return (r.name, r.light, *pitch, thick, untold, "yes" if r.good else "no", r.seconds)


def _of(results: list[Result], part: str) -> str:
    mine = [r for r in results if r.part == part]
    return f"{summed(mine)}\n{pictures_table(mine)}" if mine else "No pictures.\n"


def summed(results: list[Result]) -> str:
    """All pictures of a part in a table of one row each ground, and all.

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
    head = ("ground", "pictures", "read", "good", "good but for the axis", "count right untold",
            "pitches inside U", "median RMS", "median noise", "median s")  # fmt: skip
    return table(head, rows)


def _group(name: str, group: list[Result]) -> tuple[object, ...]:
    read = [r for r in group if not r.refused]
    inside, pitches = (sum(getattr(r, key) for r in read) for key in ("inside", "pitches"))
    return (
        name, len(group), len(read), sum(r.good for r in group),
        sum(r.good_edges for r in group),
        sum(r.untold == r.teeth for r in group), f"{inside / max(pitches, 1):.0%}",
        float(np.median([r.rms_px for r in read])) if read else float("nan"),
        float(np.median([r.noise_px for r in group])), float(np.median([r.seconds for r in group])),
    )  # fmt: skip
