"""The lamp over an invented photograph: its light, its shadow and its mirror image."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo import Raster
from kit.studio.picture.camera import shown_from
from kit.studio.picture.fired_tile import PIXELS_PER_MM as TILE_PIXELS_PER_MM
from kit.studio.picture.fired_tile import TileLook


@dataclass(frozen=True)
class Lighting:
    """The lamp, and what it does that it should not.

    Parameters
    ----------
    lamp_mm : tuple of float
        Where the lamp stands from the middle of the card: right, down, up.
    ambient : float
        Share of the light that comes evenly from everywhere.
    tint : tuple of float
        Colour of the light and of the camera's white balance together: red, green, blue.
    exposure : float
        Signal of white paper under the brightest light is about 0.86 times this.
    glare_mm : float
        Radius of the lamp's mirror image on the tile; 0 for none.
    glare_at_mm : tuple of float
        Where it lies, from the middle of the tile.
    shadow : float
        Depth of a hard shadow across the card's right part; 0 for none.
    """

    lamp_mm: tuple[float, float, float] = (-250.0, -200.0, 500.0)
    ambient: float = 0.3
    tint: tuple[float, float, float] = (1.0, 0.97, 0.9)
    exposure: float = 0.9
    glare_mm: float = 0.0
    glare_at_mm: tuple[float, float] = (8.0, -6.0)
    shadow: float = 0.0


def contact_shadow(cover: Raster, under: NDArray[np.float64], size: tuple[int, int]) -> Raster:
    """The shadow that the tile throws on the card at its rim, as a share of the light left."""
    shift = np.eye(3)
    shift[:2, 2] = (0.7, 0.6)
    shadow = cv2.copyMakeBorder(cover, 80, 80, 80, 80, cv2.BORDER_CONSTANT)
    back = np.eye(3)
    back[:2, 2] = -80 / TILE_PIXELS_PER_MM
    soft = cv2.GaussianBlur(shadow, (0, 0), 20)
    return 1 - 0.45 * shown_from(soft, under @ shift @ back, TILE_PIXELS_PER_MM, size)[..., None]


def _places(flat: NDArray[np.float64], size: tuple[int, int]) -> tuple[Raster, Raster]:
    """Card mm seen at each pixel of the picture, at a sixteenth of its size."""
    x, y = np.meshgrid(
        np.arange(size[0] // 16, dtype=np.float64) * 16 + 8,
        np.arange(size[1] // 16, dtype=np.float64) * 16 + 8,
    )
    seen = np.linalg.inv(flat) @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    return (seen[0] / seen[2]).reshape(x.shape), (seen[1] / seen[2]).reshape(x.shape)


def light_on(
    lighting: Lighting,
    extent: tuple[float, float],
    flat: NDArray[np.float64],
    size: tuple[int, int],
) -> Raster:
    """A near lamp (cosine over distance squared), even light, and the lens's dark corners."""
    x, y = _places(flat, size)
    across, down, up = lighting.lamp_mm
    reach = (x - extent[0] / 2 - across) ** 2 + (y - extent[1] / 2 - down) ** 2 + up**2
    lamp = (across**2 + down**2 + up**2) ** 1.5 / reach**1.5
    field_ = lighting.ambient + (1 - lighting.ambient) * lamp
    rows, columns = x.shape
    off = np.hypot(*np.meshgrid(np.linspace(-1, 1, columns), np.linspace(-1, 1, rows)))
    field_ = field_ * (1 - 0.12 * off**2)
    if lighting.shadow:
        edge = np.clip((x + 0.4 * y - 0.75 * extent[0]) / 3.0, 0, 1)
        field_ = field_ * (1 - lighting.shadow * edge)
    even = cv2.resize(field_.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    return even[..., None] * np.asarray(lighting.tint, np.float32)


def mirror_image(
    look: TileLook, lighting: Lighting, raised: NDArray[np.float64], size: tuple[int, int]
) -> Raster:
    """The lamp mirrored in the glass: what it adds to the tile's own light."""
    x, y = _places(raised, size)
    off = np.hypot(
        x - look.blank.width_mm / 2 - lighting.glare_at_mm[0],
        (y - look.blank.height_mm / 2 - lighting.glare_at_mm[1]) * 1.4,
    )
    spot = 6.0 / (1 + np.exp((off - lighting.glare_mm) / 0.3))
    return cv2.resize(spot.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
