"""How sharply an edge ends: its 10-90 % width."""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster

_PROFILE_MM = 2.5
_PROFILE_STEP_MM = 0.05
_LEAST_PIXELS = 20


def transition_width(
    share: Raster,
    whole: NDArray[np.bool_],
    left_out: NDArray[np.bool_],
    per_mm: float,
) -> float:
    """Give the 10-90 % width of an edge, mm, averaged along the whole of it.

    Shares are averaged by distance from the edge, as the slanted edge of ISO 12233 is, so that the
    width is found to less than a pixel and an edge that wanders is not called wide.

    Parameters
    ----------
    share : ndarray (height, width)
    whole : ndarray of bool (height, width)
        One side of the edge.
    left_out : ndarray of bool (height, width)
        Pixels not to be used.
    per_mm : float

    Returns
    -------
    float
        nan when the edge is nowhere seen from 10 to 90 %.
    """
    mask = whole.astype(np.uint8)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    outer = cv2.distanceTransform(1 - mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    away = (np.where(whole, 0.5 - inner, outer - 0.5)) / per_mm
    used = (np.abs(away) < _PROFILE_MM) & ~left_out
    bins = ((away[used] + _PROFILE_MM) / _PROFILE_STEP_MM).astype(int)
    size = round(2 * _PROFILE_MM / _PROFILE_STEP_MM)
    count = np.bincount(bins, minlength=size)[:size]
    total = np.bincount(bins, weights=share[used], minlength=size)[:size]
    known = count > _LEAST_PIXELS
    if known.sum() < 10:
        return float("nan")
    middle = -_PROFILE_MM + (np.arange(size) + 0.5) * _PROFILE_STEP_MM
    place, level = middle[known], total[known] / count[known]
    high = np.median(level[place < -0.6 * _PROFILE_MM]) if (place < -1.5).any() else 1.0
    low = np.median(level[place > 0.6 * _PROFILE_MM]) if (place > 1.5).any() else 0.0
    high, low = np.clip(high, 0.85, 1.05), np.clip(low, -0.05, 0.15)
    scaled = (level - low) / (high - low)
    ends = [_falls_through(place, scaled, at) for at in (0.9, 0.1)]
    return float(ends[1] - ends[0])


def _falls_through(place: Raster, level: Raster, at: float) -> float:
    """Where a falling profile passes a level, looked for outward from its middle."""
    start = int(np.argmin(np.abs(place)))
    if at > 0.5:
        rows = np.nonzero(level[: start + 1] >= at)[0]
        first = rows[-1] if rows.size else -1
    else:
        rows = np.nonzero(level[start:] <= at)[0]
        first = start + rows[0] - 1 if rows.size else -1
    if first < 0 or first + 1 >= place.size or level[first] == level[first + 1]:
        return float("nan")
    part = (level[first] - at) / (level[first] - level[first + 1])
    return float(place[first] + part * (place[first + 1] - place[first]))


def width_without(width_mm: float, blur_mm: float) -> float:
    """Take the camera's own blur off an edge width: 10-90 % widths add as squares."""
    return float(np.sqrt(max(width_mm**2 - blur_mm**2, 0.0)))
