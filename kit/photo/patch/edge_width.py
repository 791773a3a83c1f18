"""How sharply an edge ends: its 10-90 % width."""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster

_PROFILE_MM = 2.5
_PROFILE_STEP_MM = 0.025
_LEAST_PIXELS = 30
_ALONG_SLOPE = 0.85


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
    away, level = _by_distance(share, whole, left_out, _PROFILE_MM * per_mm)
    away = away / per_mm
    bins = ((away + _PROFILE_MM) / _PROFILE_STEP_MM).astype(int)
    size = round(2 * _PROFILE_MM / _PROFILE_STEP_MM)
    count = np.bincount(bins, minlength=size)[:size]
    totals = [np.bincount(bins, weights=part, minlength=size)[:size] for part in (away, level)]
    known = count > _LEAST_PIXELS
    if known.sum() < 10:
        return float("nan")
    place, mean = (total[known] / count[known] for total in totals)
    high = np.median(mean[place < -0.6 * _PROFILE_MM]) if (place < -1.5).any() else 1.0
    low = np.median(mean[place > 0.6 * _PROFILE_MM]) if (place > 1.5).any() else 0.0
    high, low = np.clip(high, 0.85, 1.05), np.clip(low, -0.05, 0.15)
    scaled = (mean - low) / (high - low)
    ends = [_falls_through(place, scaled, at) for at in (0.9, 0.1)]
    return float(ends[1] - ends[0])


def _by_distance(
    share: Raster, whole: NDArray[np.bool_], left_out: NDArray[np.bool_], furthest: float
) -> tuple[Raster, Raster]:
    """Give distance from the edge, in pixels and negative within, and share of the pixels near it.

    The half-way line passes between pixels. From the nearest pixel across the edge it is found by
    the slope of the share there, and the distance taken along that slope.
    """
    across, down = (cv2.Sobel(share, cv2.CV_32F, *way) / 8 for way in ((1, 0), (0, 1)))
    slope = np.maximum(np.hypot(across, down), 1e-3)
    past = np.clip((0.5 - share) / slope, -1, 1)
    distances, levels = [], []
    for side in (whole, ~whole):
        mask = side.astype(np.uint8)
        rough, label = cv2.distanceTransformWithLabels(
            mask, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
        )
        other = np.nonzero(mask == 0)
        index = np.zeros(other[0].size + 1, np.int64)
        index[label[other]] = np.arange(other[0].size)
        row, column = np.nonzero(side & ~left_out & (rough < furthest))
        nearest = index[label[row, column]]
        y, x = other[0][nearest], other[1][nearest]
        ahead = ((column - x) * across[y, x] + (row - y) * down[y, x]) / slope[y, x]
        # Where the slope points elsewhere, this is no plain edge but a hole's rim or noise.
        plain = np.abs(ahead) > _ALONG_SLOPE * rough[row, column]
        distances.append((past[y, x] - ahead)[plain])
        levels.append(share[row, column][plain])
    away, level = np.concatenate(distances), np.concatenate(levels)
    kept = np.abs(away) < furthest
    return away[kept], level[kept]


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
