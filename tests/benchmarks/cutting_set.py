"""Gears cut in known ways, for the study of what cut them."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import ceil

from cogloupe.forms.basic_racks import basic_rack
from cogloupe.forms.rack import Gear
from cogloupe.simulation import Camera, Faults, GearSpec, Process, Scene

PX_PER_DEPTH = 50
TEETH = (14, 30)


@dataclass(frozen=True, kw_only=True)
class CutCase:
    """A gear cut in a known way.

    Attributes
    ----------
    what : str
    scene : Scene
    kind, label : str
        Kind of the right answer, and its exact name where the kind has several; empty otherwise.
    settings : dict
        What the person says, where it is not what was drawn.
    size : str
        Name of the size to compare.
    true : float
        Its true value.
    """

    what: str
    scene: Scene
    kind: str
    label: str = ""
    settings: dict[str, object] = field(default_factory=dict)
    size: str = ""
    true: float = 0.0


def cut_scene(
    teeth: int, process: Process | None = None, faults: Faults | None = None, **gear: object
) -> Scene:
    """Scene of a gear with teeth 50 px deep.

    Parameters
    ----------
    teeth : int
    process : Process, optional
    faults : Faults, optional
        For a drawn gear.
    **gear
        Fields of the gear; module 1 mm where nothing is given.

    Returns
    -------
    Scene
    """
    spec = GearSpec(teeth=teeth, **({"module_mm": 1.0} | gear))  # type: ignore[arg-type]
    px = 2.25 * spec.module / PX_PER_DEPTH
    side = ceil((teeth + 3.2) * spec.module / px * 1.06)
    camera = Camera(
        mm_per_px=px, width_px=side, height_px=side, rotation_deg=2.0, blur_px=1.0, noise=0.01,
        oversample=2,
    )  # fmt: skip
    made = {"process": process} if process is not None else {"faults": faults or Faults()}
    return Scene(gear=spec, camera=camera, seed=teeth, **made)  # type: ignore[arg-type]


def _cases(z: int) -> Iterator[CutCase]:
    deep = "too deep by"
    yield CutCase(what="hob, right", scene=cut_scene(z, Process()), kind="rack", size=deep)
    yield CutCase(
        what="hob 60 µm too deep",
        scene=cut_scene(z, Process(depth_um=60)),
        kind="rack",
        size=deep,
        true=0.06,
    )
    yield CutCase(
        what="hob 60 µm too shallow",
        scene=cut_scene(z, Process(depth_um=-60)),
        kind="rack",
        size=deep,
        true=-0.06,
    )
    yield CutCase(
        what="14.5° hob for 20°",
        scene=cut_scene(z, Process(), pressure_angle_deg=14.5),
        kind="angle",
        label="a 14.5° cutter",
        settings={"pressure_angle_deg": 20.0, "rack": None},
    )
    yield CutCase(
        what="20° hob for 14.5°", scene=cut_scene(z, Process()), kind="angle", label="a 20° cutter",
        settings={"pressure_angle_deg": 14.5, "rack": None},
    )  # fmt: skip
    yield CutCase(
        what="hob ground 1.5° off",
        scene=cut_scene(z, Process(cutter_angle_error_deg=1.5)),
        kind="angle",
        label="a cutter of an odd angle",
        size="flank angle",
        true=21.5,
    )
    yield _other_module(z)
    for number, made_for in ((2, 55), (4, 26), (6, 17), (7, 14), (8, 12)):
        process = Process(kind="form-cutter", cutter_teeth=made_for)
        if made_for != z:
            yield CutCase(
                what=f"form cutter no. {number}",
                scene=cut_scene(z, process),
                kind="form",
                label=_form(number, z),
            )
    yield CutCase(
        what="form cutter 0.1 mm off centre",
        scene=cut_scene(z, Process(kind="form-cutter", offset_mm=0.1)), kind="lean",
        size="or off centre by", true=0.1,
    )  # fmt: skip
    # The last cutting edge of a dozen lies up to their spacing, 0.26 mm, inside the hob's end.
    yield CutCase(
        what="hob that ends 2 mm from the centre",
        scene=cut_scene(z, Process(hob_length_mm=9, offset_mm=2.5)),
        kind="end",
        size="reach of the hob on that side",
        true=2.0 - 0.13,
    )
    scattered = Process(kind="form-cutter", jitter_arcmin=150 / z, depths_mm=(2.25,) * 5)
    yield CutCase(
        what="passes scattered in angle (cut)", scene=cut_scene(z, scattered), kind="scatter"
    )
    yield CutCase(
        what="passes scattered in angle (drawn)",
        scene=cut_scene(z, faults=Faults(pass_scatter_um=25)),
        kind="scatter",
    )
    yield CutCase(
        what="all gaps wider by 60 µm",
        scene=cut_scene(z, faults=Faults(thinning_um=60)),
        kind="thick",
        size="gap wider by",
        true=0.06,
    )


def _other_module(teeth: int) -> CutCase:
    """A hob of another size in a blank of the drawing's: few teeth stand a larger difference."""
    pitch, module = (48, 0.5) if teeth < 20 else (26, 1.0)
    tip = module * (teeth + 2) / 2
    rack = "dp-fine-20"
    design = Gear(teeth, 25.4 / pitch, basic_rack(rack, 25.4 / pitch), tip_radius_mm=tip)
    # Fed in to the depth of the drawing, 2.25 modules.
    process = Process(depth_um=1000 * (2.25 * module - (tip - design.root_radius)))
    scene = cut_scene(teeth, process, module_mm=None, dp=pitch, rack=rack, tip_radius_mm=tip)
    return CutCase(
        what=f"{pitch} DP hob for module {module:g} mm",
        scene=scene,
        kind="module",
        label=f"a {pitch} DP cutter",
        settings={"module_mm": module, "rack": None},
    )


def _form(number: int, teeth: int) -> str:
    spans = {2: (55, 134), 4: (26, 34), 6: (17, 20), 7: (14, 16), 8: (12, 13)}
    low, high = spans[number]
    own = " as this one has" if low <= teeth <= high else ""
    return f"form cutter no. {number} for {low} to {high} teeth{own}"


CUT_CASES: tuple[CutCase, ...] = tuple(case for z in TEETH for case in _cases(z))
