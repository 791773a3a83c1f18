"""An invented telephone camera and its lamp.

Where they stand, the light, the shadow and the mirror image, and what the camera's chip makes of
it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo import Raster, srgb_values
from kit.studio.fired_tile import TILE_PIXELS_PER_MM, TileLook, band_noise

_FILM_DIAGONAL_MM = 43.27
_SHARPENED_PX = 1.5


@dataclass(frozen=True)
class Camera:
    """Where the camera stands and what it does to the light.

    Parameters
    ----------
    width_px, height_px : int
    focal_35mm : float
        Focal length as for 35 mm film, which fixes the angle of view.
    fill : float
        Share of the picture's width that the card takes up.
    tilt_deg, pan_deg, roll_deg : float
        Lean away from straight above, about the picture's two axes, and turn in its plane.
    offset_mm : tuple of float
        Where on the card, from its middle, the camera points.
    blur_px : float
        Standard deviation of the lens's blur.
    shake_px : float
        Length of a sideways shake while the shutter is open.
    noise : float
        Shot noise: variance per unit of signal.
    barrel : float
        Barrel distortion at the picture's corner, as a share of the distance from the middle.
    contrast : float
        Strength of the camera's own S-shaped tone curve, 0 for none.
    sharpening : float
        Strength of the camera's own sharpening, which draws halos along edges; 0 for none.
    """

    width_px: int = 4000
    height_px: int = 3000
    focal_35mm: float = 26.0
    fill: float = 0.85
    tilt_deg: float = 0.0
    pan_deg: float = 0.0
    roll_deg: float = 0.0
    offset_mm: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.9
    shake_px: float = 0.0
    noise: float = 1e-4
    barrel: float = 0.0
    contrast: float = 0.15
    sharpening: float = 0.0

    @property
    def focal_px(self) -> float:
        return self.focal_35mm / _FILM_DIAGONAL_MM * float(np.hypot(self.width_px, self.height_px))

    def view(self, card_mm: tuple[float, float], height_mm: float) -> NDArray[np.float64]:
        """Map from card mm, on a plane `height_mm` above the card, to pixels (3, 3)."""
        distance = self.focal_px * card_mm[0] / (self.fill * self.width_px)
        turn = _about(2, self.roll_deg) @ _about(0, self.tilt_deg) @ _about(1, self.pan_deg)
        middle = np.array(card_mm) / 2 + np.array(self.offset_mm)
        raised = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, -height_mm]])
        placed = turn @ raised + np.array([[0, 0, 0], [0, 0, 0], [0, 0, distance]])
        lens = np.array(
            [
                [self.focal_px, 0, self.width_px / 2],
                [0, self.focal_px, self.height_px / 2],
                [0, 0, 1],
            ]
        )
        view: NDArray[np.float64] = lens @ placed
        return view


def shown_from(
    drawing: Raster, view: NDArray[np.float64], per_mm: float, size: tuple[int, int]
) -> Raster:
    """Show a drawing that lies on a plane; one much finer than the picture is shrunk first."""
    middle = np.array(drawing.shape[1::-1]) / per_mm / 2
    step = cv2.perspectiveTransform(np.array([[middle, middle + 0.5]]), view)[0]
    while per_mm > 1.5 * np.linalg.norm(step[1] - step[0]) * np.sqrt(2):
        drawing = cv2.resize(drawing, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        per_mm /= 2
    to_mm = np.array([[1 / per_mm, 0, 0.5 / per_mm], [0, 1 / per_mm, 0.5 / per_mm], [0, 0, 1]])
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    return cv2.warpPerspective(drawing, half @ view @ to_mm, size, flags=cv2.INTER_LINEAR)


def expose(light: Raster, camera: Camera, exposure: float, rng: np.random.Generator) -> Raster:
    """Turn light at the lens into the picture's 8-bit values: blur, shake, noise, tone."""
    seen = cv2.GaussianBlur(light, (0, 0), camera.blur_px) if camera.blur_px else light
    if camera.shake_px >= 1:
        length = 2 * int(camera.shake_px / 2) + 1
        seen = cv2.filter2D(seen, -1, np.full((1, length), 1 / length, np.float32))
    signal = seen * np.float32(exposure)
    noise = rng.standard_normal(signal.shape, np.float32)
    signal = signal + noise * np.sqrt(camera.noise * np.clip(signal, 0, 1) + 1e-6)
    value = srgb_values(signal.astype(np.float32))
    value = value + camera.contrast * (3 * value**2 - 2 * value**3 - value)
    if camera.sharpening:
        soft = cv2.GaussianBlur(value, (0, 0), _SHARPENED_PX)
        value = value + camera.sharpening * (value - soft)
    values: Raster = np.clip(np.rint(value * 255), 0, 255).astype(np.uint8)
    return values


def distorted(picture: Raster, camera: Camera) -> Raster:
    """Bend a picture as a barrel lens does."""
    if not camera.barrel:
        return picture
    rows, columns = picture.shape[:2]
    x, y = np.meshgrid(
        np.arange(columns, dtype=np.float32) - columns / 2,
        np.arange(rows, dtype=np.float32) - rows / 2,
    )
    reach = (x**2 + y**2) / (columns**2 + rows**2) * 4
    stretch = 1 + np.float32(camera.barrel) * reach
    return cv2.remap(
        picture,
        x * stretch + columns / 2,
        y * stretch + rows / 2,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _about(axis: int, degrees: float) -> NDArray[np.float64]:
    vector = np.zeros(3)
    vector[axis] = np.deg2rad(degrees)
    return np.asarray(cv2.Rodrigues(vector)[0], np.float64)


_MIRROR_PER_MM = 16.0
_PHONE_MM = (26.0, 60.0)
"""What is mirrored stands as far behind the tile as it is before it: half its size is seen."""


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
    pane : float
        Light of a window mirrored in the tile, white paper being about 0.86; 0 for none.
    pane_mm : tuple of float
        Size of its mirror image; a bar divides it each way.
    pane_at_mm : tuple of float
        Where its middle lies, from the middle of the tile.
    veil : float
        Light of a bright sky or ceiling mirrored in the tile, strongest at one side.
    veil_side_deg : float
        Towards which side, clockwise from the right.
    phone : bool
        Whether the telephone itself is mirrored, dark in the veil.
    ripple_mm : float
        How far the glaze's orange peel bends what is mirrored.
    """

    lamp_mm: tuple[float, float, float] = (-250.0, -200.0, 500.0)
    ambient: float = 0.3
    tint: tuple[float, float, float] = (1.0, 0.97, 0.9)
    exposure: float = 0.9
    glare_mm: float = 0.0
    glare_at_mm: tuple[float, float] = (8.0, -6.0)
    shadow: float = 0.0
    pane: float = 0.0
    pane_mm: tuple[float, float] = (14.0, 18.0)
    pane_at_mm: tuple[float, float] = (-9.0, -7.0)
    veil: float = 0.0
    veil_side_deg: float = 20.0
    phone: bool = False
    ripple_mm: float = 0.15

    @property
    def mirrors(self) -> bool:
        """Whether anything is mirrored in the tile."""
        return bool(self.glare_mm or self.pane or self.veil)


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
    light: Raster = even[..., None] * np.asarray(lighting.tint, np.float32)
    return light


def mirror_image(
    look: TileLook,
    lighting: Lighting,
    raised: NDArray[np.float64],
    size: tuple[int, int],
    rng: np.random.Generator,
) -> Raster:
    """What the glass mirrors, the lamp, a window, the sky, the telephone: what it adds in light."""
    shape = (
        round(look.blank.height_mm * _MIRROR_PER_MM),
        round(look.blank.width_mm * _MIRROR_PER_MM),
    )
    x, y = np.meshgrid(
        (np.arange(shape[1]) + 0.5) / _MIRROR_PER_MM - look.blank.width_mm / 2,
        (np.arange(shape[0]) + 0.5) / _MIRROR_PER_MM - look.blank.height_mm / 2,
    )
    if lighting.ripple_mm:
        x = x + lighting.ripple_mm * band_noise(shape, _MIRROR_PER_MM, 0.8, 4.0, rng)
        y = y + lighting.ripple_mm * band_noise(shape, _MIRROR_PER_MM, 0.8, 4.0, rng)
    light = np.zeros(shape)
    if lighting.glare_mm:
        across, down = lighting.glare_at_mm
        off = np.hypot(x - across, (y - down) * 1.4)
        light += 6.0 / (1 + np.exp((off - lighting.glare_mm) / 0.3))
    if lighting.pane:
        light += lighting.pane * _pane(
            x - lighting.pane_at_mm[0], y - lighting.pane_at_mm[1], lighting
        )
    if lighting.veil:
        side = np.deg2rad(lighting.veil_side_deg)
        towards = (x * np.cos(side) + y * np.sin(side)) / (look.blank.width_mm / 2)
        sky = lighting.veil / (1 + np.exp(-2.5 * towards))
        light += sky * (1 - _inside(x, y, _PHONE_MM)) if lighting.phone else sky
    return shown_from(light.astype(np.float32), raised, _MIRROR_PER_MM, size)


def _pane(x: Raster, y: Raster, lighting: Lighting) -> Raster:
    bars = np.maximum(_inside(x, y, (1.0, 1e3)), _inside(x, y, (1e3, 1.0)))
    glass: Raster = _inside(x, y, lighting.pane_mm) * (1 - bars)
    return glass


def _inside(x: Raster, y: Raster, extent_mm: tuple[float, float]) -> Raster:
    """1 inside a rectangle about the middle, 0 outside, over a tenth of a millimetre."""
    beyond = np.maximum(np.abs(x) - extent_mm[0] / 2, np.abs(y) - extent_mm[1] / 2)
    return np.clip(0.5 - beyond / 0.1, 0, 1)
