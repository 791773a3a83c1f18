import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw

from kit.errors import Misuse
from kit.photo import (
    Rectangle,
    card_drawing,
    card_for,
    firing_marker,
    firing_slip_drawing,
    tile_marker,
    tile_slip_drawing,
)
from kit.photo.card.card_detection import find_marks
from kit.photo.card.card_geometry import SLIP_MM, PrintScale
from kit.photo.card.printed_marks import card_marker, firings_among, tiles_among
from kit.series import Blank

BLANKS = [Blank(), Blank("round", 80, 80), Blank("strip", 25, 100), Blank("strip", 120, 25)]


def painted(marks, width_mm: float, height_mm: float, per_mm: int = 10) -> np.ndarray:
    sheet = Image.new("L", (round(width_mm * per_mm), round(height_mm * per_mm)), 255)
    pen = ImageDraw.Draw(sheet)
    for mark in marks:
        if isinstance(mark, Rectangle):
            ends = (mark.x_mm, mark.y_mm, mark.x_mm + mark.width_mm, mark.y_mm + mark.height_mm)
            left, top, right, bottom = (round(v * per_mm) for v in ends)
            pen.rectangle((left, top, right - 1, bottom - 1), fill=round(mark.grey * 255))
    return np.asarray(sheet)


@pytest.mark.parametrize("blank", BLANKS)
def test_the_drawn_card_shows_its_four_marks_where_the_card_says(blank):
    card = card_for(blank)
    corners, ids = find_marks(painted(card_drawing(card), card.width_mm, card.height_mm))
    known = card.marker_corners(PrintScale())
    assert set(ids) == set(known)
    for found, identity in zip(corners, ids, strict=True):
        np.testing.assert_allclose((found + 0.5) / 10, known[int(identity)], atol=0.06)


@pytest.mark.parametrize("blank", BLANKS)
def test_nothing_on_the_card_overlaps_what_it_must_not(blank):
    card = card_for(blank)
    sheet = painted(card_drawing(card), card.width_mm, card.height_mm)
    for box in card.paper:
        rows = slice(round(box.y_mm * 10), round((box.y_mm + box.height_mm) * 10))
        columns = slice(round(box.x_mm * 10), round((box.x_mm + box.width_mm) * 10))
        assert (sheet[rows, columns] == 255).all()
    ends = np.array([b.grown(0).corners for b in (*card.markers, *card.greys, *card.slots)])
    assert ends.min() >= 0
    assert (ends <= (card.width_mm, card.height_mm)).all()


@pytest.mark.parametrize(
    ("drawing", "identity"), [(tile_slip_drawing(7), 107), (firing_slip_drawing(2), 12)]
)
def test_a_slip_laid_on_paper_shows_its_mark(drawing, identity):
    slip = np.pad(painted(drawing, SLIP_MM, SLIP_MM), 40, constant_values=255)
    assert find_marks(slip)[1].tolist() == [identity]


def test_two_measured_lengths_give_the_printers_scale():
    card = card_for(Blank())
    scale = card.print_scale(card.across_mm * 0.97, card.down_mm * 1.02)
    assert scale.across == pytest.approx(0.97)
    assert scale.down == pytest.approx(1.02)


def test_a_length_measured_in_inches_is_refused():
    card = card_for(Blank())
    with pytest.raises(Misuse, match="measure again, in mm"):
        card.print_scale(card.across_mm / 25.4, card.down_mm / 25.4)


def test_a_blank_too_large_for_one_sheet_is_refused():
    with pytest.raises(Misuse, match="does not fit on one printed sheet"):
        card_for(Blank("square", 180, 180))


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
