"""The square marks a camera can read: four for the card, one for each tile and each firing.

All come from one open dictionary (ArUco 6x6, 1000 marks), in which any two marks differ in at
least nine cells, so that one is not mistaken for another in a poor picture.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.errors import Misuse

CELLS = 8
"""Cells along one side of a mark, its black border included."""

CARD_IDS = (0, 1, 2, 3)
"""Marks at the card's corners: top left, top right, bottom right, bottom left."""

MOST_FIRINGS = 40
MOST_TILES = 899
_FIRST_FIRING_ID = 10
_TILE_ID_OFFSET = 100


def dictionary() -> cv2.aruco.Dictionary:
    """Give the dictionary that every mark of the kit belongs to."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_1000)


def card_marker(corner: int) -> NDArray[np.bool_]:
    """Cells of a corner mark of the card, (8, 8), true where black; `corner` counts from 0."""
    return _cells(CARD_IDS[corner])


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
    return _cells(_TILE_ID_OFFSET + tile)


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
    return _cells(_FIRST_FIRING_ID + firing)


def tiles_among(ids: NDArray[np.integer]) -> list[int]:
    """Tile numbers that a picture's marks stand for, each once."""
    return sorted({int(i) - _TILE_ID_OFFSET for i in ids if i > _TILE_ID_OFFSET})


def firings_among(ids: NDArray[np.integer]) -> list[int]:
    """Firing numbers that a picture's marks stand for, each once."""
    last = _FIRST_FIRING_ID + MOST_FIRINGS
    return sorted({int(i) - _FIRST_FIRING_ID for i in ids if _FIRST_FIRING_ID <= i < last})


def _cells(identity: int) -> NDArray[np.bool_]:
    black: NDArray[np.bool_] = cv2.aruco.generateImageMarker(dictionary(), identity, CELLS) == 0
    return black
