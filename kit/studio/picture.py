"""Photographs of invented tiles on the photo card, with the truth beside them.

Used to teach what a good picture is, and to test and time the code that measures pictures: the
tile is drawn from formulas, seen by a pinhole camera under a near lamp, and developed as a
telephone would.
"""

from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image

from kit.photo.card import Card, PrintScale
from kit.photo.raster import Raster
from kit.studio.picture_camera import Camera, distorted, expose
from kit.studio.picture_card import PIXELS_PER_MM as CARD_PIXELS_PER_MM
from kit.studio.picture_card import draw_card
from kit.studio.picture_texture import band_noise
from kit.studio.picture_tile import PIXELS_PER_MM as TILE_PIXELS_PER_MM
from kit.studio.picture_tile import PatchLook, TileLook, draw_tile

__all__ = ["Camera", "Lighting", "PatchLook", "Photograph", "Setting", "TileLook", "photograph"]

_TABLE = np.array([0.23, 0.14, 0.08], np.float32)
_SKIN = np.array([0.55, 0.33, 0.25], np.float32)
_GLAZE_MM = 0.3
"""Enamel stands about this much above the copper (common practice, no source)."""


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


@dataclass(frozen=True)
class Setting:
    """How the tile, the slips and the hand lie.

    Parameters
    ----------
    tile, firing : int or None
        What the slips say; None for a slip left out.
    turn_deg, shift_mm : float, tuple of float
        How the tile lies in the window, from square and middle.
    finger_mm : tuple of float or None
        Where a fingertip lies on the card, mm from its top left corner; it comes in from below.
    print_scale : PrintScale
        What the printer made of the card.
    """

    tile: int | None = 1
    firing: int | None = 1
    turn_deg: float = 1.5
    shift_mm: tuple[float, float] = (0.8, -0.6)
    finger_mm: tuple[float, float] | None = None
    print_scale: PrintScale = field(default_factory=PrintScale)


@dataclass(frozen=True)
class Photograph:
    """A picture and what a perfect measurement of it would read.

    Parameters
    ----------
    pixels : ndarray of uint8 (height, width, 3)
        RGB.
    truth : DataFrame
        One row per patch: patch, position, spread_mm, spread_p95_mm, edge_width_mm,
        pull_through_share, mottle_fine, mottle_coarse.
    """

    pixels: Raster
    truth: pd.DataFrame

    def save(self, path: Path, quality: int = 92, exif: Image.Exif | None = None) -> None:
        """Write the picture as its suffix says, a JPEG at this quality."""
        Image.fromarray(self.pixels).save(path, quality=quality, exif=exif or Image.Exif())


def photograph(
    look: TileLook,
    card: Card,
    seed: int,
    *,
    retake: int = 0,
    camera: Camera | None = None,
    lighting: Lighting | None = None,
    setting: Setting | None = None,
) -> Photograph:
    """Photograph an invented tile.

    Parameters
    ----------
    look : TileLook
    card : Card
    seed : int
        Fixes the tile: where its patches lie, the line of their edges, their holes.
    retake : int
        Fixes what differs between two pictures of one tile: the noise and how the slips lie.
    camera, lighting, setting : Camera, Lighting, Setting, optional

    Returns
    -------
    Photograph
    """
    camera, lighting, setting = camera or Camera(), lighting or Lighting(), setting or Setting()
    rng = np.random.default_rng([seed, retake + 1])
    surface, cover, truth = draw_tile(look, np.random.default_rng(seed))
    size = camera.width_px, camera.height_px
    scale = setting.print_scale
    extent = card.width_mm * scale.across, card.height_mm * scale.down
    flat = camera.view(extent, 0.0)
    scene = _card_scene(card, setting, flat, size, rng)
    lying = _tile_to_card(look, card, setting)
    risen = look.blank.thickness_mm + _GLAZE_MM
    raised = camera.view(extent, risen) @ lying
    scene *= _contact_shadow(cover, flat @ lying, size)
    shown = _warp(cover, raised, TILE_PIXELS_PER_MM, size)[..., None]
    scene += (_warp(surface, raised, TILE_PIXELS_PER_MM, size) - scene) * shown
    light = _light(lighting, extent, flat, size)
    if lighting.glare_mm:
        scene += _glare(look, lighting, raised, size)[..., None] * shown
    if setting.finger_mm is not None:
        _lay_finger(scene, setting.finger_mm, flat)
    scene *= light
    return Photograph(expose(distorted(scene, camera), camera, lighting.exposure, rng), truth)


def _warp(
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


def _card_scene(
    card: Card,
    setting: Setting,
    flat: NDArray[np.float64],
    size: tuple[int, int],
    rng: np.random.Generator,
) -> Raster:
    sheet = draw_card(card, setting.print_scale, setting.tile, setting.firing, rng)
    shown = _warp(np.ones_like(sheet), flat, CARD_PIXELS_PER_MM, size)
    grain = cv2.resize(band_noise((size[1] // 8, size[0] // 8), 1.0, 4.0, 200.0, rng), size)
    table = _TABLE * (1 + 0.25 * grain[..., None])
    printed = _warp(sheet, flat, CARD_PIXELS_PER_MM, size)
    return (table * (1 - shown[..., None]) + printed[..., None]).astype(np.float32)


def _tile_to_card(look: TileLook, card: Card, setting: Setting) -> NDArray[np.float64]:
    window = card.window
    middle = (
        (window.x_mm + window.width_mm / 2) * setting.print_scale.across + setting.shift_mm[0],
        (window.y_mm + window.height_mm / 2) * setting.print_scale.down + setting.shift_mm[1],
    )
    angle = np.deg2rad(setting.turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    move = np.eye(3)
    move[:2, :2] = turn
    move[:2, 2] = np.array(middle) - turn @ [look.blank.width_mm / 2, look.blank.height_mm / 2]
    return move


def _contact_shadow(cover: Raster, under: NDArray[np.float64], size: tuple[int, int]) -> Raster:
    shift = np.eye(3)
    shift[:2, 2] = (0.7, 0.6)
    shadow = cv2.copyMakeBorder(cover, 80, 80, 80, 80, cv2.BORDER_CONSTANT)
    back = np.eye(3)
    back[:2, 2] = -80 / TILE_PIXELS_PER_MM
    soft = cv2.GaussianBlur(shadow, (0, 0), 20)
    return 1 - 0.45 * _warp(soft, under @ shift @ back, TILE_PIXELS_PER_MM, size)[..., None]


def _places(flat: NDArray[np.float64], size: tuple[int, int]) -> tuple[Raster, Raster]:
    """Card mm seen at each pixel of the picture, at a sixteenth of its size."""
    x, y = np.meshgrid(
        np.arange(size[0] // 16, dtype=np.float64) * 16 + 8,
        np.arange(size[1] // 16, dtype=np.float64) * 16 + 8,
    )
    seen = np.linalg.inv(flat) @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    return (seen[0] / seen[2]).reshape(x.shape), (seen[1] / seen[2]).reshape(x.shape)


def _light(
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


def _glare(
    look: TileLook, lighting: Lighting, raised: NDArray[np.float64], size: tuple[int, int]
) -> Raster:
    x, y = _places(raised, size)
    off = np.hypot(
        x - look.blank.width_mm / 2 - lighting.glare_at_mm[0],
        (y - look.blank.height_mm / 2 - lighting.glare_at_mm[1]) * 1.4,
    )
    spot = 6.0 / (1 + np.exp((off - lighting.glare_mm) / 0.3))
    return cv2.resize(spot.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)


def _lay_finger(scene: Raster, tip_mm: tuple[float, float], flat: NDArray[np.float64]) -> None:
    """Lay a finger 15 mm wide from below the picture up to the tip."""
    ends = cv2.perspectiveTransform(
        np.array(
            [[tip_mm, (tip_mm[0] + 6.0, tip_mm[1] + 150.0), (tip_mm[0] + 15.0, tip_mm[1])]],
            np.float64,
        ),
        flat,
    )[0]
    width = int(np.linalg.norm(ends[2] - ends[0]))
    finger = np.zeros(scene.shape[:2], np.uint8)
    cv2.line(finger, ends[0].astype(int).tolist(), ends[1].astype(int).tolist(), 255, width)
    soft = cv2.GaussianBlur(finger.astype(np.float32) / 255, (0, 0), 4)[..., None]
    scene += (_SKIN - scene) * soft
