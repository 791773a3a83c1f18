"""Finding the tile on the patterned field: where it lies, how it is turned, and how large it is.

The field is known: black and white bricks. Where the light from it follows the pattern lies paper,
in the sun or in shadow; where it does not, something lies on it, whatever colour that has. So the
tile is told from the field by its outline and never by its colour.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from kit.photo.raster import Raster
from kit.photo.view.image_file import Unmeasurable
from kit.series import Blank

_LOOK_PER_MM = 8.0
_NEAR_MM = 1.3
"""The pattern is looked for within about this distance of each place."""

_DARKEST = 0.004
_LEAST_CONTRAST = 0.7
"""Natural logarithm of white over black of the field, below which it cannot be seen."""

_BORDER_MM = 0.6
_PROFILE_MM = 3.0
_CORNER_SHARE = 0.14
_STRAY_MM = 1.0
_MOST_OFF_MM = 2.5
_MOST_OFF_SHARE = 0.06
_BESIDE_MM = 1.4
_CROSSED_MM2 = 4.0
"""A finger across the rim hides more than this of the field from `_BESIDE_MM` outside it on."""


@dataclass(frozen=True)
class TilePlace:
    """How the tile lies in the redrawn window.

    Parameters
    ----------
    x_mm, y_mm : float
        The tile's middle, from the window's top left corner.
    turn : float
        Clockwise turn in radians.
    width_mm, height_mm : float
        Size of the outline as the card's millimetres have it.
    crossed : bool
        Whether something lies across its rim, such as a finger: it hides the field beside it too.
    """

    x_mm: float
    y_mm: float
    turn: float
    width_mm: float
    height_mm: float
    crossed: bool = False

    def laid_turned(self, degrees: float) -> "TilePlace":
        """The same outline, the tile in it lying turned clockwise by so many degrees."""
        if round(degrees / 90) % 2 and degrees % 90 == 0:
            swapped = replace(self, width_mm=self.height_mm, height_mm=self.width_mm)
        else:
            swapped = self
        return replace(swapped, turn=self.turn + float(np.deg2rad(degrees)))

    def from_tile(self, place: NDArray[np.float64], blank: Blank) -> NDArray[np.float64]:
        """Carry places (n, 2), mm from the blank's top left corner, into the window."""
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        turned = np.array([[cos, -sin], [sin, cos]])
        middle = np.array([blank.width_mm, blank.height_mm]) / 2
        seen: NDArray[np.float64] = (place - middle) @ turned.T + (self.x_mm, self.y_mm)
        return seen


def find_tile(luminance: Raster, black: Raster, per_mm: float, blank: Blank) -> TilePlace:
    """Find the tile in the redrawn window.

    Parameters
    ----------
    luminance : ndarray (height, width)
        Reflectance of the window, linear.
    black : ndarray
        What is printed there, finely or coarsely: 1 black, 0 white, nan beside the field.
    per_mm : float
        Pixels to the mm.
    blank : Blank

    Raises
    ------
    Unmeasurable
        When there is no tile, or what lies there is not of the blank's size.
    """
    rows, columns = (round(length / per_mm * _LOOK_PER_MM) for length in luminance.shape)
    size = columns, rows
    small = cv2.resize(luminance, size, interpolation=cv2.INTER_AREA)
    known = cv2.resize(np.isfinite(black).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    printed = cv2.resize(
        np.nan_to_num(black).astype(np.float32), size, interpolation=cv2.INTER_AREA
    )
    covered = _covered(np.log(np.maximum(small, _DARKEST)), printed, (known > 0.99))
    outline = _largest(covered > 0.5)
    if outline is None:
        raise Unmeasurable("No tile lies on the patterned field.")
    share = cv2.contourArea(outline) / _LOOK_PER_MM**2 / (blank.area_cm2 * 100)
    if share < 0.1:
        raise Unmeasurable("No tile lies on the patterned field.")
    place = _fit_circle(outline) if blank.shape == "round" else _fit_sides(covered, outline)
    _refuse_size(place, blank)
    beside = _outside(place, blank, covered.shape) > _BESIDE_MM
    hidden = float(np.count_nonzero(beside & (covered > 0.5))) / _LOOK_PER_MM**2
    return replace(place, crossed=hidden > _CROSSED_MM2)


def _covered(level: Raster, printed: Raster, known: NDArray[np.bool_]) -> Raster:
    """Say how far each place does not follow the pattern, 0 on the bare field to 1 on a tile.

    Round each place the logarithm of the light is regressed on the pattern. Its slope is the
    field's own contrast, the same in light and in shadow; on a tile there is none.
    """
    weight = known.astype(np.float32)
    around = (0, 0), _NEAR_MM * _LOOK_PER_MM

    def mean(part: Raster) -> Raster:
        return cv2.GaussianBlur(part * weight, *around)

    total = np.maximum(cv2.GaussianBlur(weight, *around), 1e-3)
    ink = -printed
    level_mean, ink_mean = mean(level) / total, mean(ink) / total
    common = mean(level * ink) / total - level_mean * ink_mean
    square = mean(ink * ink) / total - ink_mean**2
    slope = common / np.maximum(square, 0.02)
    border = round(2.0 * _LOOK_PER_MM)
    rim = known.copy()
    rim[border:-border, border:-border] = False
    usual = float(np.quantile(slope[rim], 0.7)) if rim.any() else 0.0
    if usual < _LEAST_CONTRAST:
        raise Unmeasurable(
            "The field's black and white pattern cannot be seen round the tile. Use the card that "
            "'kit sheets --photo-card' prints, keep hands and hard light off it, and lay the tile "
            "in its middle."
        )
    covered = np.clip(1 - slope / usual, 0, 1)
    covered[~known] = 0
    return covered.astype(np.float32)


def _largest(there: NDArray[np.bool_]) -> Raster | None:
    border = round(_BORDER_MM * _LOOK_PER_MM)
    mask: Raster = np.zeros(there.shape, np.uint8)
    mask[border:-border, border:-border] = there[border:-border, border:-border]
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (17, 17))
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel)
    filled = ndimage.binary_fill_holes(mask).astype(np.uint8)
    outlines, _ = cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(outlines, key=cv2.contourArea) if outlines else None


def _fit_circle(outline: Raster) -> TilePlace:
    """Fit a circle to the outline, far points left out."""
    points = outline[:, 0].astype(np.float64)
    for _ in range(4):
        terms = np.column_stack([2 * points, np.ones(len(points))])
        x, y, rest = np.linalg.lstsq(terms, (points**2).sum(axis=1), rcond=None)[0]
        radius = float(np.sqrt(rest + x**2 + y**2))
        off = np.abs(np.hypot(points[:, 0] - x, points[:, 1] - y) - radius)
        points = points[off <= max(3 * float(np.median(off)), 1.0)]
    # A pixel's own middle lies half a pixel from its corner; the outline runs through pixels.
    across = (2 * radius + 1) / _LOOK_PER_MM
    return TilePlace((x + 0.5) / _LOOK_PER_MM, (y + 0.5) / _LOOK_PER_MM, 0.0, across, across)


def _fit_sides(covered: Raster, outline: Raster) -> TilePlace:
    """Fit the four sides, each along most of its length, where half of the pattern is hidden."""
    (x, y), size, degrees = cv2.minAreaRect(outline)
    turn = float(np.deg2rad((degrees + 45) % 90 - 45))
    if abs(np.deg2rad(degrees) - turn) > np.pi / 4:
        size = size[::-1]
    middle, half = np.array([x, y]), np.array(size) / 2
    for _ in range(2):
        axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        sides = [
            _side(covered, middle, sign * axes[n], axes[1 - n], half[n], half[1 - n])
            for n in (0, 1)
            for sign in (1, -1)
        ]
        (right, tilt_r), (left, tilt_l), (low, tilt_d), (high, tilt_u) = sides
        middle = middle + axes[0] * (right - left) / 2 + axes[1] * (low - high) / 2
        half = half + np.array([right + left, low + high]) / 2
        turn += float(np.mean([-tilt_r, tilt_l, tilt_d, -tilt_u]))
    size_mm = 2 * half / _LOOK_PER_MM
    x_mm, y_mm = (middle + 0.5) / _LOOK_PER_MM
    return TilePlace(float(x_mm), float(y_mm), turn, float(size_mm[0]), float(size_mm[1]))


def _side(
    covered: Raster,
    middle: NDArray[np.float64],
    outward: NDArray[np.float64],
    along: NDArray[np.float64],
    reach: float,
    half: float,
) -> tuple[float, float]:
    """How much further out a side lies than thought (pixels), and its slope along itself."""
    inner = half * (1 - 2 * _CORNER_SHARE)
    across = np.linspace(-inner, inner, max(round(inner), 8))
    away = np.arange(-_PROFILE_MM, _PROFILE_MM, 0.1) * _LOOK_PER_MM
    place = middle + along * across[:, None, None] + outward * (reach + away)[:, None]
    pixel = place.astype(np.float32)
    profile = cv2.remap(covered, pixel[..., 0], pixel[..., 1], cv2.INTER_LINEAR)
    # Each profile falls from 1 to 0 across the side: its sum says where.
    crossing = profile.sum(axis=1) * (away[1] - away[0]) + away[0]
    kept = np.abs(crossing - np.median(crossing)) < _STRAY_MM * _LOOK_PER_MM
    slope, level = np.polyfit(across[kept], crossing[kept], 1)
    return float(level), float(slope)


def _outside(place: TilePlace, blank: Blank, shape: tuple[int, ...]) -> Raster:
    """Distance of each place from the tile's outline, mm, negative within it."""
    rows, columns = np.ogrid[: shape[0], : shape[1]]
    x = (columns + 0.5) / _LOOK_PER_MM - place.x_mm
    y = (rows + 0.5) / _LOOK_PER_MM - place.y_mm
    if blank.shape == "round":
        return np.hypot(x, y) - place.width_mm / 2
    cos, sin = np.cos(place.turn), np.sin(place.turn)
    along, across = np.abs(x * cos + y * sin), np.abs(y * cos - x * sin)
    beyond: Raster = np.maximum(along - place.width_mm / 2, across - place.height_mm / 2)
    return beyond


def _refuse_size(place: TilePlace, blank: Blank) -> None:
    found = np.array([place.width_mm, place.height_mm])
    wanted = np.array([blank.width_mm, blank.height_mm])
    most = np.maximum(_MOST_OFF_MM, _MOST_OFF_SHARE * wanted)
    if (np.abs(found - wanted) < most).all():
        return
    told = (
        f"What lies on the field measures {found[0]:.0f} x {found[1]:.0f} mm; the blank is "
        f"{wanted[0]:g} x {wanted[1]:g} mm. "
    )
    if (np.abs(found[::-1] - wanted) < most).all():
        raise Unmeasurable(told + "Lay it the other way, patch 1 at the end the card says.")
    raise Unmeasurable(
        told + "A finger or a cloth at its rim, or another tile? If every tile is told so, the "
        "card was not printed at actual size: measure it and write the two lengths into "
        "series.toml."
    )
