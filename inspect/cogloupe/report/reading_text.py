"""The verdict on a gear, in plain sentences.

Sentences name figures of the reading; where they say that something is too large or too small,
the difference is held against the U of both sides.
"""

from dataclasses import dataclass
from math import isclose
from typing import Literal

from cogloupe.forms.basic_racks import RACK_NAMES, basic_rack
from cogloupe.reading.models import SIDES, Flank, GearInfo, Reading, Side
from cogloupe.report.detail_wording import check_sentences, limit_sentences
from cogloupe.report.gear_name import stated_in_dp
from cogloupe.wording.numbers import (
    clock,
    expanded,
    length,
    resolved,
    rounded,
    tooth_list,
    with_uncertainty,
)


@dataclass(frozen=True)
class Worst:
    """The flank with the largest single pitch deviation."""

    tooth: int
    side: Side
    long: bool


@dataclass(frozen=True)
class Extremes:
    """Where the cumulative pitch of the worse side is highest and lowest."""

    side: Side
    high_tooth: int
    high_um: float
    low_tooth: int
    low_um: float


def flanks(reading: Reading) -> list[tuple[int, Side, Flank]]:
    """Number, side and flank of each flank of a reading: tooth by tooth, left before right."""
    return [(t.number, side, getattr(t, side)) for t in reading.teeth for side in SIDES]


def at_worst(reading: Reading) -> Worst | None:
    """Find the flank with the largest single pitch deviation; None where no pitch was measured."""
    seen = [
        (abs(f.single_pitch_um), Worst(number, side, f.single_pitch_um > 0))
        for number, side, f in flanks(reading)
        if f.single_pitch_um is not None
    ]
    return max(seen, key=lambda item: item[0])[1] if seen else None


def over_turn(reading: Reading) -> Extremes | None:
    """Find the two ends of F_p on the worse side; None where no cumulative pitch was measured."""
    ends = [found for side in SIDES if (found := _side_ends(reading, side)) is not None]
    return max(ends, key=lambda e: e.high_um - e.low_um, default=None)


def _side_ends(reading: Reading, side: Side) -> Extremes | None:
    values = [
        (f.cumulative_pitch_um, number)
        for number, its_side, f in flanks(reading)
        if its_side == side and f.cumulative_pitch_um is not None
    ]
    if not values:
        return None
    (high, high_tooth), (low, low_tooth) = max(values), min(values)
    return Extremes(side, high_tooth, high, low_tooth, low)


def verdict(reading: Reading) -> list[str]:
    """Say what is wrong with the gear, the most telling first, in sentences that stand alone."""
    return [
        *_pitch_sentences(reading),
        *_turn_sentences(reading),
        *_unresolved_sentences(reading),
        *_width_sentence(reading),
        *_depth_sentence(reading),
        *_floor_sentence(reading),
        *limit_sentences(reading),
        *check_sentences(reading),
        *_runout(reading),
        *_eccentricity(reading),
        *_unseen_sentences(reading),
    ]


def _pitch_sentences(reading: Reading) -> list[str]:
    value, u = reading.summary.single_pitch_max_um, reading.summary.u_single_pitch_max_um
    worst = at_worst(reading)
    if value is None or worst is None:
        return ["No pitch was measured, so nothing can be said about the spacing of the teeth."]
    place = f"at the {worst.side} flank of tooth {worst.tooth}"
    if not resolved(value, u):
        number, limit = rounded(value, u)
        return [
            f"No single pitch error is resolved: the largest reading, {number} µm {place}, is "
            f"smaller than its U of {limit} µm."
        ]
    before = worst.tooth - 1 or reading.gear.teeth
    how = "long" if worst.long else "short"
    return [
        f"The largest single pitch error is {with_uncertainty(value, u, 'µm')}, {place}: the pitch "
        f"from tooth {before} to tooth {worst.tooth} is too {how}."
    ]


def _turn_sentences(reading: Reading) -> list[str]:
    summary, ends = reading.summary, over_turn(reading)
    value, u = summary.cumulative_pitch_total_um, summary.u_cumulative_pitch_total_um
    if value is None or ends is None:
        return []
    if not resolved(value, u):
        return [f"The total over a turn is {with_uncertainty(value, u, 'µm')}."]
    return [
        f"Over a whole turn the teeth stray by {with_uncertainty(value, u, 'µm')}: on the "
        f"{ends.side} flanks tooth {ends.high_tooth} stands farthest ahead clockwise and tooth "
        f"{ends.low_tooth} farthest behind."
    ]


def _unresolved_sentences(reading: Reading) -> list[str]:
    seen = [f for _, _, f in flanks(reading) if f.single_pitch_um is not None]
    below = sum(not resolved(f.single_pitch_um, f.u_single_pitch_um) for f in seen)
    if not seen:
        return []
    if below == 0:
        return [f"All {len(seen)} single pitch figures are larger than their U."]
    return [
        f"Of {len(seen)} single pitch figures {below} {'is' if below == 1 else 'are'} smaller than "
        "their U and not resolved: the photograph cannot tell them from zero."
    ]


Verdict = Literal["above", "below", "equal"]


def compare(value: float, expected: float, limit: float | None) -> Verdict:
    """Hold a figure against what is expected, within the U of their difference.

    The limit is that U; they are taken as equal where it is None, since nothing is known.
    """
    if limit is None or abs(value - expected) < limit:
        return "equal"
    return "above" if value > expected else "below"


def on_reference_circle(gear: GearInfo) -> bool:
    """Tell whether the measuring circle is the reference circle."""
    return isclose(gear.measuring_diameter_mm, gear.teeth * gear.module_mm, rel_tol=1e-3)


def _width_sentence(reading: Reading) -> list[str]:
    s, inches = reading.summary, stated_in_dp(reading.gear)
    gap, tooth = s.gap_width_mean_mm, s.thickness_mean_mm
    if gap is None or tooth is None:
        return []
    sizes = (
        f"On the measuring circle the gaps are on average {_length(reading, 'gap_width')} wide and "
        f"the teeth {length(tooth, s.u_thickness_mean_mm, inches)} thick"
    )
    if not on_reference_circle(reading.gear):
        return [sizes + "."]
    ends = {
        "above": "the gaps are wider than the teeth are thick",
        "below": "the gaps are narrower than the teeth are thick",
        "equal": "no difference between them is resolved",
    }
    # Gap and tooth share one pitch, so an error of one is the opposite error of the other.
    u_gap, u_tooth = expanded(s.u_gap_width_mean_mm), expanded(s.u_thickness_mean_mm)
    how = compare(gap, tooth, None if u_gap is None or u_tooth is None else u_gap + u_tooth)
    return [f"{sizes}: {ends[how]}. Without backlash or profile shift the two would be equal."]


def _length(reading: Reading, name: str) -> str:
    s = reading.summary
    value, u = getattr(s, f"{name}_mean_mm"), getattr(s, f"u_{name}_mean_mm")
    return length(value, u, stated_in_dp(reading.gear))


def rack_depth_mm(gear: GearInfo) -> float | None:
    """Whole depth of the rack a gear was compared with.

    Addendum and dedendum, mm; None for a rack that is not one of the named ones.
    """
    if gear.rack not in RACK_NAMES:
        return None
    rack = basic_rack(gear.rack, gear.module_mm)
    return (rack.addendum + rack.dedendum) * gear.module_mm


def _depth_sentence(reading: Reading) -> list[str]:
    depth, u = reading.summary.depth_mean_mm, reading.summary.u_depth_mean_mm
    if depth is None:
        return []
    start = f"From tip to floor the gaps are {_length(reading, 'depth')} deep"
    theory = rack_depth_mm(reading.gear)
    if theory is None:
        return [start + "."]
    ends = {
        "above": "they are deeper than that",
        "below": "they are shallower than that",
        "equal": "no difference is resolved",
    }
    how = ends[compare(depth, theory, expanded(u))]
    return [f"{start}, where the rack has a whole depth of {theory:.4g} mm: {how}."]


def _floor_sentence(reading: Reading) -> list[str]:
    ratio, u = reading.summary.floor_ratio_mean, reading.summary.u_floor_ratio_mean
    if ratio is None:
        return []
    ends = {
        "above": "near the floor the gap is too wide and flat for its width higher up",
        "below": "near the floor the gap is too narrow for its width higher up",
        "equal": "the gap narrows towards its floor as a generated one does, within U",
    }
    how = ends[compare(ratio, 1, expanded(u))]
    return [f"The floor ratio is {with_uncertainty(ratio, u, '')}: {how}."]


def _runout(reading: Reading) -> list[str]:
    s = reading.summary
    if s.runout_um is None:
        # Straight-sided teeth have none; a notice says so.
        return [] if reading.gear.form == "straight" else ["Runout could not be measured."]
    axis = {"bore": "the bore", "teeth": "the teeth's own axis", "tips": "the tip circle's axis"}
    return [
        f"The runout against {axis[reading.datum.kind]} is "
        f"{with_uncertainty(s.runout_um, s.u_runout_um, 'µm')}."
    ]


def _eccentricity(reading: Reading) -> list[str]:
    s = reading.summary
    if s.eccentricity_um is None and reading.datum.bore_xy_px is not None:
        return []
    if s.eccentricity_um is None:
        return ["Without a bore the eccentricity of the teeth cannot be told."]
    size = with_uncertainty(s.eccentricity_um, s.u_eccentricity_um, "µm")
    if not resolved(s.eccentricity_um, s.u_eccentricity_um):
        return [f"The eccentricity of the teeth against the bore is {size}."]
    return [f"The teeth lie off the bore's centre by {size}{_towards(reading)}."]


def _towards(reading: Reading) -> str:
    angle = reading.summary.eccentricity_direction_deg
    if angle is None:
        return ""
    _, limit = rounded(angle, reading.summary.u_eccentricity_direction_deg)
    give = "" if limit is None else f" (give or take {limit}°)"
    return f", towards {clock(angle)} on the picture{give}"


def _unseen_sentences(reading: Reading) -> list[str]:
    unseen = [(number, side) for number, side, f in flanks(reading) if f.status == "not_seen"]
    teeth = tuple(dict.fromkeys(number for number, _ in unseen))
    if not unseen:
        return []
    which = f"tooth {teeth[0]}" if len(teeth) == 1 else f"teeth {tooth_list(teeth)}"
    verb = "flank was" if len(unseen) == 1 else "flanks were"
    return [f"{len(unseen)} {verb} not seen ({which}); nothing is claimed about them."]
