"""The machine file: what is read from it, and how a wrong one is answered."""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cogloupe.planning.machine import load_machine, make_machine
from cogloupe_calibration.errors import UseError

SAMPLE = Path(__file__).parents[2] / "sample_images" / "machine.toml"

HOBBER = {
    "encoder_pulses_per_revolution": 600,
    "motor_steps_per_revolution": 200,
    "microsteps": 4,
    "drive_ratio": [72, 24],
}
HEAD = {"worm_wheel_teeth": 40, "dividing_plate_holes": [15, 20, 21]}


def test_sample_machine_makes_2400_steps_to_a_turn_of_the_work():
    machine = load_machine(SAMPLE)
    train = machine.hobbing_train()
    assert machine.steps_per_work_turn == 2400
    assert (train.steps_per_turn, train.pulses_per_hob_turn, train.hob_starts) == (2400, 600, 1)


@pytest.mark.parametrize(
    ("written", "ratio"),
    [(3, 3), ("3", 3), ("72/24", 3), ("47/13", Fraction(47, 13)), ([20, 60], Fraction(1, 3))],
)
def test_drive_ratio_stays_an_exact_fraction(written, ratio):
    machine = make_machine({**HOBBER, "drive_ratio": written})
    assert machine.motor_turns_per_work_turn == ratio


@given(
    st.integers(1, 500), st.integers(1, 500), st.integers(2, 360), st.integers(1, 1),
    st.integers(3, 400), st.integers(1, 256),
)  # fmt: skip
def test_steps_times_inverse_ratios_give_back_the_motor(driven, driver, wheel, starts, full, micro):
    machine = make_machine(
        {
            "motor_steps_per_revolution": full,
            "microsteps": micro,
            "drive_ratio": [driven, driver],
            "worm_wheel_teeth": wheel,
            "worm_starts": starts,
        }
    )
    steps = machine.steps_per_work_turn
    assert steps * starts * driver == full * micro * driven * wheel


def test_belt_rounds_count_the_driven_pulley_against_the_belt():
    # A driven pulley of 72 teeth pulls 72 belt teeth past in a turn: 4/5 of a belt of 90.
    machine = make_machine({**HOBBER, "belt_teeth": 90})
    assert machine.belt_turns_per_work_turn == Fraction(4, 5)
    on_worm = make_machine({**HOBBER, "belt_teeth": 90, "worm_wheel_teeth": 60})
    assert on_worm.belt_turns_per_work_turn == 48


def test_what_is_left_out_is_not_there():
    head = make_machine(HEAD)
    assert head.steps_per_work_turn is None
    assert head.belt_turns_per_work_turn is None
    assert head.dividing_train() is None
    with pytest.raises(UseError, match="hobbing needs encoder_pulses_per_revolution"):
        head.hobbing_train()


WRONG = [
    ({"encoder_pulses_per_revolution": 0}, r"encoder_pulses_per_revolution = 0 .*hob spindle"),
    ({"encoder_pulses_per_revolution": 600.5}, r"= 600\.5 .*whole number"),
    ({"encoder_pulses_per_revolution": True}, r"= True .*whole number"),
    ({"motor_steps_per_revolution": "200"}, r"motor_steps_per_revolution = '200' .*full steps"),
    ({"motor_steps_per_revolution": -200}, r"= -200 .*whole number from 3"),
    ({"microsteps": 0}, r"microsteps = 0 .*microsteps to a full step"),
    ({"hob_starts": 0}, r"hob_starts = 0 .*threads of the hob"),
    ({"drive_ratio": 3.3333}, r"drive_ratio = 3\.3333 .*72/24"),
    ({"drive_ratio": "72:24"}, r"drive_ratio = '72:24'"),
    ({"drive_ratio": "3.5"}, r"drive_ratio = '3\.5'"),
    ({"drive_ratio": [72, 0]}, r"drive_ratio = \[72, 0\]"),
    ({"drive_ratio": [72, 24, 2]}, r"drive_ratio = \[72, 24, 2\]"),
    ({"drive_ratio": True}, r"drive_ratio = True"),
    ({"drive_ratio": []}, r"drive_ratio = \[\]"),
    ({"drive_ratio": {"driven": 3}}, r"drive_ratio = \{'driven': 3\}"),
    ({"drive_ratio": 3, "belt_teeth": 90}, "drive_ratio must be the pulleys' teeth"),
    ({"worm_wheel_teeth": 1}, r"worm_wheel_teeth = 1 .*worm wheel"),
    ({"worm_wheel_teeth": 4, "worm_starts": 5}, "5 starts cannot drive a wheel of 4"),
    ({"worm_starts": 2}, "needs worm_wheel_teeth"),
    ({"dividing_plate_holes": [15]}, "needs worm_wheel_teeth"),
    ({"worm_wheel_teeth": 40, "dividing_plate_holes": [15, 1]}, r"= 1 .*dividing plates"),
    ({"dividing_wheel_counts": 60}, r"dividing_wheel_counts = 60 .*dividing wheel"),
    ({"step_rule": "guess"}, r"step_rule = 'guess' .*carries the remainder"),
    ({"max_step_rate_hz": float("nan")}, r"max_step_rate_hz = nan"),
    ({"max_pulse_rate_hz": -1.0}, r"max_pulse_rate_hz = -1\.0 .*pulses a second"),
    ({"encoder_pulses": 600}, r"encoder_pulses is not known here: use name, encoder_pulses_per"),
]


@pytest.mark.parametrize(("change", "answer"), WRONG)
def test_wrong_figure_is_answered_in_one_line_of_the_machines_terms(change, answer):
    with pytest.raises(UseError, match=answer) as caught:
        make_machine({**HOBBER, **change}, "machine.toml")
    assert str(caught.value).startswith("machine.toml: ")
    assert "\n" not in str(caught.value)


def test_machine_that_cannot_turn_the_work_is_refused():
    with pytest.raises(UseError, match="nothing here turns the work"):
        make_machine({"encoder_pulses_per_revolution": 600})


@pytest.mark.parametrize("content", ["motor steps = 200", b"\xff\xfe".decode("latin-1")])
def test_file_that_is_no_toml_is_named(tmp_path, content):
    path = tmp_path / "machine.toml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(UseError, match=r"machine\.toml, line 1: .* cannot be read"):
        load_machine(path)


def test_missing_file_is_named(tmp_path):
    with pytest.raises(UseError, match=r"none\.toml cannot be read"):
        load_machine(tmp_path / "none.toml")
