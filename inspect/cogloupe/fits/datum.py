"""The axis that figures are about, and the other axes that can be seen on a gear."""

from dataclasses import dataclass
from math import hypot, inf

import numpy as np

from cogloupe.fits.bore import Bore
from cogloupe.fits.bore_uncertainty import BOSS, left_open_by_rims, round_enough
from cogloupe.fits.measured_gear import Measured
from cogloupe.fits.teeth_axis import WHOLE_TURN, teeth_axis_covariance, teeth_axis_shift
from cogloupe.reading.models import DatumKind
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError
from cogloupe_calibration.lens import UNMEASURED_LEAN


@dataclass(frozen=True, kw_only=True)
class Axes:
    """The datum and the other axes that can be seen, px.

    `u_px` holds the standard uncertainty of either coordinate of each that is seen, by its name;
    `u_bore_px` is what lean and thickness leave open of the bore beside that, `bore_doubted`
    whether tips and teeth agree against it.
    """

    kind: DatumKind
    datum: Floats
    teeth: Floats
    bore: Floats | None
    tips: Floats | None
    u_px: dict[str, float]
    u_bore_px: float = 0.0
    bore_doubted: bool = False


def choose_datum(measured: Measured, wanted: DatumKind | None) -> Axes:
    """Pick the datum axis.

    Parameters
    ----------
    wanted : {'bore', 'teeth', 'tips'} or None
        What the person asked for; None takes the bore where a round one is seen, else the teeth.
        Where tips and teeth agree against that bore, the tips serve: a blank is turned on its bore
        (common practice, no source).

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
    u_px = own_uncertainties(measured)
    doubt, doubted = 0.0, False
    if measured.bore is not None and wanted in (None, "bore"):
        doubt, doubted = _bore_doubt(measured, measured.bore, teeth, tips if whole else None, u_px)
    kind: DatumKind = wanted or _usual(measured.bore, doubted)
    datum = seen[kind]
    if datum is None:
        what = "round bore" if kind == "bore" else "tip circle"
        raise PhotoError(f"no {what} is seen, so it cannot be the datum: leave --datum out")
    return Axes(
        kind=kind, datum=datum, teeth=teeth, bore=bore, tips=tips,
        u_px=u_px, u_bore_px=doubt, bore_doubted=doubted,
    )  # fmt: skip


def own_uncertainties(measured: Measured) -> dict[str, float]:
    """Standard uncertainty of either coordinate of each middle that is seen.

    Px, by 'teeth', 'bore' and 'tips'. What moves all edges alike, out of the material or into it,
    moves no middle; what moves them by the way they face does.
    """
    u_px = {"teeth": float(np.sqrt(np.trace(teeth_axis_covariance(measured.fits)) / 2))}
    if measured.bore is not None:
        u_px["bore"] = measured.bore.u_place
    if measured.tip_circle is not None:
        u_px["tips"] = float(measured.tip_circle.rms / np.sqrt(measured.teeth.teeth / 2))
    return {name: hypot(u, measured.outlines.u_bevel_px) for name, u in u_px.items()}


def _usual(bore: Bore | None, doubted: bool) -> DatumKind:
    """The datum of a gear of which nobody said one."""
    if bore is None or not round_enough(bore):
        return "teeth"
    return "tips" if doubted else "bore"


def _bore_doubt(
    measured: Measured, bore: Bore, teeth: Floats, tips: Floats | None, u_px: dict[str, float]
) -> tuple[float, bool]:
    """What lean and thickness leave open of the bore, px, and whether tips and teeth doubt it."""
    lean_px = UNMEASURED_LEAN * measured.thickness_px
    if tips is None:
        return lean_px if lean_px < inf else 0.0, False
    # With an error of the drive put into the axis, and without.
    drive = measured.fits.centre + teeth_axis_shift(measured.fits, drive=True)
    u = np.array([u_px[name] for name in ("tips", "teeth", "teeth")])
    doubt = left_open_by_rims(bore, np.stack([tips, teeth, drive]), u, 2 * lean_px)
    if bore.rims_apart is not None:
        doubt = min(doubt, BOSS * bore.rims_apart)
    off, *apart = (np.hypot(*(place - tips)) for place in (bore.centre, teeth, drive))
    # Tips and teeth that contradict one another more than the bore does are no better.
    return doubt, bool(min(apart) < off <= 2 * doubt)
