"""The planned stencil line: points evenly round it, and the distance of any place from it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.series import Stencil

POINTS = 360
_CORNER_MM = 1.5
"""Corners round off in the fire whatever the pair, so the line near them is left out."""


@dataclass(frozen=True)
class StencilLine:
    """Points evenly round a stencil's opening, about its middle.

    Parameters
    ----------
    place : ndarray (n, 2)
        mm.
    normal : ndarray (n, 2)
        Unit vectors outward.
    """

    place: NDArray[np.float64]
    normal: NDArray[np.float64]

    def turned(self, turn: float) -> "StencilLine":
        """The line turned clockwise (y down) by an angle in radians."""
        cos, sin = np.cos(turn), np.sin(turn)
        matrix = np.array([[cos, sin], [-sin, cos]])
        return StencilLine(self.place @ matrix, self.normal @ matrix)


def stencil_line(stencil: Stencil) -> StencilLine:
    """Lay points evenly along the line of a stencil, corners left out."""
    if stencil.shape == "disc":
        angle = (np.arange(POINTS) + 0.5) / POINTS * 2 * np.pi
        normal = np.column_stack([np.cos(angle), np.sin(angle)])
        return StencilLine(normal * stencil.size_mm / 2, normal)
    width, height = stencil.size_mm / 2, stencil.height_mm / 2
    sides = (
        ((1.0, 0.0), width, height),
        ((0.0, 1.0), height, width),
        ((-1.0, 0.0), width, height),
        ((0.0, -1.0), height, width),
    )
    step = 4 * (width + height) / POINTS
    places, normals = [], []
    for outward, away, half in sides:
        inner = max(half - _CORNER_MM, half * 0.3)
        along = np.linspace(-inner, inner, max(round(2 * inner / step), 4))
        out = np.array(outward)
        places.append(out * away + along[:, None] * np.array([-out[1], out[0]]))
        normals.append(np.tile(out, (along.size, 1)))
    return StencilLine(np.concatenate(places), np.concatenate(normals))


def beyond_line(
    stencil: Stencil, x: NDArray[np.floating], y: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Distance in mm beyond the stencil line, negative inside; x and y from its middle."""
    if stencil.shape == "disc":
        from_middle: NDArray[np.floating] = np.hypot(x, y)
        return from_middle - stencil.size_mm / 2
    over_x, over_y = np.abs(x) - stencil.size_mm / 2, np.abs(y) - stencil.height_mm / 2
    outside = np.hypot(np.maximum(over_x, 0), np.maximum(over_y, 0))
    beyond: NDArray[np.floating] = outside + np.minimum(np.maximum(over_x, over_y), 0)
    return beyond
