"""The report page: one HTML file; its drawings are made by a script that many reports share."""

import json
from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from markupsafe import Markup

from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.reading.models import Reading
from cogloupe.report.budget_tables import budget_tables
from cogloupe.report.detail_wording import check_sentences, limit_sentences
from cogloupe.report.gap_tables import (
    candidate_table,
    chance,
    measure_table,
    situation_table,
    size_text,
)
from cogloupe.report.gear_name import gear_name, gear_origin
from cogloupe.report.markup import data_uri, page_template, shared_script
from cogloupe.report.page_data import Window, page_data, photo_jpeg, photo_window
from cogloupe.report.reading_tables import classes_reached, gap_table, summary_table, tooth_table
from cogloupe.report.reading_text import verdict
from cogloupe.report.set_table import set_table
from cogloupe.report.shape_tables import flank_table, gap_shape_table, profile_table, size_table
from cogloupe.report.verdict_text import cautions_of
from cogloupe.wording.cautions import CAUTIONS
from cogloupe.wording.numbers import tooth_list, with_uncertainty

CAPTIONS: Mapping[str, str] = MappingProxyType({
    "camera": "What the camera does to places on the picture, found by turning the gear and undone "
    "in the reading: arrows over the frame, enlarged by the factor stated, and along the teeth.",
})  # fmt: skip
"""Pictures that only some readings have."""

_SETS = {
    "turned": "turned pictures", "repeats": "repeated pictures",
    "joined": "partial pictures, joined",
}  # fmt: skip


def report_html(
    reading: Reading,
    drawing: DrawingData | None = None,
    images: Mapping[str, bytes] = MappingProxyType({}),
    files: tuple[tuple[str, str], ...] = (),
    window: Window | None = None,
) -> str:
    """Write the report page.

    HTML text with photograph, figures and styles inside. The script that draws is `shared_script`,
    looked for in the folder above; without it the tables still say all.

    Parameters
    ----------
    drawing : DrawingData, optional
        The picture, and the points measured on it; without it the page has no drawings.
    images : mapping of str to bytes, optional
        Further PNG or JPEG pictures by name, the names being keys of `CAPTIONS`; others are left
        out.
    window : Window, optional
        The photograph as it goes into the page, where that is known already.
    """
    return page_template("report.html.j2", chance=chance, size=size_text).render(
        reading=reading,
        name=gear_name(reading.gear),
        title_block=title_block(reading),
        sentences=verdict(reading),
        cautions=[c for c in cautions_of([reading]) if c != CAUTIONS["not_for_acceptance"]],
        warnings=[(n.message, tooth_list(n.teeth)) for n in reading.warnings if not n.note],
        notes=[(n.message, tooth_list(n.teeth)) for n in reading.warnings if n.note],
        figures=[(data_uri(images[n]), text) for n, text in CAPTIONS.items() if n in images],
        files=files,
        **_tables(reading),
        limits=limit_sentences(reading),
        checks=check_sentences(reading),
        origin=gear_origin(reading.gear),
        **_drawn(reading, drawing, window),
    )


def _tables(reading: Reading) -> dict[str, Any]:
    """Every table of the page, by the template's names."""
    identity, cutting = reading.identity, reading.cutting
    return {
        "summary": summary_table(reading),
        "teeth": tooth_table(reading),
        "gaps": gap_table(reading),
        "budget": budget_tables(reading.budget),
        "pictures": set_table(reading.photo_set) if reading.photo_set else None,
        "candidates": candidate_table(identity) if identity else None,
        "measures": measure_table(identity) if identity else None,
        "situations": situation_table(cutting) if cutting else None,
        "profiles": profile_table(reading),
        "flank_profiles": flank_table(reading),
        "gap_shape": gap_shape_table(reading),
        "sizes": size_table(reading),
    }


def _drawn(reading: Reading, drawing: DrawingData | None, window: Window | None) -> dict[str, Any]:
    """The photograph, the figures behind the drawings, and the script that draws them."""
    if drawing is None:
        return {"data": "", "photograph": "", "script": "", "script_name": ""}
    window = window or photo_window(reading, drawing)
    name, _ = shared_script()
    return {
        "data": script_json(page_data(reading, drawing, window)),
        "photograph": data_uri(photo_jpeg(window)),
        "script": f"../{name}",
        "script_name": name,
    }


def script_json(data: object) -> Markup:
    """JSON that can stand inside a script element.

    With no ``<``, so that nothing in it ends the element.
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c"))


def title_block(reading: Reading) -> list[tuple[str, str]]:
    """Terms and texts at the head of the page and of the picture for a forum."""
    photo, shown = reading.photo, reading.calibration
    file, pictures = photo.file, reading.photo_set
    if pictures:
        file = f"{len(pictures.pictures)} {_SETS[pictures.kind]}, the first {file}"
    scale = with_uncertainty(1e3 * shown.mm_per_px, 1e3 * shown.u_mm_per_px, "µm per pixel")
    block = [
        ("photograph", f"{file}, {photo.width_px} × {photo.height_px} px"),
        ("scale", f"{scale} ({shown.method.replace('_', ' ')})"),
        ("datum", reading.datum.kind),
        ("measuring circle", f"⌀ {reading.gear.measuring_diameter_mm:.4g} mm"),
    ]
    taken, reached = taken_on(reading), class_reached(reading)
    if taken:
        block.append(("taken", taken + (f", {photo.camera}" if photo.camera else "")))
    elif photo.camera:
        block.append(("camera", photo.camera))
    return [*block, ("class", reached)] if reached else block


def taken_on(reading: Reading) -> str:
    """Day a photograph was taken; empty where its file does not say."""
    try:
        return datetime.strptime(reading.photo.taken or "", "%Y:%m:%d %H:%M:%S").date().isoformat()
    except ValueError:
        return ""


def class_reached(reading: Reading) -> str:
    """Tolerance class of pitch and runout together, with its standard; empty where not graded."""
    found = classes_reached(reading)
    return f"{found} of {reading.tolerance.standard}" if found and reading.tolerance else ""
