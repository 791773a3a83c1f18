"""Light mirrored in the glaze: told from enamel by its colour, which is the lamp's and not theirs.

A glossy face adds to its own light some of what stands over it. Seen in the light of the card that
addition is grey. So the light of a pixel is base, overlay and grey in some amounts; the grey part
is what is mirrored. It moves when lamp, tile or telephone move; lace does not.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster, to_linear
from kit.photo.view.view_from_above import PER_MM, Window

_COARSER = 4
_LEAST_LIGHT = 0.035
_LEAST_OF_OWN = 0.14
"""Mirrored light counts from this, and from this share of the place's own light: mottle and an
uneven lamp change that by less."""

_ACROSS_MM = 0.8
_HALO_MM = 0.5
_APART = 0.12
"""Sine of the angle between the change from base to overlay and grey, below which the two cannot
be told apart by colour."""

_AS_GREY = 0.55
_SOFT_MM = 1.2
_VEIL = 0.02
_VEIL_OF_OWN = 0.07

_FIND_PER_MM = 5.0
_MORE_LIGHT = 0.03
_MORE_OF_OWN = 0.12
"""A place is lit by a reflection in one of two pictures when it is brighter there by this, and by
this share of its own light."""

_ALL_CHANNELS = 0.5
_SMOOTH_MM = 0.25
_BLEND_MM = 0.6
_LEAST_ALIKE = 0.6


@dataclass(frozen=True)
class Reflection:
    """What is mirrored in the piece of the picture round a patch.

    Parameters
    ----------
    glare : ndarray of bool (height, width)
        Where mirrored light changes what is seen, with a rim round it.
    veil : float
        How much more soft mirrored light lies on one side of the piece than on the other, as a
        share of the light from white paper; 0 when it is too little to matter.
    """

    glare: NDArray[np.bool_]
    veil: float


def find_reflection(
    lab: Raster,
    base: Raster,
    overlay: Raster,
    near: NDArray[np.bool_],
    strange: NDArray[np.bool_],
    per_mm: float,
) -> Reflection:
    """Find mirrored light on base and overlay.

    Each pixel's light is taken as B + s (O - B) + r (1, 1, 1), B and O being the light of base and
    overlay, s between 0 and 1 the share of overlay, and r what is mirrored; least squares over the
    three channels.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB.
    base, overlay : ndarray (3,)
        CIELAB.
    near : ndarray of bool (height, width)
        Where on the piece the patch and the base beside it lie.
    strange : ndarray of bool (height, width)
        Where neither base nor overlay is seen; no witness of a veil.
    per_mm : float
        Pixels to the mm.
    """
    rows, columns = (max(length // _COARSER, 1) for length in lab.shape[:2])
    small = cv2.resize(lab, (columns, rows), interpolation=cv2.INTER_AREA)
    inside = cv2.resize(near.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST) > 0
    other = cv2.resize(strange.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_AREA) > 0
    light, ends = to_linear(small), to_linear(np.stack([base, overlay]))
    grey = _grey_part(light, ends)
    own = np.maximum((light - grey[..., None]).mean(axis=2), 0)
    coarse = per_mm / _COARSER
    bright = grey > _LEAST_LIGHT + _LEAST_OF_OWN * own
    side = 2 * round(_ACROSS_MM * coarse / 2) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    found = cv2.morphologyEx((bright & inside).astype(np.uint8), cv2.MORPH_OPEN, disc)
    rim = 2 * round(_HALO_MM * coarse) + 1
    wide = cv2.dilate(found, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (rim, rim)))
    glare = cv2.resize(wide, lab.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    return Reflection(glare, _veil(grey, own, inside & ~other & (wide == 0), coarse))


def _grey_part(light: Raster, ends: Raster) -> Raster:
    """Light that is neither of base nor of overlay, smoothed a little, (height, width)."""
    towards = ends[1] - ends[0]
    grey = np.full(3, 1 / np.sqrt(3), np.float32)
    length = float(np.linalg.norm(towards))
    aside = towards - grey * float(towards @ grey)
    off = light - ends[0]
    if float(np.linalg.norm(aside)) > _APART * length:
        share = off @ aside / float(aside @ towards)
    else:
        share = off @ towards / max(length**2, 1e-9)
    share = np.clip(share, 0, 1)
    rest = off - share[..., None] * towards
    rest = cv2.GaussianBlur(rest, (0, 0), 0.8)
    # The least of the three channels decides: what adds much more to one of them is a colour.
    red, green, blue = cv2.split(rest)
    least = cv2.min(cv2.min(red, green), blue)
    most = cv2.max(cv2.max(red, green), blue)
    return np.where(least > _AS_GREY * most, least, np.minimum(least, 0))


def _veil(grey: Raster, own: Raster, used: NDArray[np.bool_], per_mm: float) -> float:
    if used.sum() < 100:
        return 0.0
    weight = used.astype(np.float32)
    around = (0, 0), _SOFT_MM * per_mm
    total = np.maximum(cv2.GaussianBlur(weight, *around), 1e-3)
    soft = (cv2.GaussianBlur(grey * weight, *around) / total)[used]
    low, high = np.quantile(soft, (0.05, 0.95))
    rise = float(high - low)
    return rise if rise > _VEIL + _VEIL_OF_OWN * float(np.median(own[used])) else 0.0


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
    grey = more.min(axis=2) > _ALL_CHANNELS * more.max(axis=2)
    own = donor.mean(axis=2)
    brighter = seen & grey & (more.mean(axis=2) > _MORE_LIGHT + _MORE_OF_OWN * own)
    mask = (brighter | (window.hidden & seen)).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    side = 2 * round(_BLEND_MM * PER_MM) + 1
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
