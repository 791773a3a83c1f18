"""Light and texture for invented pictures: linear light, L* and noise of a chosen scale."""

import cv2
import numpy as np
from scipy import fft

from kit.photo import Raster


def linear_light(rgb: tuple[float, float, float]) -> Raster:
    """Turn an sRGB colour (0 to 1) into linear light (IEC 61966-2-1)."""
    value = np.asarray(rgb, np.float64)
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


def display_values(linear: Raster) -> Raster:
    """Turn linear light (0 to 1) into sRGB values (IEC 61966-2-1)."""
    value: Raster = np.clip(linear, 0, 1).astype(np.float32)
    bright: Raster = 1.055 * cv2.pow(value, 1 / 2.4) - 0.055
    return np.where(value <= 0.0031308, 12.92 * value, bright)


def lightness_shifted(linear: Raster, shift: Raster) -> Raster:
    """Raise or lower the L* of a picture in linear light, its hue kept."""
    if not np.any(shift):
        return linear
    lab = cv2.cvtColor(np.ascontiguousarray(linear), cv2.COLOR_LRGB2Lab)
    lab[..., 0] = np.clip(lab[..., 0] + shift, 0, 100)
    return np.clip(cv2.cvtColor(lab, cv2.COLOR_Lab2LRGB), 0, 1)


def band_noise(
    shape: tuple[int, ...],
    pixels_per_mm: float,
    shortest_mm: float,
    longest_mm: float,
    rng: np.random.Generator,
) -> Raster:
    """Give normal noise of mean 0 and standard deviation 1 with waves of these lengths only."""
    rows, columns = (fft.next_fast_len(size, real=True) for size in shape[:2])
    step = 1 / pixels_per_mm
    frequency = np.hypot(fft.fftfreq(rows, step)[:, None], fft.rfftfreq(columns, step))
    kept = ((frequency >= 1 / longest_mm) & (frequency <= 1 / shortest_mm)).astype(np.float32)
    spectrum = fft.rfft2(rng.standard_normal((rows, columns), np.float32)) * kept
    noise = fft.irfft2(spectrum, (rows, columns))[: shape[0], : shape[1]]
    return (noise - noise.mean()) / noise.std()
