"""Two pictures of one tile put together: mirrored light moves between them, lace does not."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster, to_linear
from kit.photo.view.window import PER_MM, Window

_FIND_PER_MM = 5.0
_MORE_LIGHT = 0.03
_MORE_OF_OWN = 0.12
"""A place is lit by a reflection in one of two pictures when it is brighter there by this, and by
this share of its own light."""

_AS_GREY = 0.5
_SMOOTH_MM = 0.25
_HALO_MM = 0.6
_LEAST_ALIKE = 0.6


def without_reflections(window: Window, other: Window) -> tuple[Window, float]:
    """Take from another picture of the tile what a reflection hides in this one.

    Parameters
    ----------
    window, other : Window
        Both of the same tile after the same firing; the tile may lie turned in the other.

    Returns
    -------
    window : Window
        The first, with the other's surface wherever the first is brighter.
    share : float
        Share of the tile that was taken from the other.
    """
    move = _alignment(window, other)
    if move is None:
        return window, 0.0
    size = window.lab.shape[1::-1]
    lab = _moved(other.lab, move, size)
    there: Raster = np.zeros(other.lab.shape[:2], np.uint8)
    there[8:-8, 8:-8] = 1
    seen = _moved(there, move, size) > 0
    seen &= _moved(other.hidden.astype(np.uint8), move, size) == 0
    around = (0, 0), _SMOOTH_MM * PER_MM
    light, donor = (cv2.GaussianBlur(to_linear(part), *around) for part in (window.lab, lab))
    more = light - donor
    # Mirrored light is grey; where the overlay itself differs, something else is wrong.
    grey = more.min(axis=2) > _AS_GREY * more.max(axis=2)
    own = donor.mean(axis=2)
    brighter = seen & grey & (more.mean(axis=2) > _MORE_LIGHT + _MORE_OF_OWN * own)
    mask = (brighter | (window.hidden & seen)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    side = 2 * round(_HALO_MM * PER_MM) + 1
    wide = cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))) > 0
    wide &= seen
    mixed = np.where(wide[..., None], lab, window.lab)
    area = window.tile.width_mm * window.tile.height_mm * PER_MM**2
    return (
        replace(window, lab=mixed, hidden=window.hidden & ~wide),
        float(wide.sum() / area),
    )


def _moved(part: Raster, move: NDArray[np.float64], size: tuple[int, ...]) -> Raster:
    return cv2.warpAffine(part, move, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def _alignment(window: Window, other: Window) -> NDArray[np.float64] | None:
    """Carry this window's pixels to the other's, (2, 3): by the outlines, then by what is seen.

    The tile may lie turned by quarters. None when nothing fits.
    """
    small = [_edges(w.lab) for w in (window, other)]
    face = _face(window, small[0].shape)
    size = small[0].shape[::-1]
    starts = [_by_outline(window, other, quarter * np.pi / 2, _FIND_PER_MM) for quarter in range(4)]
    laid = [_moved(small[1], start, size) for start in starts]
    alike = [float(np.corrcoef(small[0][face > 0], part[face > 0])[0, 1]) for part in laid]
    best = int(np.nanargmax(alike))
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-4)
    nothing = np.eye(2, 3, dtype=np.float32)
    try:
        fits, further = cv2.findTransformECC(
            small[0], laid[best], nothing, cv2.MOTION_EUCLIDEAN, stop, face, 5
        )
    except cv2.error:
        return None
    if fits < _LEAST_ALIKE:
        return None
    whole = np.vstack([starts[best], [0, 0, 1]]) @ np.vstack([further, [0, 0, 1]])
    move: NDArray[np.float64] = whole[:2]
    zoom = PER_MM / _FIND_PER_MM
    half = (zoom - 1) / 2
    move[:, 2] = zoom * move[:, 2] + half - move[:, :2] @ np.array([half, half])
    return move


def _by_outline(window: Window, other: Window, turn: float, per_mm: float) -> NDArray[np.float64]:
    angle = other.tile.turn - window.tile.turn + turn
    matrix = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    here = np.array([window.tile.x_mm, window.tile.y_mm]) * per_mm - 0.5
    there = np.array([other.tile.x_mm, other.tile.y_mm]) * per_mm - 0.5
    return np.column_stack([matrix, there - matrix @ here])


def _edges(lab: Raster) -> Raster:
    """Colour without lightness, and a little of that: reflections change lightness most."""
    small = cv2.resize(
        lab, None, fx=_FIND_PER_MM / PER_MM, fy=_FIND_PER_MM / PER_MM, interpolation=cv2.INTER_AREA
    )
    return (np.minimum(small[..., 0], 70) / 2 + small[..., 1] + small[..., 2]).astype(np.float32)


def _face(window: Window, shape: tuple[int, ...]) -> Raster:
    """Mark the tile's face, its rim left out, on a picture of `_FIND_PER_MM`."""
    tile = window.tile
    face: Raster = np.zeros(shape, np.uint8)
    size = (tile.width_mm - 3) * _FIND_PER_MM, (tile.height_mm - 3) * _FIND_PER_MM
    middle = tile.x_mm * _FIND_PER_MM, tile.y_mm * _FIND_PER_MM
    corners = cv2.boxPoints((middle, size, float(np.rad2deg(tile.turn))))
    cv2.fillConvexPoly(face, np.rint(corners).astype(np.int32), 255)
    return face
