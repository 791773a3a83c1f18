"""Photographs of invented tiles on the photo card, with the truth beside them.

Used to teach what a good picture is, and to test and time the code that measures pictures: the
tile is drawn from formulas, seen by a pinhole camera under a near lamp, and developed as a
telephone would.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image

from kit.photo import Card, PrintScale, Raster
from kit.studio.picture.camera import Camera, distorted, expose, shown_from
from kit.studio.picture.fired_tile import PIXELS_PER_MM as TILE_PIXELS_PER_MM
from kit.studio.picture.fired_tile import TileLook, band_noise, draw_tile
from kit.studio.picture.lighting import Lighting, contact_shadow, light_on, mirror_image
from kit.studio.picture.printed_card import PIXELS_PER_MM as CARD_PIXELS_PER_MM
from kit.studio.picture.printed_card import draw_card

_TABLE = np.array([0.23, 0.14, 0.08], np.float32)
_SKIN = np.array([0.55, 0.33, 0.25], np.float32)
_GLAZE_MM = 0.3
"""Enamel stands about this much above the copper (common practice, no source)."""


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
    scene *= contact_shadow(cover, flat @ lying, size)
    shown = shown_from(cover, raised, TILE_PIXELS_PER_MM, size)[..., None]
    scene += (shown_from(surface, raised, TILE_PIXELS_PER_MM, size) - scene) * shown
    light = light_on(lighting, extent, flat, size)
    if lighting.mirrors:
        # What is mirrored stays where lamp and camera put it when the tile is turned.
        square = camera.view(extent, risen) @ _tile_to_card(
            look, card, replace(setting, turn_deg=0)
        )
        peel = np.random.default_rng([seed, 7])
        scene += mirror_image(look, lighting, square, size, peel)[..., None] * shown
    if setting.finger_mm is not None:
        _lay_finger(scene, setting.finger_mm, flat)
    scene *= light
    return Photograph(expose(distorted(scene, camera), camera, lighting.exposure, rng), truth)


def _card_scene(
    card: Card,
    setting: Setting,
    flat: NDArray[np.float64],
    size: tuple[int, int],
    rng: np.random.Generator,
) -> Raster:
    sheet = draw_card(card, setting.print_scale, setting.tile, setting.firing, rng)
    shown = shown_from(np.ones_like(sheet), flat, CARD_PIXELS_PER_MM, size)
    grain = cv2.resize(band_noise((size[1] // 8, size[0] // 8), 1.0, 4.0, 200.0, rng), size)
    table = _TABLE * (1 + 0.25 * grain[..., None])
    printed = shown_from(sheet, flat, CARD_PIXELS_PER_MM, size)
    scene: Raster = (table * (1 - shown[..., None]) + printed[..., None]).astype(np.float32)
    return scene


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
