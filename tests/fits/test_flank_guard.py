"""No flank where none can be, and none taken away that its own points bear out."""

from dataclasses import replace

import numpy as np
import pytest

from cogloupe.fits.flank_guard import possible_flanks, refuse_few_flanks
from cogloupe.fits.flanks import fit_flanks
from cogloupe.forms.involute import involute_curve
from cogloupe_calibration.errors import PhotoError

from ..helpers.outlines import PX_PER_MM, traced

Z = 24
PITCH = 2 * np.pi / Z


def fits_of(wheel):
    gear = wheel.gear
    sizes = (gear.base_radius, gear.reference_radius, 1.001 * gear.form_radius)
    curve = involute_curve(*(r * PX_PER_MM for r in (*sizes, 0.97 * gear.tip_radius)))
    return fit_flanks(wheel.edges, wheel.teeth(), wheel.centre, curve)


def moved(fits, where, by, **changes):
    unwound = fits.unwound.copy()
    unwound[where] += by * PITCH
    return replace(fits, unwound=unwound, **changes)


def test_a_good_gear_keeps_all_its_flanks():
    fits = fits_of(traced(Z))
    assert possible_flanks(fits) is fits


def test_a_flank_alone_in_its_place_is_taken_out():
    guarded = possible_flanks(moved(fits_of(traced(Z)), (7, 1), 0.3))
    assert np.argwhere(~np.isfinite(guarded.unwound)).tolist() == [[7, 1]]
    assert np.isnan(guarded.slope[7, 1])


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_dividing_that_does_not_close_keeps_its_flanks(share):
    # The places drift from half the share early to half of it late, and jump back between two.
    drift = np.linspace(-share, share, Z)[:, None] / 2 * np.ones(2)
    fits = fits_of(traced(Z))
    guarded = possible_flanks(replace(fits, unwound=fits.unwound + drift * PITCH))
    assert np.isfinite(guarded.unwound).all()


def test_what_is_far_off_needs_points_along_its_whole_range():
    fits = fits_of(traced(Z))
    pair = moved(fits, (slice(7, 9), 0), 0.3)
    assert np.isfinite(possible_flanks(pair).unwound).all()
    half = pair.coverage.copy()
    half[7:9, 0] = 0.5
    gone = possible_flanks(replace(pair, coverage=half)).unwound
    assert np.argwhere(~np.isfinite(gone)).tolist() == [[7, 0], [8, 0]]


def test_flanks_that_changed_places_are_not_both_kept():
    guarded = possible_flanks(moved(fits_of(traced(Z)), (7, 0), 1.1)).unwound
    assert np.isnan(guarded[7, 0])
    assert np.isfinite(np.delete(guarded[:, 0], 7)).all()


@pytest.mark.parametrize(("missing", "refused"), [(16, False), (17, True)])
def test_fewer_than_two_thirds_of_the_flanks_are_refused(missing, refused):
    wheel = traced(Z)
    fits = fits_of(wheel)
    unwound = fits.unwound.copy()
    unwound.ravel()[:missing] = np.nan
    few = replace(fits, unwound=unwound)
    if refused:
        with pytest.raises(PhotoError, match="only 31 of the 48 flanks of 24 teeth"):
            refuse_few_flanks(few, wheel.teeth(), whole=True)
    else:
        refuse_few_flanks(few, wheel.teeth(), whole=True)
