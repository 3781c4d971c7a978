"""What single steps leave of averaged profiles, in the errors that parts of the outline show."""

import numpy as np

from cogloupe.optics.misfit import PARTS, STEP_BLURS, _in_its_errors


def test_a_part_that_shows_one_side_only_makes_the_others_no_less_sure():
    rng = np.random.default_rng(7)
    z = rng.uniform(-STEP_BLURS, STEP_BLURS, (PARTS * 20, 15))
    share = 0.02 + 0.002 * rng.standard_normal(z.shape)
    one_side = z.copy()
    one_side[:20] = np.abs(z[:20])
    whole, least = (_in_its_errors(each, share)[1] for each in (z, one_side))
    # One part of forty, which is counted as if it differed by nothing.
    assert 0.9 < least / whole < 1.1
