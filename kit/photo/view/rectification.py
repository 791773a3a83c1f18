"""Looking straight down: planes of the picture redrawn at a fixed number of pixels per mm."""

import cv2
import numpy as np
from numpy.typing import NDArray

from kit.photo.card.card_geometry import Box
from kit.photo.raster import Raster

_FILM_DIAGONAL_MM = 43.27


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
