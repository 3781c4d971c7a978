"""The axis that figures are about, and the other axes that can be seen on a gear."""

from dataclasses import dataclass

from cogloupe.fits.bore_doubt import round_enough
from cogloupe.fits.measured import Measured
from cogloupe.fits.teeth_axis import teeth_axis_shift
from cogloupe.reading.models import DatumKind
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError


@dataclass(frozen=True)
class Axes:
    """The datum and the other axes that can be seen, px."""

    kind: DatumKind
    datum: Floats
    teeth: Floats
    bore: Floats | None
    tips: Floats | None


def choose_datum(measured: Measured, wanted: DatumKind | None) -> Axes:
    """Pick the datum axis.

    Parameters
    ----------
    measured : Measured
    wanted : {'bore', 'teeth', 'tips'} or None
        What the person asked for; None takes the bore where a round one is seen, else the teeth.

    Returns
    -------
    Axes

    Raises
    ------
    PhotoError
        Where the wanted axis cannot be seen.
    """
    bore = measured.bore.centre if measured.bore is not None else None
    tips = measured.tip_circle.centre if measured.tip_circle is not None else None
    fits = measured.fits
    # On an arc the axis was found with the tips' help, which the flanks alone would undo.
    whole = bool(measured.teeth.seen.mean() > 0.75)
    teeth = fits.centre + teeth_axis_shift(fits) if whole else fits.centre
    seen = {"bore": bore, "teeth": teeth, "tips": tips}
    serves = measured.bore is not None and round_enough(measured.bore)
    kind: DatumKind = wanted or ("bore" if serves else "teeth")
    datum = seen[kind]
    if datum is None:
        what = "round bore" if kind == "bore" else "tip circle"
        raise PhotoError(f"no {what} is seen, so it cannot be the datum: leave --datum out")
    return Axes(kind, datum, teeth, bore, tips)
