"""Hand-made readings, and pictures to go with them, for the tests of the report."""

from math import pi

import cv2
import numpy as np

from cogloupe.evaluation.drawing_data import DrawingData
from cogloupe.forms.basic_racks import rack_for_angle
from cogloupe.forms.rack import Gear, gear_outline
from cogloupe.reading.cutting_models import SizeFound
from cogloupe.reading.models import (
    BudgetLine,
    CalibrationInfo,
    ChordSize,
    Datum,
    Flank,
    Gap,
    GapMean,
    GapTheory,
    GearInfo,
    PerSide,
    PhotoInfo,
    PinSize,
    Profile,
    Reading,
    SizeAround,
    SizeCheck,
    Sizes,
    SpanSize,
    Summary,
    Tolerance,
    Tooth,
)
from cogloupe.reading.verdict_models import CauseFindings, CauseFound, DominantFault, Verdict
from cogloupe.wording.cautions import CAUTIONS
from cogloupe.wording.notices import Notice

_FLANK_NAMES = [name for name in Flank.model_fields if name != "status"]
_NOT_SEEN = dict.fromkeys(_FLANK_NAMES)
_NO_GAP = dict.fromkeys(name for name in Gap.model_fields if name != "number")
_PER_SIDE = [name for name, field in Summary.model_fields.items() if field.annotation is PerSide]

VERDICT = Verdict(
    dominant=DominantFault(
        kind="eccentric", text="The teeth run out: they lie off the bore by 35.5 ± 8.4 µm.",
        value_um=35.5, u_um=4.2,
    ),
    wanted_class=9, meets="no", reached_class=(10, 11),
    class_text="It does not meet class 9, which you want: it reaches class 10 to 11.",
    next_step="indicate the blank on its arbor.",
)  # fmt: skip
CAUSES = CauseFindings(
    outcome="named",
    sentence="Most likely the blank sat off the axis of the spindle.",
    causes=(
        CauseFound(
            code="blank_off", name="blank off the axis", probability=0.93, pattern="once a turn",
            sizes=(SizeFound(name="off by", value=35.2, u_value=4.1, unit="µm"),),
            alike="A bent arbor.", test="Turn the blank by half a turn and indicate it again.",
            cautions=(CAUTIONS["cutter"],),
        ),
        CauseFound(code="worm", name="worm wheel off its axis", probability=0.05, pattern="once"),
    ),
)  # fmt: skip


def example_flank(position_deg, single, cumulative, place=None, u=1.5, status="ok"):
    profile = {"profile_total_um": 6.0, "profile_form_um": 4.0, "profile_slope_um": -3.0}
    return Flank(
        position_deg=position_deg,
        u_position_deg=0.01,
        single_pitch_um=single,
        u_single_pitch_um=u,
        cumulative_pitch_um=cumulative,
        u_cumulative_pitch_um=1.2 * u,
        **profile,
        **{f"u_{name}": 1.0 for name in profile},
        pressure_angle_deg=20.1,
        u_pressure_angle_deg=0.2,
        status=status,
        place_um=place,
        u_place_um=None if place is None else u,
    )


def example_gap(number, module_mm=1.0):
    return Gap(
        number=number,
        width_mm=1.62 * module_mm,
        u_width_mm=0.005,
        root_diameter_mm=20.0,
        u_root_diameter_mm=0.01,
        depth_mm=2.31 * module_mm,
        u_depth_mm=0.01,
        floor_width_mm=0.61,
        u_floor_width_mm=0.02,
        fillet_radius_mm=0.2,
        u_fillet_radius_mm=0.15,
        floor_ratio=1.12,
        u_floor_ratio=0.02,
        pin_radius_mm=11.0,
        tip_width_mm=2.9 * module_mm,
        u_tip_width_mm=0.006,
        form_width_mm=1.1 * module_mm,
        u_form_width_mm=0.006,
        near_floor_width_mm=0.95 * module_mm,
        u_near_floor_width_mm=0.004,
        floor_flatness_um=4.0,
        u_floor_flatness_um=1.0,
        lean_deg=-0.4,
        u_lean_deg=0.1,
    )


def example_shape():
    """Mean gap and theory of a gear of module 1 whose gaps are 50 um wide and lean."""
    theory = {
        "tip_width_mm": 2.85, "width_mm": 1.57, "form_width_mm": 1.05, "near_floor_width_mm": 0.9,
        "floor_width_mm": 0.56, "fillet_radius_mm": 0.4, "depth_mm": 2.25,
    }  # fmt: skip
    measured = {name: size + 0.05 for name, size in theory.items()}
    measured |= {f"u_{name}": 0.005 for name in theory}
    more = {"floor_flatness_um": 4.0, "u_floor_flatness_um": 1.0, "lean_deg": -0.4}
    circles = {
        "tip_diameter_mm": 24.0, "form_diameter_mm": 20.9, "near_floor_diameter_mm": 20.0,
        "root_diameter_mm": 19.5, "rack_contact_diameter_mm": 20.8,
    }  # fmt: skip
    margin = {"rack_contact_margin_mm": -0.08, "u_rack_contact_margin_mm": 0.01}
    return {
        "gap_mean": GapMean(**measured, **more, u_lean_deg=0.05),
        "gap_theory": GapTheory(profile_shift=0.01, undercut=False, **theory, **circles, **margin),
    }


def example_around(mean, nominal, **more):
    """A size found all round a gear, 20 um from least to most."""
    size = {"mean_mm": mean, "u_mean_mm": 0.004, "least_mm": mean - 0.011, "most_mm": mean + 0.009}
    size |= {"range_um": 20.0, "u_range_um": 3.0, "nominal_mm": nominal, "places": 22}
    return size | more


def example_sizes(difference_um=None, **check):
    """Sizes to gauge; with a difference, beside a span of 7.6 mm that a micrometer found."""
    checks = ()
    if difference_um is not None:
        given = {
            "kind": "span", "teeth_spanned": 3, "fits_teeth": 3, "stated_mm": 7.6,
            "u_stated_mm": 0.0023, "measured_mm": 7.6 - difference_um / 1e3, "u_measured_mm": 0.005,
            "difference_um": difference_um, "u_difference_um": 5.5,
            "agrees": abs(difference_um) < 11,
        }  # fmt: skip
        checks = (SizeCheck(**(given | check)),)
    pitch = SizeAround(**example_around(2.95, 2.9521))
    chord = ChordSize(**example_around(1.52, 1.5698), height_mm=1.02, u_height_mm=0.01)
    return Sizes(
        spans=(SpanSize(**example_around(7.58, 7.6412), teeth_spanned=3),),
        over_pins=PinSize(**example_around(24.31, 24.3934), pin_diameter_mm=1.728),
        chord=chord, base_pitch_left=pitch, base_pitch_right=pitch, checks=checks,
    )  # fmt: skip


def example_summary(**changed):
    figures = {
        "single_pitch_max_um": 23.4, "cumulative_pitch_total_um": 41.27, "runout_um": 30.2,
        "eccentricity_um": 14.1, "eccentricity_direction_deg": -30.0, "thickness_mean_mm": 1.5214,
        "gap_width_mean_mm": 1.6202, "tip_diameter_mean_mm": 24.013, "root_diameter_mean_mm": 19.39,
        "depth_mean_mm": 2.3116, "floor_ratio_mean": 1.118, "pressure_angle_mean_deg": 20.13,
    }  # fmt: skip
    uncertainties = {
        "u_single_pitch_max_um": 1.5, "u_cumulative_pitch_total_um": 1.8, "u_runout_um": 1.2,
        "u_eccentricity_um": 0.6, "u_eccentricity_direction_deg": 2.4,
        "u_thickness_mean_mm": 0.0042, "u_gap_width_mean_mm": 0.0042,
        "u_tip_diameter_mean_mm": 0.008,
        "u_root_diameter_mean_mm": 0.011, "u_depth_mean_mm": 0.0071, "u_floor_ratio_mean": 0.018,
        "u_pressure_angle_mean_deg": 0.08,
    }  # fmt: skip
    sides = {name: PerSide(left=5.2, right=6.1) for name in _PER_SIDE}
    sides |= {name: PerSide(left=0.5, right=0.5) for name in _PER_SIDE if name.startswith("u_")}
    return Summary(pin_diameter_mm=1.7, **(figures | uncertainties | sides | changed))


def example_gear(teeth=22, module_mm=1.0, **changed):
    values = {
        "teeth": teeth, "module_mm": module_mm, "diametral_pitch": 25.4 / module_mm,
        "pressure_angle_deg": 20.0, "profile_shift": 0.0, "rack": "iso53-a", "source": "given",
        "measuring_diameter_mm": teeth * module_mm,
    }  # fmt: skip
    return GearInfo(**(values | changed))


def position_errors(teeth, seed=1, scatter_um=6.0, wave_um=15.0):
    """Where each flank stands off its place, µm clockwise: scatter on a once-a-turn wave, and one
    tooth that is out by far; shape (z, 2)."""
    rng = np.random.default_rng(seed)
    phase = 2 * np.pi * np.arange(teeth)[:, None] / teeth
    errors = wave_um * np.sin(phase + np.array([0.0, 0.7])) + rng.normal(0, scatter_um, (teeth, 2))
    errors[teeth // 3] += 18.0
    return errors


def example_reading(
    teeth=22, module_mm=1.0, errors=None, statuses=None, file="saturn drive.jpg", px=None, **changed
):
    """Reading of a gear whose flanks are out of place by `errors`, the figures following from it.

    `statuses` maps (tooth number, side) to a status other than ok; `px` is (x, y, mm per px).
    """
    errors = position_errors(teeth) if errors is None else errors
    x, y, mm_per_px = px or (1000.0, 1000.0, 0.014)
    return Reading(
        software_version="0.1.0",
        gear=example_gear(teeth, module_mm),
        summary=_summary_of(errors),
        photo=PhotoInfo(file=file, sha256="0" * 64, width_px=2000, height_px=2000),
        calibration=CalibrationInfo(
            mm_per_px=mm_per_px, u_mm_per_px=mm_per_px / 2000, method="stated scale", file=None
        ),
        datum=Datum(
            kind="bore",
            x_px=x,
            y_px=y,
            bore_xy_px=(x, y),
            bore_diameter_mm=teeth * module_mm / 4,
            u_bore_diameter_mm=0.006,
        ),
        teeth=_teeth(errors, statuses or {}, teeth * module_mm / 2, module_mm),
        gaps=tuple(example_gap(k, module_mm) for k in range(1, teeth + 1)),
        tolerance=Tolerance(standard="ISO 1328-1:2013", pitch_class=(9, 9), runout_class=(7, 8)),
        budget=(
            BudgetLine(
                figure="single_pitch_max_um",
                source="edge noise",
                value="0.04 px",
                unit="µm",
                distribution="normal",
                sensitivity="14 µm/px",
                contribution=0.56,
            ),
        ),
        profile=example_profile(),
        warnings=(Notice(code="soft_focus", message="The edges are soft.", teeth=(1, 2, 3, 7)),),
    ).model_copy(update=changed)


def example_profile():
    roll = np.linspace(0.4, 3.6, 60)
    left = 4 * np.sin(roll) - roll
    return Profile(
        roll_length_mm=tuple(roll),
        left_um=tuple(left),
        right_um=(None, None, *(0.5 * left[2:] + 1)),
    )


def _summary_of(errors):
    single = errors - np.roll(errors, 1, axis=0)
    return example_summary(
        single_pitch_max_um=float(np.abs(single).max()),
        cumulative_pitch_total_um=float(np.ptp(errors, axis=0).max()),
    )


def _teeth(errors, statuses, radius_mm, module_mm):
    single = errors - np.roll(errors, 1, axis=0)
    cumulative, placed = errors - errors[0], errors - errors.mean(axis=0)
    pitch = 360 / len(errors)
    made = []
    for k in range(len(errors)):
        flanks = {}
        for j, side in enumerate(("left", "right")):
            status = statuses.get((k + 1, side), "ok")
            place = (
                -90 + pitch * (k + (-0.25, 0.25)[j]) + np.degrees(errors[k, j] / 1e3 / radius_mm)
            )
            figures = (float(array[k, j]) for array in (single, cumulative, placed))
            measured = example_flank(float(place), *figures)
            unseen = Flank(status="not_seen", **_NOT_SEEN)
            flanks[side] = unseen if status == "not_seen" else measured.model_copy(
                update={"status": status}
            )  # fmt: skip
        thickness = float(pi / 2 * module_mm - 0.05 + 1e-3 * (errors[k, 1] - errors[k, 0]))
        seen = all(flank.status != "not_seen" for flank in flanks.values())
        made.append(Tooth(
            number=k + 1, centre_deg=-90 + pitch * k, **flanks,
            thickness_mm=thickness if seen else None, u_thickness_mm=0.004 if seen else None,
            tip_diameter_mm=24.0, u_tip_diameter_mm=0.01,
        ))  # fmt: skip
    return tuple(made)


def nothing_seen(teeth=22):
    """A reading in which no figure at all was measured."""
    flank = Flank(status="not_seen", **_NOT_SEEN)
    empty = dict.fromkeys(
        ["thickness_mm", "u_thickness_mm", "tip_diameter_mm", "u_tip_diameter_mm"]
    )
    tooth = Tooth(number=1, centre_deg=None, left=flank, right=flank, **empty)
    summary = dict.fromkeys(Summary.model_fields)
    summary |= dict.fromkeys(_PER_SIDE, PerSide(left=None, right=None))
    return example_reading(teeth).model_copy(
        update={
            "teeth": tuple(tooth.model_copy(update={"number": k}) for k in range(1, teeth + 1)),
            "gaps": tuple(Gap(number=k, **_NO_GAP) for k in range(1, teeth + 1)),
            "summary": Summary(**summary), "datum": Datum(kind="teeth", x_px=1000.0, y_px=1000.0),
            "profile": None, "tolerance": None, "budget": (), "warnings": (),
        }
    )  # fmt: skip


def example_evidence(teeth=22, module_mm=1.0, errors=None, size=2000, blocked=()):
    """Picture of a gear with flanks out of place, drawn simply, and the points on its flanks.

    Gives the drawing and (x, y, mm per px). `blocked` lists (tooth, side) whose outer points are
    cut out. Nothing is measured here: the deviations are the ones the outline was drawn with.
    """
    errors = position_errors(teeth) if errors is None else errors
    gear = Gear(teeth, module_mm, rack_for_angle(20.0, module_mm, dp=False))
    mm_per_px = 2 * gear.tip_radius / (0.8 * size)
    centre = np.array([size / 2 + 3.3, size / 2 - 2.6])
    turned = errors / 1e3 / gear.reference_radius
    outline = gear_outline(gear, -pi / 2, turned[:, 0], turned[:, 1], 30) / mm_per_px + centre
    theory = gear_outline(gear, flank_points=30) / mm_per_px + centre
    return (
        DrawingData(
            picture=_picture(outline, centre, gear.reference_radius / 4 / mm_per_px, size),
            theory_xy=theory,
            contour_xy=outline,
            **_flank_points(gear, errors, mm_per_px, centre, blocked),
        ),
        (float(centre[0]), float(centre[1]), mm_per_px),
    )


def _picture(outline, centre, bore_px, size):
    grey = np.full((size, size), 205, np.uint8)
    cv2.fillPoly(grey, [np.round(outline * 16).astype(np.int32)], 60, cv2.LINE_AA, 4)
    middle = tuple(np.round(centre * 16).astype(int).tolist())
    cv2.circle(grey, middle, int(bore_px * 16), 205, -1, cv2.LINE_AA, 4)
    noise = np.random.default_rng(2).normal(0, 4, grey.shape)
    colour = grey[:, :, None] * np.array([1.0, 0.9, 0.6]) + noise[:, :, None]
    return np.clip(cv2.GaussianBlur(colour, (0, 0), 1.2), 0, 255).astype(np.uint8)


def _flank_points(gear, errors, mm_per_px, centre, blocked):
    """Points on every flank; the normal of an involute is tangent to the base circle."""
    radius = np.linspace(max(gear.form_radius, gear.base_radius * 1.001), gear.tip_radius, 40)
    half = gear.half_tooth_angle(radius)
    lean = np.arccos(gear.base_radius / radius)
    parts = []
    for k in range(gear.teeth):
        for side, way in ((0, -1), (1, 1)):
            along = 1e-3 * errors[k, side] * way * gear.base_radius / gear.reference_radius
            theta = -pi / 2 + 2 * pi * k / gear.teeth + way * half
            place = np.stack([np.cos(theta), np.sin(theta)], -1) * radius[:, None]
            turn = theta + way * (pi / 2 - lean)
            normal = np.stack([np.cos(turn), np.sin(turn)], -1)
            used = np.ones(len(radius), bool)
            if (k + 1, ("left", "right")[side]) in blocked:
                used[15:30] = False
            parts.append((
                (place + normal * along) / mm_per_px + centre, normal,
                np.full(len(radius), 1e3 * along), np.full(len(radius), k + 1),
                np.full(len(radius), side), used,
            ))  # fmt: skip
    names = ("flank_xy", "flank_normal", "deviation_um", "tooth", "side", "used")
    return dict(zip(names, map(np.concatenate, zip(*parts, strict=True)), strict=True))
