import cv2
import numpy as np
import pytest

from kit.photo.card.card_geometry import Box
from kit.photo.raster import redraw
from kit.photo.view.view_from_above import raised_view

FOCAL = 26 / 43.27 * np.hypot(4000, 3000)
LENS = np.array([[FOCAL, 0, 2000], [0, FOCAL, 1500], [0, 0, 1.0]])


def seen_by_opencv(place: np.ndarray, turn, move) -> np.ndarray:
    return cv2.projectPoints(place, np.array(turn), np.array(move), LENS, None)[0][:, 0]


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), (0.3, 0.0, 0.1), (-0.2, 0.25, 1.6)])
def test_a_raised_plane_is_seen_where_a_camera_model_sees_it(turn):
    # cv2.projectPoints: places 1.5 mm above the card, z running into the paper.
    move = [-50.0, -40.0, 110.0]
    flat = np.array([[0, 0, 0], [100, 0, 0], [100, 80, 0], [0, 80, 0]], float)
    view, _ = cv2.findHomography(flat[:, :2], seen_by_opencv(flat, turn, move))
    inside = np.array([[30, 20, 0], [70, 20, 0], [50, 60, 0]], float)
    found = cv2.perspectiveTransform(
        inside[None, :, :2], raised_view(view, 1.5, (4000, 3000), 26.0)
    )[0]
    wanted = seen_by_opencv(inside - (0, 0, 1.5), turn, move)
    on_card = seen_by_opencv(inside, turn, move)
    np.testing.assert_allclose(found, wanted, atol=0.6)
    assert np.abs(on_card - wanted).max() > 5


def test_a_redrawn_box_shows_the_pixels_of_that_box():
    pixels = np.zeros((100, 200, 3), np.uint8)
    pixels[20:40, 60:100] = 200
    scale = np.diag([10.0, 10.0, 1.0])
    scale[:2, 2] = -0.5
    drawn = redraw(pixels, scale, Box(6.0, 2.0, 4.0, 2.0), 10.0)
    assert drawn.shape == (20, 40, 3)
    assert (drawn == 200).all()
