"""Single edges of a rendered picture's outline, as each camera curve has them."""

from functools import cache

from cogloupe.finding.segmentation import find_gears
from cogloupe.optics.contour_following import border_chains, crossings_of, material_mask
from cogloupe.optics.greys import greys_of
from cogloupe.optics.response_selection import response_candidates
from cogloupe.optics.sampling import Fit

from .pictures import CAMERA, rendered


@cache
def looks_of(**camera):
    image = rendered(**camera).image
    region = find_gears(image)[0]
    greys = greys_of(image, region)
    mask = material_mask(greys, region)
    crossings = crossings_of(mask, border_chains(mask, region, greys.corner)[0])
    return response_candidates(greys, crossings, region.coloured, Fit(1 / CAMERA.mm_per_px))
