"""The face of the patch: how much base shows, how mottled it is, and what colour it has."""

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000

from kit.photo.raster import Raster

MOTTLE_BANDS_MM = {"mottle_fine": (0.5, 1.5), "mottle_coarse": (1.5, 5.0)}
"""Shortest and longest wave, mm, of the lightness that each mottle column counts."""

_CLEAR = 0.2
"""Shares within this of pure overlay or pure base count as pure, so that noise adds nothing."""


def pull_through(share: Raster, core: NDArray[np.bool_]) -> float:
    """Give the share of the core in which the base shows, 0 to 1; nan for an empty core.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay in each pixel.
    core : ndarray of bool (height, width)
    """
    if not core.any():
        return float("nan")
    base = 1 - share[core]
    counted = np.where(base < _CLEAR, 0.0, np.where(base > 1 - _CLEAR, 1.0, base))
    return float(counted.mean())


def mottle(
    lightness: Raster,
    used: NDArray[np.bool_],
    per_mm: float,
    band_mm: tuple[float, float],
) -> float:
    """Give the standard deviation of L* at waves of the band's lengths, inside the core.

    The band is the difference of two Gaussian blurs, in which pixels not used have no weight. The
    result is scaled so that even noise within the band reads its own standard deviation.

    Parameters
    ----------
    lightness : ndarray (height, width)
        L*.
    used : ndarray of bool (height, width)
    per_mm : float
        Pixels to the mm.
    band_mm : tuple of float
        Shortest and longest wave.
    """
    if used.sum() < 200:
        return float("nan")
    short, long = band_mm[0] * 0.25, band_mm[1] * 0.2
    weight: Raster = used.astype(np.float32)
    level: Raster = np.where(used, lightness, 0).astype(np.float32)
    coarser = max(int(short * per_mm), 1)
    if coarser > 1:
        size = used.shape[1] // coarser, used.shape[0] // coarser
        weight = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
        level = cv2.resize(level, size, interpolation=cv2.INTER_AREA)
        used, per_mm = weight > 0.5, per_mm / coarser
    blurred = [
        cv2.GaussianBlur(level, (0, 0), s * per_mm)
        / np.maximum(cv2.GaussianBlur(weight, (0, 0), s * per_mm), 1e-3)
        for s in (short, long)
    ]
    return float(np.std((blurred[0] - blurred[1])[used]) / _gain(short, long, band_mm))


def _gain(short: float, long: float, band_mm: tuple[float, float]) -> float:
    """What the band lets through of noise that is even over it."""
    f = np.linspace(1 / band_mm[1], 1 / band_mm[0], 200)
    passed = np.exp(-2 * (np.pi * short * f) ** 2) - np.exp(-2 * (np.pi * long * f) ** 2)
    return float(np.sqrt((f * passed**2).sum() / f.sum()))


def colour_shift(before: NDArray[np.floating], after: NDArray[np.floating]) -> NDArray[np.float64]:
    """CIEDE2000 difference of CIELAB colours, (..., 3) each (CIE 142-2001; ISO/CIE 11664-6)."""
    return np.asarray(deltaE_ciede2000(np.asarray(before, float), np.asarray(after, float)))
