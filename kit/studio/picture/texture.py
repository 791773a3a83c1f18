"""Light and texture for invented pictures: lightness and noise of a chosen scale."""

import numpy as np
from scipy import fft

from kit.photo import Raster, to_lab, to_linear


def lightness_shifted(linear: Raster, shift: Raster) -> Raster:
    """Raise or lower the L* of a picture in linear light, its hue kept."""
    if not np.any(shift):
        return linear
    lab = to_lab(linear)
    lab[..., 0] = np.clip(lab[..., 0] + shift, 0, 100)
    return np.clip(to_linear(lab), 0, 1)


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
    normal: Raster = (noise - noise.mean()) / noise.std()
    return normal
