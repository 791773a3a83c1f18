"""Finding the card in a picture, reading its slips, and saying what is wrong when it fails."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.card.card_geometry import CARD_IDS, Card, PrintScale
from kit.photo.card.printed_marks import dictionary, firings_among, tiles_among
from kit.photo.raster import Raster
from kit.photo.view.image_file import Unmeasurable

SEARCH_PX = 2000
"""Marks are searched for in a picture of about this length, and refined in the whole one."""

MOST_BENT_MM = 0.35
_MOST_LENS = 0.08
_MUCH_NEARER = 0.5
"""A lens is taken to bend when that brings each mark left out of the fit, together, this much
nearer (squares of their distances) to where the other three foretell it."""

LEAST_PIXELS_PER_MM = 6.0

_STRIP_ROWS = 128
_STEPS = 4
"""Of a series whose error shrinks about tenfold each; the lens moves nothing by more than 8 %."""

_CORNER_NAMES = ("top left", "top right", "bottom right", "bottom left")


@dataclass(frozen=True)
class Slips:
    """What the slips in a picture say.

    Parameters
    ----------
    tile, firing : int
    """

    tile: int
    firing: int


@dataclass(frozen=True)
class FoundCard:
    """Where the card lies in a picture.

    Parameters
    ----------
    view : ndarray (3, 3)
        Homography from card mm to pixels of the whole picture, straightened.
    pixels_per_mm : float
        At the middle of the card.
    bent_mm : float
        Root mean square distance of the marks' corners from where a flat card would have them.
    marks : int
        How many of the four corner marks were found.
    ids : ndarray (n,)
        Every mark seen, for `read_slips`.
    lens : float
        How far the lens bends the picture, as `straight_places` has it; 0 when that cannot be told.
    """

    view: NDArray[np.float64]
    pixels_per_mm: float
    bent_mm: float
    marks: int
    ids: NDArray[np.int32]
    lens: float = 0.0


def find_marks(grey: Raster) -> tuple[Raster, NDArray[np.int32]]:
    """Find every mark in a grey picture: corners (n, 4, 2) in pixels, and ids (n,)."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.minMarkerPerimeterRate = 0.04
    finder = cv2.aruco.ArucoDetector(dictionary(), settings)
    corners, ids, _ = finder.detectMarkers(grey)
    if ids is None:
        return np.zeros((0, 4, 2), np.float32), np.zeros(0, np.int32)
    return np.stack(corners)[:, 0], ids.ravel().astype(np.int32)


def find_card(grey: Raster, card: Card, scale: PrintScale) -> FoundCard:
    """Find the card in a grey picture.

    Raises
    ------
    Unmeasurable
        With the reason: no card, cropped, covered, too far or bent.
    """
    shrink = max(max(grey.shape) / SEARCH_PX, 1.0)
    small = (
        grey
        if shrink == 1.0
        else cv2.resize(grey, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    )
    corners, ids = find_marks(small)
    own = np.isin(ids, CARD_IDS)
    if np.unique(ids[own]).size < own.sum():
        raise Unmeasurable("There is more than one photo card in the picture. Show one at a time.")
    if not own.any():
        raise Unmeasurable(_why_no_card(small, ids))
    known = card.marker_corners(scale)
    places = np.concatenate([known[int(i)] for i in ids[own]])
    seen = np.concatenate(list((corners[own] + 0.5) * shrink - 0.5))
    if own.sum() < 3:
        raise Unmeasurable(_why_few(grey, known, ids[own], places, seen))
    seen = _refined(grey, seen)
    lens = _lens(places, seen, grey.shape[::-1])
    seen = straight_places(seen, lens, grey.shape[::-1])
    view = np.asarray(cv2.findHomography(places, seen)[0], np.float64)
    per_mm = _pixels_per_mm(view, card)
    apart = cv2.perspectiveTransform(places[None], view)[0] - seen
    bent = float(np.sqrt((apart**2).sum(axis=1).mean())) / per_mm
    if per_mm < LEAST_PIXELS_PER_MM:
        raise Unmeasurable(
            f"The card is too far away: {per_mm:.0f} pixels to the mm, at least "
            f"{LEAST_PIXELS_PER_MM:.0f} are needed. Go closer until the card fills the picture."
        )
    if bent > MOST_BENT_MM:
        raise Unmeasurable(
            f"The card is not flat, or its marks are not where this card has them ({bent:.1f} mm "
            "out). Lay it on a hard surface, and use the card printed for this series."
        )
    return FoundCard(view, per_mm, bent, int(own.sum()), ids, lens)


def read_slips(ids: NDArray[np.int32]) -> Slips:
    """Read tile and firing from the marks found.

    Raises
    ------
    Unmeasurable
        When a slip is missing or there are two of a kind.
    """
    tiles, firings = tiles_among(ids), firings_among(ids)
    for found, kind in ((tiles, "tile"), (firings, "firing")):
        if not found:
            raise Unmeasurable(
                f"The {kind} slip cannot be read. Lay it in its frame, face up, and hold the "
                "telephone still."
            )
        if len(found) > 1:
            numbers = " and ".join(map(str, found))
            raise Unmeasurable(f"There are two {kind} slips in the picture: {numbers}. Leave one.")
    return Slips(tiles[0], firings[0])


def _refined(grey: Raster, seen: Raster) -> Raster:
    sides = np.linalg.norm(np.diff(seen.reshape(-1, 4, 2), axis=1), axis=2)
    half = int(np.clip(sides.min() / 8 * 0.5, 2, 12))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    points = np.ascontiguousarray(seen, np.float32).reshape(-1, 1, 2)
    return cv2.cornerSubPix(grey, points, (half, half), (-1, -1), stop).reshape(-1, 2)


def straight_places(seen: Raster, lens: float, size: tuple[int, ...]) -> Raster:
    """Carry places (n, 2) in a picture to where a lens that does not bend would show them.

        place = middle + (seen - middle) (1 + lens r^2)

    r being the distance of what is seen from the picture's middle over that of its corners; the
    first term of the usual series (Brown 1966, Decentering distortion of lenses, Photogrammetric
    Engineering 32). Positive for a barrel.
    """
    middle = np.array(size) / 2 - 0.5
    away = seen - middle
    square = (away**2).sum(axis=1, keepdims=True) / (middle**2).sum()
    straight: Raster = middle + away * (1 + lens * square)
    return straight


def straightened(pixels: Raster, lens: float) -> Raster:
    """Redraw a picture as a lens that does not bend would show it."""
    if not lens:
        return pixels
    rows, columns = pixels.shape[:2]
    middle = np.array([columns, rows]) / 2 - 0.5
    x = np.arange(columns, dtype=np.float32) - np.float32(middle[0])
    straight = np.empty_like(pixels)
    for top in range(0, rows, _STRIP_ROWS):
        y = np.arange(top, min(top + _STRIP_ROWS, rows), dtype=np.float32)[:, None]
        y -= np.float32(middle[1])
        square = np.float32(lens / (middle**2).sum()) * (x**2 + y**2)
        shrink = 1 - square
        for _ in range(_STEPS):
            shrink = 1 / (1 + square * shrink**2)
        maps = x * shrink + np.float32(middle[0]), y * shrink + np.float32(middle[1])
        straight[top : top + _STRIP_ROWS] = cv2.remap(
            pixels, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return straight


def _lens(places: NDArray[np.float64], seen: Raster, size: tuple[int, ...]) -> float:
    """How far the lens bends, from the marks of a flat card; 0 unless each mark bears it out."""
    marks = len(seen) // 4
    if marks < len(CARD_IDS):
        return 0.0
    off = np.zeros(2)
    for mark in range(marks):
        out = np.arange(len(seen)) // 4 == mark
        for bends in (False, True):
            lens, grown = _best_lens(places[~out], seen[~out], size, bends)
            off[int(bends)] += (_off(places, seen, size, lens, grown, ~out)[out] ** 2).sum()
    return _best_lens(places, seen, size, True)[0] if off[1] < _MUCH_NEARER * off[0] else 0.0


def _best_lens(
    places: NDArray[np.float64], seen: Raster, size: tuple[int, ...], bends: bool
) -> tuple[float, float]:
    """Fit the lens (0 unless it may bend) and how much too large each mark seems (share of it).

    Blur and ink make marks seem larger or smaller, which would pass for a lens.
    """
    found, step = np.zeros(2), 1e-3
    free = np.eye(2)[0 if bends else 1 :]

    def rest(now: NDArray[np.float64]) -> NDArray[np.float64]:
        lens, grown = now.tolist()
        return _off(places, seen, size, lens, grown, np.ones(len(seen), bool)).ravel()

    for _ in range(3):
        now = rest(found)
        slopes = np.column_stack([(rest(found + step * way) - now) / step for way in free])
        move = np.linalg.lstsq(slopes, -now, rcond=None)[0]
        found = np.clip(found + move @ free, -_MOST_LENS, _MOST_LENS)
    return float(found[0]), float(found[1])


def _off(
    places: NDArray[np.float64],
    seen: Raster,
    size: tuple[int, ...],
    lens: float,
    grown: float,
    fitted: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """How far each corner lies from where the fitted ones foretell it, (n, 2) in pixels."""
    by_mark = places.reshape(-1, 4, 2)
    middles = by_mark.mean(axis=1, keepdims=True)
    grown_places = (middles + (by_mark - middles) * (1 + grown)).reshape(-1, 2)
    laid = straight_places(seen, lens, size)
    view = np.asarray(cv2.findHomography(grown_places[fitted], laid[fitted])[0])
    off: NDArray[np.float64] = cv2.perspectiveTransform(grown_places[None], view)[0] - laid
    return off


def _pixels_per_mm(view: NDArray[np.float64], card: Card) -> float:
    middle = np.array([card.width_mm, card.height_mm]) / 2
    square = middle + np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float64)
    return float(np.sqrt(cv2.contourArea(_seen(view, square))))


def _seen(view: NDArray[np.float64], places: NDArray[np.float64]) -> Raster:
    seen: Raster = cv2.perspectiveTransform(places[None], view)[0].astype(np.float32)
    return seen


def _why_no_card(small: Raster, ids: NDArray[np.int32]) -> str:
    _, mirrored = find_marks(np.ascontiguousarray(small[:, ::-1]))
    if np.isin(mirrored, CARD_IDS).any():
        return "The picture is mirrored. Take it with the telephone's back camera."
    if ids.size:
        return "The slips can be seen but not the card's corner marks. Show the whole card."
    if sharpness(small) < 2.0:
        return (
            "No photo card can be seen, and nothing in the picture is sharp. Show the whole card, "
            "tap on the tile to focus and hold still."
        )
    return "There is no photo card in the picture. Lay the tile on the card and show all of it."


def _why_few(
    grey: Raster,
    known: dict[int, NDArray[np.float64]],
    found: NDArray[np.int32],
    places: NDArray[np.float64],
    seen: Raster,
) -> str:
    view, _ = cv2.findHomography(places, seen)
    missing = [i for i in CARD_IDS if i not in found]
    names = " and ".join(_CORNER_NAMES[CARD_IDS.index(i)] for i in missing)
    outside = False
    if view is not None:
        where = _seen(np.asarray(view, np.float64), np.concatenate([known[i] for i in missing]))
        outside = bool(((where < 0) | (where > grey.shape[::-1])).any())
    if outside:
        return f"The card is cropped: its {names} marks are outside the picture. Show all of it."
    return (
        f"The card's {names} marks are covered or too blurred to read. Keep fingers and shadows "
        "off the card and hold still."
    )


def sharpness(grey: Raster) -> float:
    """Give the share of a picture's contrast that lies in its finest detail, in %."""
    part = grey.astype(np.float32)
    detail = float(np.std(cv2.Laplacian(part, cv2.CV_32F)))
    return 100 * detail / max(8 * float(np.std(part)), 1e-6)
