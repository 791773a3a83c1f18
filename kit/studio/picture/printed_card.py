"""The printed photo card with its slips, as an invented printer puts it on paper."""

import cv2
import numpy as np
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

PIXELS_PER_MM = 24
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
        Reflectance in linear light, `PIXELS_PER_MM` to the millimetre of the real print.
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
    zoom = PIXELS_PER_MM * _FINE if width_mm < 30 else PIXELS_PER_MM * 2
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
        round(width_mm * PIXELS_PER_MM * scale.across),
        round(height_mm * PIXELS_PER_MM * scale.down),
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
        (slot.x_mm + slot.width_mm / 2) * scale.across * PIXELS_PER_MM + rng.normal(0, 8),
        (slot.y_mm + slot.height_mm / 2) * scale.down * PIXELS_PER_MM + rng.normal(0, 8),
    )
    rows, columns = slip.shape
    move = cv2.getRotationMatrix2D((columns / 2, rows / 2), float(rng.normal(0, 1.5)), 1.0)
    move[:, 2] += np.array(middle) - (columns / 2, rows / 2)
    size = sheet.shape[::-1]
    cover = cv2.warpAffine(np.ones_like(slip), move, size)
    sheet[:] = sheet * (1 - cover) + cv2.warpAffine(slip, move, size) * cover
