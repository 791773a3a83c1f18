"""Patches lie on the blank, apart from each other and from the rim."""

import itertools
import math

import pytest

from kit.errors import Misuse
from kit.series import Blank, Stencil, positions

BLANKS = {
    "square": (Blank(), Stencil(), 4),
    "round": (Blank("round", 60, 60), Stencil(size_mm=14), 5),
    "strip": (Blank("strip", 120, 25), Stencil("square", 12), 6),
    "upright strip": (Blank("strip", 25, 120), Stencil("disc", 12), 6),
    "bars": (Blank("square", 80, 60), Stencil("bar", 10), 4),
    "odd number": (Blank("square", 70, 70), Stencil(size_mm=12), 7),
}


@pytest.mark.parametrize("case", BLANKS)
def test_discs_keep_their_clearance(case):
    blank, stencil, count = BLANKS[case]
    laid = positions(blank, stencil, count)
    assert [p.number for p in laid] == list(range(1, count + 1))
    for a, b in itertools.combinations(laid, 2):
        dx, dy = abs(a.x_mm - b.x_mm), abs(a.y_mm - b.y_mm)
        if stencil.shape == "disc":
            assert math.hypot(dx, dy) >= stencil.size_mm + blank.clearance_mm - 1e-9
        else:
            assert dx >= stencil.size_mm + blank.clearance_mm - 1e-9 or (
                dy >= stencil.height_mm + blank.clearance_mm - 1e-9
            )
    for p in laid:
        half_w, half_h = stencil.size_mm / 2, stencil.height_mm / 2
        assert blank.clearance_mm - 1e-9 <= p.x_mm - half_w
        assert p.x_mm + half_w <= blank.width_mm - blank.clearance_mm + 1e-9
        assert blank.clearance_mm - 1e-9 <= p.y_mm - half_h
        assert p.y_mm + half_h <= blank.height_mm - blank.clearance_mm + 1e-9


def test_too_many_are_refused_with_the_number_that_fits():
    with pytest.raises(Misuse, match="4 would fit"):
        positions(Blank(), Stencil(), 9)
