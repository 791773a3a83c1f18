"""Patches and tiles are drawn as they were graded, and in steps that can be told apart."""

import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pytest

from kit.drawing import (
    GRADE_COLOURS,
    TileShown,
    Trip,
    ending_bar,
    firing_timeline,
    grade_colour,
    patch_state,
    step_pictures,
    tile_through_firings,
    tiles_as_graded,
    tiles_as_planned,
)
from kit.series import PULL_THROUGH, SPREAD, Blank, Scale, Settings, Stencil

SVG = "{http://www.w3.org/2000/svg}"
SETTINGS = Settings("Title", "Question?")
SQUARE = Stencil("square", 14.0)


def shapes(drawing, tag):
    return list(ET.fromstring(drawing.svg).iter(f"{SVG}{tag}"))


def area(path):
    """Area within a closed outline, by the shoelace formula."""
    x, y = np.array([float(n) for n in re.findall(r"-?[\d.]+", path)]).reshape(-1, 2).T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def covered(drawing):
    return max(area(node.get("d")) for node in shapes(drawing, "path"))


def base_shown(drawing):
    return sum(
        np.pi * float(node.get("rx")) * float(node.get("ry")) for node in shapes(drawing, "ellipse")
    )


def test_the_further_it_crept_the_larger_the_patch():
    covers = [covered(patch_state(step, 0, SQUARE)) for step in range(5)]
    assert covers[0] == pytest.approx(1, abs=0.01)
    disc = covered(patch_state(0, 0, Stencil("disc", 14.0)))
    assert disc == pytest.approx(np.pi / 4, abs=0.01)
    assert all(after > 1.02 * before for before, after in pairwise(covers))


def test_the_more_pulls_through_the_more_base_shows():
    shown = [base_shown(patch_state(0, step, SQUARE)) for step in range(4)]
    assert shown[0] == 0
    assert all(after > 2 * before for before, after in pairwise(shown))
    assert 0.4 < shown[3] < 0.7  # as much base as overlay
    total, *islands = patch_state(0, 4, SQUARE), base_shown(patch_state(0, 4, SQUARE))
    assert max(area(n.get("d")) for n in shapes(total, "path")[1:]) > 0.7
    assert islands[0] < 0.1


def test_life_size_is_life_size():
    drawing = patch_state(0, 0, SQUARE)
    assert drawing.width_in * 25.4 == pytest.approx(1.9 * 14.0)


def test_steps_of_both_scores_have_a_picture_and_others_none():
    for scale in (SPREAD, PULL_THROUGH):
        pictures = step_pictures(scale)
        assert len(pictures) == 5
        assert len({picture.svg for picture in pictures}) == 5
        for said, picture in zip(scale.steps, pictures, strict=True):
            assert said in picture.title
    assert step_pictures(Scale("gloss", "Gloss", "How dull?", tuple("01234"))) == ()


@pytest.mark.parametrize("blank", [Blank(), Blank("round", 60, 60), Blank("strip", 90, 30)])
@pytest.mark.parametrize("stencil", [Stencil(size_mm=8.0), Stencil("bar", 6.0)])
def test_patches_have_the_colour_of_their_grade_and_lost_ones_are_dashed(blank, stencil):
    settings = Settings("T", "Q", blank=blank, stencil=stencil, patches_per_tile=3)
    tile = TileShown("1 Moss", {1: 0.0, 2: 2.5}, frozenset({2}))
    drawing = tiles_as_graded(settings, [tile], SPREAD, "t", "Title", "Alt")
    tag = "circle" if stencil.shape == "disc" else "rect"
    outlined = [g for g in shapes(drawing, "g") if g.get("stroke")]
    patches = [n for g in outlined for n in g.findall(f"{SVG}{tag}")]
    assert [n.get("fill") for n in patches] == [GRADE_COLOURS[0], GRADE_COLOURS[3], "#ffffff"]
    assert [bool(n.get("stroke-dasharray")) for n in patches] == [False, True, True]
    texts = [n.text for n in shapes(drawing, "text")]
    assert "2½" in texts


def test_a_half_grade_has_the_colour_of_the_step_above():
    assert grade_colour(0.5) == GRADE_COLOURS[1]
    assert grade_colour(3.5) == GRADE_COLOURS[4]


def test_one_tile_has_a_column_for_each_firing_and_a_row_for_each_score():
    shown = {
        f"firing {n}": {"Spread": TileShown("", {1: n}), "Pull-through": TileShown("", {1: 0})}
        for n in (1, 2, 3)
    }
    drawing = tile_through_firings(SETTINGS, shown, "t", "Title", "Alt")
    grounds = [n for n in shapes(drawing, "rect") if n.get("fill") == "#e9e4de"]
    assert len(grounds) == 6
    assert len({n.get("x") for n in grounds}) == 3
    assert len({n.get("y") for n in grounds}) == 2


def test_plan_lists_every_overlay_beside_its_tile():
    tile = TileShown("Tile 1: Moss", overlays={1: "Rust", 2: "Sky"})
    texts = [n.text for n in shapes(tiles_as_planned(SETTINGS, [tile], "p", "T", "A"), "text")]
    assert {"Tile 1: Moss", "1 Rust", "2 Sky", "1", "2"} <= set(texts)


def test_timeline_has_a_mark_for_every_trip_and_a_cross_for_an_accident():
    trips = [Trip("1 Moss", 1, 0), Trip("1 Moss", 1, 1), Trip("2 Rust", 2, 1, "chipped")]
    drawing = firing_timeline(trips)
    assert len(shapes(drawing, "circle")) == 2
    assert drawing.title == "2 tiles went through the heat 3 times in 2 sessions; 1 accident"


def test_bar_is_cut_in_proportion_and_never_says_a_false_hundred():
    bar = ending_bar((0.6, 0.3, 0.1), "Moss over Rust")
    widths = [float(n.get("width")) for n in shapes(bar, "rect")]
    assert np.array(widths) / sum(widths) == pytest.approx([0.6, 0.3, 0.1], abs=0.001)
    assert bar.alt.startswith("Fine edge 60\xa0%, soft edge 30")
    sure = ending_bar((0.999, 0.001, 0.0), "Moss over Rust")
    assert [n.text for n in shapes(sure, "text")] == ["99"]
