"""Contact of two gears: against handbooks, formulas, and the polygons of their outlines."""

import csv
from math import pi, radians, sin, tan
from pathlib import Path

import numpy as np
import pytest

from cogloupe.forms.rack import gear_outline
from cogloupe.pairing.clearance import room
from cogloupe.pairing.contact import PHASES
from cogloupe.pairing.from_reading import gear_from_reading
from cogloupe.pairing.mates import theoretical_gear
from cogloupe.pairing.monte_carlo import _Moved, _out, drawn_figures
from cogloupe.pairing.rolling import meeting, mesh_at, roll
from cogloupe.planning import meshing
from cogloupe.simulation import Faults, GearSpec

from ..helpers.pair_gears import (
    PolygonPair,
    exact_reading,
    made_gear,
    perfect_gear,
    random_faults,
    turns_at,
)

TABLE = Path(__file__).parents[1] / "reference" / "contact_ratio.csv"
RACKS = {"20": "iso53-a", "14.5": "full-depth-14.5"}
RATIOS = [row for row in csv.DictReader(TABLE.open()) if row["pressure_angle_deg"] in RACKS]


@pytest.mark.parametrize("row", RATIOS, ids=lambda r: f"{r['teeth_1']}/{r['teeth_2']}")
def test_perfect_pairs_have_the_contact_ratio_of_the_handbooks(row):
    rack = RACKS[row["pressure_angle_deg"]]
    a, b = (perfect_gear(int(row[n]), 1.0, rack) for n in ("teeth_1", "teeth_2"))
    mesh = mesh_at(a, b, a.wheel.reference_radius + b.wheel.reference_radius, phases=24)
    # Counted on the flanks by 24 places in a pitch and straight lines between them: within 1 %.
    assert mesh.sides[1].ratio.mean() == pytest.approx(float(row["contact_ratio"]), rel=0.01)


@pytest.mark.parametrize(
    ("teeth", "rack"),
    [((20, 40), "iso53-a"), ((17, 17), "iso53-a"), ((32, 60), "full-depth-14.5")],
)
def test_backlash_grows_as_the_centres_part(teeth, rack):
    a, b = (perfect_gear(z, 1.0, rack) for z in teeth)
    tight = meshing.centre_distance(a.wheel, b.wheel)
    angle, moved = a.wheel.rack.pressure_angle, 0.02
    grown = []
    for distance in (tight, tight + moved):
        mesh = mesh_at(a, b, distance, phases=12)
        grown.append(roll(mesh).free.min() * mesh.working_radius)
        wanted = meshing.backlash_at(a.wheel, b.wheel, distance)
        # Another way to the same geometry (ISO 21771's thicknesses). A parabola through places 0.06
        # modules apart leaves some hundredths of a µm where flanks touch near a base circle.
        assert grown[-1] == pytest.approx(wanted, abs=3e-5)
    # 2 da tan(alpha), common workshop rule: right to first order, 1 % over a fiftieth of a module.
    assert grown[1] - grown[0] == pytest.approx(2 * moved * tan(angle), rel=0.01)
    square = (grown[1] - grown[0]) * b.arm / mesh.working_radius
    assert square == pytest.approx(2 * moved * sin(angle), rel=0.01)


def polygon_misfit(seed, positions=2):
    """Largest difference between both ways to contact, mm along the flanks' normals."""
    rng = np.random.default_rng(seed)
    teeth = rng.integers(17, 34, 2)
    made = [
        made_gear(GearSpec(teeth=int(z), module_mm=0.5, bore_mm=2.0), random_faults(rng),
                  rng.uniform(0, 9), seed + k)
        for k, z in enumerate(teeth)
    ]  # fmt: skip
    a, b = (gear_from_reading(exact_reading(one)) for one in made)
    distance = 0.25 * teeth.sum() + rng.uniform(0.05, 0.15)
    mesh = mesh_at(a, b, float(distance), phases=8)
    start = tuple(int(rng.integers(1, z + 1)) for z in teeth)
    rolled, outlines = roll(mesh, start), PolygonPair(*(m.outline for m in made), distance)
    off = []
    for _ in range(positions):
        step, phase = int(rng.integers(mesh.steps)), int(rng.integers(8))
        turn_a, even_b, low, high = turns_at(mesh, rolled, start, step, phase)
        middle = even_b + (low + high) / 2
        off += [outlines.limit(turn_a, middle, 1) - even_b - high]
        off += [outlines.limit(turn_a, middle, -1) - even_b - low]
    return b.arm * float(np.abs(off).max())


# A tenth of a micrometre; the outlines' chords leave two hundredths of it.
POLYGONS_AGREE_MM = 1e-4


@pytest.mark.parametrize("seed", range(6))
def test_contact_is_that_of_the_outlines_polygons(seed):
    assert polygon_misfit(100 + seed) < POLYGONS_AGREE_MM


@pytest.mark.slow
def test_contact_is_that_of_the_polygons_on_fifty_random_pairs():
    assert max(polygon_misfit(200 + 2 * seed, positions=6) for seed in range(50)) < (
        POLYGONS_AGREE_MM
    )


def test_cycloidal_teeth_touch_where_their_polygons_do():
    distance = 18.05
    wheel = GearSpec(teeth=64, module_mm=0.5, form="cycloidal", generating_circle_mm=2.0).wheel()
    pinion = GearSpec(teeth=8, module_mm=0.5, form="cycloidal", addendum_radius_mm=0.3).wheel()
    a, b = theoretical_gear(wheel), theoretical_gear(pinion)
    mesh = mesh_at(a, b, distance, phases=6)
    rolled = roll(mesh)
    outlines = PolygonPair(*(gear_outline(w, flank_points=2000) for w in (wheel, pinion)), distance)
    for phase in (0, 2, 4):
        turn_a, even_b, low, high = turns_at(mesh, rolled, (1, 1), 0, phase)
        middle = even_b + (low + high) / 2
        seen = outlines.limit(turn_a, middle, 1, 0.15) - even_b
        assert b.arm * (seen - high) == pytest.approx(0, abs=POLYGONS_AGREE_MM)


def test_every_tooth_meets_the_gaps_its_number_allows():
    mesh = mesh_at(perfect_gear(18), perfect_gear(24), 10.6, phases=2)
    tooth, flank = (index[:, 1] for index in meeting(mesh, 1, (3, 5)))
    assert mesh.steps == 72
    assert (tooth[0] + 1, flank[0] + 1) == (3, 5)
    # Six is the greatest common divisor of 18 and 24.
    met = flank[tooth == 2] + 1
    assert sorted(set(met % 6)) == [5]
    assert len(set(met)) == 4


def test_a_wrong_centre_distance_leaves_involutes_without_an_error():
    mesh = mesh_at(perfect_gear(24), perfect_gear(36), 15.2, phases=PHASES)
    lead = roll(mesh).lead
    # The involute's own virtue: to a hundredth of a µm on the reference circle.
    assert np.ptp(lead) * mesh.b.wheel.reference_radius < 1e-5


def test_an_eccentric_gear_leads_by_the_analytic_amount():
    away = 0.03
    faults = Faults(eccentricity_um=1000 * away, eccentricity_direction_deg=40, tips_about="teeth")
    made = made_gear(GearSpec(teeth=40, module_mm=1.0, bore_mm=6.0), faults)
    a, b = gear_from_reading(exact_reading(made)), perfect_gear(40, 1.0)
    mesh = mesh_at(a, b, 40.08)
    for lead in roll(mesh).lead:
        arc = lead.ravel() * b.wheel.reference_radius
        wave = 2 * np.abs(np.fft.rfft(arc)[1]) / len(arc)
        # The part along the line of action over the cosine of the pressure angle: e / cos(alpha).
        assert wave == pytest.approx(away / np.cos(radians(20)), rel=0.02)


def test_what_was_not_seen_leaves_its_mesh_positions_open():
    a, b = perfect_gear(20), perfect_gear(20)
    a.off[4, 1] = np.nan
    rolled = roll(mesh_at(a, b, 10.1, phases=12))
    open_share = np.isnan(rolled.lead[1]).mean()
    # One flank in twenty, over the pitch and a half that it may touch, and the corners about them.
    assert 1.4 / 20 < open_share < 2.2 / 20
    assert np.isfinite(rolled.lead[0]).all()
    assert np.isnan(rolled.free).mean() == open_share
    # Nor is it taken for a pair of teeth that does not carry.
    whole, part = (room(mesh_at(one, b, 10.1, phases=12), (1, 1)).ratio.value for one in (b, a))
    assert part == pytest.approx(whole)


def test_finer_places_follow_the_same_curve():
    rng = np.random.default_rng(3)
    faults = [random_faults(rng) for _ in range(2)]
    a, b = (
        gear_from_reading(exact_reading(made_gear(
            GearSpec(teeth=18, module_mm=0.5, bore_mm=2.0), fault, seed=k)))
        for k, fault in enumerate(faults)
    )  # fmt: skip
    mesh = mesh_at(a, b, 9.1)
    plain, fine = roll(mesh), roll(mesh, places=5 * PHASES)
    # Every fifth of the finer places is one of the plain ones.
    assert fine.lead[..., 2::5] == pytest.approx(plain.lead, abs=1e-12)
    assert pi * 0.5 / (5 * PHASES) < 0.01


def test_draws_look_at_a_few_places_of_each_pitch():
    mesh = mesh_at(perfect_gear(18), perfect_gear(24), 10.6, phases=24)
    places = []

    def figures(lead, play):
        places.append(lead.shape[2])
        return np.array([play.min()])

    drawn_figures(mesh, (0, 0), figures)
    # All of them would take three times as long and tell no more of what changes slowly.
    assert places == [8]


def test_a_slope_moves_no_flank_on_its_measuring_circle():
    gear = perfect_gear(18)
    circle = float(gear.wheel.flank.along(gear.wheel.reference_radius))
    moved = _Moved(place=np.zeros((18, 2)), slope=np.full((18, 2), 0.01), stretch=0.0)
    out = _out(gear, moved, 0, np.array([[circle - 0.2, circle, circle + 0.2]]))
    assert out[0, 0] == pytest.approx([-0.002, 0, 0.002])
