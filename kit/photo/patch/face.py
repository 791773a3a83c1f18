"""The face of the patch: how much base shows, how mottled it is, and what colour it has."""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from kit.photo.raster import Raster

MOTTLE_BANDS_MM = {"mottle_fine": (0.5, 1.5), "mottle_coarse": (1.5, 5.0)}
"""Shortest and longest wave, mm, of the lightness that each mottle column counts."""

_PIXELS_A_WAVE = 6
_LEAST_PIXELS = 60

_CLEAR = 0.2
"""Shares within this of pure overlay or pure base count as pure, so that noise adds nothing."""

_RIM_MM = 0.22
"""The camera's blur spreads a hole over about so much round it: there parts count as they are."""

_SHOWN = 0.4


def pull_through(share: Raster, core: NDArray[np.bool_], per_mm: float) -> float:
    """Give the share of the core in which the base shows, 0 to 1; nan for an empty core.

    Parameters
    ----------
    share : ndarray (height, width)
        Share of overlay in each pixel.
    core : ndarray of bool (height, width)
    per_mm : float
        Pixels to the mm.
    """
    if not core.any():
        return float("nan")
    base = 1 - share
    side = 2 * round(_RIM_MM * per_mm) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    near_base, near_overlay = (
        cv2.dilate(mark.astype(np.uint8), disc) > 0 for mark in (base > _SHOWN, base < 1 - _SHOWN)
    )
    plain = core & ~near_base
    # What pure overlay reads as, a little above or below nothing, is taken off where parts count.
    level = float(np.median(base[plain])) if plain.sum() > _LEAST_PIXELS else 0.0
    counted = (base - level) / (1 - level)
    counted[(base < _CLEAR) & ~near_base] = 0.0
    counted[(base > 1 - _CLEAR) & ~near_overlay] = 1.0
    return float(np.clip(counted[core].mean(), 0, 1))


def mottle(
    lightness: Raster,
    used: NDArray[np.bool_],
    per_mm: float,
    band_mm: tuple[float, float],
) -> float:
    """Give the standard deviation of L* at waves of the band's lengths, inside the core.

    Waves are told apart by their Fourier transform. Pixels not used are first given the lightness
    around them, so that a hole or the core's edge adds no waves of its own.

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
    coarser = max(int(band_mm[0] * per_mm / _PIXELS_A_WAVE), 1)
    size = used.shape[1] // coarser, used.shape[0] // coarser
    weight: Raster = cv2.resize(used.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    middle = float(np.mean(lightness[used])) if used.any() else 0.0
    level: Raster = cv2.resize(
        np.where(used, lightness - middle, 0).astype(np.float32),
        size,
        interpolation=cv2.INTER_AREA,
    )
    known = weight > 0.5
    if known.sum() < _LEAST_PIXELS:
        return float("nan")
    step = coarser / per_mm
    around = (0, 0), band_mm[1] / 2 / step
    filled = cv2.GaussianBlur(level, *around) / np.maximum(cv2.GaussianBlur(weight, *around), 0.1)
    filled[known] = (level[known] / weight[known]).astype(np.float32)
    rows, columns = (fft.next_fast_len(length, real=True) for length in filled.shape)
    frequency = np.hypot(fft.fftfreq(rows, step)[:, None], fft.rfftfreq(columns, step))
    kept = (frequency >= 1 / band_mm[1]) & (frequency <= 1 / band_mm[0])
    whole = fft.irfft2(fft.rfft2(filled, (rows, columns)) * kept, (rows, columns))
    waves = whole[: filled.shape[0], : filled.shape[1]]
    # Near a hole part of each wave is missing, and its power with it.
    power = float((waves[known] ** 2).sum())
    there = cv2.GaussianBlur(weight, (0, 0), sum(band_mm) / 12 / step)
    return float(np.sqrt(power / there[known].sum()))
