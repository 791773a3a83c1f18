"""Finding the tile on the grey field: where its middle lies and how it is turned."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.raster import Raster
from kit.photo.view.image_file import Unmeasurable
from kit.series import Blank

_LOOK_PER_MM = 5.0
_DIFFERENT = 7.0
"""CIELAB distance from the grey field at which something else lies there."""

_SHADOW = 26.0
"""L* by which a shadow may darken the grey field; a neutral tile is further from it than that,
or is told by its dark rim."""

_BORDER_PX = 4


@dataclass(frozen=True)
class TilePlace:
    """How the tile lies in the redrawn window.

    Parameters
    ----------
    x_mm, y_mm : float
        The tile's middle, from the window's top left corner.
    turn : float
        Clockwise turn in radians.
    """

    x_mm: float
    y_mm: float
    turn: float

    def from_tile(self, place: NDArray[np.float64], blank: Blank) -> NDArray[np.float64]:
        """Carry places (n, 2), mm from the blank's top left corner, into the window."""
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        turned = np.array([[cos, -sin], [sin, cos]])
        middle = np.array([blank.width_mm, blank.height_mm]) / 2
        return (place - middle) @ turned.T + (self.x_mm, self.y_mm)


def find_tile(lab: Raster, per_mm: float, blank: Blank) -> TilePlace:
    """Find the tile in the redrawn window.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB of the window.
    per_mm : float
        Pixels to the mm.
    blank : Blank

    Raises
    ------
    Unmeasurable
        When what lies there is not of the blank's size.
    """
    small = cv2.resize(
        lab, None, fx=_LOOK_PER_MM / per_mm, fy=_LOOK_PER_MM / per_mm, interpolation=cv2.INTER_AREA
    )
    ring = [small[4:7], small[-7:-4], small[:, 4:7], small[:, -7:-4]]
    ground = np.median(np.concatenate([part.reshape(-1, 3) for part in ring]), axis=0)
    there: Raster = _something(small - ground).astype(np.uint8)
    # At the window's border the card's paper may look in, seen past the tile's height.
    there[:_BORDER_PX] = there[-_BORDER_PX:] = 0
    there[:, :_BORDER_PX] = there[:, -_BORDER_PX:] = 0
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    there = cv2.morphologyEx(there, cv2.MORPH_OPEN, kernel)
    outlines, _ = cv2.findContours(there, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        raise Unmeasurable("No tile lies on the grey field.")
    outline = max(outlines, key=cv2.contourArea)
    area = cv2.contourArea(outline) / _LOOK_PER_MM**2 / (blank.area_cm2 * 100)
    if area < 0.6:
        raise Unmeasurable(
            f"What lies on the grey field is too small to be this series' blank ({area:.0%} of "
            "its area was found)."
        )
    (x, y), size, degrees = cv2.minAreaRect(outline)
    fits = _size_fits(size, blank)
    if not fits:
        raise Unmeasurable(
            f"What lies on the grey field measures {size[0] / _LOOK_PER_MM:.0f} x "
            f"{size[1] / _LOOK_PER_MM:.0f} mm; the blank is {blank.width_mm:g} x "
            f"{blank.height_mm:g} mm. A finger or a shadow at its rim, or another tile?"
        )
    return TilePlace(
        (x + 0.5) / _LOOK_PER_MM, (y + 0.5) / _LOOK_PER_MM, _turn(size, degrees, blank)
    )


def _something(away: Raster) -> Raster:
    """Where another colour than the ground lies; the ground in shadow is only a little darker."""
    hue = np.hypot(away[..., 1], away[..., 2])
    darker = away[..., 0]
    shaded = (hue < _DIFFERENT) & (darker < 0) & (darker > -_SHADOW)
    return (np.hypot(darker, hue) > _DIFFERENT) & ~shaded


def _size_fits(size: Sequence[float], blank: Blank) -> bool:
    found = np.sort(size) / _LOOK_PER_MM
    wanted = np.sort([blank.width_mm, blank.height_mm])
    return bool((np.abs(found - wanted) < np.maximum(2.5, 0.06 * wanted)).all())


def _turn(size: Sequence[float], degrees: float, blank: Blank) -> float:
    """The small turn, within a quarter to each side, that the outline shows."""
    if blank.shape == "round":
        return 0.0
    return float(np.deg2rad((degrees + 45) % 90 - 45))
