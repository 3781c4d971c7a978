"""Renders one picture of a gear with stated faults, together with its truth.

Light is mixed linearly by exact pixel coverage, then blurred, then noise is added, then it is
encoded and rounded to whole levels: the order of lens, sensor and file.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from cogloupe.simulation.body import body, circle
from cogloupe.simulation.cutting import CutGear
from cogloupe.simulation.dirt import covered_flanks, dust, swarf_chip
from cogloupe.simulation.lens import (
    CHORD_ERROR_PX,
    cover,
    finer,
    focused,
    pooled,
    sharpened,
    spread,
    to_level,
    to_linear,
    to_pixels,
)
from cogloupe.simulation.making import Made, make
from cogloupe.simulation.process import Process
from cogloupe.simulation.scene import Camera, Faults, GearSpec, Scene
from cogloupe.simulation.surface import (
    bevel_light,
    face_texture,
    ground_texture,
    shadow,
    uneven_light,
)
from cogloupe.simulation.true_sizes import profile, table, true_gear
from cogloupe.simulation.truth import Covered, TruePicture, Truth
from cogloupe_calibration.arrays import Floats

Picture = NDArray[np.uint8] | NDArray[np.uint16]


@dataclass(frozen=True)
class Rendered:
    """A picture and the truth about it.

    The image is the upright picture before any file compression, grey or RGB of 8 or 16 bits.
    """

    image: Picture
    truth: Truth


def render_scene(scene: Scene, file: str = "") -> Rendered:
    """Render a scene with its own seed; the truth names the file.

    Raises
    ------
    UseError
        Where the gear cannot be made.
    """
    rng = np.random.default_rng(scene.seed)
    made = render(scene.gear, scene.faults, scene.camera, rng, scene.process)
    picture = made.truth.picture.model_copy(update={"file": file})
    stated = {"about": scene.about, "seed": scene.seed, "picture": picture}
    return Rendered(made.image, made.truth.model_copy(update=stated))


def render(
    spec: GearSpec,
    faults: Faults,
    camera: Camera,
    rng: np.random.Generator,
    process: Process | None = None,
) -> Rendered:
    """Render a gear.

    Random faults, texture, dust and noise have a random stream each, so that changing the camera
    leaves the gear as it was.

    Raises
    ------
    UseError
        Where the gear cannot be made.
    """
    cutting, surface, dirt, sensor = rng.spawn(4)
    chord = CHORD_ERROR_PX * camera.mm_per_px
    made = make(spec, faults, process, camera.rotation_deg, cutting, chord)
    gear = made.gear
    shape = body(gear, spec, faults, chord, made.outline)
    chips = [swarf_chip(gear, swarf, dirt) for swarf in camera.swarf]
    specks = dust(camera, dirt)
    fine = finer(camera)
    light = _lit(shape, spec, camera, surface)
    light = _strewn(light, chips, _levels(camera)[1] * 1.1, fine)
    light = _strewn(light, specks, _dust_light(camera), fine)
    image = _sensed(pooled(focused(light, fine), camera.oversample), camera, sensor)
    spoilt = _spoilt(gear, faults, camera, chips, specks)
    return Rendered(image, _truth(made, spec, process or faults, camera, spoilt))


def _levels(camera: Camera) -> tuple[Floats, Floats]:
    """Linear light of ground and gear, each shape () or (3,)."""
    if camera.look == "front-lit":
        ground, gear = np.array(camera.ground_rgb), np.array(camera.gear_rgb)
    else:
        ground, gear = np.array(camera.ground_level), np.array(camera.gear_level)
        if (camera.look == "back-lit") != (camera.ground_level >= camera.gear_level):
            ground, gear = gear, ground
    return to_linear(ground, camera.gamma), to_linear(gear, camera.gamma)


def _lit(
    shape: shapely.Geometry, spec: GearSpec, camera: Camera, rng: np.random.Generator
) -> Floats:
    """Light of gear and ground before lens and sensor, at the camera's finer sampling."""
    fine, k = finer(camera), camera.oversample
    covered = cover(shape, fine)
    metal, bare = np.ones(fine.shape), np.ones(fine.shape)
    if camera.tool_marks:
        centre = to_pixels(np.zeros((1, 2)), camera)[0]
        metal = np.maximum(spread(face_texture(camera, centre, rng), k), 0.1)
    if camera.ground_texture:
        bare = np.maximum(spread(ground_texture(camera, rng), k), 0.1)
    if camera.shadow_mm:
        bare = bare * shadow(covered, camera.shadow_mm / fine.mm_per_px)
    if camera.bevel_mm:
        metal = _bevelled(metal, shape, covered, fine)
    if spec.hub_mm and not spec.spokes:
        metal = metal * _boss(spec, fine)
    ground, gear = _levels(camera)
    uneven = uneven_light(fine) if camera.illumination else np.ones(fine.shape)
    # `ground` and `gear` are one level or three; the trailing axis follows them.
    light = np.multiply.outer(uneven * bare * (1 - covered), ground)
    light += np.multiply.outer(uneven * metal * covered, gear)
    if camera.look == "front-lit":
        # Where metal shines it takes the lamp's colour.
        light += (0.35 * np.clip(metal - 1.1, 0, 1) * covered)[..., None]
    return light


def _bevelled(metal: Floats, shape: shapely.Geometry, covered: Floats, camera: Camera) -> Floats:
    """Face brightness with a band of another brightness inside every edge."""
    coarse = shape.simplify(0.02 * camera.mm_per_px)
    flat = cover(coarse.buffer(-camera.bevel_mm, join_style="mitre"), camera)
    share = np.divide(flat, covered, out=np.zeros_like(flat), where=covered > 1e-6)
    share = np.clip(share, 0.0, 1.0)
    edge = bevel_light(covered, camera.bevel_mm / camera.mm_per_px)
    return np.asarray(metal * share + edge * (1 - share))


def _boss(spec: GearSpec, camera: Camera) -> Floats:
    """Brightness step of a turned boss about the bore."""
    chord = CHORD_ERROR_PX * camera.mm_per_px
    disc = cover(shapely.Polygon(circle(np.zeros(2), spec.hub_mm / 2, chord)), camera)
    inner = cover(shapely.Polygon(circle(np.zeros(2), 0.96 * spec.hub_mm / 2, chord)), camera)
    return np.asarray(1 + 0.12 * inner - 0.35 * (disc - inner))


def _strewn(light: Floats, bits: list[shapely.Polygon], level: Floats, camera: Camera) -> Floats:
    """Picture with small bits of one brightness or colour lying on it."""
    light = light.copy()
    for bit in bits:
        covered = cover(bit, camera)
        rows, columns = np.flatnonzero(covered.any(axis=1)), np.flatnonzero(covered.any(axis=0))
        if rows.size == 0:
            continue
        part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        weight = covered[part] if light.ndim == 2 else covered[part][..., None]
        light[part] = light[part] * (1 - weight) + weight * level
    return light


def _dust_light(camera: Camera) -> Floats:
    """Dust is grey lint under a lamp, and opaque against the light."""
    ground, gear = _levels(camera)
    if camera.look != "front-lit":
        return gear
    return np.full(3, 0.45 if ground.mean() < 0.3 else 0.08)


def _sensed(light: Floats, camera: Camera, rng: np.random.Generator) -> Picture:
    """Add the sensor's noise, encode, sharpen, and round to whole levels."""
    ground, gear = _levels(camera)
    contrast = float(np.abs(ground - gear).mean())
    noisy = light + rng.normal(0, 1, light.shape) * camera.noise * contrast
    top = 2**camera.bits - 1
    stored = to_level(noisy, camera.gamma)
    if camera.sharpening:
        stored = sharpened(stored, camera.sharpening, camera.sharpening_px)
    level = np.rint(stored * top)
    return np.asarray(level, np.uint8) if camera.bits == 8 else np.asarray(level, np.uint16)


def _spoilt(
    gear: CutGear,
    faults: Faults,
    camera: Camera,
    chips: list[shapely.Polygon],
    specks: list[shapely.Polygon],
) -> tuple[Covered, ...]:
    """Flanks with a nick or burr, and flanks under a chip or a speck."""
    blurs = max(camera.blur_px, camera.far_blur_px or 0.0)
    reach = 3 * blurs * camera.mm_per_px
    found = [
        Covered(tooth=gear.number(item.tooth), side=item.side, what=what)
        for what, items in (("nick", faults.nicks), ("burr", faults.burrs))
        for item in items
    ]
    for what, shapes in (("swarf", chips), ("dust", specks)):
        for shape in shapes:
            found += covered_flanks(gear, shape, reach, what)
    return tuple(found)


def _truth(
    made: Made,
    spec: GearSpec,
    set_up: Process | Faults,
    camera: Camera,
    covered: tuple[Covered, ...],
) -> Truth:
    gear = made.gear
    bore, axis = to_pixels(np.stack([np.zeros(2), gear.axis]), camera).round(5).tolist()
    return Truth(
        about="",
        seed=0,
        picture=TruePicture(
            file="",
            width_px=camera.width_px,
            height_px=camera.height_px,
            mm_per_px=camera.mm_per_px,
            bore_xy_px=(bore[0], bore[1]),
            teeth_xy_px=(axis[0], axis[1]),
            exif_orientation=camera.exif_orientation,
        ),
        gear=true_gear(gear, spec.bore_mm),
        made_eccentricity_um=set_up.eccentricity_um,
        made_eccentricity_direction_deg=set_up.eccentricity_direction_deg,
        profile=profile(gear),
        covered=covered,
        causes=made.causes,
        about_bore=table(gear, "bore", made.details),
        about_teeth=table(gear, "teeth", made.details),
    )
