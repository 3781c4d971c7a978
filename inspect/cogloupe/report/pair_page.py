"""A pair as a page with its gears in mesh, and as tables for the terminal."""

from collections.abc import Mapping
from math import degrees, isnan

from cogloupe import __version__
from cogloupe.forms.rack import Gear
from cogloupe.pairing.layout import Layout
from cogloupe.pairing.pair import Pairing
from cogloupe.report.charts import figure_png
from cogloupe.report.drilling import distance_text
from cogloupe.report.markup import data_uri, page_template, shared_script
from cogloupe.report.mesh_drawing import mesh_data, mesh_svg
from cogloupe.report.page import script_json
from cogloupe.report.pair_charts import running_chart, spectrum_chart, window_chart
from cogloupe.report.pair_tables import drilling_table, pair_tables
from cogloupe.report.pair_text import CAUTIONS, findings, headline, next_step, notes, pair_title


def pair_html(
    pairing: Pairing,
    layout: Layout,
    number: int = 0,
    files: Mapping[str, str] | None = None,
    script: str = "",
) -> str:
    """Write the page, HTML that needs the shared script beside it only for the gears to turn.

    The layout is of that pair or of the train that it is part of, in which it has the number;
    `files` are the drilling drawings and where they are, `script` where the shared script is, else
    beside the page.
    """
    data = mesh_data(pairing)
    return page_template("pair.html.j2").render(
        name=pair_title(pairing),
        title_block=title_block(pairing, distance_text(layout, number)),
        headline=headline(pairing),
        next_step=next_step(pairing),
        findings=findings(pairing),
        notes=notes(pairing),
        mesh=mesh_svg(pairing),
        steps=data["steps"],
        tightest_place=data["tightest"],
        tables=pair_tables(pairing),
        running=data_uri(figure_png(running_chart(pairing))),
        spectrum=data_uri(figure_png(spectrum_chart(pairing))),
        window=data_uri(figure_png(window_chart(pairing))),
        holes=drilling_table(layout),
        files=files or {},
        cautions=CAUTIONS,
        script=script or shared_script()[0],
        data=script_json(data),
        version=__version__,
    )


def title_block(pairing: Pairing, distance: str) -> list[tuple[str, str]]:
    """What is drawn here, in the boxes at the head of the page."""
    mesh, drilling = pairing.mesh, pairing.drilling
    a, b = mesh.a, mesh.b
    form = (
        f"{degrees(a.wheel.rack.pressure_angle):.4g}°" if isinstance(a.wheel, Gear) else "cycloidal"
    )
    wanted = (
        "as the distance gives it" if isnan(drilling.wanted) else f"{drilling.wanted:.4g} mm wanted"
    )
    return [
        ("First gear", f"{a.name}, {a.teeth} teeth"),
        ("Second gear", f"{b.name}, {b.teeth} teeth"),
        ("Teeth", f"module {a.wheel.module_mm:.4g} mm, {form}"),
        ("Centre distance", distance),
        ("Least backlash", wanted),
        ("Put together", f"tooth {pairing.start[0]} in gap {pairing.start[1]}"),
        ("Comes again after", f"{mesh.steps} teeth, {mesh.steps // a.teeth} and "
         f"{mesh.steps // b.teeth} turns"),
    ]  # fmt: skip
