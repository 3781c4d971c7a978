"""The drawn gear behind a reading, and how its figures are laid out for telling causes.

One vector holds the places of all flanks, tooth by tooth, left before right, and behind them the
figures that all teeth share. Lengths are µm, along the measuring circle for flanks; angles rad.
"""

from dataclasses import dataclass
from math import cos, pi, radians

import numpy as np

from cogloupe.forms.basic_racks import BasicRack, basic_rack
from cogloupe.forms.gap_theory import theoretical_widths
from cogloupe.forms.involute import roll_length
from cogloupe.forms.rack import Gear
from cogloupe.reading.flank_table import flank_array
from cogloupe.reading.models import Reading
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import UseError

SHARED = (
    "thickness", "root", "tip", "floor", "slope_left", "slope_right", "corner", "partial",
    "tip_x", "tip_y",
)  # fmt: skip
"""Figures behind the flanks, in order: deviations from the drawing of mean thickness, floor radius
and tip radius, µm; floor ratio less one; mean profile slopes, µm; rounding of the cutter's corners
less the rack's, µm; share of left flanks of which only a part follows the involute less that of
right flanks; tips' centre about the datum, µm."""
PARTIAL_DOUBT = 0.15
"""Standard uncertainty of that difference of shares: dirt hides parts of flanks at random (common
practice, no source)."""
OUT = np.array([-1.0, 1.0])
"""Way round the gear that leads out of a left and of a right flank."""
FEWEST_FLANKS = 8
"""Flanks, or tips, that a pattern needs: a mean and waves once and twice in a turn are five numbers
(our own judgement)."""


@dataclass(frozen=True, kw_only=True)
class Design:
    """The drawn gear, as far as the patterns need it; µm and rad.

    Attributes
    ----------
    radius_um : float
        Of the measuring circle.
    pressure_angle : float
        On the measuring circle.
    tip_um, root_um : float
        Radii.
    near_um, gap_um : float
        Widths of the drawn gap near its floor and on the reference circle; NaN where the rack is
        not known.
    roll_um : (float, float)
        Lengths of roll between which slopes are taken, less that on the measuring circle.
    drawn : Gear or None
        None where the rack is not known.
    """

    teeth: int
    radius_um: float
    pressure_angle: float
    tip_um: float
    root_um: float
    near_um: float
    gap_um: float
    roll_um: tuple[float, float]
    drawn: Gear | None

    @property
    def reach_um(self) -> float:
        """Length of roll over which slopes are taken."""
        return self.roll_um[1] - self.roll_um[0]


def flank_angles(reading: Reading) -> Floats:
    """Where every flank should stand on the picture, from those that were seen.

    Returns
    -------
    ndarray, shape (z, 2)
        Polar angles, rad.
    """
    place = np.radians(flank_array(reading, "position_deg"))
    pitch = 2 * pi / len(place) * np.arange(len(place))[:, None]
    start = np.angle(np.nanmean(np.exp(1j * (place - pitch)), axis=0))
    return np.asarray(start + pitch)


def design_of(reading: Reading) -> Design:
    """The drawn gear of a reading; without its gap where the rack is not one of the known ones."""
    gear, radius = reading.gear, reading.gear.measuring_diameter_mm / 2
    rack = _rack_of(reading)
    if rack is None:
        nothing = float("nan")
        # Cycloidal and straight flanks cross the pitch circle square to it.
        angle = radians(gear.pressure_angle_deg or 0.0)
        tip = 500 * (reading.summary.tip_diameter_mean_mm or 2 * radius)
        return Design(
            teeth=gear.teeth,
            radius_um=1e3 * radius,
            pressure_angle=angle,
            tip_um=tip,
            root_um=nothing,
            near_um=nothing,
            gap_um=nothing,
            roll_um=(nothing, nothing),
            drawn=None,
        )
    # The profile shift in a reading is the one that was found, not one that was wanted.
    drawn = Gear(gear.teeth, gear.module_mm, rack)
    base = drawn.base_radius
    here = float(roll_length(base, radius))
    near, width = theoretical_widths(drawn)
    return Design(
        teeth=gear.teeth,
        radius_um=1e3 * radius,
        pressure_angle=float(np.arccos(base / radius)),
        tip_um=1e3 * drawn.tip_radius,
        root_um=1e3 * drawn.root_radius,
        near_um=1e3 * near,
        gap_um=1e3 * width,
        roll_um=_evaluated(reading, drawn, here),
        drawn=drawn,
    )


def _rack_of(reading: Reading) -> BasicRack | None:
    """Rack that the teeth were compared with; None for another tooth form or an unknown rack."""
    try:
        return basic_rack(reading.gear.rack or "", reading.gear.module_mm)
    except UseError:
        return None


def _evaluated(reading: Reading, drawn: Gear, here: float) -> tuple[float, float]:
    """Lengths of roll between which slopes were taken, less the one given in mm; µm."""
    if reading.profile is not None and len(reading.profile.roll_length_mm) > 1:
        start, end = reading.profile.roll_length_mm[0], reading.profile.roll_length_mm[-1]
        return 1e3 * (start - here), 1e3 * (end - here)
    low, high = roll_length(drawn.base_radius, np.array([drawn.form_radius, drawn.tip_radius]))
    margin = 0.05 * float(high - low)
    return 1e3 * (float(low) + margin - here), 1e3 * (float(high) - margin - here)


def eccentric_shapes(design: Design, angle: Floats) -> Floats:
    """What moving the teeth's axis by 1 µm along x and along y does to the figures.

    Parameters
    ----------
    angle : ndarray, shape (z, 2)

    Returns
    -------
    ndarray, shape (2, 2 z + 10)
        A flank moves by the part of the movement along its normal over the cosine of the pressure
        angle; the tips move along.
    """
    facing = angle + OUT * (pi / 2 - design.pressure_angle)
    across = OUT / cos(design.pressure_angle)
    shapes = np.zeros((2, 2 * design.teeth + len(SHARED)))
    for axis, part in enumerate((np.cos(facing), np.sin(facing))):
        shapes[axis, : 2 * design.teeth] = (across * part).ravel()
        shapes[axis, -2 + axis] = 1.0
    return shapes
