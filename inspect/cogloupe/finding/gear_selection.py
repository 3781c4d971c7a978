"""Find the gear that is meant on a picture, and its edges, before anything is measured."""

from typing import Any

from numpy.typing import NDArray

from cogloupe.finding.segmentation import Region, find_gears
from cogloupe.inputs.settings import GearSettings
from cogloupe.wording.notices import Notice, flag
from cogloupe_calibration.errors import PhotoError

CLEAR_SHARE = 0.6
"""Share of even teeth from which a second outline on the picture is called a gear."""
MOST_LEAN_DEG = 12.0
"""Lean beyond which a gear is not measured: at 12 degrees it is 2.2 % shorter one way, which moves
flanks of a gear 20 mm across by 0.05 mm."""
SMALLEST_MATE = 0.12
"""Tip radius of a second gear, as a share of the clearest one's."""


def gears_on(
    pixels: NDArray[Any], teeth: int | None = None, doubtful: bool = False
) -> list[Region]:
    """Gears on a picture in the order that picks them: from left to right.

    Beside the clearest gear only those nearly as clear and not much smaller.

    Parameters
    ----------
    pixels : ndarray, shape (h, w) or (h, w, 3)
        Upright photograph.
    teeth : int, optional
        The number that was stated.
    doubtful : bool
        Also give what comes nearest to a gear where nothing is one for sure.
    """
    regions = find_gears(pixels, teeth, doubtful)
    if not regions:
        return []
    clear = [
        region
        for region in regions
        if region is regions[0]
        or (
            region.share > CLEAR_SHARE and region.tip_radius > SMALLEST_MATE * regions[0].tip_radius
        )
    ]
    return sorted(clear, key=lambda region: region.x)


def choose_gear(
    regions: list[Region], settings: GearSettings, shape: tuple[int, ...]
) -> tuple[Region, tuple[Notice, ...]]:
    """The gear to read and what to say of the others, or the reason why there is none."""
    refuse_none(regions)
    number = settings.pick or 1 + _likeliest(regions, settings.teeth)
    if number > len(regions):
        raise PhotoError(f"{len(regions)} gears are seen, so --pick {number} is not there")
    region = regions[number - 1]
    _refuse_unsure(region, settings)
    height, width = shape[:2]
    # An arc whose centre lies outside the picture was meant as one; else something went wrong.
    meant = not (0 <= region.x < width and 0 <= region.y < height)
    if region.cut_off and not (settings.partial or meant):
        raise PhotoError(
            "the gear is cut off by the edge of the picture: move back, or give --partial to "
            "read the teeth that are seen"
        )
    if len(regions) == 1:
        return region, ()
    return region, (flag("several_gears", count=len(regions), number=number),)


def refuse_none(regions: list[Region]) -> None:
    """Raise PhotoError where nothing on a picture is a gear for sure, with what comes nearest."""
    if not regions or not regions[0].sure:
        raise PhotoError(
            "no gear found: neither a level of grey or colour parts one from its ground, nor do "
            f"edges repeat round any centre as teeth do; {_nearest(regions)}lay one gear flat and "
            "whole under the camera, on a ground of another brightness or colour, and look at the "
            "focus"
        )


def _nearest(regions: list[Region]) -> str:
    """What comes nearest to a gear, in words, if anything does."""
    if not regions:
        return ""
    near = regions[0]
    full_scale = 255 if near.threshold.max() <= 255 else 65535
    lean = ""
    if near.lean_deg > MOST_LEAN_DEG:
        lean = f", on an oval that tells a lean of about {near.lean_deg:.0f}°"
    return (
        f"nearest come {_numbers(near)} teeth round the place {near.x:.0f}, {near.y:.0f} px{lean}: "
        f"{100 * near.follows:.0f} % of their flanks show an edge of their own, and both sides "
        f"differ by {100 * near.contrast / full_scale:.1f} % of full scale; "
    )


def _numbers(region: Region) -> str:
    """The number of teeth and others that fit nearly as well."""
    return " or ".join(str(number) for number in sorted({region.teeth, *region.rivals}))


def _refuse_unsure(region: Region, settings: GearSettings) -> None:
    """Say so where the picture leaves the count open, or shows the gear aslant."""
    if region.lean_deg > MOST_LEAN_DEG:
        raise PhotoError(
            f"the gear is seen aslant: its teeth lie on an oval that tells a lean of about "
            f"{region.lean_deg:.0f} degrees, so they cannot be measured: lay it flat under the "
            "middle of the lens"
        )
    open_to = sorted({region.teeth, *region.rivals})
    if settings.teeth is None and len(open_to) > 1:
        raise PhotoError(f"not sure: {_numbers(region)} teeth, give --teeth")
    if settings.teeth is not None and region.by_theory and settings.teeth not in open_to:
        raise PhotoError(f"{region.teeth} teeth are seen, not {settings.teeth}: check --teeth")


def _likeliest(regions: list[Region], teeth: int | None) -> int:
    """Index of the clearest and largest gear, of those with about the stated teeth if any."""
    every = range(len(regions))
    alike = [k for k in every if teeth is not None and abs(regions[k].teeth / teeth - 1) < 0.04]
    return max(alike or every, key=lambda k: regions[k].share * regions[k].tip_radius ** 0.5)
