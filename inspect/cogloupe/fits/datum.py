"""The axis that figures are about, and the other axes that can be seen on a gear."""

from dataclasses import dataclass
from math import hypot, inf

import numpy as np

from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_doubt import left_open_by_rims, round_enough
from cogloupe.fits.measured import Measured
from cogloupe.fits.teeth_axis import WHOLE_TURN, teeth_axis_shift
from cogloupe.reading.models import DatumKind
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import UNMEASURED_LEAN


@dataclass(frozen=True, kw_only=True)
class Axes:
    """The datum and the other axes that can be seen, px.

    `u_bore_px` is what lean and thickness leave open of the bore beside its own uncertainty,
    `bore_doubted` whether neither tips nor teeth bear it out.
    """

    kind: DatumKind
    datum: Floats
    teeth: Floats
    bore: Floats | None
    tips: Floats | None
    u_bore_px: float = 0.0
    bore_doubted: bool = False


def choose_datum(measured: Measured, wanted: DatumKind | None) -> Axes:
    """Pick the datum axis.

    Parameters
    ----------
    measured : Measured
    wanted : {'bore', 'teeth', 'tips'} or None
        What the person asked for; None takes the bore where a round one is seen, else the teeth.
        Where neither tips nor teeth bear that bore out, the tips serve: a blank is turned on its
        bore (common practice, no source).

    Raises
    ------
    PhotoError
        Where the wanted axis cannot be seen.
    """
    bore = measured.bore.centre if measured.bore is not None else None
    tips = measured.tip_circle.centre if measured.tip_circle is not None else None
    fits = measured.fits
    # On an arc the axis was found with the tips' help, which the flanks alone would undo.
    whole = bool(measured.teeth.seen.mean() > WHOLE_TURN)
    teeth = fits.centre + teeth_axis_shift(fits) if whole else fits.centre
    seen = {"bore": bore, "teeth": teeth, "tips": tips}
    doubt, doubted = _bore_doubt(measured, teeth, tips if whole else None)
    kind: DatumKind = wanted or _usual(measured.bore, doubted)
    datum = seen[kind]
    if datum is None:
        what = "round bore" if kind == "bore" else "tip circle"
        raise PhotoError(f"no {what} is seen, so it cannot be the datum: leave --datum out")
    return Axes(
        kind=kind, datum=datum, teeth=teeth, bore=bore, tips=tips,
        u_bore_px=doubt, bore_doubted=doubted,
    )  # fmt: skip


def _usual(bore: Bore | None, doubted: bool) -> DatumKind:
    """The datum of a gear of which nobody said one."""
    if bore is None or not round_enough(bore):
        return "teeth"
    return "tips" if doubted else "bore"


def _bore_doubt(measured: Measured, teeth: Floats, tips: Floats | None) -> tuple[float, bool]:
    """What lean and thickness leave open of the bore, px, and whether tips and teeth doubt it."""
    if measured.bore is None:
        return 0.0, False
    lean_px = UNMEASURED_LEAN * measured.thickness_px
    if tips is None:
        return lean_px if lean_px < inf else 0.0, False
    # With an error of the drive put into the axis, and without.
    witnesses = np.stack(
        [teeth, measured.fits.centre + teeth_axis_shift(measured.fits, drive=True)]
    )
    u = hypot(measured.bore.u_centre, measured.outlines.u_level_px)
    doubt = left_open_by_rims(measured.bore, witnesses, np.asarray(tips), u, 2 * lean_px)
    return doubt, doubt > 0
