"""A picture in memory: its type, its values (sRGB, linear light, CIELAB), and planes redrawn."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage.color import deltaE_ciede2000

from kit.photo.card.card_geometry import Box

Raster = NDArray[Any]
"""A picture or one of its layers. OpenCV's type hints leave the number type open, so docstrings
give it."""


def linear_light(srgb: ArrayLike) -> Raster:
    """Turn sRGB values (0 to 1) into linear light (IEC 61966-2-1), float32 of the same shape."""
    value = np.asarray(srgb, np.float64)
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


def srgb_values(linear: Raster) -> Raster:
    """Turn linear light, clipped to 0 to 1, into sRGB values (IEC 61966-2-1)."""
    value: Raster = np.clip(linear, 0, 1).astype(np.float32)
    bright: Raster = 1.055 * cv2.pow(value, 1 / 2.4) - 0.055
    return np.where(value <= 0.0031308, 12.92 * value, bright)


def to_lab(linear: Raster) -> Raster:
    """CIELAB (D65, 2 degrees) of sRGB primaries in linear light, paper being white."""
    return cv2.cvtColor(np.ascontiguousarray(linear, np.float32), cv2.COLOR_LRGB2Lab)


def to_linear(lab: Raster) -> Raster:
    """Undo `to_lab`, without clipping; of the same shape, (..., 3)."""
    rows = np.asarray(lab, np.float32).reshape(-1, 1, 3)
    return cv2.cvtColor(rows, cv2.COLOR_Lab2LRGB).reshape(np.shape(lab))


def colour_shift(before: ArrayLike, after: ArrayLike) -> NDArray[np.float64]:
    """CIEDE2000 difference of CIELAB colours, (..., 3) each (CIE 142-2001; ISO/CIE 11664-6)."""
    pair = np.broadcast_arrays(np.asarray(before, float), np.asarray(after, float))
    return np.asarray(deltaE_ciede2000(*pair))


def redraw(pixels: Raster, view: NDArray[np.float64], box: Box, per_mm: float) -> Raster:
    """Redraw a box of a plane as seen from straight above, `per_mm` pixels to the mm."""
    to_mm = np.array(
        [
            [1 / per_mm, 0, box.x_mm + 0.5 / per_mm],
            [0, 1 / per_mm, box.y_mm + 0.5 / per_mm],
            [0, 0, 1],
        ]
    )
    size = max(round(box.width_mm * per_mm), 1), max(round(box.height_mm * per_mm), 1)
    return cv2.warpPerspective(
        pixels, view @ to_mm, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )


SRGB_TO_LINEAR = linear_light(np.arange(256) / 255)
"""Linear light of each 8-bit sRGB value, (256,)."""
