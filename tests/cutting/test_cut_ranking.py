"""Which situation explains a mean gap: exact gaps with noise, and gaps that were really cut."""

from dataclasses import replace
from math import radians
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.cutting.cut_ranking import OTHER_SPREAD, POOR_FIT, _spread_weight, rank_cuts
from cogloupe.cutting.cutters import FORM_CUTTERS
from cogloupe.cutting.cutting_text import build_cutting
from cogloupe.cutting.gap_fit import shares
from cogloupe.cutting.hob_overrun import ended_gap
from cogloupe.forms.basic_racks import basic_rack, rack_for_angle
from cogloupe.forms.gap_outline import evenly, whole_gap
from cogloupe.forms.rack import Gear, half_gap
from cogloupe.simulation import GearSpec, Process, Scene, render_scene

from ..helpers.mean_gaps import generated, mean_gap, turned
from ..helpers.pictures import CAMERA, read_whole, rendered

WHEEL = Gear(20, 1.0, basic_rack("iso53-a", 1.0))
FAULTS = {"scatter", "thick", "lean", "end"}


def form_gap(made_for):
    """Gap of a form cutter, sunk to the wheel's own depth."""
    gear = replace(WHEEL, teeth=made_for, tip_radius_mm=made_for / 2 + 1.4)
    radius, angle = half_gap(gear, 200, 200)
    x, y = radius * np.sin(angle), radius * np.cos(angle) + WHEEL.root_radius - gear.root_radius
    return whole_gap(np.hypot(x, y), np.arctan2(x, y), 0.01)


def kinds(ranking):
    return {row.cut.kind for row in ranking.alike}


def test_a_sound_gear_shows_no_fault_of_the_cutting():
    ranking = rank_cuts(mean_gap(generated(WHEEL), WHEEL), WHEEL, dp=False)
    assert ranking.alike[0].cut.kind == "rack"
    assert not kinds(ranking) & FAULTS
    told = build_cutting(ranking)
    assert "would have shown" in told.sentence
    # The likeliest are shown whatever their chance, and of the others those that have one.
    assert [row.situation for row in told.situations[:6]] == [
        row.cut.label for row in ranking.ranked[:6]
    ]
    assert all(row.probability > 1e-4 for row in told.situations[6:])


@pytest.mark.parametrize("shift", [-0.08, -0.04, 0.06])
def test_the_depth_of_the_right_rack_is_found_within_its_uncertainty(shift):
    cut = replace(WHEEL, profile_shift=shift, tip_radius_mm=WHEEL.tip_radius)
    ranking = rank_cuts(mean_gap(generated(cut), cut), WHEEL, dp=False)
    depth = ranking.alike[0].size("too deep by")
    assert ranking.alike[0].cut.kind == "rack"
    assert abs(depth.value + shift) < 2 * depth.u
    assert abs(depth.value) > 2 * depth.u


@pytest.mark.parametrize(
    ("outline", "kind", "label"),
    [
        (generated(replace(WHEEL, rack=rack_for_angle(14.5, 1.0, False))), "angle", "14.5°"),
        (generated(replace(WHEEL, rack=rack_for_angle(25.0, 1.0, False))), "angle", "25°"),
        (form_gap(12), "form", "no. 8"),
        (form_gap(26), "form", "no. 4"),
        (form_gap(135), "form", "no. 1"),
        (turned(generated(WHEEL), WHEEL, radians(0.6)), "lean", ""),
        (evenly(ended_gap(replace(WHEEL, tip_radius_mm=11.1), 1.8, 1), 0.01), "end", " clockwise"),
        (generated(Gear(20, 25.4 / 26, basic_rack("dp-fine-20", 25.4 / 26), 0.2)), "module", "26"),
        (generated(WHEEL, 0.06), "thick", ""),
    ],
)  # fmt: skip
def test_a_situation_is_told_from_all_others(outline, kind, label):
    ranking = rank_cuts(mean_gap(outline, WHEEL), WHEEL, dp=False)
    assert ranking.alike[0].cut.kind == kind
    assert label in ranking.alike[0].cut.label
    assert kinds(ranking) <= {kind, "system"}


def test_scattered_passes_are_told_from_a_thick_cutter_by_how_the_gaps_differ():
    outline = generated(WHEEL, 0.06)
    even = rank_cuts(mean_gap(outline, WHEEL, width_spread=0.0005), WHEEL, dp=False)
    uneven = rank_cuts(mean_gap(outline, WHEEL, width_spread=0.02), WHEEL, dp=False)
    assert "scatter" not in kinds(even)
    assert uneven.alike[0].cut.kind == "scatter"
    size = uneven.alike[0].size("gap wider by")
    assert abs(size.value - 0.06) < 2 * size.u


def test_a_lean_is_given_as_an_angle_and_as_an_offset_the_other_way():
    ranking = rank_cuts(
        mean_gap(turned(generated(WHEEL), WHEEL, radians(0.6)), WHEEL), WHEEL, dp=False
    )
    lean, off = (ranking.alike[0].size(name) for name in ("lean", "or off centre by"))
    assert abs(lean.value - 0.6) < 2 * lean.u
    assert off.value == pytest.approx(-radians(lean.value) * WHEEL.reference_radius)


def test_a_gap_that_nobody_supposes_is_called_unexplained():
    radius, angle = half_gap(replace(WHEEL, tip_radius_mm=11.2), 200, 200)
    hump = 0.12 * np.exp(-(((radius - 9.8) / 0.25) ** 2)) / radius
    ranking = rank_cuts(mean_gap(whole_gap(radius, angle + hump, 0.01), WHEEL), WHEEL, dp=False)
    assert ranking.strain > POOR_FIT
    assert build_cutting(ranking).sentence.startswith("None of the usual situations")


def test_no_other_module_is_thought_of_where_the_module_itself_set_the_scale():
    gap = mean_gap(generated(WHEEL), WHEEL)
    told = rank_cuts(gap, WHEEL, dp=False, scale_known=False)
    assert "module" not in {row.cut.kind for row in told.ranked}


def test_probabilities_are_drawn_together_where_the_best_misses():
    weights = np.array([0.0, -6.0])
    assert shares(weights)[1] == pytest.approx(1 / (1 + np.exp(6)))
    assert shares(weights, 4.0)[1] == pytest.approx(1 / (1 + np.exp(1.5)))
    assert shares(weights, 0.5)[1] == shares(weights)[1]


@pytest.mark.parametrize(
    ("process", "kind", "label"),
    [
        (Process(), "rack", ""),
        (Process(kind="form-cutter", cutter_teeth=26), "form", "no. 4"),
        (Process(kind="form-cutter", offset_mm=-0.12), "lean", ""),
        (Process(kind="form-cutter", jitter_arcmin=8, depths_mm=(2.25,) * 5), "scatter", ""),
    ],
)
def test_gears_that_were_really_cut_are_recognised_on_their_pictures(process, kind, label):
    picture = cut_picture(process)
    told = read_whole(picture, teeth=14).cutting
    row = next(row for row in told.situations if row.situation == told.alike[0])
    assert (row.kind, label in row.situation) == (kind, True)


def cut_picture(process):
    camera = CAMERA.model_copy(update={"width_px": 480, "height_px": 480, "mm_per_px": 0.04})
    spec = GearSpec(teeth=14, module_mm=1.0, bore_mm=4.0)
    return render_scene(Scene(gear=spec, camera=camera, process=process, seed=3), "g.png").image


def test_index_errors_say_nothing_of_the_cutter():
    told = read_whole(rendered().image).cutting
    kind = {row.situation: row.kind for row in told.situations}
    assert kind[told.alike[0]] == "rack"
    assert not {kind[name] for name in told.alike} & FAULTS


def test_every_number_of_teeth_has_one_form_cutter_and_the_last_a_rack_s():
    numbers, lowest, highest = zip(*sorted(FORM_CUTTERS), strict=True)
    assert numbers == tuple(range(1, 9))
    assert (lowest[-1], highest[0]) == (12, None)
    assert [top + 1 for top in highest[1:]] == list(lowest[:-1])


def test_widths_that_scatter_more_than_usual_are_as_unlikely_as_of_a_normal_distribution():
    cut, fit = SimpleNamespace(kind="rack"), SimpleNamespace(values=np.zeros(1))
    weight = []
    for usual in (1.0, 2.0):
        spread = usual * OTHER_SPREAD * WHEEL.module_mm
        gap = SimpleNamespace(u_width=1e-6, gaps=30, width_spread=spread)
        # What the number of gaps alone makes of a larger spread is the same for all situations.
        weight.append(_spread_weight(cut, fit, gap, WHEEL) + (gap.gaps - 2) * np.log(usual))
    # Over a spread known to an eighth of itself the distribution bends a little.
    assert weight[1] - weight[0] == pytest.approx(-0.5 * (2**2 - 1**2), abs=0.2)
