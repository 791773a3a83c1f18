"""Photographs of invented tiles on the printed photo card, with the truth beside them.

Used to teach what a good picture is, and to test and time the code that measures pictures: the tile
is drawn from formulas, laid on a card as an invented printer prints it, seen by a pinhole camera
under a near lamp, and developed as a telephone would.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from kit.photo import (
    SLIP_MM,
    SRGB_TO_LINEAR,
    Box,
    Card,
    Label,
    Mark,
    PrintScale,
    Raster,
    Rectangle,
    card_drawing,
    firing_slip_drawing,
    tile_slip_drawing,
)
from kit.studio.camera import (
    Camera,
    Lighting,
    contact_shadow,
    distorted,
    expose,
    light_on,
    mirror_image,
    shown_from,
)
from kit.studio.fired_tile import TILE_PIXELS_PER_MM, TileLook, band_noise, draw_tile

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


CARD_PIXELS_PER_MM = 24
PAPER = 0.86
_INK = 0.035
_FINE = 4


def draw_card(
    card: Card,
    scale: PrintScale,
    tile: int | None,
    firing: int | None,
    rng: np.random.Generator,
) -> Raster:
    """Print a card and lay the slips on it, each a little askew; None leaves a slip out.

    Returns
    -------
    ndarray (height, width)
        Reflectance in linear light, `CARD_PIXELS_PER_MM` to the millimetre of the real print.
    """
    sheet = _printed(card_drawing(card), card.width_mm, card.height_mm, scale)
    slips = (
        (card.slots[0], None if tile is None else tile_slip_drawing(tile)),
        (card.slots[1], None if firing is None else firing_slip_drawing(firing)),
    )
    for slot, marks in slips:
        if marks is not None:
            _lay(sheet, _printed(marks, SLIP_MM, SLIP_MM, scale), slot, scale, rng)
    return sheet


def _printed(marks: list[Mark], width_mm: float, height_mm: float, scale: PrintScale) -> Raster:
    """Paint at four times the size and shrink, so that edges fall between pixels."""
    zoom = CARD_PIXELS_PER_MM * _FINE if width_mm < 30 else CARD_PIXELS_PER_MM * 2
    across, down = zoom * scale.across, zoom * scale.down
    size = round(width_mm * across), round(height_mm * down)
    sheet = Image.new("L", size, 255)
    pen = ImageDraw.Draw(sheet)
    for mark in marks:
        if isinstance(mark, Rectangle):
            left, top = mark.x_mm * across, mark.y_mm * down
            right = left + mark.width_mm * across
            bottom = top + mark.height_mm * down
            pen.rectangle(
                (round(left), round(top), round(right) - 1, round(bottom) - 1),
                fill=round(mark.grey * 255),
            )
        else:
            _write(pen, mark, across, down)
    reflectance = _reflectances()[np.asarray(sheet)]
    final = (
        round(width_mm * CARD_PIXELS_PER_MM * scale.across),
        round(height_mm * CARD_PIXELS_PER_MM * scale.down),
    )
    printed: Raster = cv2.resize(reflectance, final, interpolation=cv2.INTER_AREA)
    return printed


def _reflectances() -> Raster:
    """Reflectance that each of the 256 greys comes out at, a little dark as ink spreads."""
    return (_INK + (PAPER - _INK) * SRGB_TO_LINEAR**1.06).astype(np.float32)


def _write(pen: ImageDraw.ImageDraw, label: Label, across: float, down: float) -> None:
    font = ImageFont.load_default(label.height_mm * down * 1.4)
    pen.text((label.x_mm * across, label.y_mm * down), label.text, font=font, fill=0, anchor="ma")


def _lay(
    sheet: Raster,
    slip: Raster,
    slot: Box,
    scale: PrintScale,
    rng: np.random.Generator,
) -> None:
    middle = (
        (slot.x_mm + slot.width_mm / 2) * scale.across * CARD_PIXELS_PER_MM + rng.normal(0, 8),
        (slot.y_mm + slot.height_mm / 2) * scale.down * CARD_PIXELS_PER_MM + rng.normal(0, 8),
    )
    rows, columns = slip.shape
    move = cv2.getRotationMatrix2D((columns / 2, rows / 2), float(rng.normal(0, 1.5)), 1.0)
    move[:, 2] += np.array(middle) - (columns / 2, rows / 2)
    size = sheet.shape[::-1]
    cover = cv2.warpAffine(np.ones_like(slip), move, size)
    sheet[:] = sheet * (1 - cover) + cv2.warpAffine(slip, move, size) * cover
