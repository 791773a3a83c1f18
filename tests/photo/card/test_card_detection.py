"""A lens that bends is told by the card's own marks, and only when each of them bears it out."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from kit.photo.card.card_detection import _lens, find_card, straight_places, straightened
from kit.photo.card.card_geometry import PrintScale, card_for
from kit.series import Blank

CARD, SIZE = card_for(Blank()), (2000, 1500)


@pytest.mark.parametrize("barrel", [-0.01, 0.0, 0.02])
def test_the_bend_of_a_drawn_lens_is_found_from_the_marks(shoot, small_camera, barrel):
    _, photo = shoot(camera=replace(small_camera, barrel=barrel))
    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    found = find_card(grey, CARD, PrintScale())
    assert found.lens == pytest.approx(barrel, abs=0.002)
    assert (found.lens == 0.0) == (barrel == 0.0)


def seen_through(lens: float, off_px: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Places of the marks on the card, and where a leaning camera sees them, a little unsharp."""
    places = np.concatenate(list(CARD.marker_corners(PrintScale()).values()))
    view = np.array([[17.0, 0.4, 150.0], [-0.3, 16.5, 90.0], [1e-4, 2e-4, 1.0]])
    flat = cv2.perspectiveTransform(places[None], view)[0]
    seen = flat.copy()
    for _ in range(20):
        seen += flat - straight_places(seen, lens, SIZE)
    seen += np.random.default_rng(5).normal(0, 0.05, seen.shape)
    seen[:4, 0] += off_px
    return places, seen


def test_one_mark_that_is_off_is_no_bend_of_the_lens():
    assert _lens(*seen_through(0.02), SIZE) == pytest.approx(0.02, abs=0.002)
    assert _lens(*seen_through(0.0), SIZE) == 0.0
    # A corner of the paper that curls up shifts one mark only.
    assert _lens(*seen_through(0.0, off_px=4.0), SIZE) == 0.0


def test_marks_that_seem_too_large_are_no_bend_of_the_lens():
    places, seen = seen_through(0.0)
    by_mark = seen.reshape(-1, 4, 2)
    middles = by_mark.mean(axis=1, keepdims=True)
    swollen = (middles + (by_mark - middles) * 1.02).reshape(-1, 2)
    assert _lens(places, swollen, SIZE) == 0.0


def test_a_picture_is_straightened_as_its_places_are():
    seen = np.array([[300.0, 250.0], [1000.0, 750.0], [1700.0, 400.0], [500.0, 1300.0]])
    picture = np.zeros(SIZE[::-1], np.float32)
    for x, y in seen.astype(int):
        picture[y, x] = 1
    picture = cv2.GaussianBlur(picture, (0, 0), 4)
    straight = straightened(picture, 0.03)
    for x, y in straight_places(seen, 0.03, SIZE):
        part = straight[round(y) - 15 : round(y) + 16, round(x) - 15 : round(x) + 16]
        rows, columns = np.mgrid[-15:16, -15:16]
        assert (part * columns).sum() / part.sum() + round(x) == pytest.approx(x, abs=0.1)
        assert (part * rows).sum() / part.sum() + round(y) == pytest.approx(y, abs=0.1)
