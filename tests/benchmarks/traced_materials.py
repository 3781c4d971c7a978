"""What gears and grounds are made of, for Mitsuba 3."""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks import traced_textures as textures
from tests.benchmarks.traced_look import Finish, Look

Floats = NDArray[np.float64]


def texture(mi: Any, values: Floats) -> dict[str, Any]:
    """A texture of plain numbers, mirrored beyond its rim.

    Parameters
    ----------
    mi : module
    values : ndarray, shape (h, w) or (h, w, 3)
        The first row is the top.

    Returns
    -------
    dict
    """
    values = (values if values.ndim == 3 else values[..., None])[::-1]
    bitmap = mi.Bitmap(np.ascontiguousarray(values, dtype=np.float32))
    return {"type": "bitmap", "bitmap": bitmap, "raw": True, "wrap_mode": "mirror"}


def rgb(colour: Iterable[float]) -> dict[str, Any]:
    """A colour.

    Parameters
    ----------
    colour : iterable of float

    Returns
    -------
    dict
    """
    return {"type": "rgb", "value": [float(c) for c in colour]}


def base(finish: Finish, colour: Any) -> dict[str, Any]:
    """A metal or a plastic without marks.

    Parameters
    ----------
    finish : Finish
    colour : dict
        Colour or texture.

    Returns
    -------
    dict
    """
    if finish.metal:
        return {"type": "roughconductor", "material": "none", "distribution": "ggx",
                "alpha": finish.roughness, "specular_reflectance": colour}  # fmt: skip
    return {"type": "roughplastic", "distribution": "ggx", "alpha": finish.roughness,
            "diffuse_reflectance": colour, "nonlinear": True}  # fmt: skip


def materials(mi: Any, look: Look, side: float) -> tuple[dict[str, Any], dict[str, Any]]:
    """Of the upper face, with the tool's marks and tarnish, and of walls and edges.

    Parameters
    ----------
    mi : module
    look : Look
    side : float
        Mm, of the face's texture.

    Returns
    -------
    face, wall : dict
    """
    finish, rng = look.finish, np.random.default_rng([look.number, 1])
    per_mm = textures.SIDE / side
    stain = textures.stains(rng, finish.stain)[..., None] * np.array(finish.colour)
    face = base(finish, texture(mi, stain))
    height = textures.marks(rng, finish.marks, finish.marks_pitch_mm * per_mm, finish.marks_slope)
    if height is not None:
        face = {"type": "bumpmap", "marks": texture(mi, height / per_mm), "bsdf": face}
    wall = base(finish, rgb(finish.colour))
    return {"type": "twosided", "bsdf": face}, {"type": "twosided", "bsdf": wall}


def mesh(path: str, bsdf: dict[str, Any]) -> dict[str, Any]:
    """A solid's triangles from their file.

    Parameters
    ----------
    path : str
    bsdf : dict

    Returns
    -------
    dict
    """
    return {"type": "ply", "filename": path, "face_normals": True, "bsdf": bsdf}
