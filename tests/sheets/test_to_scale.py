"""What is said to be life size is life size."""

import shutil
import subprocess

import cv2
import numpy as np
import pytest

from kit.photo import card_for, tile_marker
from kit.photo.card.printed_marks import dictionary
from kit.series import (
    Blank,
    Stencil,
    bases_by_stripe,
    places_on_tile,
    positions,
    stencil_on,
    stripe_edges,
)
from kit.sheets import LABEL_SHEETS, PAPERS, write_sheets
from kit.wording import listed, mm_and_inches


def near(shape, width, height, curved=False):
    return (
        shape.width == pytest.approx(width, abs=0.01)
        and shape.height == pytest.approx(height, abs=0.01)
        and shape.curved == curved
    )


def test_the_check_bar_is_50_mm(sheets):
    for name in ("shopping", "bench-cards", "photo-card"):
        assert any(near(shape, 50, 0) for shape in sheets[name].shapes()), name


@pytest.mark.parametrize(
    ("blank", "stencil", "places"),
    [
        (Blank(), Stencil(), 4),
        (Blank("round", 60, 60), Stencil("disc", 12), 5),
        (Blank("strip", 150, 30), Stencil("bar", 8), 6),
        (Blank("square", 100, 70), Stencil("square", 15), 6),
        (Blank("strip", 200, 40), Stencil("disc", 20), 5),
    ],
)
def test_blank_and_places_are_drawn_where_they_are_to_be_sifted(
    plan, pdf, tmp_path, blank, stencil, places
):
    series = plan(tiles=1, places=places, blank=blank, stencil=stencil)
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    card = pdf(paths["bench-cards"].read_bytes())
    shapes = card.every_shape()
    rim = [s for s in shapes if near(s, blank.width_mm, blank.height_mm, blank.shape == "round")]
    assert len(rim) == 1
    left, top = rim[0].left, rim[0].bottom + rim[0].height
    round_hole = stencil.shape == "disc"
    drawn = {
        (round(s.left + s.width / 2 - left, 2), round(top - s.bottom - s.height / 2, 2))
        for s in shapes
        if near(s, stencil.size_mm, stencil.height_mm, round_hole)
    }
    wanted = {(round(p.x_mm, 2), round(p.y_mm, 2)) for p in positions(blank, stencil, places)}
    assert len(drawn) == places
    for x, y in wanted:
        assert min(np.hypot(x - u, y - v) for u, v in drawn) < 0.03


@pytest.mark.parametrize("number", [2, 3])
def test_stripes_and_their_small_patches_are_drawn_where_they_are_to_be_sifted(
    stripes, pdf, tmp_path, number
):
    series = stripes(number)
    settings = series.settings
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    card = pdf(paths["bench-cards"].read_bytes())
    pages = map(card.shapes, range(len(card.reader.pages)))
    page = next(shapes for shapes in pages if any(near(s, 50, 50) for s in shapes))
    rim = max((s for s in page if near(s, 50, 50)), key=lambda s: s.bottom)
    inside = [s for s in page if rim.bottom - 0.1 <= s.bottom < rim.bottom + 50.1]
    small = stencil_on(settings, number)
    middles = sorted(
        (round(s.left + s.width / 2 - rim.left, 1), round(rim.bottom + 50 - s.bottom - 5, 1))
        for s in inside
        if near(s, 10, 10, True)
    )
    wanted = sorted((p.x_mm, p.y_mm) for p in places_on_tile(settings, number))
    assert np.allclose(middles, wanted, atol=0.06)
    seams = sorted(s.left - rim.left for s in inside if near(s, 0, 50))
    assert np.allclose(seams, stripe_edges(settings.blank, small, number), atol=0.02)


def said_width(mm: float) -> str:
    return mm_and_inches(mm).replace("\N{NO-BREAK SPACE}", " ")


def test_a_striped_tile_says_which_patch_lies_on_which_base_and_how_wide_that_is(
    stripes, pdf, tmp_path
):
    """Places are numbered as one reads, so that patch n of three stripes lies on (n - 1) mod 3."""
    series = stripes()
    under = bases_by_stripe(series)
    tile = int(series.stripes["tile"].iloc[0])
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    card, label, work = (
        " ".join(pdf(paths[name].read_bytes()).text.split())
        for name in ("bench-cards", "labels", "order-of-work")
    )
    own = series.patches[series.patches["tile"] == tile].sort_values("position")
    for base in under[under["tile"] == tile].itertuples():
        above = own[(own["position"] - 1) % 3 == base.stripe - 1]
        wide = said_width(round(base.share * series.settings.blank.width_mm, 1))
        places = listed([str(place) for place in above["position"]])
        assert f"Stripe {base.stripe}: {base.base}" in card
        s = "" if len(above) == 1 else "s"
        assert f"{wide} wide, under place{s} {places}." in card
        assert f"on {base.base}: {above['position'].iloc[0]}" in label
        assert f"Stripe {base.stripe} is {wide} wide" in work
    for stripe, side in enumerate(("right", "left and right", "left"), start=1):
        told = work.split(f"Stripe {stripe} is ")[1]
        assert told.split("Cover the tile ")[1].startswith(f"{side} of it with stiff card")


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="Debian's poppler-utils draws the page")
@pytest.mark.parametrize("stencil", [Stencil("disc", 12), Stencil("bar", 8)])
def test_the_grade_card_shows_a_patch_at_its_size(plan, tmp_path, stencil):
    """Drawn by another program at ten pixels a millimetre: the first picture is the crisp patch."""
    series = plan(places=2, stencil=stencil)
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    words = ["pdftoppm", "-r", "254", "-png", "-singlefile", paths["grade-card"], tmp_path / "card"]
    subprocess.run(words, check=True, capture_output=True)
    page = cv2.imread(str(tmp_path / "card.png")).astype(int)
    overlay = np.abs(page - [0x66, 0x4A, 0x2F]).max(axis=2) < 12
    _, _, boxes, _ = cv2.connectedComponentsWithStats(overlay.astype(np.uint8))
    large = boxes[1:][boxes[1:, cv2.CC_STAT_AREA] > 2000]
    first = min(large, key=lambda box: box[cv2.CC_STAT_LEFT])
    width, height = first[cv2.CC_STAT_WIDTH] / 10, first[cv2.CC_STAT_HEIGHT] / 10
    assert width == pytest.approx(stencil.size_mm, abs=0.7)
    assert height == pytest.approx(stencil.height_mm, abs=0.7)


def test_a_blank_too_large_for_the_paper_is_drawn_smaller_and_says_so(plan, pdf, tmp_path):
    series = plan(tiles=1, blank=Blank("square", 300, 300), stencil=Stencil("square", 80))
    paths = {p.stem: p for p in write_sheets(series, tmp_path)}
    card = pdf(paths["bench-cards"].read_bytes())
    assert "drawn at 25 %" in card.text
    pages = range(len(card.reader.pages))
    assert any(near(shape, 75, 75) for number in pages for shape in card.shapes(number))


def test_the_mark_on_a_card_is_read_by_the_camera_as_its_tile(sheets):
    cards = sheets["bench-cards"]
    marks = [
        (shapes, frame)
        for shapes in map(cards.shapes, range(len(cards.reader.pages)))
        for frame in sorted((s for s in shapes if near(s, 13, 13)), key=lambda s: -s.bottom)
    ]
    assert len(marks) == 6
    for tile, (shapes, frame) in enumerate(marks, start=1):
        cells = np.ones((8, 8), bool)
        for s in shapes:
            if near(s, 13 / 8, 13 / 8):
                column = (s.left - frame.left) / (13 / 8)
                row = (frame.bottom + 13 - s.bottom - s.height) / (13 / 8)
                if -0.1 < column < 7.5 and -0.1 < row < 7.5:
                    cells[round(row), round(column)] = False
        assert (cells == tile_marker(tile)).all()
        picture = np.kron(np.pad(~cells, 2, constant_values=True), np.ones((20, 20))) * 255
        finder = cv2.aruco.ArucoDetector(dictionary())
        _, ids, _ = finder.detectMarkers(picture.astype(np.uint8))
        assert ids.ravel().tolist() == [100 + tile]


def test_the_photo_cards_corner_marks_are_as_far_apart_as_the_camera_expects(sheets, series):
    card = card_for(series.settings.blank)
    wanted = sorted((box.x_mm, box.y_mm) for box in card.markers)
    size = card.markers[0].width_mm
    marks = [s for s in sheets["photo-card"].shapes() if near(s, size, size)]
    left = min(s.left for s in marks) - wanted[0][0]
    top = max(s.bottom + s.height for s in marks) + min(y for _, y in wanted)
    found = sorted((s.left - left, top - s.bottom - s.height) for s in marks)
    assert np.allclose(found, wanted, atol=0.02)


@pytest.mark.parametrize("name", LABEL_SHEETS)
def test_labels_lie_within_their_paper_and_apart(name):
    sheet = LABEL_SHEETS[name]
    paper = PAPERS[sheet.paper]
    right = sheet.left_mm + (sheet.columns - 1) * sheet.across_mm + sheet.width_mm
    bottom = sheet.top_mm + (sheet.rows - 1) * sheet.down_mm + sheet.height_mm
    assert right <= paper.width_mm + 0.01 and bottom <= paper.height_mm + 0.01
    assert sheet.across_mm >= sheet.width_mm and sheet.down_mm >= sheet.height_mm


@pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("us-letter", (215.9, 279.4))])
def test_pages_have_the_size_of_the_paper(series, pdf, tmp_path, paper, size):
    """ISO 216 and ANSI/ASME Y14.1."""
    for path in write_sheets(series, tmp_path, paper):
        assert pdf(path.read_bytes()).size_mm() == pytest.approx(size, abs=0.1)
