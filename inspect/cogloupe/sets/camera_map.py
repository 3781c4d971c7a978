"""The camera's own error, as a set of turned pictures tells it. Lengths px."""

from dataclasses import dataclass

import numpy as np

from cogloupe.reading.photo_set import CameraError, LensTerm
from cogloupe.sets.merging import SetOfPictures
from cogloupe.uncertainty.flank_uncertainty import flank_place
from cogloupe_calibration.arrays import Floats
from cogloupe_calibration.lens import (
    TERMS_IN_WORDS,
    observed_points,
    point_modes,
    term_names,
)

ARROWS = 15
"""Arrows across the picture of the error."""


def camera_error(pictures: SetOfPictures) -> CameraError:
    """What the camera does to the teeth, in numbers.

    Parameters
    ----------
    pictures : SetOfPictures
        Measured through a lens.
    """
    lens = pictures.adjusted.lens
    moved = camera_vectors(pictures, flank_places(pictures))
    size = np.hypot(*moved.T)
    u = np.sqrt(np.diag(np.array(lens.covariance)))
    terms = tuple(
        LensTerm(name=name, words=TERMS_IN_WORDS[name], value=value, u_value=float(u_value))
        for name, value, u_value in zip(term_names(len(u)), lens.terms, u, strict=True)
    )
    return CameraError(
        rms_px=float(np.sqrt(np.mean(size**2))), largest_px=float(size.max()), terms=terms
    )


def flank_places(pictures: SetOfPictures) -> Floats:
    """Where the flanks lie in all pictures, as a lens without error would show them.

    Returns
    -------
    ndarray, shape (n, 2)
        Px.
    """
    xy = np.concatenate(
        [flank_place(s.measured.fits, s.axes.datum).xy.reshape(-1, 2) for s in pictures.sights]
    )
    return np.asarray(xy[np.isfinite(xy).all(axis=1)])


def camera_vectors(pictures: SetOfPictures, xy: Floats) -> Floats:
    """Camera's error at places of the picture, beyond a scale, a turn and a shift.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Places as a lens without error would show them, px.

    Returns
    -------
    ndarray, shape (n, 2)
        From where a scale, a turn and a shift would put them to where they are seen; what these
        are is fitted to the flanks.
    """
    lens, teeth = pictures.adjusted.lens, flank_places(pictures)
    off = observed_points(lens, xy) - xy
    return off - _evenly(teeth, observed_points(lens, teeth) - teeth, xy)


def _evenly(at: Floats, off: Floats, xy: Floats) -> Floats:
    """Scale, turn and shift of displacements at some places, carried to others."""
    # As complex numbers a scale with a turn is one factor.
    place, moved, wanted = (p[:, 0] + 1j * p[:, 1] for p in (at, off, xy))
    design = np.stack([place, np.ones_like(place)], axis=1)
    factor, shift = np.linalg.lstsq(design, moved, rcond=None)[0]
    even = wanted * factor + shift
    return np.stack([even.real, even.imag], axis=1)


@dataclass(frozen=True, kw_only=True)
class CameraMap:
    """The camera's own error, for drawing.

    Attributes
    ----------
    width_px, height_px : int
        The frame.
    xy, error : ndarray, shape (n, 2)
        Places within reach of the teeth, and the error there, px.
    rms_px : float
        Over the teeth.
    angle_deg : ndarray, shape (a,)
        Polar angles on the picture.
    along, u_along : ndarray, shape (pictures, a)
        Error along each picture's measuring circle, and its standard uncertainty, px.
    circles : ndarray, shape (pictures, a, 2)
        Those circles as they are seen, px.
    """

    width_px: int
    height_px: int
    xy: Floats
    error: Floats
    rms_px: float
    angle_deg: Floats
    along: Floats
    u_along: Floats
    circles: Floats


def camera_map(pictures: SetOfPictures) -> CameraMap:
    """Work out the camera's error over the places that the teeth reached."""
    lens, photo = pictures.adjusted.lens, pictures.photos[0]
    teeth = flank_places(pictures)
    low, high = teeth.min(axis=0), teeth.max(axis=0)
    across = [np.linspace(low[k], high[k], ARROWS) for k in (0, 1)]
    xy = np.stack(np.meshgrid(*across), axis=-1).reshape(-1, 2)
    angle = np.radians(np.arange(0, 361, 3.0))
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    tangent = np.stack([-way[:, 1], way[:, 0]], axis=1)
    places = observed_points(lens, teeth)
    at_teeth = point_modes(lens, places)
    along, u_along, circles = [], [], []
    for sight in pictures.sights:
        ring = sight.axes.datum + sight.measured.fits.curve.measuring_radius * way
        part = (camera_vectors(pictures, ring) * tangent).sum(axis=1)
        along.append(part - part[:-1].mean())
        seen = observed_points(lens, ring)
        modes = zip(point_modes(lens, seen), at_teeth, strict=True)
        left = [((r - _evenly(places, t, seen)) * tangent).sum(axis=1) for r, t in modes]
        u_along.append(np.sqrt(np.sum(np.square(left), axis=0)))
        circles.append(seen)
    return CameraMap(
        width_px=photo.width,
        height_px=photo.height,
        xy=observed_points(lens, xy),
        error=camera_vectors(pictures, xy),
        rms_px=camera_error(pictures).rms_px,
        angle_deg=np.degrees(angle),
        along=np.array(along),
        u_along=np.array(u_along),
        circles=np.array(circles),
    )
