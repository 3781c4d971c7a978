"""Where the camera of a look is, and where a point of the world falls on its picture.

The world's origin is below the camera at the height of the gear's upper face; x to the right, y up,
z towards the camera; millimetres.
"""

from math import atan, cos, degrees, radians, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.traced_look import Camera

Floats = NDArray[np.float64]

PARALLEL_MM = 400.0
"""Height of a camera that sees in parallel: anything above the lamps does."""


class View:
    """The camera as numbers: where a point of the world falls on the picture.

    Parameters
    ----------
    camera : Camera
    """

    def __init__(self, camera: Camera):
        self.camera = camera
        self.scale = camera.um_per_px / 1000
        self.height = camera.distance_mm or PARALLEL_MM
        lean, towards = radians(camera.lean_deg), -radians(camera.lean_towards_deg)
        axis = np.array([-sin(towards), cos(towards), 0.0])
        cross = np.cross(np.eye(3), axis)
        self.turn = np.eye(3) - sin(lean) * cross + (1 - cos(lean)) * cross @ cross
        x, y = camera.gear_px
        self.foot = np.array(
            [camera.width_px / 2 + camera.foot_px[0], camera.height_px / 2 + camera.foot_px[1]]
        )
        self.gear = np.array(
            [(x - self.foot[0]) * self.scale, (self.foot[1] - y) * self.scale, 0.0]
        )
        self.eye = self.turn @ (np.array([0, 0, self.height]) - self.gear) + self.gear

    def to_px(self, points: Floats) -> Floats:
        """Project points.

        Parameters
        ----------
        points : ndarray, shape (n, 3)

        Returns
        -------
        ndarray, shape (n, 2)
            Px, the first pixel's centre at (0, 0).
        """
        seen = (points - self.eye) @ self.turn
        deep = -seen[:, 2] / self.height if self.camera.distance_mm else np.ones(len(seen))
        flat = seen[:, :2] / deep[:, None] / self.scale
        return self.foot - 0.5 + flat * [1, -1]

    def sensor(self, mi: Any, samples: int, seed: int) -> dict[str, Any]:
        """The same for Mitsuba.

        Parameters
        ----------
        mi : module
        samples, seed : int

        Returns
        -------
        dict
        """
        camera = self.camera
        half = (
            int(max(*self.foot, camera.width_px - self.foot[0], camera.height_px - self.foot[1]))
            + 1
        )
        film = {
            "type": "hdrfilm", "width": 2 * half, "height": 2 * half, "pixel_format": "rgb",
            "component_format": "float32", "rfilter": {"type": "box"},
            "crop_offset_x": int(half - self.foot[0]), "crop_offset_y": int(half - self.foot[1]),
            "crop_width": camera.width_px, "crop_height": camera.height_px,
        }  # fmt: skip
        frame = mi.ScalarTransform4f().look_at(
            origin=list(self.eye),
            target=list(self.eye - self.turn[:, 2]),
            up=list(self.turn[:, 1]),
        )
        sampler = {"type": "independent", "sample_count": samples, "seed": seed}
        shared = {"film": film, "sampler": sampler, "near_clip": 1.0, "far_clip": 5000.0}
        if not camera.distance_mm:
            wide = mi.ScalarTransform4f().scale([half * self.scale, half * self.scale, 1])
            return {"type": "orthographic", "to_world": frame @ wide, **shared}
        return {
            "type": "thinlens", "to_world": frame, "fov_axis": "x",
            "fov": degrees(2 * atan(half * self.scale / self.height)),
            "aperture_radius": max(camera.aperture_mm / 2, 1e-4),
            "focus_distance": self.height - camera.focus_above_mm, **shared,
        }  # fmt: skip


def field_mm(camera: Camera) -> float:
    """Side of the textured square of ground: the frame with room to spare.

    Parameters
    ----------
    camera : Camera

    Returns
    -------
    float
    """
    return 1.5 * max(camera.width_px, camera.height_px) * camera.um_per_px / 1000
