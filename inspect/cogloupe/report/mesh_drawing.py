"""Two measured gears in mesh, as a drawing in the page that its script can turn.

Millimetres about the first gear's axis, the second to the right; x right, y down as on pictures.
"""

from math import degrees, pi
from typing import Any

import numpy as np
from markupsafe import Markup, escape

from cogloupe.numerics.missing import number
from cogloupe.pairing.centre_distance import backlash_mm
from cogloupe.pairing.contact import FINE, places
from cogloupe.pairing.outlines import contact_points, tooth_outlines
from cogloupe.pairing.pair import Pairing
from cogloupe.pairing.rolling import Mesh, touching
from cogloupe.pairing.running_gear import TOWARDS, RunningGear
from cogloupe.report.pair_text import spot_text
from cogloupe_calibration.arrays import Floats

MOST_PLACES = 4000
"""Mesh positions that a page carries; between them the curves are drawn straight."""
_MARGIN_MODULES = 1.0
"""Room round both gears; layout only."""
_NEAR_MODULES = 2.6
"""Half the width of what the enlarged view shows."""
_DOT = 0.009
"""Radius of a dot where flanks touch, as a share of the drawing's width."""


def turns(pairing: Pairing, position: Floats, side: int) -> tuple[Floats, Floats]:
    """Angles, rad, clockwise, by which both gears are turned from where they lie on their pictures.

    `position` is in pitches that A has turned from the start, clockwise; `side` is the flanks that
    drive.
    """
    mesh, (tooth, gap) = pairing.mesh, pairing.start
    a, b = mesh.a, mesh.b
    turn_a = position * a.pitch - a.start - (tooth - 1) * a.pitch
    to_gap = pi - b.start - (gap - 0.5) * b.pitch
    phases = pairing.rolled.lead.shape[2]
    place = (np.arange(mesh.steps * phases) + 0.5) / phases - 0.5
    lead = np.nan_to_num(pairing.rolled.lead[side].ravel())
    ahead = np.interp(position, place, lead, period=mesh.steps)
    limit = TOWARDS[side] * (mesh.sides[side].play - ahead)
    return turn_a, to_gap - position * b.pitch + limit


def mesh_svg(pairing: Pairing) -> Markup:
    """Draw both gears at their tightest spot, whole and enlarged.

    Two SVG elements; the enlarged one shows the parts of the first again.
    """
    mesh = pairing.mesh
    a, b, module = mesh.a, mesh.b, mesh.a.wheel.module_mm
    spot = pairing.backlash.tightest[0]
    turn_a, turn_b = (float(v) for v in turns(pairing, np.array(spot.place), 1))
    reach = [float(gear.tip.max()) + _MARGIN_MODULES * module for gear in (a, b)]
    left, width = -reach[0], reach[0] + mesh.centre_mm + reach[1]
    high = max(reach)
    middle = mesh.centre_mm - mesh.working_radius
    near = _NEAR_MODULES * module
    pitch = [mesh.centre_mm - mesh.working_radius, mesh.working_radius]
    tight_a, tight_b = ({spot.left[k], spot.right[k]} for k in (0, 1))
    return Markup(
        f'<svg class="mesh whole" viewBox="{left:.3f} {-high:.3f} {width:.3f} {2 * high:.3f}" '
        f'role="img" aria-label="Both gears in mesh at {escape(spot_text(pairing, spot))}">'
        f'<g id="mesh-drawing"><path class="centres" d="M0,0H{mesh.centre_mm:.4f}"/>'
        f'<g id="gear-a" transform="rotate({degrees(turn_a):.5f})">'
        f"{_teeth(a, tight_a)}{_hub(a)}</g>"
        f'<g transform="translate({mesh.centre_mm:.5f} 0)"><g id="gear-b" '
        f'transform="rotate({degrees(turn_b):.5f})">'
        f"{_teeth(b, tight_b)}{_hub(b)}</g></g>"
        f'<circle class="pitch" r="{pitch[0]:.4f}"/><circle class="pitch" '
        f'cx="{mesh.centre_mm:.4f}" r="{pitch[1]:.4f}"/></g>{_dots(pairing, width)}</svg>'
        f'<svg class="mesh near" viewBox="{middle - near:.4f} {-near:.4f} {2 * near:.4f} '
        f'{2 * near:.4f}" aria-hidden="true"><use href="#mesh-drawing"/>'
        f"{_dots(pairing, 2 * near)}</svg>"
    )


def _teeth(gear: RunningGear, lit: set[int]) -> str:
    seen = np.asarray(np.isfinite(gear.off[..., 0]).all(axis=1))
    outlines = tooth_outlines(gear)
    parts = []
    for k, points in enumerate(outlines):
        kinds = [kind for kind, so in (("unseen", not seen[k]), ("tight", k + 1 in lit)) if so]
        corners = " ".join(f"{x:.3f},{y:.3f}" for x, y in points.tolist())
        named = f' class="{" ".join(kinds)}"' if kinds else ""
        parts.append(f'<path{named} data-tooth="{k + 1}" d="M0,0L{corners}Z"/>')
    edge = " ".join(f"{x:.3f},{y:.3f}" for x, y in outlines.reshape(-1, 2).tolist())
    return "".join(parts) + f'<path class="edge" d="M{edge}Z"/>'


def _hub(gear: RunningGear) -> str:
    """The bore, and a mark by which the turning is seen."""
    bore = (gear.bore_mm or gear.wheel.module_mm) / 2
    reach = float(gear.root.min()) - 0.3 * gear.wheel.module_mm
    x, y = reach * np.cos(gear.start), reach * np.sin(gear.start)
    mark = 0.18 * gear.wheel.module_mm
    return (
        f'<circle class="bore" r="{bore:.3f}"/>'
        f'<circle class="first" cx="{x:.3f}" cy="{y:.3f}" r="{mark:.3f}"/>'
    )


def mesh_data(pairing: Pairing) -> dict[str, Any]:
    """What the page's script turns the gears by.

    Angles degrees, lengths mm, leads µm; of a position, the pitches turned from the start.
    """
    mesh = pairing.mesh
    lead = [way.curve for way in pairing.ways]
    every = max(lead[0].size // MOST_PLACES, 1)
    shown = np.arange(every // 2, lead[0].size, every)
    free = backlash_mm(mesh, pairing.rolled)
    phases = lead[0].shape[1]
    zero = turns(pairing, np.zeros(1), 1)
    return {
        "teeth": [mesh.a.teeth, mesh.b.teeth],
        "steps": mesh.steps,
        "start": list(pairing.start),
        "tightest": pairing.backlash.tightest[0].place,
        "turn_a": degrees(float(zero[0][0])),
        "turn_b": degrees(pi - mesh.b.start - (pairing.start[1] - 0.5) * mesh.b.pitch),
        "limit": [
            degrees(TOWARDS[side] * (mesh.sides[side].play - float(np.nanmean(rolled))))
            for side, rolled in enumerate(pairing.rolled.lead)
        ],
        "deg_per_um": degrees(1e-3 / mesh.b.wheel.reference_radius),
        "place": [(float(shown[0]) + 0.5) / phases - 0.5, every / phases],
        "lead": [_rounded(curve.ravel()[shown], 2) for curve in lead],
        "free": _rounded(_least_of(free.ravel(), every, len(shown)), 5),
        "points": [_contacts(mesh, side) for side in (0, 1)],
        "driving": [
            touching(mesh, side, pairing.start, (shown + 0.5) / phases - 0.5)[0].tolist()
            for side in (0, 1)
        ],
    }


def _least_of(values: Floats, every: int, count: int) -> Floats:
    """Least of each stretch, so that no tight spot is lost."""
    whole = np.pad(values, (0, -len(values) % every), mode="edge").reshape(-1, every)
    return np.asarray(whole.min(axis=1)[:count])


def _contacts(mesh: Mesh, side: int) -> list[list[list[float]]]:
    """Places of the ideal contact by block and phase, as on the picture.

    Each is x, y and 1 where flanks touch, 0 where only the corner of a tip can.
    """
    found = mesh.sides[side]
    turned = mesh.a.half[side] + places(mesh.a, found.met.shape[2])
    points = contact_points(mesh.a, found.met[0], turned) * [1.0, TOWARDS[side]]
    inside = np.ones(found.met.shape[1:], bool)
    for gear, length in zip((mesh.a, mesh.b), found.met, strict=True):
        step = 2 * (gear.along[-1] - gear.along[0]) / FINE  # the ideal contact is told to one
        tip = float(np.interp(gear.tip.max(), gear.radius, gear.along))
        inside &= (length > gear.along[0] + step) & (length < tip - step)
    rows = np.concatenate([points.round(4), inside[..., None]], axis=-1)
    return list(rows.tolist())


def _dots(pairing: Pairing, width: float) -> str:
    """Where the gears touch at the tightest spot, driven clockwise; the script moves the dots."""
    place, points = np.array([pairing.backlash.tightest[0].place]), _contacts(pairing.mesh, 1)
    driving = int(touching(pairing.mesh, 1, pairing.start, place)[0][0])
    phase = int((place[0] + 0.5) % 1 * len(points[0]))
    dots = []
    for block, row in enumerate(points):
        x, y, inside = row[phase]
        if inside or block == driving:
            kind = ' class="driving"' if block == driving else ""
            dots.append(f'<circle{kind} cx="{x}" cy="{y}" r="{_DOT * width:.4f}"/>')
    return f'<g class="contacts">{"".join(dots)}</g>'


def _rounded(values: Floats, digits: int) -> list[float | None]:
    return [number(v) for v in np.round(values, digits)]
