"""The joined tables: the right rows, the right counts, lost patches out and listed.

What the models may use of the measurements stands beside the same recipe as the grades.
"""

from dataclasses import replace

import pandas as pd
import pytest

from kit.photo import COLUMNS
from kit.series import (
    MEASURES,
    join_measurements,
    losses,
    observations,
    over_another,
    usable_measurements,
)


def test_one_row_a_grade_with_its_recipe(fired):
    seen = observations(fired)
    assert len(seen) == 8 * 4 * 3 * 2
    row = seen[(seen["patch"] == "T3-2") & (seen["firings"] == 2)].iloc[0]
    assert (row["base"], row["base_family"]) == ("Plaster White", "unleaded")
    assert (row["overlay"], row["overlay_family"]) == ("Ferry Blue", "leaded")
    assert (row["base_mesh"], row["mesh"]) == (80, 80)


def test_a_colour_over_itself_is_a_control_and_no_pair():
    seen = pd.DataFrame(
        {"base": ["Ash", "Ash", "Moss"], "overlay": ["Ash", "Moss", "Ash"], "spread": [0, 1, 2]}
    )
    assert over_another(seen)["spread"].tolist() == [1, 2]
    assert len(over_another(seen[["spread"]])) == 3


def test_a_late_patch_has_been_fired_less_often(fired):
    late = fired.patches["before_firing"].mask(fired.patches["patch"] == "T1-1", 2)
    grades = fired.grades[~((fired.grades["patch"] == "T1-1") & (fired.grades["firing"] == 1))]
    seen = observations(
        replace(fired, patches=fired.patches.assign(before_firing=late), grades=grades)
    )
    assert set(seen.loc[seen["patch"] == "T1-1", "firings"]) == {1, 2}


def test_a_spoiled_tile_is_out_from_that_firing_on_and_listed(fired):
    hit = (fired.firings["tile"] == 2) & (fired.firings["firing"] == 2)
    spoiled = replace(
        fired, firings=fired.firings.assign(accident=hit.map({True: "chipped", False: ""}))
    )
    seen = observations(spoiled)
    assert set(seen.loc[seen["tile"] == 2, "firing"]) == {1}
    lost = losses(spoiled)
    assert list(lost["patch"]) == ["T2-1", "T2-2", "T2-3", "T2-4"]
    assert set(lost["reason"]) == {"chipped"}


@pytest.mark.parametrize(
    ("lost_at", "tile_lost_at", "kept", "why"),
    [(3, None, {1, 2}, "chipped"), (0, None, set(), "chipped"), (3, 2, {1}, "dropped"),
     (2, 3, {1}, "chipped"), (2, 2, {1}, "chipped")],
)  # fmt: skip
def test_a_patch_counts_until_it_or_its_tile_was_lost(
    photographed, lost_at, tile_lost_at, kept, why
):
    hit = photographed.patches["patch"] == "T4-1"
    there = photographed.firings["tile"].eq(4) & photographed.firings["firing"].eq(tile_lost_at)
    spoiled = replace(
        photographed,
        patches=photographed.patches.assign(
            accident=hit.map({True: "chipped", False: ""}),
            lost_at=pd.Series(lost_at, hit.index, dtype="Int64").where(hit),
        ),
        firings=photographed.firings.assign(accident=there.map({True: "dropped", False: ""})),
    )
    for seen in (observations(spoiled), join_measurements(spoiled)):
        assert set(seen.loc[seen["patch"] == "T4-1", "firing"]) == kept
        assert set(seen.loc[seen["patch"] == "T5-1", "firing"]) == {1, 2, 3}
    assert losses(spoiled).set_index("patch").at["T4-1", "reason"] == why


def test_a_spoiled_patch_without_a_firing_is_out_altogether(fired):
    hit = fired.patches["patch"] == "T4-1"
    spoiled = replace(
        fired, patches=fired.patches.assign(accident=hit.map({True: "mis-sifted", False: ""}))
    )
    assert "T4-1" not in set(observations(spoiled)["patch"])
    assert list(losses(spoiled)["reason"]) == ["mis-sifted"]


def test_a_tile_spoiled_twice_is_out_from_the_first_time(fired):
    hit = (fired.firings["tile"] == 2) & (fired.firings["firing"] >= 2)
    spoiled = replace(
        fired, firings=fired.firings.assign(accident=hit.map({True: "chipped", False: ""}))
    )
    seen = observations(spoiled)
    assert set(seen.loc[seen["tile"] == 2, "firing"]) == {1}
    assert set(losses(spoiled)["lost_from"]) == {2.0}


def test_colours_left_out_are_not_in_stock(fired):
    less = replace(fired, settings=replace(fired.settings, leave_out=("Ferry Blue",)))
    assert "Ferry Blue" in set(fired.stock["colour"])
    assert list(less.stock["colour"]) == ["Attic Rose", "Plaster White", "Pond Green"]


def row(patch: str, firing: int, spread: float | None, quality: str, accepted: str = "") -> dict:
    numbers = dict.fromkeys(MEASURES, 0.1) | {f"{name}_se": 0.02 for name in MEASURES}
    words = {"quality": quality, "accepted": accepted, "picture": "p.jpg"}
    return {"patch": patch, "firing": firing} | numbers | {"spread_mm": spread} | words


@pytest.fixture
def usable():
    rows = [
        row("1-1", 1, 0.2, "good"),
        row("1-1", 1, 0.4, "fair"),
        row("1-1", 2, 0.9, "good", "no"),
        row("1-2", 1, 0.5, "poor"),
        row("1-3", 1, 0.6, "poor", "Yes"),
        row("1-4", 1, None, "not measured", "yes"),
    ]
    return usable_measurements(pd.DataFrame(rows, columns=list(COLUMNS)))


def test_struck_out_poor_and_unmeasured_rows_are_left_out_unless_a_person_says_yes(usable):
    assert list(zip(usable["patch"], usable["firing"], strict=True)) == [("1-1", 1), ("1-3", 1)]


def test_several_pictures_of_one_patch_count_once(usable):
    assert usable["spread_mm"].tolist() == pytest.approx([0.3, 0.6])
    assert usable["pictures"].tolist() == [2, 1]
    assert usable["spread_mm_se"][0] == pytest.approx(0.02)


@pytest.fixture
def photographed(fired):
    """Every patch measured in two pictures after each firing; the second reads 0.2 mm more."""
    seen = fired.grades[["patch", "firing"]].drop_duplicates(ignore_index=True)
    twice = pd.concat([seen.assign(spread_mm=0.4), seen.assign(spread_mm=0.6)], ignore_index=True)
    table = fired.measurements.reindex(range(len(twice)))
    text = {"picture": "t.jpg", "picture_sha256": "0", "quality": "good", "remark": ""}
    return replace(fired, measurements=table.assign(**twice, accepted="", **text))


def test_a_patch_and_firing_is_one_row_with_the_recipe_of_its_grades(photographed):
    joined = join_measurements(photographed)
    recipe = list(joined.columns[:16])
    graded = observations(photographed)[recipe].drop_duplicates(ignore_index=True)
    assert "grader" not in joined
    pd.testing.assert_frame_equal(
        joined[recipe].sort_values(["patch", "firing"], ignore_index=True),
        graded.sort_values(["patch", "firing"], ignore_index=True),
    )
    assert joined["spread_mm"].to_numpy() == pytest.approx(0.5)
    assert (joined["pictures"] == 2).all()


def test_lost_patches_are_left_out(photographed):
    lost = photographed.patches.assign(accident=["dropped", *photographed.patches["accident"][1:]])
    gone = lost["patch"].iloc[0]
    joined = join_measurements(replace(photographed, patches=lost))
    assert gone not in set(joined["patch"])
    assert len(joined) < len(join_measurements(photographed))


def test_no_measurements_give_no_rows_and_the_same_columns(fired, photographed):
    nothing = join_measurements(fired)
    assert nothing.empty
    assert list(nothing.columns) == list(join_measurements(photographed).columns)
