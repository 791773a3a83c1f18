"""The picture that shows what was measured, so that a person can agree or strike it out."""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.patch.patch_reading import PatchReading
from kit.photo.raster import Raster

SHOWN_PER_MM = 9.0
_APART_PX = 25
"""Neighbouring points further apart than this lie on either side of a gap."""


def draw_readings(lab: Raster, readings: dict[str, PatchReading], per_mm: float) -> Raster:
    """Draw the stencil line and the edge found over the straightened picture of the tile.

    The stencil line is dashed, the edge found is a full line; both are white on black, so that
    they show on any colour.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB of the window.
    readings : dict of str to PatchReading
        By patch.
    per_mm : float
        Pixels to the mm of `lab`.

    Returns
    -------
    ndarray of uint8 (height, width, 3)
        RGB, `SHOWN_PER_MM` pixels to the mm.
    """
    zoom = SHOWN_PER_MM / per_mm
    small = cv2.resize(lab, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    srgb = cv2.cvtColor(small, cv2.COLOR_Lab2RGB)
    canvas = np.ascontiguousarray((np.clip(srgb, 0, 1) * 255 + 0.5).astype(np.uint8))
    for reading in readings.values():
        _dashes(canvas, reading.planned_mm * SHOWN_PER_MM)
        if reading.outline_mm is not None:
            _line(canvas, reading.outline_mm * SHOWN_PER_MM)
    return canvas


def _line(canvas: Raster, place: NDArray[np.float64]) -> None:
    """Join neighbouring points; a gap is left where the edge was not seen."""
    ends = np.roll(place, -1, axis=0)
    near = np.linalg.norm(ends - place, axis=1) < _APART_PX
    _strokes(canvas, place[near], ends[near])


def _dashes(canvas: Raster, place: NDArray[np.float64]) -> None:
    ends = np.roll(place, -1, axis=0)
    drawn = (np.arange(len(place)) % 8 < 3) & (np.linalg.norm(ends - place, axis=1) < _APART_PX)
    _strokes(canvas, place[drawn], ends[drawn])


def _strokes(canvas: Raster, starts: NDArray[np.float64], ends: NDArray[np.float64]) -> None:
    """Draw in sixteenths of a pixel, white over a wider black."""
    lines = list(np.rint(np.stack([starts, ends], axis=1) * 16).astype(np.int32))
    for colour, thick in (((0, 0, 0), 3), ((255, 255, 255), 1)):
        cv2.polylines(canvas, lines, False, colour, thick, cv2.LINE_AA, shift=4)
