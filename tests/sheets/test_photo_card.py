"""The photo card prints whole on either paper for every blank that it serves, or says which."""

import pytest

from kit.errors import Misuse
from kit.photo import card_for
from kit.series import Blank, Stencil
from kit.sheets import PAPERS, write_photo_card

SERVED = [
    Blank(),
    Blank("round", 80, 80),
    Blank("strip", 150, 30),
    Blank("square", 100, 100),
    Blank("square", 160, 160),
    Blank("strip", 210, 40),
    Blank("strip", 25, 160),
]


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("blank", SERVED, ids=lambda b: f"{b.shape} {b.width_mm:g}x{b.height_mm:g}")
def test_the_whole_card_lies_on_one_sheet(blank, paper, plan, pdf, tmp_path):
    series = plan(tiles=2, places=1, blank=blank, stencil=Stencil("disc", 8))
    sheet = pdf(write_photo_card(series, tmp_path, paper).read_bytes())
    card = card_for(blank)
    whole = [
        (page, shape)
        for page in range(len(sheet.reader.pages))
        for shape in sheet.shapes(page)
        if abs(shape.width - card.width_mm) < 0.1 and abs(shape.height - card.height_mm) < 0.1
    ]
    assert len(whole) == 1
    page, frame = whole[0]
    width, height = sheet.size_mm(page)
    assert frame.left >= 5 and frame.bottom >= 5
    assert frame.left + card.width_mm <= width - 5
    assert frame.bottom + card.height_mm <= height - 5


@pytest.mark.parametrize("blank", [Blank("square", 180, 180), Blank("strip", 240, 40)])
def test_a_blank_that_no_card_serves_is_told_how_large_it_may_be(blank):
    with pytest.raises(Misuse, match="blank can be up to 215 x 166 mm"):
        card_for(blank)
