import cv2
import numpy as np
import pytest

from kit.errors import Misuse
from kit.photo import firing_marker, tile_marker
from kit.photo.card.card_detection import find_marks
from kit.photo.card.marker import card_marker, firings_among, tiles_among


def printed(cells: np.ndarray) -> np.ndarray:
    big = np.kron(np.where(cells, 0, 255).astype(np.uint8), np.ones((20, 20), np.uint8))
    return cv2.copyMakeBorder(big, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=255)


@pytest.mark.parametrize("tile", [1, 7, 250, 899])
def test_a_tile_mark_reads_back_as_its_tile(tile):
    _, ids = find_marks(printed(tile_marker(tile)))
    assert tiles_among(ids) == [tile]
    assert firings_among(ids) == []


@pytest.mark.parametrize("firing", [0, 1, 39])
def test_a_firing_mark_reads_back_as_its_firing(firing):
    _, ids = find_marks(printed(firing_marker(firing)))
    assert firings_among(ids) == [firing]
    assert tiles_among(ids) == []


def test_any_two_marks_differ_in_at_least_nine_cells_however_they_are_turned():
    # The distance that OpenCV states for DICT_6X6_1000.
    marks = [card_marker(n) for n in range(4)]
    marks += [firing_marker(n) for n in range(10)] + [tile_marker(n) for n in range(1, 60)]
    for n, mark in enumerate(marks):
        for other in marks[n + 1 :]:
            assert min((np.rot90(mark, turn) != other).sum() for turn in range(4)) >= 9


@pytest.mark.parametrize("tile", [0, 900])
def test_a_tile_that_has_no_mark_is_refused(tile):
    with pytest.raises(Misuse, match="1 to 899"):
        tile_marker(tile)


def test_a_firing_that_has_no_mark_is_refused():
    with pytest.raises(Misuse, match="0 to 39"):
        firing_marker(40)
