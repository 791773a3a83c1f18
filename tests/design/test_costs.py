"""What a plan takes, worked out by hand, and the limits that a person sets."""

import math
from dataclasses import replace

import pandas as pd
import pytest

from kit.design import Limits, costs, plan, saving
from kit.errors import Misuse
from kit.series import Prices, Series, new_series


@pytest.fixture
def fresh(planned: Series) -> Series:
    settings = replace(planned.settings, patches_per_tile=3, tiles=6)
    return new_series("fresh", settings, planned.colours)


def test_trips_minutes_copper_powder_portions_and_grades_are_those_of_the_bench(planned: Series):
    # 8 tiles of 50 x 50 x 1.2 mm, back and two base coats and three firings each; four discs of
    # 14 mm. Copper weighs 8.96 g/cm³ (CRC Handbook of Chemistry and Physics).
    taken = costs(planned)
    graders = max(1, len(planned.settings.graders))
    assert (taken.tiles, taken.patches, taken.trips) == (8, 32, 8 * 6)
    assert taken.minutes == pytest.approx(48 * 1.5)
    assert taken.copper_g == pytest.approx(8 * 25 * 0.12 * 8.96)
    disc = math.pi * 0.7**2
    landed = 8 * 25 * 2 * 0.060 * 2 + 32 * disc * 0.040
    assert sum(taken.enamel_g.values()) == pytest.approx(landed / 0.7)
    assert taken.weighings == 8 * (1 + 2) + 32
    assert taken.gradings == 32 * 3 * graders
    assert "48 trips through the heat (72 minutes)" in taken.sentence()


def test_powder_is_counted_colour_by_colour(planned: Series):
    one = planned.tiles["tile"].iloc[0]
    base = planned.tiles["base"].iloc[0]
    alone = replace(
        planned,
        tiles=planned.tiles[planned.tiles["tile"] == one].reset_index(drop=True),
        patches=planned.patches[planned.patches["tile"] == one].reset_index(drop=True),
    )
    taken = costs(alone).enamel_g
    own = (alone.patches["overlay"] == base).sum()
    assert taken[base] == pytest.approx((25 * 2 * 0.060 + own * math.pi * 0.7**2 * 0.040) / 0.7)
    laid = alone.patches["overlay"].value_counts().drop(base, errors="ignore")
    overlay, count = laid.index[0], laid.iloc[0]
    assert taken[overlay] == pytest.approx(count * math.pi * 0.7**2 * 0.040 / 0.7)


def test_a_striped_tile_takes_the_trips_of_one_and_a_portion_for_each_stripe(planned: Series):
    first = planned.tiles["tile"].iloc[0]
    names = list(dict.fromkeys([planned.tiles["base"].iloc[0], *planned.colours["colour"]]))[:3]
    stripes = pd.DataFrame({"tile": first, "stripe": [1, 2, 3], "base": names})
    striped = costs(replace(planned, stripes=stripes))
    assert striped.trips == costs(planned).trips
    assert striped.weighings == costs(planned).weighings + 2 * 2


def priced(series: Series, **prices: float) -> Series:
    return replace(series, settings=replace(series.settings, prices=Prices("crowns", **prices)))


def test_money_is_the_sum_of_what_was_priced(planned: Series):
    # 8 tiles of 26.88 g of copper; 48 trips of 1.5 minutes.
    taken = costs(priced(planned, copper_per_kg=20, heat_per_hour=30, heat_per_trip=0.25))
    expected = 8 * 26.88 / 1000 * 20 + 72 / 60 * 30 + 48 * 0.25
    assert taken.money == pytest.approx(expected)
    assert "By your prices that is 52 crowns." in taken.sentence()
    powder = costs(priced(planned, enamel_per_100_g=10))
    assert powder.money == pytest.approx(sum(taken.enamel_g.values()) / 10)
    assert costs(planned).money is None


@pytest.mark.parametrize(
    ("limits", "tiles"),
    [
        (Limits(trips=18), 3),
        (Limits(minutes=31), 3),
        (Limits(tiles=4, gradings=27), None),
        (Limits(copper_g=110), 4),
    ],
)
def test_the_largest_plan_within_a_limit_is_found(fresh: Series, limits: Limits, tiles: int):
    chosen = plan(fresh, limits=limits)
    taken = costs(chosen.series)
    assert not limits.exceeded(taken)
    if tiles:
        assert taken.tiles == tiles
    one_more = plan(fresh, tiles=taken.tiles + 1)
    assert limits.exceeded(costs(one_more.series))


def test_a_plan_may_take_as_much_as_its_limit(planned: Series):
    taken = costs(planned)
    assert not Limits(tiles=taken.tiles, trips=taken.trips).exceeded(taken)
    assert Limits(tiles=taken.tiles - 1).exceeded(taken) == ["tiles (8, at most 7)"]


def test_a_late_patch_is_graded_less_often(planned: Series):
    late = planned.patches["before_firing"].mask(planned.patches["patch"] == "T1-1", 3)
    fewer = costs(replace(planned, patches=planned.patches.assign(before_firing=late)))
    assert fewer.gradings == costs(planned).gradings - 2 * len(planned.settings.graders)


def test_money_and_a_jar_that_runs_low_limit_a_plan_too(fresh: Series):
    chosen = plan(priced(fresh, heat_per_hour=60), limits=Limits(money=30))
    assert 20 < costs(chosen.series).money <= 30
    with pytest.raises(Misuse, match="needs prices"):
        plan(fresh, limits=Limits(money=30))


def test_what_no_plan_can_meet_is_refused_with_the_reason(fresh: Series):
    with pytest.raises(Misuse, match=r"trips \(6, at most 5\)"):
        plan(fresh, limits=Limits(trips=5))


def test_a_low_jar_lies_under_nothing_before_it_is_left_out_or_the_plan_shrinks(fresh: Series):
    whole = costs(plan(fresh).series)
    base = plan(fresh).tiles["base"].iloc[0]
    little = plan(fresh, limits=Limits(enamel_g={base: whole.enamel_g[base] / 3}))
    assert len(little.tiles) == whole.tiles
    assert base not in set(little.tiles["base"])
    assert base in set(little.patches["overlay"])
    assert little.limits[0].startswith(f"{base} lies under nothing")
    fresh = replace(fresh, settings=replace(fresh.settings, patches_per_tile=2))
    none = plan(fresh, limits=Limits(enamel_g={base: 0.001}))
    assert base not in {*none.tiles["base"], *none.patches["overlay"]}
    assert f"{base} is not fired" in none.limits[0]
    assert len(none.tiles) == whole.tiles
    assert none.series.settings.leave_out == fresh.settings.leave_out


def test_copper_enamel_and_firings_are_those_of_the_bench(planned: Series):
    # 8 tiles of 50 x 50 x 1.2 mm; copper weighs 8.96 g/cm³ (CRC Handbook of Chemistry and Physics).
    found = saving(planned).table
    plan, every = found.loc["this plan"], found.loc["every pair"]
    assert (plan["tiles"], plan["patches"]) == (8, 32)
    assert plan["copper_cm2"] == 8 * 25
    assert plan["copper_g"] == pytest.approx(8 * 25 * 0.12 * 8.96)
    disc = math.pi * 0.7**2
    # Two coats in front, and as much again on the back.
    landed = 8 * 25 * 2 * 0.060 * 2 + 32 * disc * 0.040
    assert plan["enamel_g"] == pytest.approx(landed / 0.7)
    assert plan["firings"] == 8 * (1 + 2 + 3)
    assert plan["hours"] == pytest.approx(48 * 1.5 / 60)
    # Every pair of four colours: each base takes three other overlays, which fit on one tile.
    assert (every["tiles"], every["patches"]) == (4, 12)
    assert found.loc["saved", "tiles"] == -4


def test_settings_multiply_what_every_pair_would_take(planned: Series):
    factors = {**planned.settings.factors, "mesh": (80, 100), "base_coats": (1, 2)}
    settings = replace(planned.settings, factors=factors, leave_out=("Ferry Blue",))
    found = saving(replace(planned, settings=settings))
    assert (found.pairs, found.settings) == (6, 4)
    every = found.table.loc["every pair"]
    # Three bases in two recipes; two overlays in two meshes make four patches, one tile each.
    assert (every["tiles"], every["patches"]) == (6, 24)
    assert every["firings"] == 6 * (1 + 1.5 + 3)


def test_it_is_said_in_words_and_never_as_a_saving_that_is_none(planned: Series):
    said = " ".join(saving(planned).sentences())
    assert "all 12 pairs" in said
    assert "2.0 times as much firing as every pair once" in said
    factors = {**planned.settings.factors, "mesh": (80, 100, 120, 150), "coat_weight": (30.0, 60.0)}
    settings = replace(planned.settings, factors=factors)
    said = " ".join(saving(replace(planned, settings=settings)).sentences())
    assert "each at 8 settings" in said
    # 4 bases x ceil(3 x 8 / 4) tiles = 24 tiles of 6 firings, against 8.
    assert "66\u00a0% less firing" in said


def test_nothing_planned_saves_nothing(planned: Series):
    with pytest.raises(Misuse, match="Nothing is planned"):
        saving(replace(planned, patches=planned.patches.iloc[:0]))


def test_every_pair_is_reckoned_on_tiles_like_those_of_the_plan(planned: Series):
    """With two bases of three small patches on a tile, four bases of three overlays take two."""
    settings = replace(planned.settings, stripes=2, ask="which pairs work")
    bare = {name: getattr(planned, name).iloc[:0] for name in ("tiles", "patches", "stripes")}
    striped = plan(replace(planned, settings=settings, **bare), tiles=4).series
    every = saving(striped).table.loc["every pair"]
    assert (every["tiles"], every["patches"]) == (2, 12)
    # Patches of 10 mm, and two coats in front and on the back.
    landed = 2 * 25 * 2 * 0.060 * 2 + 12 * math.pi * 0.5**2 * 0.040
    assert every["enamel_g"] == pytest.approx(landed / 0.7)
