"""Looking straight down: planes of the picture redrawn at a fixed number of pixels per mm."""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.card import Box
from kit.photo.raster import Raster

_FILM_DIAGONAL_MM = 43.27


def raised_view(
    view: NDArray[np.float64],
    height_mm: float,
    picture_size: tuple[int, int],
    focal_35mm: float,
    extent_mm: tuple[float, float],
) -> NDArray[np.float64]:
    """Carry the view of the card over to a plane above it: the top of the tile.

    The tile's face is nearer to the camera than the card, so it looks larger, and a leaning camera
    sees it moved. Camera position follows from the card's marks and the angle of view.

    Parameters
    ----------
    view : ndarray (3, 3)
        Homography from card mm to pixels.
    height_mm : float
        Of the plane above the card.
    picture_size : tuple of int
        Width and height in pixels.
    focal_35mm : float
        Focal length as for 35 mm film.
    extent_mm : tuple of float
        Width and height of the card.

    Returns
    -------
    ndarray (3, 3)
        Homography from mm on the raised plane to pixels.
    """
    focal = focal_35mm / _FILM_DIAGONAL_MM * np.hypot(*picture_size)
    lens = np.array([[focal, 0, picture_size[0] / 2], [0, focal, picture_size[1] / 2], [0, 0, 1.0]])
    ends = Box(0, 0, *extent_mm).corners
    seen = cv2.perspectiveTransform(ends[None], view)[0]
    solid = np.column_stack([ends, np.zeros(4)])
    _, turn, move = cv2.solvePnP(solid, seen, lens, None, flags=cv2.SOLVEPNP_IPPE)
    axes = cv2.Rodrigues(turn)[0]
    flat = lens @ np.column_stack([axes[:, 0], axes[:, 1], move[:, 0]])
    raised = lens @ np.column_stack([axes[:, 0], axes[:, 1], move[:, 0] - height_mm * axes[:, 2]])
    return view @ np.linalg.inv(flat) @ raised


def redraw(pixels: Raster, view: NDArray[np.float64], box: Box, per_mm: float) -> Raster:
    """Redraw a box of a plane as seen from straight above, `per_mm` pixels to the mm."""
    to_mm = np.array(
        [
            [1 / per_mm, 0, box.x_mm + 0.5 / per_mm],
            [0, 1 / per_mm, box.y_mm + 0.5 / per_mm],
            [0, 0, 1],
        ]
    )
    size = max(round(box.width_mm * per_mm), 1), max(round(box.height_mm * per_mm), 1)
    return cv2.warpPerspective(
        pixels, view @ to_mm, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
