"""Turned, swapped and wrongly sifted tiles are named; a series in order is left alone."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.photo.review.colour_memory import colour_questions, untold_questions


@pytest.fixture
def questions(picture_of, laid):
    """Ask about a series in which some pictures stand for others."""

    def ask(instead: dict[int, pd.DataFrame] | None = None, firings=(1,)):
        tables = [picture_of(tile, firing) for tile in range(1, 7) for firing in firings]
        for tile, other in (instead or {}).items():
            tables = [t for t in tables if t["tile"].iloc[0] != tile or t["firing"].iloc[0] != 1]
            tables.append(other)
        return colour_questions(pd.concat(tables, ignore_index=True), laid)

    return ask


@pytest.mark.parametrize("firings", [(1,), (1, 2, 3)])
def test_a_series_in_order_is_asked_nothing(questions, firings):
    assert questions(firings=firings) == []


@pytest.mark.parametrize("firings", [(1,), (1, 2)])
def test_a_tile_laid_upside_down_is_named(questions, picture_of, firings):
    # Half a turn brings position 4 to 1, 3 to 2 and so on.
    turned = picture_of(2, shows={1: "moss", 2: "plum", 3: "foam", 4: "rust"}, seed=3)
    (question,) = questions({2: turned}, firings)
    assert question.pictures == ("2-1-3",)
    assert "upside down" in question.words
    assert question.turned_deg == 180


def test_a_tile_laid_a_quarter_round_is_named(questions, picture_of):
    turned = picture_of(3, shows={1: "rust", 2: "sand", 3: "foam", 4: "ink"}, seed=3)
    (question,) = questions({3: turned})
    assert "by a quarter to the right" in question.words
    assert question.turned_deg == 90


def test_a_slip_of_another_tile_is_named_with_the_tile_that_is_seen(questions, picture_of):
    other = picture_of(1, shows={1: "ink", 2: "sand", 3: "foam", 4: "rust"}, base="slate", seed=3)
    (question,) = questions({1: other})
    assert "slip says tile 1" in question.words
    assert "colours of tile 6" in question.words


def test_a_patch_sifted_with_another_colour_is_named_with_the_colour_it_looks_like(
    questions, picture_of
):
    wrong = picture_of(5, shows={3: "sand"}, seed=3)
    (question,) = questions({5: wrong})
    assert question.patches == ("T5-3",)
    assert "colour of moss" in question.words
    assert "looks like sand" in question.words


def moved(table: pd.DataFrame, lightness: float, patch: str = "") -> pd.DataFrame:
    """The same picture, its overlays lighter or darker than they are known."""
    own = (table["patch"] == patch) | (patch == "")
    return table.assign(overlay_l=table["overlay_l"] + lightness * own)


def test_another_reading_must_fit_and_not_only_be_nearer(questions, picture_of):
    # Upside down, and every overlay 18 lighter besides: no known tile looks so, however it lies.
    turned = picture_of(2, shows={1: "moss", 2: "plum", 3: "foam", 4: "rust"}, seed=3)
    (question,) = questions({2: moved(turned, 18.0)})
    assert "upside down" not in question.words
    assert "Was another colour sifted" in question.words
    (question,) = questions({2: moved(turned, 4.0)})
    assert "upside down" in question.words


@pytest.mark.parametrize(("lighter", "asked"), [(11.0, 0), (25.0, 1)])
def test_a_colour_must_be_plainly_another_to_be_asked_about(questions, picture_of, lighter, asked):
    # Lighter by 11 it is some 10 CIEDE2000 off: as a thicker coat or more firing may make it.
    found = questions({5: moved(picture_of(5, seed=3), lighter, "T5-3")})
    assert [question.patches for question in found] == [("T5-3",)] * asked


def test_another_base_under_the_right_overlays_is_named(questions, picture_of):
    wrong = picture_of(4, base="chalk", seed=3)
    (question,) = questions({4: wrong})
    assert "The base of tile 4" in question.words


def test_a_transparent_overlay_may_look_otherwise_on_each_base(laid, picture_of):
    tables = []
    for tile in range(1, 7):
        table = picture_of(tile)
        if tile > 3:
            table["overlay_l"] -= 25.0
        tables.append(table)
    assert colour_questions(pd.concat(tables, ignore_index=True), laid) == []


def test_what_is_hardly_seen_is_no_witness(questions, picture_of):
    hidden = picture_of(5, shows={3: "sand"}, seed=3)
    hidden.loc[hidden["patch"] == "T5-3", "quality"] = "poor"
    assert questions({5: hidden}) == []


def test_a_single_tile_with_two_pictures_asks_about_the_one_that_lies_otherwise(laid, picture_of):
    right = [picture_of(1, seed=s) for s in (1, 2)]
    turned = picture_of(1, shows={1: "ink", 2: "sand", 3: "moss", 4: "plum"}, seed=3)
    (question,) = colour_questions(pd.concat([*right, turned], ignore_index=True), laid)
    assert question.pictures == ("1-1-3",)


def test_of_two_pictures_that_contradict_both_are_asked_about(laid, picture_of):
    turned = picture_of(1, shows={1: "ink", 2: "sand", 3: "moss", 4: "plum"}, seed=3)
    found = colour_questions(pd.concat([picture_of(1), turned], ignore_index=True), laid)
    assert len(found) == 2
    assert all("upside down" in question.words for question in found)


def test_an_overlay_that_differs_from_base_to_base_is_not_remembered_over_all(laid, picture_of):
    plan = replace(laid, bases={tile: f"base {tile}" for tile in range(1, 7)})
    tables = []
    for tile in range(1, 7):
        table = picture_of(tile)
        table["overlay_b"] += 30.0 * (tile % 2)
        tables.append(table)
    assert colour_questions(pd.concat(tables, ignore_index=True), plan) == []


def untold(laid, *tables: pd.DataFrame, known: tuple[str, ...] = ()) -> list[str]:
    asked = untold_questions(pd.concat(tables, ignore_index=True), laid, known)
    assert all("which way up" in question.words for question in asked)
    return [question.pictures[0] for question in asked]


def test_nothing_tells_which_way_up_a_tile_lies_that_is_alone(laid, picture_of):
    assert untold(laid, picture_of(1)) == ["1-1-0"]
    # Two pictures that agree may both be of the tile upside down.
    assert untold(laid, picture_of(1), picture_of(1, firing=2)) == ["1-1-0", "1-2-0"]


def test_colours_on_other_tiles_tell_which_way_up_a_tile_lies(laid, picture_of):
    assert untold(laid, *(picture_of(tile) for tile in range(1, 7))) == []
    # Tiles 1 and 3 share sand and ink, which half a turn or a quarter would put elsewhere.
    assert untold(laid, picture_of(1), picture_of(3)) == []


def test_a_picture_that_a_person_looked_at_tells_for_those_of_its_tile_after_it(laid, picture_of):
    alone = [picture_of(1), picture_of(1, firing=2)]
    assert untold(laid, *alone, known=("1-1-0",)) == []
    assert untold(laid, *alone, known=("another",)) == ["1-1-0", "1-2-0"]


def test_a_control_tells_which_way_up_its_tile_lies(laid, picture_of):
    control = laid.patches.assign(
        overlay=laid.patches["overlay"].where(laid.patches["patch"] != "T1-2", "chalk")
    )
    seen = picture_of(1)
    lab = ["overlay_l", "overlay_a", "overlay_b"]
    base = seen[["base_l", "base_a", "base_b"]].to_numpy()
    seen[lab] = np.where((seen["patch"] == "T1-2").to_numpy()[:, None], base, seen[lab])
    assert untold(replace(laid, patches=control), seen) == []


def test_a_tile_that_looks_the_same_turned_is_not_asked_about(laid, picture_of):
    same = laid.patches.assign(overlay="plum")
    seen = picture_of(1, shows=dict.fromkeys(range(1, 5), "plum"))
    assert untold(replace(laid, patches=same), seen) == []
