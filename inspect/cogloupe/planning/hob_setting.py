"""Setting the hob, and the marks its gashes and its feed leave.

Lengths mm, angles radians. The two deviations are from memory and derived again (chord of the
flank's curvature between two cuts); lead angle after the geometry of a thread.
"""

from dataclasses import dataclass
from math import asin, pi, sin

from cogloupe.forms.rack import Gear
from cogloupe_calibration.errors import UseError

# Tooth counts of the eight cutters of a set, by number; common practice, no source.
_CUTTERS = ((135, 1), (55, 2), (35, 3), (26, 4), (21, 5), (17, 6), (14, 7), (12, 8))


@dataclass(frozen=True)
class HobSetting:
    """How the hob stands and what it leaves; None where what it needs was not told.

    `lead_angle`, rad, is how far its axis is swung for a spur gear; `scallop_um` is the enveloping
    deviation of the flank from the gashes, `feed_mark_um` the depth of the feed marks along it.
    """

    lead_angle: float | None
    scallop_um: float | None
    feed_mark_um: float | None


def lead_angle(module_mm: float, starts: int, pitch_diameter_mm: float) -> float:
    """Lead angle of a hob with z0 starts of a normal module on a pitch cylinder, mm.

    ``asin(z0 m / d0)``, rad: thread geometry with the pitch taken square to the thread.

    Raises
    ------
    UseError
        Where the hob is too small to carry such a thread.
    """
    if pitch_diameter_mm <= starts * module_mm:
        raise UseError(
            f"a hob of {pitch_diameter_mm:.3g} mm pitch diameter cannot carry {starts} start(s) of "
            f"module {module_mm:.4g}: check the hob's outside diameter"
        )
    return asin(starts * module_mm / pitch_diameter_mm)


def scallop(gear: Gear, starts: int, gashes: int) -> float:
    """Enveloping deviation: how far flats between cuts stand out of the involute.

    ``pi^2 m z0^2 sin a / (4 z i^2)``, mm, from memory, derived again.
    """
    alpha = gear.rack.pressure_angle
    return pi**2 * gear.module_mm * starts**2 * sin(alpha) / (4 * gear.teeth * gashes**2)


def feed_mark(feed_mm: float, hob_diameter_mm: float, pressure_angle: float) -> float:
    """Depth of the marks that the feed, mm a turn of the work, leaves along the flank.

    ``f^2 sin a / (4 d_a0)``, mm, from memory, derived again.
    """
    return feed_mm**2 * sin(pressure_angle) / (4 * hob_diameter_mm)


def hob_setting(
    gear: Gear,
    starts: int,
    hob_diameter_mm: float | None = None,
    gashes: int | None = None,
    feed_mm: float | None = None,
) -> HobSetting:
    """Work out what can be told of the hob.

    The hob's addendum is taken to be the gear's dedendum; `starts` are its threads, `gashes` rows
    of cutting edges round it; it is fed by `feed_mm` in a turn of the work.
    """
    angle = mark = None
    if hob_diameter_mm is not None:
        pitch_diameter = hob_diameter_mm - 2 * gear.rack.dedendum * gear.module_mm
        angle = lead_angle(gear.module_mm, starts, pitch_diameter)
        if feed_mm is not None:
            mark = 1000 * feed_mark(feed_mm, hob_diameter_mm, gear.rack.pressure_angle)
    flats = None if gashes is None else 1000 * scallop(gear, starts, gashes)
    return HobSetting(angle, flats, mark)


def form_cutter_number(teeth: int) -> int | None:
    """Number of the form cutter of a set of eight that cuts a tooth count.

    1 (135 teeth to a rack) to 8 (12 and 13), common practice, no source; None below 12.
    """
    return next((number for least, number in _CUTTERS if teeth >= least), None)
