"""Two readings of the list run together: the page, and the drawing to drill by."""

from collections.abc import Mapping
from urllib.parse import urlencode

from cogloupe.bench.gears_folder import GearsFolder
from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.layout import Layout, lay_out_pair
from cogloupe.pairing.mates import theoretical_mate
from cogloupe.pairing.pair import Asked, pair_gears
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.reading.files import load_reading
from cogloupe.report.drilling import DRAWINGS
from cogloupe.report.pair_page import pair_html
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.units import parse_length


def pair_page(folder: GearsFolder, fields: Mapping[str, str]) -> str:
    """How two gears run together, as HTML.

    Parameters
    ----------
    fields : mapping
        `first` and `second`: folders of readings; `mate_teeth` in place of the second;
        `backlash` or `centre_distance`: a length with its unit. Empty ones are left out.
    """
    layout = _layout(folder, fields)
    files = {name: f"/pair/{name}?{urlencode(fields)}" for name in DRAWINGS}
    return pair_html(layout.pairs[0][2], layout, files=files, script="/assets/shared.js")


def drilling_file(folder: GearsFolder, fields: Mapping[str, str], name: str) -> bytes:
    """The drawing of a pair's holes, one of `DRAWINGS`."""
    if name not in DRAWINGS:
        raise UseError(f"{name} is not there: the drawings are {', '.join(DRAWINGS)}")
    return DRAWINGS[name](_layout(folder, fields))


def _layout(folder: GearsFolder, fields: Mapping[str, str]) -> Layout:
    distance, backlash = (fields.get(name, "") for name in ("centre_distance", "backlash"))
    if distance and backlash:
        raise UseError(
            "give either the centre distance or the backlash: one follows from the other"
        )
    asked = Asked(
        distance_mm=parse_length(distance) if distance else None,
        backlash_mm=parse_length(backlash) if backlash else None,
    )
    first = _gear(folder, fields.get("first", ""))
    return lay_out_pair(pair_gears(first, _mate(folder, fields, first), asked))


def _mate(folder: GearsFolder, fields: Mapping[str, str], first: RunningGear) -> RunningGear:
    teeth = fields.get("mate_teeth", "")
    if not teeth:
        return _gear(folder, fields.get("second", ""))
    if not teeth.isdecimal():
        raise UseError(f"{teeth} is not a number of teeth: give a whole one")
    return theoretical_mate(first, int(teeth))


def _gear(folder: GearsFolder, name: str) -> RunningGear:
    if not name:
        raise UseError("choose two readings, or one and the teeth of a perfect mate")
    return gear_from_reading(load_reading(folder.reading(name) / "reading.json"))
