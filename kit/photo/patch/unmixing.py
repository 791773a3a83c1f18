"""How much of a pixel is overlay and how much is base, from their colours in CIELAB."""

from dataclasses import dataclass

import numpy as np

from kit.photo.raster import Raster, to_lab, to_linear

_STEPS = 65


@dataclass(frozen=True)
class Mixture:
    """Shares of overlay over a piece of picture.

    Parameters
    ----------
    share : ndarray (height, width)
        0 where the base alone shows, 1 where the overlay alone does; may pass both a little.
    foreign : ndarray (height, width)
        CIELAB distance of the pixel from every mixture of the two.
    """

    share: Raster
    foreign: Raster


def mixture(lab: Raster, base: Raster, overlay: Raster) -> Mixture:
    """Read each pixel as an areal mixture of base and overlay.

    A pixel that holds a share s of overlay sends s times its light and 1 - s times the base's. In
    CIELAB these mixtures lie on a curve from base to overlay. A pixel is carried to its foot on the
    chord of that curve, and the chord's length to the foot read back as a share.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
    base, overlay : ndarray (3,)
        CIELAB of base and of pure overlay, which must differ.
    """
    s = np.linspace(-0.25, 1.25, _STEPS, dtype=np.float32)[:, None]
    ends = to_linear(np.stack([base, overlay]))
    curve = to_lab(np.maximum((1 - s) * ends[0] + s * ends[1], 0)[:, None])[:, 0]
    chord = (overlay - base).astype(np.float32)
    square = float(chord @ chord)
    along = (curve - base) @ chord / square
    rising = np.maximum.accumulate(along) + np.arange(_STEPS, dtype=np.float32) * 1e-6
    foot = ((lab - base) @ chord) / np.float32(square)
    steps = np.linspace(-0.5, 1.5, 1024, dtype=np.float32)
    table = np.interp(steps, rising, s[:, 0]).astype(np.float32)
    index = np.clip((foot + 0.5) * (1023 / 2.0), 0, 1023).astype(np.int16)
    share = table[index]
    fine = np.linspace(-0.25, 1.25, 256)
    mixed = np.stack([np.interp(fine, s[:, 0], channel) for channel in curve.T], axis=1)
    nearest = mixed.astype(np.float32)[((share + 0.25) * (255 / 1.5)).astype(np.int16)]
    off = lab - nearest
    square_off = sum(off[..., channel] ** 2 for channel in range(3))
    return Mixture(share, np.sqrt(square_off))
