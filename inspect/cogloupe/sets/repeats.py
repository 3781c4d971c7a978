"""Repeats: pictures of a gear left where it lies, for repeatability (type A)."""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt

import numpy as np
from scipy.stats import t as student_t

from cogloupe.inputs.photo import Photo
from cogloupe.inputs.settings import GearSettings
from cogloupe.inputs.stated_scale import stated_scale
from cogloupe.reading.models import BudgetLine
from cogloupe.sets.adjust import adjust
from cogloupe.sets.merging import SetOfPictures
from cogloupe.sets.set_reading import (
    SetReading,
    check_set,
    measure_all,
    read_set,
    same_datum,
    see_all,
    sight_at,
)
from cogloupe.sets.tooth_correspondence import SURE, best_match, pattern_evidence
from cogloupe.sets.views import Sight, nominal_of, start_of, view_of
from cogloupe.uncertainty.flank_uncertainty import allowed_lens
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.errors import PhotoError

REPEATED = (
    "thickness_mean_mm", "gap_width_mean_mm", "runout_um", "eccentricity_um",
    "tip_diameter_mean_mm", "root_diameter_mean_mm",
)  # fmt: skip
"""Figures of the summary whose repeatability is told by their own scatter."""


def inspect_repeats(photos: Sequence[Photo], settings: GearSettings) -> SetReading:
    """Read one gear from several pictures of it in one place.

    Parameters
    ----------
    photos : sequence of Photo
        Two or more; three or more say much more about repeatability.

    Raises
    ------
    UseError, PhotoError, CalibrationError
        Where the pictures do not belong together, or the gear was turned between them.
    """
    check_set(photos, "--repeats")
    stated = stated_scale(photos[0], settings)
    measured = measure_all(photos, see_all(photos, settings), settings, stated.scale, stated.lens)
    axes = same_datum(measured, settings.datum)
    nominal = nominal_of(measured[0])
    lens = stated.lens or allowed_lens(measured[0], (photos[0].width, photos[0].height))
    first = Sight(measured[0], axes[0], np.arange(measured[0].teeth.teeth))
    start = start_of(first, nominal)
    sights = [sight_at(m, a, nominal, start) for m, a in zip(measured, axes, strict=True)]
    views = [view_of(sight, nominal, lens) for sight in sights]
    for photo, view in zip(photos[1:], views[1:], strict=True):
        match = best_match(pattern_evidence(views[0], view, lens))
        if match.shift != 0 and match.sure > SURE:
            turn = (match.shift * 360 / len(view.out) + 180) % 360 - 180
            raise PhotoError(
                f"{photo.name} shows the gear turned by about {turn:.0f}° against "
                f"{photos[0].name}: --repeats are pictures of a gear left where it lies; use "
                "--turned for turned ones"
            )
    adjusted = adjust(views, lens, lens)
    pictures = SetOfPictures(
        kind="repeats",
        photos=tuple(photos),
        sights=tuple(sights),
        views=tuple(views),
        nominal=nominal,
        adjusted=adjusted,
        lens=stated.lens,
    )
    return with_repeatability(read_set(pictures, settings, stated.notices))


def with_repeatability(found: SetReading) -> SetReading:
    """Put the repeatability of the main figures into their uncertainty and the budget.

    Notes
    -----
    The mean of n pictures is uncertain by s / sqrt(n), s having n - 1 degrees of freedom; it is
    raised by half of Student's t for 95 %, so that twice the whole still means 95 % (GUM 4.2 and
    annex G). Pitch has its repeatability from all flanks pooled.
    """
    reading = found.reading
    lines, changes = [], {}
    for name in REPEATED:
        values = [getattr(one.summary, name) for one in found.alone]
        known = np.array([value for value in values if value is not None])
        before = getattr(reading.summary, f"u_{name}")
        if len(known) > 1 and before is not None:
            lines.append(_type_a(name, known))
            changes[f"u_{name}"] = float(np.hypot(before, lines[-1].contribution))
    summary = reading.summary.model_copy(update=changes)
    budget = (*reading.budget, *lines)
    return replace(found, reading=reading.model_copy(update={"summary": summary, "budget": budget}))


def _type_a(figure: str, values: Floats) -> BudgetLine:
    n, s, unit = len(values), float(np.std(values, ddof=1)), figure.rpartition("_")[2]
    factor = float(student_t.ppf(0.975, n - 1)) / 2
    return BudgetLine(
        figure=figure, source=f"repeatability (type A, {n} pictures)",
        value=f"{s:.2g} {unit.replace('um', 'µm')} a picture",
        distribution=f"t, {n - 1} degrees of freedom", sensitivity=f"{factor:.2f} / √{n}",
        contribution=factor * s / sqrt(n), unit=unit,
    )  # fmt: skip
