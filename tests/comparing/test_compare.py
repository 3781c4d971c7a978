"""Comparing readings: what is called changed, what is not, and what is said of it."""

import sys
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from cogloupe.commands import main
from cogloupe.comparing import compared_figures
from cogloupe.comparing.attempts import Attempt
from cogloupe.comparing.change_tests import (
    LEVEL,
    NO_PLAY,
    PATTERN_STATISTICS,
    holm,
    judged,
    plain_change,
)
from cogloupe.comparing.compare import compare_pair
from cogloupe.comparing.compared_figures import (
    KINDS,
    Value,
    figure_value,
    same_calibration,
    why_not,
)
from cogloupe.comparing.null_simulation import (
    common_scatter,
    null_pairs_of_machine,
    waves_above_scatter,
)
from cogloupe.comparing.series import compare_series, play_of
from cogloupe.comparing.tooth_pattern import _scores, align, mirrored, pattern_of, turned
from cogloupe.comparing.trials import make_trial
from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear
from cogloupe.reading.files import reading_json
from cogloupe.report.compare_history import unnoted
from cogloupe.report.compare_text import doubts, findings, headline
from cogloupe_calibration.errors import UseError

from ..helpers.compare_examples import (
    NOISE_UM,
    SMOOTH_UM,
    blank_figures,
    machine_places,
    measured_places,
    reading_of,
    unchanged_or_not,
)
from ..helpers.report_examples import nothing_seen
from ..helpers.tolerances import ROUNDING

KIND = {kind.key: kind for kind in KINDS}
FEW = 999  # drawn pairs: enough for a chance of 1 in 500


def seeded(seed=1):
    return np.random.default_rng(seed)


def compared(before, after, same_gear=False, seed=1, **how):
    return compare_pair(before, after, same_gear=same_gear, rng=seeded(seed), null_pairs=FEW, **how)


def change(comparison, key):
    return next(c for c in comparison.changes if c.kind.key == key)


def one_gear(rng, teeth=24, scatter=8.0):
    return machine_places(rng, teeth, scatter)


# --- the pattern ------------------------------------------------------------------------------


def test_the_pattern_gives_back_noise_and_smooth_error_of_a_reading():
    rng = seeded()
    pattern = pattern_of(reading_of(measured_places(rng, one_gear(rng))))
    assert pattern.u_own == pytest.approx(NOISE_UM, rel=ROUNDING)
    assert np.hypot(*pattern.u_smooth) == pytest.approx(SMOOTH_UM, rel=ROUNDING)
    assert pattern.u_smooth[0] == pytest.approx(pattern.u_smooth[1], rel=ROUNDING)


@pytest.mark.parametrize("key", ["spread_left", "spread_right", "single", "total"])
def test_figures_of_drawn_pairs_are_those_of_the_reading(key):
    rng = seeded()
    reading = reading_of(measured_places(rng, one_gear(rng)))
    ours = float(PATTERN_STATISTICS[key](pattern_of(reading).place))
    assert ours == pytest.approx(figure_value(reading, key).value, rel=ROUNDING)


def test_an_eccentric_blank_does_not_count_as_scatter():
    rng = seeded()
    true = one_gear(rng)
    wave = 60 * np.sin(2 * np.pi * np.arange(24)[:, None] / 24 + np.array([0.0, 0.7]))
    plain, off = (figure_value(reading_of(p), "scatter").value for p in (true, true + wave))
    assert off == pytest.approx(plain, rel=ROUNDING)


@settings(max_examples=25, deadline=None)
@given(shift=st.integers(0, 23), seed=st.integers(0, 50))
def test_a_turned_gear_is_recognised_by_its_pattern(shift, seed):
    rng = seeded(seed)
    true = one_gear(rng)
    first, second = (
        pattern_of(reading_of(measured_places(rng, p))) for p in (true, turned(true, -shift))
    )
    found = align(first, second)
    assert (found.how, found.shift, found.sure) == ("pattern", shift, True)


def test_unrelated_gears_are_rarely_taken_to_match():
    rng = seeded()
    sure = 0
    for _ in range(100):
        first, second = (pattern_of(reading_of(one_gear(rng))) for _ in range(2))
        sure += align(first, second).sure
    assert sure <= binom.ppf(0.999, 100, 0.01)  # MATCH_LEVEL is 1 in 100


def test_a_gear_seen_from_its_other_face_is_told():
    rng = seeded()
    true = one_gear(rng)
    first, second = pattern_of(reading_of(true)), pattern_of(reading_of(mirrored(true)))
    found = align(first, second)
    assert found.flipped
    assert not found.sure


def test_a_pattern_that_repeats_round_the_turn_does_not_tell_the_tooth():
    true = np.tile(np.array([[9.0, 9.0], [-4.0, -4.0], [-5.0, -5.0]]), (8, 1))
    first, second = pattern_of(reading_of(true)), pattern_of(reading_of(turned(true, 4)))
    assert align(first, second).how == "number"


# --- waves and scatter --------------------------------------------------------------------------


def test_a_wave_above_the_scatter_is_found_and_scatter_alone_gives_none():
    rng = seeded()
    wavy = pattern_of(reading_of(machine_places(rng, 40, 3.0, wave=((7, 12.0),))))
    assert waves_above_scatter(wavy) == (7,)
    plain = [
        waves_above_scatter(pattern_of(reading_of(machine_places(rng, 40, 3.0)))) for _ in range(60)
    ]
    # A few in a hundred, because the level is told by the median of 19 powers.
    assert sum(map(bool, plain)) <= binom.ppf(0.999, 60, 0.04)


@pytest.mark.parametrize("scatter_um", [3.0, 10.0])
def test_drawn_pairs_scatter_as_the_machine_does(scatter_um):
    rng = seeded()
    first, second = (
        pattern_of(reading_of(measured_places(rng, machine_places(rng, 60, scatter_um))))
        for _ in range(2)
    )
    drawn, _ = null_pairs_of_machine(first, second, 400, rng)
    ours = np.sqrt((PATTERN_STATISTICS["scatter"](drawn) ** 2).mean())
    measured = np.sqrt(
        np.mean([PATTERN_STATISTICS["scatter"](p.place) ** 2 for p in (first, second)])
    )
    # Size and correlation of neighbours come from 2 x 60 teeth: about 10 % each.
    assert ours == pytest.approx(float(measured), rel=0.2)


def test_measuring_noise_is_not_taken_for_scatter_of_the_machine():
    rng = seeded()
    first, second = (
        pattern_of(reading_of(measured_places(rng, np.zeros((60, 2)), noise_um=3.0), noise_um=3.0))
        for _ in range(2)
    )
    assert common_scatter(first, second).size < 1.0


# --- verdicts -------------------------------------------------------------------------------------


def test_of_pairs_without_a_change_few_are_called_changed():
    rng = seeded(11)
    pairs = [unchanged_or_not(rng, 24, 8.0, 8.0) for _ in range(60)]
    called = sum(bool(compared(*pair, seed=k).resolved) for k, pair in enumerate(pairs))
    assert called <= binom.ppf(0.995, 60, LEVEL)


def test_a_spread_that_is_halved_is_found_on_a_gear_of_many_teeth():
    rng = seeded(12)
    pairs = [unchanged_or_not(rng, 60, 8.0, 4.0) for _ in range(12)]
    found = [change(compared(*pair, seed=k), "scatter").verdict for k, pair in enumerate(pairs)]
    assert found.count("better") >= 10  # 0.97 of pairs in the benchmark
    assert "worse" not in found


def test_a_difference_inside_u_is_never_resolved():
    rng = seeded()
    true = one_gear(rng)
    u = {"runout_um": 30.0, "u_runout_um": 5.0}
    before, after = reading_of(true, summary=u), reading_of(true, summary=u | {"runout_um": 39.0})
    found = change(compared(before, after, same_gear=True), "runout")
    assert found.difference == pytest.approx(9.0)
    assert found.u_difference == pytest.approx(np.hypot(5, 5))
    assert found.verdict == "not_resolved"


def test_one_gear_read_twice_has_not_changed_and_a_mended_tooth_has():
    rng = seeded()
    true = one_gear(rng)
    mended = true.copy()
    mended[10] -= 15.0
    before, same, after = (reading_of(measured_places(rng, p)) for p in (true, true, mended))
    assert not compared(before, same, same_gear=True).resolved
    found = compared(before, after, same_gear=True)
    assert found.changes[0].kind.key == "teeth"
    assert found.changes[0].verdict == "changed"
    # Tooth 11 moved: the pitches up to it and from it changed, on both sides.
    assert {f.tooth for f in found.flanks} == {11, 12}
    assert len(found.flanks) == 4


def test_marks_pair_the_teeth_of_a_turned_gear():
    rng = seeded()
    true = one_gear(rng, scatter=0.2)  # too even to be told by its pattern
    before, after = (reading_of(measured_places(rng, p)) for p in (true, turned(true, -5)))
    series = compare_series(
        [before, after], same_gear=True, rng=rng, marks=[3, 8], null_pairs=FEW
    )  # fmt: skip
    assert (series.steps[0].alignment.how, series.steps[0].alignment.shift) == ("mark", 5)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [(1.3, 1.0, "better"), (1.0, 0.7, "worse"), (1.3, 0.7, "changed"), (1.3, 1.29, "not_resolved")],
)
def test_the_floor_ratio_is_right_at_one(before, after, verdict):
    made = plain_change(
        KIND["floor_ratio"], Value(before, 0.01), Value(after, 0.01), shared_scale=False,
        one_gear=True, play=NO_PLAY,
    )  # fmt: skip
    assert judged([made])[0].verdict == verdict


def test_a_scale_both_share_cancels_in_sizes_and_not_in_the_figures_themselves():
    rng = seeded()
    own, whole = 0.006, np.hypot(0.006, 24.0 / 2000)
    figures = {"tip_diameter_mean_mm": 24.0, "u_tip_diameter_mean_mm": float(whole)}
    before, after = (reading_of(one_gear(rng), summary=figures) for _ in range(2))
    assert same_calibration(before, after)
    found = change(compared(before, after), "tip")
    assert found.u_difference == pytest.approx(np.sqrt(2) * own, rel=ROUNDING)
    scale = after.calibration.model_copy(update={"mm_per_px": 0.01403})
    apart = change(compared(before, after.model_copy(update={"calibration": scale})), "tip")
    assert apart.u_difference == pytest.approx(np.sqrt(2) * whole, rel=ROUNDING)


def test_a_scale_moves_the_circle_that_thicknesses_are_read_on_along_the_flanks():
    gear = Gear(24, 1.0, basic_rack("iso53-a", 1.0))
    r, step = gear.reference_radius, 1e-4
    low, at, high = (2 * (r + k * step) * gear.half_tooth_angle(r + k * step) for k in (-1, 0, 1))
    figures = {"thickness_mean_mm": float(at), "u_thickness_mean_mm": 0.1}
    reading = reading_of(one_gear(seeded()), summary=figures)
    relative_u = reading.calibration.u_mm_per_px / reading.calibration.mm_per_px
    wanted = abs(high - low) / (2 * step) * r * relative_u
    # To second order in a ten-thousandth of a millimetre.
    assert figure_value(reading, "thickness").u_scale == pytest.approx(wanted, rel=1e-6)


def test_repeats_that_differ_take_the_verdict_from_a_difference_no_larger():
    rng = seeded()
    true = [one_gear(rng, teeth=30) for _ in range(4)]
    runouts = (30.0, 55.0, 28.0, 60.0)
    readings = [
        reading_of(p, summary={"runout_um": r, "u_runout_um": 1.0})
        for p, r in zip(true, runouts, strict=True)
    ]
    without = compared(readings[2], readings[3])
    play = play_of(readings[:3], [False, True, True])
    assert play.freedom == 2
    assert play.size["runout"] == pytest.approx(np.std(runouts[:3], ddof=1))
    assert change(without, "runout").verdict == "worse"
    assert change(compared(readings[2], readings[3], play=play), "runout").verdict == "not_resolved"


def test_a_gear_that_was_changed_in_between_tells_nothing_of_repeats():
    rng = seeded()
    places = [one_gear(rng, teeth=30) for _ in range(4)]
    readings = [
        reading_of(p, summary={"runout_um": r, "u_runout_um": 1.0})
        for p, r in zip(places, (30.0, 55.0, 28.0, None), strict=True)
    ]
    play = play_of(readings, [False, True, True, False])
    assert play.size["runout"] == play_of(readings[:3], [False, True, True]).size["runout"]


@given(st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=12))
def test_holm_raises_chances_keeps_their_order_and_is_plain_for_one(p):
    chance = np.array(p)
    raised = holm(chance, np.full(len(p), 1 / len(p)))
    assert (raised >= chance - 1e-12).all()
    assert (np.diff(raised[np.argsort(chance, kind="stable")]) >= -1e-12).all()
    if len(p) == 1:
        assert raised[0] == chance[0]


def test_holm_gives_the_book_example():
    # Chances 0.01, 0.04, 0.03, 0.005: times 4, 3, 2, 1 in rising order, never falling.
    raised = holm(np.array([0.01, 0.04, 0.03, 0.005]), np.full(4, 0.25))
    np.testing.assert_allclose(raised, [0.03, 0.06, 0.06, 0.02], rtol=1e-12)


# --- what cannot be compared ---------------------------------------------------------------------


def test_gears_of_different_size_are_compared_as_angles_and_not_by_their_sizes():
    rng = seeded()
    before = reading_of(machine_places(rng, 20, 5.0))
    after = reading_of(machine_places(rng, 40, 5.0))
    found = compared(before, after)
    assert found.arc
    assert change(found, "thickness").verdict == "not_compared"
    # 1 µm on 20 mm diameter is 20.6 seconds of arc.
    single = change(found, "single")
    per_um = 3600 * np.degrees(1e-3 / 10)
    assert single.before.value == pytest.approx(per_um * before.summary.single_pitch_max_um)
    assert single.kind.unit == "″"


def test_one_gear_read_on_two_circles_is_compared_as_angles_tooth_by_tooth_too():
    before = reading_of(one_gear(seeded()))
    gear = before.gear.model_copy(
        update={"measuring_diameter_mm": 1.02 * before.gear.measuring_diameter_mm}
    )
    found = compared(before, before.model_copy(update={"gear": gear}), same_gear=True)
    assert (found.changes[0].kind.key, found.changes[0].kind.unit) == ("teeth", "″")


@pytest.mark.parametrize(
    ("key", "field", "update", "says"),
    [
        ("single", "datum", {"kind": "teeth"}, "--datum"),
        ("runout", "summary", {"pin_diameter_mm": 2.0}, "--pin-diameter"),
        ("tip", "calibration", {"method": "from_module"}, "give a scale"),
        ("floor_ratio", "gear", {"rack": "iso53-b"}, "different racks"),
    ],
)
def test_figures_that_rest_on_different_things_are_not_compared(key, field, update, says):
    before = reading_of(one_gear(seeded()))
    after = before.model_copy(update={field: getattr(before, field).model_copy(update=update)})
    assert says in why_not(before, after, KIND[key])
    assert change(compared(before, after), key).verdict == "not_compared"


def test_one_gear_with_two_tooth_counts_is_refused():
    rng = seeded()
    with pytest.raises(UseError, match="20 and 21 teeth"):
        compared(*(reading_of(machine_places(rng, z, 5.0)) for z in (20, 21)), same_gear=True)


def test_a_reading_without_figures_is_not_compared_and_does_not_stop_the_rest():
    found = compared(nothing_seen(22), reading_of(one_gear(seeded(), teeth=22)))
    assert not found.resolved
    assert "not compared" in headline(found)


def test_flanks_not_seen_in_one_reading_are_left_out_of_the_pairs():
    rng = seeded()
    true = one_gear(rng)
    hidden = {(k, side): "not_seen" for k in (3, 4) for side in ("left", "right")}
    before = reading_of(measured_places(rng, true), statuses=hidden)
    after = reading_of(measured_places(rng, true))
    found = compared(before, after, same_gear=True)
    assert found.alignment.sure
    assert not found.resolved


# --- what is said ---------------------------------------------------------------------------------


def test_the_headline_is_the_largest_change_that_is_resolved():
    rng = seeded(3)
    before, after = (
        reading_of(
            measured_places(rng, machine_places(rng, 24, 3.0)),
            summary={"eccentricity_um": size, "u_eccentricity_um": 2.0},
        )
        for size in (35.0, 1.0)
    )
    found = compared(before, after)
    assert not change(found, "scatter").resolved
    assert found.leading.resolved
    assert found.leading.kind.key == "eccentricity"
    assert "is better: it went from" in headline(found)
    # What heads the comparison is not told a second time below it.
    assert not any(found.leading.kind.name in line for line in findings(found))


def test_one_gear_taken_for_two_and_two_for_one_are_doubted():
    rng = seeded()
    true = one_gear(rng)
    twice = [reading_of(measured_places(rng, true)) for _ in range(2)]
    other = reading_of(one_gear(rng))
    assert any("--same-gear" in d for d in doubts(compared(*twice)))
    assert "do not match" in headline(compared(twice[0], other, same_gear=True))
    assert not doubts(compared(twice[0], other))


def test_a_change_that_nobody_made_is_told():
    rng = seeded()
    attempts, readings = [], [reading_of(machine_places(rng, 40, s)) for s in (3.0, 12.0)]
    for k, reading in enumerate(readings):
        trial = make_trial(date(2026, 3, 14), f"{k}", "nothing" if k else "")
        attempts.append(Attempt(f"cut {k}", reading, trial))
    (sentence,) = unnoted(attempts, [compared(*readings)])
    assert "before cut 1" in sentence
    assert "worse" in sentence


def test_a_single_pair_is_not_credited_to_the_machine_where_the_blank_could_have_done_it():
    rng = seeded()
    summaries = [{"eccentricity_um": e, "u_eccentricity_um": 0.6} for e in (30.0, 5.0)]
    found = compared(*(reading_of(one_gear(rng), summary=s) for s in summaries))
    assert change(found, "eccentricity").verdict == "better"
    assert any("not that the change did it" in sentence for sentence in findings(found))


def test_a_wave_of_the_lens_twice_a_turn_counts_in_full_in_the_scatter_s_uncertainty(monkeypatch):
    none = np.zeros((24, 2))
    pattern = SimpleNamespace(place=none, single=none, u_own=0.0, u_smooth=(0.0, 5.0))
    monkeypatch.setattr(compared_figures, "pattern_of", lambda _: pattern)
    # Neighbours on a wave of amplitude a that comes twice a turn differ by 2 a sin(2 pi / z).
    assert compared_figures._scatter(None).u == pytest.approx(
        10 * np.sin(2 * np.pi / 24), rel=ROUNDING
    )


# --- series and command ---------------------------------------------------------------------------


def test_a_trend_takes_three_readings_and_a_clear_one_is_told():
    rng = seeded()
    readings = [
        reading_of(one_gear(rng), summary={"runout_um": r, "u_runout_um": 1.0})
        for r in (80.0, 60.0, 41.0, 20.0)
    ]
    two = compare_series(readings[:2], same_gear=False, rng=rng, null_pairs=FEW)
    assert all(trend.slope is None for trend in two.trends)
    four = compare_series(readings, same_gear=False, rng=rng, null_pairs=FEW)
    runout = next(t for t in four.trends if t.kind.key == "runout")
    assert runout.slope == pytest.approx(-19.9, abs=ROUNDING)
    assert runout.clear
    assert len(four.steps) == 3
    assert four.whole is not None


def test_the_question_is_the_last_step_at_which_something_was_changed():
    rng = seeded()
    readings = [reading_of(one_gear(rng)) for _ in range(4)]
    series = compare_series(
        readings, same_gear=False, rng=rng, unchanged=[False, False, False, True], null_pairs=FEW
    )
    assert series.asked == 1


@pytest.mark.parametrize(
    ("count", "marks", "says"),
    [(1, None, "two or more"), (2, [3], "once for each"), (2, [3, 99], "tooth 99")],
)
def test_a_series_that_cannot_be_is_refused(count, marks, says):
    readings = [reading_of(one_gear(seeded())) for _ in range(count)]
    with pytest.raises(UseError, match=says):
        compare_series(readings, same_gear=True, rng=seeded(), marks=marks)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """Readings in a folder that the command is run in."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    rng = seeded(5)
    for k, scatter in enumerate((12.0, 12.0, 2.5), 1):
        place = measured_places(rng, machine_places(rng, 30, scatter))
        made = reading_of(place, summary=blank_figures(rng, 0.0, 30), file=f"<moon> {k}.jpg")
        (tmp_path / f"cut-{k}").mkdir()
        (tmp_path / f"cut-{k}" / "reading.json").write_text(reading_json(made), "utf-8")
    return tmp_path


def run(monkeypatch, *arguments):
    monkeypatch.setattr(sys, "argv", ["cogloupe", "compare", *map(str, arguments)])
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code or 0


def test_the_command_logs_tells_and_writes_a_page_of_the_history(shop, monkeypatch, capfd):
    log = ("--log", "trials.toml")
    assert run(monkeypatch, "cut-1", "cut-2", *log, "--changed", "nothing") == 0
    status = run(
        monkeypatch, "cut-3", *log, "--changed", "pull-ups & <screen>", "--out", "compare.html"
    )
    told = capfd.readouterr().out
    assert status == 0
    assert "The spacing of the teeth is better" in told
    assert "isolate it from its supply" in told
    page = (shop / "compare.html").read_text("utf-8")
    assert "pull-ups &amp; &lt;screen&gt;" in page
    assert "<moon>" not in page
    assert page.count("data:image/png;base64,") == 2
    assert "http://" not in page
    assert "https://" not in page


def test_the_command_answers_the_same_each_time(shop, monkeypatch, capfd):
    said = []
    for _ in range(2):
        run(monkeypatch, "cut-1", "cut-3")
        said.append(capfd.readouterr().out)
    assert said[0] == said[1]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("cut-1",), "two or more"),
        (("cut-1", "cut-9"), "cut-9 is not there"),
        (("cut-1", "cut-2", "--changed", "belt"), "--log"),
    ],
)
def test_wrong_use_is_answered_in_one_line(shop, monkeypatch, capfd, arguments, says):
    assert run(monkeypatch, *arguments) == 2
    (line,) = capfd.readouterr().err.splitlines()
    assert says in line


def test_patterns_are_as_alike_as_they_are_whatever_their_size():
    single = np.random.default_rng(4).normal(0, 1, (24, 2))
    for size_um in (0.01, 1.0, 100.0):
        first = SimpleNamespace(single=size_um * single, u_own=size_um / 10)
        score, _ = _scores(first, size_um * single, size_um / 10)
        assert score[0] == pytest.approx(1)
