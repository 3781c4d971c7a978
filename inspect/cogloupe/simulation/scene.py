"""What a simulated picture shows: the gear, its faults and the camera, as written in a TOML file.

The teeth are drawn from the rack with the deviations of `[faults]`, or, where there is a
`[process]`, generated cut by cut.

Deviations are micrometres along the reference circle, positive clockwise on the picture. Teeth are
counted clockwise from the one that `Camera.rotation_deg` places; with a rotation from 0 to one
pitch that is the numbering of the reading, and the truth file tells where it is not.
"""

from dataclasses import replace
from math import cos, pi, radians, sin
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, ValidationError, model_validator

from cogloupe.forms.basic_racks import BasicRack, basic_rack, rack_for_angle
from cogloupe.forms.clock_wheel import MOST_LEAVES, WHEEL_ADDENDUM, CycloidalWheel, leaf_thickness
from cogloupe.forms.cycloid import CycloidalForm, Epicycloid, RoundTop
from cogloupe.forms.rack import Gear
from cogloupe.forms.straight import StraightForm, StraightWheel
from cogloupe.forms.tooth_form import FormName, Wheel
from cogloupe.inputs.toml_file import read_toml
from cogloupe.reading.bounds import MOST_TEETH, DiametralPitch, ModuleMm
from cogloupe.simulation.process import Process
from cogloupe_calibration.errors import UseError
from cogloupe_calibration.file_model import FileModel
from cogloupe_calibration.plain_text import check_numbers
from cogloupe_calibration.units import MM_PER_INCH

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
Colour = tuple[Share, Share, Share]
ToothSide = Literal["left", "right"]
DrawnSide = Annotated[int, Field(ge=16, le=12_000)]
Blur = Annotated[float, Field(ge=0, le=200)]


class GearSpec(FileModel):
    """The gear as drawn: one of `module_mm` and `dp`; `rack` None takes the trade's usual one.

    Cycloidal teeth need `generating_circle_mm` (a diameter) or `addendum_radius_mm`; straight-sided
    ones lean by `lean_deg` (left and right flank, against the radius at the pitch circle). The
    other fields of theirs follow clock practice where they are not given.

    The rim, hub and spokes only matter to the look: `spokes` 0 leaves a plain disc.
    """

    teeth: Annotated[int, Field(ge=5, le=MOST_TEETH)]
    module_mm: ModuleMm | None = None
    dp: DiametralPitch | None = None
    form: FormName = "involute"
    generating_circle_mm: Positive | None = None
    addendum_radius_mm: Positive | None = None
    lean_deg: tuple[float, float] = (15.0, 15.0)
    thickness_mm: Positive | None = None
    root_radius_mm: Positive | None = None
    fillet_mm: NotNegative | None = None
    pressure_angle_deg: Annotated[float, Field(ge=10, le=32)] = 20.0
    rack: str | None = None
    profile_shift: float = 0.0
    tip_radius_mm: Positive | None = None
    bore_mm: NotNegative = 0.0
    keyway_mm: NotNegative = 0.0
    hub_mm: NotNegative = 0.0
    rim_mm: NotNegative = 0.0
    spokes: Annotated[int, Field(ge=0, le=100)] = 0
    spoke_mm: NotNegative = 0.0

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        if (self.module_mm is None) == (self.dp is None):
            raise ValueError("give either module_mm or dp, not both")
        return self

    @model_validator(mode="after")
    def _spokes_meet(self) -> Self:
        if self.spokes and not (self.hub_mm and self.spoke_mm):
            raise ValueError("spokes need hub_mm, where they meet, and spoke_mm, their width")
        return self

    @model_validator(mode="after")
    def _one_curve(self) -> Self:
        given = (self.generating_circle_mm, self.addendum_radius_mm).count(None)
        if self.form == "cycloidal" and given != 1:
            raise ValueError("give either generating_circle_mm or addendum_radius_mm")
        return self

    @property
    def module(self) -> float:
        """Module, mm."""
        if self.module_mm is not None:
            return self.module_mm
        assert self.dp is not None
        return MM_PER_INCH / self.dp

    def basic_rack(self) -> BasicRack:
        """Rack the drawing asks for."""
        if self.rack is not None:
            return basic_rack(self.rack, self.module)
        return rack_for_angle(self.pressure_angle_deg, self.module, dp=self.dp is not None)

    def wheel(self) -> Wheel:
        """Gear of any form without any fault."""
        if self.form == "cycloidal":
            return self._cycloidal()
        return self._straight() if self.form == "straight" else self.gear()

    def _cycloidal(self) -> CycloidalWheel:
        m, pitch = self.module, self.teeth * self.module / 2
        if self.generating_circle_mm is not None:
            form = CycloidalForm(Epicycloid(pitch, self.generating_circle_mm / 2))
        else:
            assert self.addendum_radius_mm is not None
            form = CycloidalForm(RoundTop(pitch, self.addendum_radius_mm))
        thick = self.thickness_mm or leaf_thickness(self.teeth) * m
        height = WHEEL_ADDENDUM[0] if self.teeth > MOST_LEAVES else thick / m / 2
        root = self.root_radius_mm or pitch - pi / 2 * m
        fillet = 0.2 * m if self.fillet_mm is None else self.fillet_mm
        wheel = CycloidalWheel(
            teeth=self.teeth,
            module_mm=m,
            form=form,
            thickness_mm=thick,
            root_radius=root,
            tip_radius=pitch + height * m,
            fillet_mm=fillet,
        )
        blunt = pitch + 0.95 * (wheel.ridge - pitch)  # the ridge is seldom left whole
        return replace(wheel, tip_radius=self.tip_radius_mm or min(wheel.tip_radius, blunt))

    def _straight(self) -> StraightWheel:
        m, pitch = self.module, self.teeth * self.module / 2
        left, right = (pitch * sin(radians(lean)) for lean in self.lean_deg)
        return StraightWheel(
            teeth=self.teeth,
            module_mm=m,
            form=StraightForm((left, right)),
            thickness_mm=self.thickness_mm or pi / 2 * m,
            root_radius=self.root_radius_mm or pitch - 0.8 * m,
            tip_radius=self.tip_radius_mm or pitch + 0.8 * m,
        )

    def gear(self) -> Gear:
        """Involute gear without any fault."""
        return Gear(
            self.teeth, self.module, self.basic_rack(), self.profile_shift, self.tip_radius_mm
        )


class Periodic(FileModel):
    """A drive error that repeats `per_turn` times in a turn of the work."""

    per_turn: Positive
    amplitude_um: float
    phase_deg: float = 0.0


class Nick(FileModel):
    """A notch (or, standing proud, a burr) on one flank at a share of the tooth's height."""

    tooth: Annotated[int, Field(ge=1)]
    side: ToothSide
    depth_um: Positive
    width_um: Positive
    height: Share = 0.7


class Faults(FileModel):
    """What went wrong in the cutting; everything 0 is a perfect gear.

    A gap is cut as a whole, so an error of indexing moves both its flanks: the right flank of the
    tooth before it and the left flank of the tooth after.

    Attributes
    ----------
    left_um, right_um : tuple of float
        Position error of each flank, empty or one a tooth.
    pitch_scatter_um : float
        Standard deviation of the indexing of each gap.
    flank_scatter_um : float
        Standard deviation of each flank by itself.
    eccentricity_um, eccentricity_direction_deg : float
        Where the teeth's axis lies from the bore's; the direction a polar angle on the picture.
    tips_about : {'bore', 'teeth'}
        Axis the blank was turned about.
    step_um, step_tooth : float, int
        Indexing lost by so much between the gap before this tooth and the one after it, and not
        regained until the turn closes.
    thinning_um : float
        Taken off every tooth's thickness, half on each flank.
    depth_um : float
        Cut deeper than drawn (negative: shallower); the blank is not changed.
    pass_scatter_um, passes : float, int
        Standard deviation of the angle at which each of the passes over a gap falls: the gap
        comes out as wide as its outermost passes, with a longer flat floor. The passes are taken
        to lie close enough to leave no ridge on the floor.
    """

    left_um: tuple[float, ...] = ()
    right_um: tuple[float, ...] = ()
    pitch_scatter_um: NotNegative = 0.0
    flank_scatter_um: NotNegative = 0.0
    eccentricity_um: NotNegative = 0.0
    eccentricity_direction_deg: float = 0.0
    tips_about: Literal["bore", "teeth"] = "bore"
    step_um: float = 0.0
    step_tooth: Annotated[int, Field(ge=1)] = 1
    periodic: tuple[Periodic, ...] = ()
    thinning_um: float = 0.0
    pressure_angle_error_deg: float = 0.0
    depth_um: float = 0.0
    pass_scatter_um: NotNegative = 0.0
    passes: Annotated[int, Field(ge=1, le=200)] = 6
    nicks: tuple[Nick, ...] = ()
    burrs: tuple[Nick, ...] = ()


class Swarf(FileModel):
    """A chip that lies against one flank and stands out into the gap."""

    tooth: Annotated[int, Field(ge=1)]
    side: ToothSide
    length_mm: Positive
    width_mm: Positive
    height: Share = 0.5


class Camera(FileModel):
    """The picture: frame, light, lens, sensor and file.

    Attributes
    ----------
    bore_x_px, bore_y_px : float or None
        Place of the bore's centre before lean and lens move it; None for the frame's middle.
    rotation_deg : float
        How far tooth 1 stands clockwise of twelve o'clock.
    look : {'back-lit', 'light-on-dark', 'front-lit'}
        A dark outline on light ground, the reverse, or a metal face in colour.
    ground_level, gear_level : float
        Shares of full scale in the file; `ground_rgb` and `gear_rgb` are used for 'front-lit'.
    blur_px, far_blur_px : float
        Standard deviation of the blur, and the one at the frame's right-hand side if it differs.
    oversample : int
        Samples of the light per pixel each way. At 1 the blur's kernel is sampled at whole pixels
        and moves a flank's fitted edge by some 0.004 px (at 1.2 px of blur) with its place in the
        pixel; 2 or more is for studies of accuracy, at a cost in time.
    noise : float
        Standard deviation as a share of the contrast, in linear light.
    sharpening, sharpening_px : float
        Amount and radius of the unsharp masking that the camera applies to its stored values.
    illumination, illumination_direction_deg : float
        Brightness rises by this share towards one side of the frame and falls to the other.
    tool_marks, ground_texture : float
        Standard deviation of the brightness of the face and of the ground, as a share.
    bevel_mm, shadow_mm : float
        Width of a bright band inside the edge; offset of a soft shadow on the ground.
    distortion : float
        Radial distortion at the frame's corner, as a share; positive moves points outwards.
    tilt_deg, tilt_direction_deg, distance_mm : float
        Lean of the stage, the side that leans away, and how far the lens is from its middle.
    """

    mm_per_px: Positive
    width_px: DrawnSide = 1600
    height_px: DrawnSide = 1600
    bore_x_px: float | None = None
    bore_y_px: float | None = None
    rotation_deg: float = 0.0
    look: Literal["back-lit", "light-on-dark", "front-lit"] = "back-lit"
    ground_level: Share = 200 / 255
    gear_level: Share = 40 / 255
    ground_rgb: Colour = (0.16, 0.17, 0.19)
    gear_rgb: Colour = (0.80, 0.63, 0.33)
    blur_px: Blur = 1.0
    far_blur_px: Blur | None = None
    oversample: Annotated[int, Field(ge=1, le=8)] = 1
    noise: NotNegative = 0.01
    bits: Literal[8, 16] = 8
    gamma: Literal["linear", "srgb"] = "srgb"
    sharpening: NotNegative = 0.0
    sharpening_px: Annotated[float, Field(gt=0, le=100)] = 1.5
    illumination: Share = 0.0
    illumination_direction_deg: float = -135.0
    tool_marks: NotNegative = 0.0
    mark_kind: Literal["turned", "drawn"] = "turned"
    ground_texture: NotNegative = 0.0
    bevel_mm: NotNegative = 0.0
    shadow_mm: NotNegative = 0.0
    distortion: Annotated[float, Field(gt=-0.2, lt=0.2)] = 0.0
    tilt_deg: Annotated[float, Field(ge=0, lt=45)] = 0.0
    tilt_direction_deg: float = 0.0
    distance_mm: Positive = 200.0
    dust: Annotated[int, Field(ge=0, le=10_000)] = 0
    dust_mm: Positive = 0.05
    swarf: tuple[Swarf, ...] = ()
    jpeg_quality: Annotated[int, Field(ge=1, le=100)] = 92
    exif_orientation: Literal[1, 3, 6, 8] = 1

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of the upright picture."""
        return self.height_px, self.width_px


class Scene(FileModel):
    """One picture: what is in the TOML file of the same name.

    Attributes
    ----------
    process : Process or None
        How the gear is cut. With it, the teeth are what the cuts leave; without, they are drawn
        from the rack and moved as `faults` says, which is faster.
    format : {'jpg', 'png', 'tiff'}
        File type of the picture.
    seed : int
        Of everything random; the same scene always gives the same picture.
    about : str
        A sentence about the gear, carried into the truth.
    """

    gear: GearSpec
    camera: Camera
    faults: Faults = Faults()
    process: Process | None = None
    seed: int = 1
    format: Literal["jpg", "png", "tiff"] = "png"
    about: str = ""

    @model_validator(mode="after")
    def _teeth_exist(self) -> Self:
        z = self.gear.teeth
        for name in ("left_um", "right_um"):
            given = len(getattr(self.faults, name))
            if given not in (0, z):
                raise ValueError(f"faults.{name} has {given} values: give none, or {z}")
        named: list[Nick | Swarf] = [*self.faults.nicks, *self.faults.burrs, *self.camera.swarf]
        numbers = [self.faults.step_tooth, *(item.tooth for item in named)]
        if max(numbers) > z:
            raise ValueError(f"a fault names tooth {max(numbers)}, but there are only {z}")
        if self.format == "jpg" and self.camera.bits == 16:
            raise ValueError("a jpg holds 8 bits: use png or tiff for 16")
        return self

    @model_validator(mode="after")
    def _made_as_its_form_is(self) -> Self:
        if self.gear.form == "involute":
            return self
        if self.process is not None:
            raise ValueError("only involute teeth are generated by a process")
        stray = self.faults.model_fields_set & {"depth_um", "pressure_angle_error_deg"}
        if stray:
            raise ValueError(f"faults.{min(stray)} is for involute teeth")
        return self

    @model_validator(mode="after")
    def _one_way_of_making(self) -> Self:
        stray = self.faults.model_fields_set - {"nicks", "burrs"}
        if self.process is not None and stray:
            raise ValueError(
                f"faults.{min(stray)} is for a drawn gear: with a process, only nicks and burrs "
                "are; put what goes wrong in the cutting under [process]"
            )
        return self


def load_scene(path: Path) -> Scene:
    """Read a scene from a TOML file.

    Raises
    ------
    UseError
        Where the file cannot be read, is not TOML, or says something a scene cannot be.
    """
    stated = read_toml(path, "a scene")
    try:
        check_numbers(stated)
        return Scene.model_validate(stated)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the scene"
        raise UseError(f"{path}: {where}: {first['msg']}") from error
    except ValueError as error:
        raise UseError(f"{path}: {error}") from error


def example_scene() -> Scene:
    """Scene to start from: a brass wheel, back-lit, with an eccentric blank."""
    return Scene(
        gear=GearSpec(teeth=21, dp=48, bore_mm=4.0),
        faults=Faults(eccentricity_um=25, eccentricity_direction_deg=40, pitch_scatter_um=3),
        camera=Camera(mm_per_px=0.0095, rotation_deg=5, noise=0.02),
        about="A 48 DP wheel whose bore lies 25 micrometres off the teeth.",
    )


def polar_vector(length: float, direction_deg: float) -> tuple[float, float]:
    """Vector of a length along a polar angle of the picture, degrees: x and y in its unit."""
    angle = radians(direction_deg)
    return length * cos(angle), length * sin(angle)
