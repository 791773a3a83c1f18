"""A series planned from its settings, and a series that goes on from another."""

from dataclasses import replace

import pytest

from kit.design import next_patches, plan_series
from kit.errors import Misuse
from kit.series import new_series, patches_in_full


@pytest.fixture
def fresh(fired):
    settings = replace(fired.settings, tiles=4, patches_per_tile=2)
    return new_series("fresh", settings, fired.colours)


def test_what_was_chosen_is_in_the_settings_of_the_planned_series(fresh):
    planned, chosen = plan_series(fresh, ask="which pairs work", tiles=6)
    assert (planned.settings.ask, planned.settings.tiles) == ("which pairs work", 6)
    assert len(planned.tiles) == 6
    assert planned.patches.equals(chosen.patches)
    assert not planned.problems()


def test_a_planned_series_is_not_planned_again(fresh):
    planned, _ = plan_series(fresh)
    with pytest.raises(Misuse, match="planned already"):
        plan_series(planned)


def test_a_series_without_colours_is_refused(fresh):
    with pytest.raises(Misuse, match=r"colours\.csv"):
        plan_series(replace(fresh, colours=fresh.colours.iloc[:0]))


def test_going_on_from_a_graded_series_fires_what_it_left_open(fresh, fired):
    bare = replace(fresh, colours=fresh.colours.iloc[:0])
    planned, chosen = plan_series(bare, after=[fired])
    assert chosen.kind == "next round"
    assert list(planned.colours["colour"]) == list(fired.colours["colour"])
    wanted = next_patches(
        fired, 8, colours=fired.colours, patches_per_tile=2, seed=fresh.settings.seed
    )
    pairs = patches_in_full(planned)[["base", "overlay"]]
    assert sorted(map(tuple, pairs.to_numpy())) == sorted(
        map(tuple, wanted[["base", "overlay"]].to_numpy())
    )
