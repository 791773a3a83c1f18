"""A series planned from its settings, and a series that goes on from another."""

from dataclasses import replace

import pytest

from kit.design import (
    NEXT_TILES,
    Limits,
    TileFormat,
    next_patches,
    plan,
    plan_more,
    precision,
    replan,
)
from kit.design.which_pairs import pair_targets
from kit.errors import Misuse
from kit.series import Prices, Wish, new_series, patches_in_full


@pytest.fixture
def fresh(fired):
    settings = replace(fired.settings, tiles=4, patches_per_tile=2)
    return new_series("fresh", settings, fired.colours)


def test_what_was_chosen_is_in_the_settings_of_the_planned_series(fresh):
    chosen = plan(fresh, ask="which pairs work", tiles=6)
    planned = chosen.series
    assert (planned.settings.ask, planned.settings.tiles) == ("which pairs work", 6)
    assert len(planned.tiles) == 6
    assert not planned.problems()


def test_a_next_round_is_judged_together_with_the_rounds_before_it(fresh, fired):
    chosen = plan(fresh, after=[fired])
    planned = chosen.series
    assert len(planned.tiles) == NEXT_TILES
    alone = precision(planned)
    together = precision(planned, [fired])
    assert together.patches == len(fired.patches) + len(planned.patches)
    assert (together.table["within"].iloc[:3] < alone.table["within"].iloc[:3]).all()


def test_lost_patches_of_earlier_rounds_make_nothing_surer(planned, fired):
    hit = (fired.firings["tile"] == 2) & (fired.firings["firing"] == 1)
    lost = replace(
        fired, firings=fired.firings.assign(accident=hit.map({True: "dropped", False: ""}))
    )
    whole, less = precision(planned, [fired]), precision(planned, [lost])
    assert less.patches == whole.patches - 4
    assert (less.table["within"].iloc[:3] > whole.table["within"].iloc[:3]).all()


def test_a_planned_series_is_not_planned_again(fresh):
    planned = plan(fresh).series
    with pytest.raises(Misuse, match="planned already"):
        plan(planned)


def test_a_series_without_colours_is_refused(fresh):
    with pytest.raises(Misuse, match=r"colours\.csv"):
        plan(replace(fresh, colours=fresh.colours.iloc[:0]))


def test_going_on_from_a_graded_series_fires_what_it_left_open(fresh, fired):
    bare = replace(fresh, colours=fresh.colours.iloc[:0])
    chosen = plan(bare, tiles=4, after=[fired])
    planned = chosen.series
    assert chosen.kind == "next round"
    assert list(planned.colours["colour"]) == list(fired.colours["colour"])
    assert planned.tiles["tile"].min() == fired.tiles["tile"].max() + 1
    wanted = next_patches(
        fired,
        8,
        colours=fired.colours,
        tile_format=TileFormat(2),
        targets=pair_targets(fired.settings, fired.colours),
        seed=fired.settings.seed,
    )
    pairs = patches_in_full(planned)[["base", "overlay"]]
    assert sorted(map(tuple, pairs.to_numpy())) == sorted(
        map(tuple, wanted[["base", "overlay"]].to_numpy())
    )


def test_a_next_round_takes_prices_and_wishes_along_unless_it_has_its_own(fresh, fired):
    first, second, third = fired.colours["colour"][:3]
    wishes, prices = (Wish(first, second), Wish(third, "Sold Out")), Prices("EUR", 20.0)
    settings = replace(fired.settings, wishes=wishes, prices=prices)
    before = replace(fired, settings=settings)
    chosen = plan(fresh, tiles=2, after=[before])
    assert chosen.series.settings.wishes == wishes[:1]
    assert chosen.series.settings.prices == prices
    said = f"from {fired.name} into series.toml: the prices and 1 wish ({second} over {first})."
    assert f"Taken along {said}" in chosen.describe()
    own = replace(fresh.settings, wishes=(Wish(second, first),), prices=Prices("GBP"))
    kept = plan(replace(fresh, settings=own), tiles=2, after=[before])
    assert kept.series.settings.wishes == own.wishes
    assert kept.series.settings.prices == own.prices
    assert "Taken along" not in kept.describe()


@pytest.mark.parametrize("colours", [2, 3])
@pytest.mark.parametrize("stripes", [1, 2])
def test_few_colours_fill_a_base_with_as_many_overlays_as_there_are(fired, colours, stripes):
    """Whatever room a tile has, and in a next round too; each series keeps its own division."""
    few = fired.colours.iloc[:colours].reset_index(drop=True)
    settings = replace(fired.settings, ask="which pairs work", tiles=4, patches_per_tile=4)
    first = plan(new_series("few", replace(settings, stripes=stripes), few))
    for chosen in (first, plan(new_series("more", settings, few), after=[fired])):
        patches = patches_in_full(chosen.series)
        on_a_base = patches.groupby(["tile", "stripe"])["overlay"]
        assert (on_a_base.size() == colours - 1).all()
        assert (on_a_base.nunique() == colours - 1).all()
        others = "1 different overlay" if colours == 2 else "2 different overlays"
        assert f"as {colours} colours give {others} for it." in chosen.describe()
        assert not chosen.series.problems()
    assert first.series.settings.patches_per_tile == 4


def test_nothing_is_said_of_colours_that_fill_a_tile(fresh):
    assert "fewer than it has room for" not in plan(fresh, ask="which pairs work").describe()


@pytest.mark.parametrize("again", [False, True])
@pytest.mark.parametrize(
    "named",
    [
        {"leave_out": ["ferry blue"]},
        {"palette": ["Ferry Bleu"]},
        {"limits": Limits(enamel_g={"Ferri Blue": 1.0})},
    ],
)
def test_a_misspelt_colour_is_named_with_what_was_meant(fresh, fired, named, again):
    said = r"is not in colours\.csv\. Did you mean 'Ferry Blue'\?"
    for planning in (
        (lambda: plan_more(fired, 1, **named), lambda: replan(fired, tiles=1, **named))
        if again
        else (lambda: plan(fresh, ask="which pairs work", **named),)
    ):
        with pytest.raises(Misuse, match=said):
            planning()


def test_a_jar_that_is_empty_stays_so_and_what_was_fired_of_it_counts(fired):
    more = plan_more(fired, 2, leave_out=["Ferry Blue"])
    new = more.to_make
    assert "Ferry Blue" not in {*new.tiles["base"], *new.patches["overlay"]}
    kept = more.series
    assert kept.settings.used_up == ("Ferry Blue",)
    assert kept.settings.leave_out == fired.settings.leave_out
    assert "Ferry Blue" in set(kept.stock["colour"])
    later = replan(kept, tiles=2).to_make
    assert "Ferry Blue" not in {*later.tiles["base"], *later.patches["overlay"]}
    bare = replace(kept, colours=kept.colours.iloc[:0])
    follows = plan(new_series("next", bare.settings, bare.colours), tiles=2, after=[kept]).series
    assert "Ferry Blue" not in {*follows.tiles["base"], *follows.patches["overlay"]}
