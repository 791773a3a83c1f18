"""What is printed: the marks that a camera reads, the card and its slips as rectangles and words.

The marks are square: four for the card, one for each tile and each firing. All come from one open
dictionary (ArUco 6x6, 1000 marks), in which any two marks differ in at least nine cells, so that
one is not mistaken for another in a poor picture.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.errors import Misuse
from kit.photo.card.card_geometry import CARD_IDS, GREYS, SLIP_MARKER_MM, SLIP_MM, Box, Card

_LINE_MM = 0.25

CELLS = 8
"""Cells along one side of a mark, its black border included."""

MOST_FIRINGS = 40
MOST_TILES = 899
_FIRST_FIRING_ID = 10
_TILE_ID_OFFSET = 100


def dictionary() -> cv2.aruco.Dictionary:
    """Give the dictionary that every mark of the kit belongs to."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_1000)


def card_marker(corner: int) -> NDArray[np.bool_]:
    """Cells of a corner mark of the card, (8, 8), true where black; `corner` counts from 0."""
    return _pattern(CARD_IDS[corner])


def tile_marker(tile: int) -> NDArray[np.bool_]:
    """Cells of the mark that says which tile is in the picture.

    Parameters
    ----------
    tile : int
        1 to 899.

    Returns
    -------
    ndarray of bool, (8, 8)
        True where black.

    Raises
    ------
    Misuse
        For a number that has no mark.
    """
    if not 1 <= tile <= MOST_TILES:
        raise Misuse(f"Tile {tile} has no mark: tiles are numbered 1 to {MOST_TILES}.")
    return _pattern(_TILE_ID_OFFSET + tile)


def firing_marker(firing: int) -> NDArray[np.bool_]:
    """Cells of the mark that says after which firing the picture was taken.

    Parameters
    ----------
    firing : int
        0 (the base coat) to 39.

    Returns
    -------
    ndarray of bool, (8, 8)
        True where black.

    Raises
    ------
    Misuse
        For a number that has no mark.
    """
    if not 0 <= firing < MOST_FIRINGS:
        raise Misuse(f"Firing {firing} has no mark: firings are numbered 0 to {MOST_FIRINGS - 1}.")
    return _pattern(_FIRST_FIRING_ID + firing)


def tiles_among(ids: NDArray[np.integer]) -> list[int]:
    """Tile numbers that a picture's marks stand for, each once."""
    return sorted({int(i) - _TILE_ID_OFFSET for i in ids if i > _TILE_ID_OFFSET})


def firings_among(ids: NDArray[np.integer]) -> list[int]:
    """Firing numbers that a picture's marks stand for, each once."""
    last = _FIRST_FIRING_ID + MOST_FIRINGS
    return sorted({int(i) - _FIRST_FIRING_ID for i in ids if _FIRST_FIRING_ID <= i < last})


def _pattern(identity: int) -> NDArray[np.bool_]:
    black: NDArray[np.bool_] = cv2.aruco.generateImageMarker(dictionary(), identity, CELLS) == 0
    return black


@dataclass(frozen=True)
class Rectangle:
    """A filled rectangle.

    Parameters
    ----------
    x_mm, y_mm, width_mm, height_mm : float
        From the top left corner of the drawing, y down.
    grey : float
        sRGB grey, 0 black to 1 white.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    grey: float


@dataclass(frozen=True)
class Label:
    """A line of text.

    Parameters
    ----------
    x_mm, y_mm : float
        Middle of the text's top edge.
    height_mm : float
        Height of a capital letter.
    text : str
    """

    x_mm: float
    y_mm: float
    height_mm: float
    text: str


Mark = Rectangle | Label


def card_drawing(card: Card) -> list[Mark]:
    """Draw the photo card, to be painted in the order given on white paper.

    Returns
    -------
    list of Rectangle and Label
        Within 0..card.width_mm and 0..card.height_mm.
    """
    marks: list[Mark] = []
    for corner, box in zip(range(len(CARD_IDS)), card.markers, strict=True):
        marks += _cells(card_marker(corner), box)
    marks += [Rectangle(b.x_mm, b.y_mm, b.width_mm, b.height_mm, 0.0) for b in card.bricks]
    for box, grey in zip(card.greys, GREYS, strict=True):
        marks.append(Rectangle(box.x_mm, box.y_mm, box.width_mm, box.height_mm, grey))
    for box, word in zip(card.slots, ("tile slip", "firing slip"), strict=True):
        marks += _frame(box, 0.6)
        marks.append(Label(box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2, 1.6, word))
    middle = card.width_mm / 2
    marks.append(Label(middle, 2.2, 1.7, "Lay the tile on the pattern, patch 1 at this end."))
    marks.append(
        Label(middle, 4.6, 1.3, "Stand back, zoom to twice, keep window and lamp out of it.")
    )
    marks += _ruler(card)
    return marks


def tile_slip_drawing(tile: int) -> list[Mark]:
    """Draw the slip that names a tile: a square of `SLIP_MM`, to be cut out on its frame."""
    return _slip(tile_marker(tile), f"tile {tile}")


def firing_slip_drawing(firing: int) -> list[Mark]:
    """Draw the slip that names a firing: a square of `SLIP_MM`, to be cut out on its frame."""
    return _slip(firing_marker(firing), f"firing {firing}")


def _slip(cells: NDArray[np.bool_], words: str) -> list[Mark]:
    place = Box((SLIP_MM - SLIP_MARKER_MM) / 2, 1.7, SLIP_MARKER_MM, SLIP_MARKER_MM)
    return [
        *_frame(Box(0, 0, SLIP_MM, SLIP_MM), 0.8),
        *_cells(cells, place),
        Label(SLIP_MM / 2, place.y_mm + SLIP_MARKER_MM + 1.2, 1.8, words),
    ]


def _cells(cells: NDArray[np.bool_], box: Box) -> Iterator[Rectangle]:
    yield Rectangle(box.x_mm, box.y_mm, box.width_mm, box.height_mm, 0.0)
    side = box.width_mm / CELLS
    for row, column in zip(*np.nonzero(~cells), strict=True):
        yield Rectangle(
            float(box.x_mm + column * side), float(box.y_mm + row * side), side, side, 1.0
        )


def _frame(box: Box, grey: float) -> Iterator[Rectangle]:
    right, bottom = box.x_mm + box.width_mm, box.y_mm + box.height_mm
    yield Rectangle(box.x_mm, box.y_mm, box.width_mm, _LINE_MM, grey)
    yield Rectangle(box.x_mm, bottom - _LINE_MM, box.width_mm, _LINE_MM, grey)
    yield Rectangle(box.x_mm, box.y_mm, _LINE_MM, box.height_mm, grey)
    yield Rectangle(right - _LINE_MM, box.y_mm, _LINE_MM, box.height_mm, grey)


def _ruler(card: Card) -> Iterator[Mark]:
    """A millimetre rule under the window, a longer tick every 5 mm."""
    length = int(card.window_width_mm // 10 * 10)
    left = (card.width_mm - length) / 2
    base = card.height_mm - 5.6
    for mm in range(length + 1):
        tall = 1.8 if mm % 10 == 0 else 1.4 if mm % 5 == 0 else 0.9
        yield Rectangle(left + mm - 0.06, base, 0.12, tall, 0.0)
        if mm % 10 == 0:
            yield Label(left + mm, base + 2.2, 1.5, f"{mm}" if mm < length else f"{mm} mm")
