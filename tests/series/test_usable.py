"""What the models may use, standing beside the same recipe as the grades of the same patch."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.photo import COLUMNS
from kit.series import MEASURES, join_measurements, observations, usable_measurements


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
