"""What a reading says of a gear's errors, gathered for telling what left them.

One vector holds the places of all flanks, as cumulative pitch, and behind them the figures that
all teeth share: mean thickness, floors, tips, floor ratio, flank slopes, and how far the tips run
out. Its covariance keeps apart what each flank errs by itself (edge noise) and what the whole
picture errs together: lens and lean, the bore's centre, edge level and scale. Lengths are µm along
the measuring circle, angles rad; NaN was not measured.
"""

from dataclasses import dataclass
from functools import cached_property
from math import cos, hypot, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from cogloupe.causes.pattern_layout import (
    FEWEST_FLANKS,
    PARTIAL_DOUBT,
    SHARED,
    Design,
    design_of,
    eccentric_shapes,
    flank_angles,
)
from cogloupe.causes.pattern_uncertainty import (
    camera_shapes,
    picture_errors,
    shared_by_neighbours,
    stretch_shapes,
)
from cogloupe.forms.gap_theory import floor_ratio_of_moved
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import SIDES, Reading
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

FLOOR_DOUBT, CORNER_WEAR = 0.003, 0.03
"""What floor ratios stray by beyond what a reading states (rendered gears, hobbed and drawn), and
how far a cutter's corners wear, in modules (common practice, no source)."""
TIPS_USUAL = 0.015
"""How far a blank's outside usually stands off its bore each way, in modules (standard deviation;
common practice, no source): so much less do the tips tell of what the camera does."""
SHARE = 1e-3
"""Share by which a scale is moved to see what that does."""
OWN_SHARE = 0.1
"""Least that a shared figure errs by itself, as a share of its stated uncertainty."""
GUESSES = frozenset({"module_estimated", "module_unsure", "module_from_tips"})
"""Notices of a module that was taken from the picture."""
SURE, STRAINED = 0.95, 2.0
"""Probability from which, and misfit in standard uncertainties up to which, what is said of the
gaps' cutting is taken as seen."""
CORNER = "corner rounding of the cutter"
_STATED_RACK = ("rack", "scatter", "thick", "lean", "end")
"""Situations of `cutting` that suppose the stated rack and leave its corners open."""


@dataclass(frozen=True, kw_only=True)
class Observed:
    """Figures of a reading with their covariance.

    Attributes
    ----------
    angle : ndarray, shape (z, 2)
        Polar angle at which each flank should stand on the picture.
    value : ndarray, shape (2 z + 10,)
        Flank places (tooth by tooth, left then right), then `SHARED`.
    noise : ndarray, shape (2 z + 10,)
        Standard uncertainty of each by itself.
    modes : ndarray, shape (m, 2 z + 10)
        What moves them together, each by one standard uncertainty.
    nuisance : ndarray, shape (k, 2 z + 10)
        Shapes of which the reading says nothing: where each side's count starts, and the teeth's
        axis where it is not seen from a bore.
    camera : ndarray, shape (5, 2 z + 10)
        What a stretch, a lean and a distortion of the picture would do, for one part in a
        thousand.
    bore : bool
        The datum is a bore.
    u_axis_um : float
        Stated standard uncertainty of how far the teeth's axis lies off the bore's; it holds that
        the drive may have erred once a turn too. 0 where it is not stated.
    """

    design: Design
    angle: Floats
    value: Floats
    noise: Floats
    modes: Floats
    nuisance: Floats
    camera: Floats
    bore: bool
    u_axis_um: float = 0.0

    @cached_property
    def seen(self) -> NDArray[np.bool_]:
        """Which of the figures there are."""
        return np.isfinite(self.value) & np.isfinite(self.noise)

    @cached_property
    def flank_noise(self) -> float:
        """Median standard uncertainty of a flank by itself, µm."""
        return float(np.nanmedian(self.noise[: 2 * self.design.teeth]))

    def covariance(self) -> Floats:
        """Covariance of the figures that are seen.

        Returns
        -------
        ndarray, shape (n, n)
        """
        modes = self.modes[:, self.seen]
        return np.asarray(np.diag(self.noise[self.seen] ** 2) + modes.T @ modes)


def observe(reading: Reading) -> Observed:
    """Gather the figures of a reading.

    Raises
    ------
    UseError
        Where too few flanks were seen for a pattern.
    """
    place = _places(reading)
    if np.isfinite(place).sum() < FEWEST_FLANKS:
        raise UseError(
            f"{reading.photo.file}: only {int(np.isfinite(place).sum())} flanks have a pitch "
            f"figure, a pattern needs {FEWEST_FLANKS}: take a picture that shows more of the teeth"
        )
    design, angle = design_of(reading), flank_angles(reading)
    camera = camera_shapes(reading, design, angle)
    errors = picture_errors(reading, design, angle, camera)
    noise, alike = shared_by_neighbours(design, angle, place, errors.noise)
    usual = float(np.nanmedian(noise))
    shared, own, together = _shared(reading, design, usual)
    bore = reading.datum.kind == "bore"
    ends = np.zeros((2, place.size + len(SHARED)))
    ends[0, : place.size : 2] = ends[1, 1 : place.size : 2] = 1.0
    tips, u_tips = _tips_centre(reading, usual)
    corner, u_corner = _corner(reading, design)
    axis = eccentric_shapes(design, angle)
    return Observed(
        design=design,
        angle=angle,
        value=np.concatenate([place.ravel(), shared, [corner, _cut_short(reading)], tips]),
        noise=np.concatenate([noise.ravel(), own, [u_corner, PARTIAL_DOUBT], u_tips]),
        modes=np.concatenate([together, errors.modes, alike]),
        nuisance=ends if bore else np.concatenate([ends, axis]),
        camera=camera,
        bore=bore,
        u_axis_um=reading.summary.u_eccentricity_um or 0.0,
    )


def _places(reading: Reading) -> Floats:
    """Places of the flanks that nothing lies on: the others show what lies there."""
    clear = [[getattr(t, side).status != "obstructed" for side in SIDES] for t in reading.teeth]
    return np.where(clear, flank_array(reading, "cumulative_pitch_um"), np.nan)


# --- figures that all teeth share ----------------------------------------------------------------


def _shared(reading: Reading, design: Design, usual: float) -> tuple[Floats, Floats, Floats]:
    """The first six of `SHARED`, what each errs by itself, and what edges and scale do to all."""
    summary = reading.summary
    value, together = np.full(6, np.nan), np.zeros((2, 2 * design.teeth + len(SHARED)))
    if design.drawn is None:
        return value, np.full(6, np.nan), together
    drawn_um = 2 * design.radius_um * float(
        design.drawn.half_tooth_angle(design.radius_um / 1e3)
    )  # fmt: skip
    scale = reading.calibration.u_mm_per_px / reading.calibration.mm_per_px
    lens = _lens_stretch(reading, design)
    alone = sqrt(max(scale**2 - float((lens[:, 0] ** 2).sum()), (OWN_SHARE * scale) ** 2))
    edge = _edge_um(reading, design, scale, usual)
    effects = _edge_and_scale(design, edge, alone)
    first = 2 * design.teeth
    together[:, first : first + 6] = effects
    slopes, u_slopes = summary.profile_slope_mean_um, summary.u_profile_slope_mean_um
    nothing = float("nan")
    found = [
        (_less(summary.thickness_mean_mm, drawn_um, 1e3),
         summary.u_thickness_mean_mm, 1e3),
        (_less(summary.root_diameter_mean_mm, design.root_um, 500),
         summary.u_root_diameter_mean_mm, 500),
        (_less(summary.tip_diameter_mean_mm, design.tip_um, 500),
         summary.u_tip_diameter_mean_mm, 500),
        (_less(summary.floor_ratio_mean, 1.0, 1.0), summary.u_floor_ratio_mean, 1.0),
        (slopes.left, u_slopes.left, 1.0),
        (slopes.right, u_slopes.right, 1.0),
    ]  # fmt: skip
    value = np.array([nothing if v is None or u is None else v for v, u, _ in found])
    stated = np.array([nothing if u is None else factor * u for _, u, factor in found])
    known = (effects**2).sum(axis=0) + (lens[:, 1:] ** 2).sum(axis=0)
    own = np.sqrt(np.maximum(stated**2 - known, (OWN_SHARE * stated) ** 2))
    own[3] = hypot(own[3], FLOOR_DOUBT)
    if any(notice.code == "scale_from_module" for notice in reading.warnings):
        value[:3] = nothing
    if guessed(reading):
        value[:] = nothing
    return value, own, together


def _cut_short(reading: Reading) -> float:
    """Share of left flanks that are cut short less that of right flanks.

    By the flanks that follow the involute only in part; else by the mean gap, where nothing but a
    hob that ends too near the centre line would leave it so.
    """
    partial = np.array([[t.left.status, t.right.status] for t in reading.teeth]) == "partial"
    apart = float(partial[:, 0].mean() - partial[:, 1].mean())
    cutting = reading.cutting
    likeliest = cutting.situations[0] if cutting and cutting.situations else None
    if likeliest is None or cutting is None or not likeliest.side:
        return apart
    sure = likeliest.resolved and likeliest.probability > SURE and cutting.strain < STRAINED
    return -float(likeliest.side) if sure else apart


def guessed(reading: Reading) -> bool:
    """Tell whether nobody stated the size of the teeth, so that no cause may rest on it."""
    codes = {notice.code for notice in reading.warnings}
    return reading.identity is not None or bool(codes & GUESSES)


def _corner(reading: Reading, design: Design) -> tuple[float, float]:
    """Rounding of the cutter's corners less the rack's, µm, by what is said of the gaps' cutting.

    That of the likeliest situation that supposes the stated rack, its corners left open; what
    the gaps stray from it by makes it less sure.
    """
    cutting = reading.cutting
    rows = [row for row in cutting.situations if row.kind in _STATED_RACK] if cutting else []
    sizes = [size for row in rows[:1] for size in row.sizes if size.name == CORNER]
    if cutting is None or design.drawn is None or not sizes or guessed(reading):
        return float("nan"), float("nan")
    module, rack = design.drawn.module_mm, design.drawn.rack
    u = sizes[0].u_value * max(cutting.strain, 1.0)
    return 1e3 * (sizes[0].value - rack.fillet_radius * module), 1e3 * hypot(
        u, CORNER_WEAR * module
    )


def _lens_stretch(reading: Reading, design: Design) -> Floats:
    """Stretch of the measuring circle by each source of the lens, and what it does to the figures.

    Shape (m, 7): relative, then the first six of `SHARED`.
    """
    if reading.common is None or design.drawn is None:
        return np.zeros((0, 7))
    shapes = stretch_shapes(reading, design, reading.common.lens)
    share = shapes[:, :1] / (2 * tan(design.pressure_angle) * design.radius_um)
    return np.concatenate([share, shapes], axis=1)


def _edge_and_scale(design: Design, edge: float, scale: float) -> Floats:
    """What an error of all edges, µm, and one of the scale do to the first six of `SHARED`."""
    alpha, reach = design.pressure_angle, design.reach_um
    thicker = 2 * edge / cos(alpha)
    assert design.drawn is not None
    floor = floor_ratio_of_moved(design.drawn, lambda radius: SHARE * radius) / SHARE
    per_widening = 1 / design.near_um - 1 / design.gap_um
    return np.array([
        [thicker, edge, edge, -thicker * per_widening, 0.0, 0.0],
        scale * np.array([2 * tan(alpha) * design.radius_um, design.root_um, design.tip_um, floor,
                          reach, reach]),
    ])  # fmt: skip


def _less(value: float | None, drawn: float, factor: float) -> float | None:
    return None if value is None else factor * value - drawn


def _edge_um(reading: Reading, design: Design, scale: float, usual: float) -> float:
    """Standard uncertainty of all edges together: as stated, else the thickness's less all else."""
    if reading.common is not None:
        return reading.common.edge_um
    u = reading.summary.u_thickness_mean_mm
    if u is None:
        return 0.0
    own = usual * sqrt(2 / design.teeth)
    alpha = design.pressure_angle
    by_scale = 2 * tan(alpha) * design.radius_um * scale
    return sqrt(max((1e3 * u) ** 2 - own**2 - by_scale**2, 0.0)) * cos(alpha) / 2


def _tips_centre(reading: Reading, usual: float) -> tuple[Floats, Floats]:
    """Centre of the tip lands about the datum, µm, with what each part errs by itself."""
    tips = np.array([t.tip_diameter_mm for t in reading.teeth], dtype=np.float64) * 500
    centre = np.radians(np.array([t.centre_deg for t in reading.teeth], dtype=np.float64))
    seen = np.isfinite(tips) & np.isfinite(centre)
    if seen.sum() < FEWEST_FLANKS:
        return np.full(2, np.nan), np.full(2, np.nan)
    waves = np.stack([np.ones(seen.sum()), np.cos(centre[seen]), np.sin(centre[seen])], axis=1)
    found = np.linalg.lstsq(waves, tips[seen], rcond=None)[0]
    rest = tips[seen] - waves @ found
    spread = float(np.sqrt((rest**2).sum() / max(seen.sum() - 3, 1)))
    spread = max(spread, usual / 2)
    inverse = np.linalg.pinv(waves.T @ waves)
    blank = 1e3 * TIPS_USUAL * reading.gear.module_mm
    return found[1:], np.hypot(spread * np.sqrt(np.diag(inverse)[1:]), blank)
