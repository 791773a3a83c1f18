"""Measurements stand beside the same recipe as the grades of the same patch."""

from dataclasses import replace

import pandas as pd
import pytest

from kit.photo import join_measurements
from kit.series import observations


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
