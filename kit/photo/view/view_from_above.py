"""The window of the card, seen from above in even light, with the tile found on it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.card.card_detection import FoundCard, Slips, find_card, read_slips, straightened
from kit.photo.card.card_geometry import Box, Card
from kit.photo.patch.edge_width import transition_width
from kit.photo.raster import SRGB_TO_LINEAR, Raster, redraw, to_lab
from kit.photo.tile_plan import PhotoPlan
from kit.photo.view.illumination import Light, check_exposure, read_light, reflectance
from kit.photo.view.image_file import Opened, Unmeasurable
from kit.photo.view.tile_detection import TilePlace, find_tile

PER_MM = 20.0
"""Pixels to the mm of the redrawn window."""

ENAMEL_MM = 0.3
"""How much the enamel adds to the copper's thickness (common practice, no source)."""

MOST_BLUR_MM = 0.5
_ROUND_MARK_MM = 2.2
_BURNT = 252
_HALO_MM = 0.4
_PATTERN_PER_MM = 10.0
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Of sRGB primaries (IEC 61966-2-1)."""

_FILM_DIAGONAL_MM = 43.27


@dataclass(frozen=True)
class Window:
    """The window redrawn at `PER_MM`.

    Parameters
    ----------
    lab : ndarray (height, width, 3)
        CIELAB.
    hidden : ndarray of bool (height, width)
        Burnt out by glare, with a rim round it.
    tile : TilePlace
    card : FoundCard
    slips : Slips
    light : Light
    blur_mm : float
        10-90 % width of the card's own printed edges in this picture.
    scale_error : float
        Standard error of the print's scale, as a share.
    """

    lab: Raster
    hidden: NDArray[np.bool_]
    tile: TilePlace
    card: FoundCard
    slips: Slips
    light: Light
    blur_mm: float
    scale_error: float


def see_window(opened: Opened, plan: PhotoPlan) -> Window:
    """Find the card and the tile, straighten the picture and even its light.

    Raises
    ------
    Unmeasurable
        With the reason.
    """
    pixels = opened.pixels
    card, scale = plan.card, plan.scale
    found = find_card(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), card, scale)
    pixels = straightened(pixels, found.lens)
    stretch = np.diag([scale.across, scale.down, 1.0])
    planned = found.view @ stretch
    check_exposure(pixels, planned, card)
    blur = card_blur(pixels, planned, card.markers)
    if not blur < MOST_BLUR_MM:
        raise Unmeasurable(
            "The picture is blurred: the card's own printed edges are "
            + (f"{blur:.1f} mm wide. " if np.isfinite(blur) else "too soft to measure. ")
            + "Hold still, tap on the tile to focus, and use more light."
        )
    slips = read_slips(found.ids)
    light = read_light(pixels, planned, card)
    box = card.window
    real = Box(
        box.x_mm * scale.across,
        box.y_mm * scale.down,
        box.width_mm * scale.across,
        box.height_mm * scale.down,
    )
    height = plan.blank.thickness_mm + ENAMEL_MM
    size = pixels.shape[1], pixels.shape[0]
    view = raised_view(found.view, height, size, opened.focal_35mm)
    drawn = redraw(pixels, view, real, PER_MM)
    linear = reflectance(drawn, box, light, card)
    black = _printed(card, real, np.linalg.inv(planned) @ view)
    tile = find_tile(linear @ _LUMINANCE, black, PER_MM, plan.blank)
    lab = to_lab(linear)
    return Window(lab, _burnt(drawn), tile, found, slips, light, blur, plan.scale_error)


def _printed(card: Card, box: Box, to_card: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is printed on the card below the window, as seen past the tile's top."""
    size = round(box.height_mm * _PATTERN_PER_MM), round(box.width_mm * _PATTERN_PER_MM)
    x, y = np.meshgrid(
        box.x_mm + (np.arange(size[1]) + 0.5) / _PATTERN_PER_MM,
        box.y_mm + (np.arange(size[0]) + 0.5) / _PATTERN_PER_MM,
    )
    place = cv2.perspectiveTransform(np.stack([x, y], axis=-1).reshape(1, -1, 2), to_card)[0]
    return card.blackness(place).reshape(size)


def card_blur(pixels: Raster, planned: NDArray[np.float64], markers: tuple[Box, ...]) -> float:
    """Give the 10-90 % width of the outer edges of the card's corner marks, mm."""
    widths = []
    for box in markers:
        drawn = redraw(pixels, planned, box.grown(_ROUND_MARK_MM), PER_MM)[..., 1]
        level = SRGB_TO_LINEAR[drawn]
        bright, dark = np.quantile(level, 0.9), np.quantile(level, 0.1)
        if bright - dark < 0.05:
            continue
        share = ((bright - level) / (bright - dark)).astype(np.float32)
        smooth = cv2.GaussianBlur(share, (0, 0), 1.0)
        square = np.zeros(share.shape, np.uint8)
        rim = round(_ROUND_MARK_MM * PER_MM)
        square[rim:-rim, rim:-rim] = 1
        # The mark's border is black and a cell (1.75 mm) wide; what lies within it is not used.
        within = cv2.erode(square, np.ones((25, 25), np.uint8)) > 0
        deep = cv2.erode(square, np.ones((51, 51), np.uint8)) > 0
        whole = within | ((smooth > 0.5) & (cv2.dilate(square, np.ones((41, 41), np.uint8)) > 0))
        widths.append(transition_width(smooth, whole, deep, PER_MM))
    finite = [w for w in widths if np.isfinite(w)]
    return float(np.median(finite)) if finite else float("nan")


def _burnt(drawn: Raster) -> NDArray[np.bool_]:
    burnt = cv2.inRange(drawn, (_BURNT,) * 3, (255,) * 3)
    burnt = cv2.morphologyEx(burnt, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    side = 2 * round(_HALO_MM * PER_MM) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return cv2.dilate(burnt, kernel) > 0


def raised_view(
    view: NDArray[np.float64],
    height_mm: float,
    picture_size: tuple[int, int],
    focal_35mm: float,
) -> NDArray[np.float64]:
    """Carry the view of the card over to a plane above it: the top of the tile.

    The tile's face is nearer to the camera than the card, so it looks larger, and a leaning camera
    sees it moved. With the lens K known from the angle of view, the card's view is

        H = s K [r1 r2 t]

    (Zhang 2000, A flexible new technique for camera calibration, IEEE Transactions on Pattern
    Analysis and Machine Intelligence 22), r1 and r2 being the card's axes and t its corner as the
    camera has them. A plane h above the card has t - h r3 for t, with r3 = r1 x r2.

    Parameters
    ----------
    view : ndarray (3, 3)
        H, homography from card mm to pixels.
    height_mm : float
        h, of the plane above the card.
    picture_size : tuple of int
        Width and height in pixels.
    focal_35mm : float
        Focal length as for 35 mm film.

    Returns
    -------
    ndarray (3, 3)
        Homography from mm on the raised plane to pixels.
    """
    focal = focal_35mm / _FILM_DIAGONAL_MM * np.hypot(*picture_size)
    lens = np.array([[focal, 0, picture_size[0] / 2], [0, focal, picture_size[1] / 2], [0, 0, 1.0]])
    axes = np.linalg.solve(lens, view)
    # s may have either sign; the card lies in front of the camera.
    s = np.sign(axes[2, 2]) * (np.linalg.norm(axes[:, 0]) + np.linalg.norm(axes[:, 1])) / 2
    normal = np.cross(axes[:, 0], axes[:, 1])
    raised = view.copy()
    raised[:, 2] -= height_mm * s * (lens @ (normal / np.linalg.norm(normal)))
    return raised
