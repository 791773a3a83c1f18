"""What a plan says before and after firing, and planning again from what is left."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from kit.design import (
    Limits,
    costs,
    fewer_would_do,
    forecast_verdicts,
    next_step,
    plan,
    plan_more,
    precision,
    replan,
    verdict_curve,
    what_to_expect,
    which_pairs,
)
from kit.design import verdict_forecast as forecasting
from kit.design.plan_series import only_tiles
from kit.design.surveys import PairKnowledge
from kit.design.verdict_forecast import NextStep, curve_in_words
from kit.design.which_pairs import Aim, draft_more_pairs, pair_targets
from kit.errors import Misuse
from kit.model import FINE_EDGE, HIT_OR_MISS, NOT_KNOWN
from kit.series import DEFAULT_FACTORS, Series, Settings, new_series, patches_in_full
from kit.studio import demo_colours, demo_settings, demo_truth, fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


@pytest.fixture(scope="module")
def fresh() -> Series:
    settings = replace(demo_settings(), tiles=7, factors=dict(DEFAULT_FACTORS), tiles_per_session=5)
    return new_series("fresh", settings, demo_colours())


@pytest.fixture(scope="module")
def fired(fresh: Series) -> Series:
    return fire(plan(fresh).series, demo_truth(), 3)


def partly(fired: Series, tiles: int, graded: bool = True) -> Series:
    """The series after so many of its tiles."""
    patches = fired.patches.loc[fired.patches["tile"] <= tiles, "patch"]
    grades = fired.grades[fired.grades["patch"].isin(patches) & graded]
    return replace(
        fired,
        firings=fired.firings[fired.firings["tile"] <= tiles].reset_index(drop=True),
        grades=grades.reset_index(drop=True),
    )


def test_a_larger_plan_is_expected_to_settle_more(fresh):
    curve = verdict_curve(fresh, [2, 6, 12], studios=4)
    assert (np.diff(curve["right"]) > 0).all()
    assert list(curve["trips"]) == [12, 36, 72]
    assert (curve["right"] <= curve["given"]).all()


def test_what_was_graded_before_counts_in_the_forecast(fresh, fired):
    chosen = plan(fresh)
    assert forecast_verdicts(chosen.series, [fired]).given > forecast_verdicts(chosen.series).given


def test_it_is_said_when_fewer_tiles_would_do_as_well():
    curve = pd.DataFrame(
        {"tiles": [4, 6, 8], "trips": [24, 36, 48], "right": [0.5, 0.697, 0.70], "given": 0.8}
    )
    assert fewer_would_do(curve, 8) == (
        "6 tiles would do as well: 36 trips through the heat for 48."
    )
    assert fewer_would_do(curve, 6) == ""
    said = curve_in_words(curve).replace("\N{NO-BREAK SPACE}", " ")
    assert said == (
        "Right verdicts to expect, of all pairs: 50 % with 4 tiles (24 trips), 69 % with 6 tiles "
        "(36 trips) and 70 % with 8 tiles (48 trips)."
    )


def test_a_plan_says_what_it_takes_and_what_it_will_settle(fresh):
    said = what_to_expect(plan(fresh).series)
    assert "trips through the heat" in said[0]
    assert "can be expected to get a verdict" in said[1]


def test_after_a_round_it_is_said_what_more_tiles_would_settle(fired, fresh):
    """What is settled now and what the tiles settle add up to what can be expected afterwards."""
    chosen = plan(fresh, tiles=2, after=[fired]).series
    step = next_step(chosen, [fired])
    assert step.tiles == 2
    assert 0 < step.settles <= step.open_pairs
    then = forecast_verdicts(chosen, [fired])
    assert step.pairs - step.open_pairs + step.settles == pytest.approx(then.given * then.pairs)
    assert set(step.refire) <= set(fired.tiles["tile"])
    assert all(sentence.endswith(".") for sentence in step.sentences())


def test_the_next_step_counts_pairs_and_what_more_tiles_add(fresh, monkeypatch):
    """A pair is open at as many of its firing counts as say so; by nature it varies once."""
    told = np.array(
        [
            [FINE_EDGE, HIT_OR_MISS],
            [HIT_OR_MISS, HIT_OR_MISS],
            [NOT_KNOWN, NOT_KNOWN],
            [FINE_EDGE, NOT_KNOWN],
        ]
    )
    then = np.array([1.0, 0.9, 0.6, 0.8])
    replaced = {
        "known_of_series": lambda *_: SimpleNamespace(judged=np.arange(4)),
        "patches_in_places": lambda *_: (None, None),
        "remaining_shares": lambda *_: None,
        "verdicts_now": lambda _: told,
        "expected_verdicts": lambda *_: SimpleNamespace(given=then),
        "_worth_refiring": lambda *_: (),
    }
    for name, stands_in in replaced.items():
        monkeypatch.setattr(forecasting, name, stands_in)
    step = next_step(fresh, [fresh])
    assert (step.pairs, step.open_pairs, step.by_nature) == (4, 1.5, 2)
    assert step.settles == pytest.approx(3.3 - (4 - 1.5))
    assert step.stop


def test_tiles_whose_pairs_mostly_keep_their_edge_deserve_another_firing(fired):
    names = tuple(fired.colours["colour"].astype("str"))
    known = PairKnowledge(names, (1,), (None, None), 0.8)
    pairs = patches_in_full(fired)
    pairs = pairs[pairs["base"] != pairs["overlay"]]
    tile, other = pairs["tile"].unique()[:2]
    few = pairs[pairs["tile"] == other].iloc[:1]
    keeps = pd.concat([pairs[pairs["tile"] == tile], few])
    keeps = {*zip(keeps["base"], keeps["overlay"], strict=True)}
    judged = known.pairs.iloc[known.judged]
    verdicts = np.array(
        [
            [FINE_EDGE if pair in keeps else NOT_KNOWN]
            for pair in zip(judged["base"], judged["overlay"], strict=True)
        ]
    )
    worth = forecasting._worth_refiring(fired, known, verdicts)
    own = pairs.assign(keeps=[p in keeps for p in zip(pairs["base"], pairs["overlay"],
                                                      strict=True)])  # fmt: skip
    share = own.groupby("tile")["keeps"].mean()
    assert set(worth) == set(share.index[share > 0.5])
    assert 0 < share[other] <= 0.5


def test_the_fewest_tiles_that_do_as_well_are_named():
    curve = pd.DataFrame(
        {"tiles": [4, 6, 8, 10], "trips": [24, 36, 48, 60], "right": [0.5, 0.695, 0.70, 0.70]}
    )
    said = fewer_would_do(curve, 10)
    assert said == "6 tiles would do as well: 36 trips through the heat for 60."
    assert fewer_would_do(curve, 4) == ""


def test_it_is_said_when_to_stop():
    done = NextStep(3, pairs=12, open_pairs=5.2, settles=0.4, by_nature=2, refire=())
    assert done.stop
    assert "stop" in done.sentences()[0]
    assert "2 pairs are hit or miss" in done.sentences()[1]
    more = NextStep(3, 12, 5.2, 2.0, 0, ())
    assert not more.stop
    assert more.sentences() == (
        "Before that about 5 pairs of 12 had no verdict at each firing count; 3 tiles would settle "
        "about 2 of them.",
    )


def test_until_anything_is_fired_a_plan_is_replaced_freely(fresh):
    first = plan(fresh).series
    again = replan(first, tiles=3)
    assert len(again.tiles) == 3
    assert not again.series.problems()


@pytest.mark.parametrize("graded", [True, False])
def test_what_was_fired_is_kept_and_the_rest_planned_anew(fired, graded):
    before = partly(fired, 5, graded)
    again = replan(before, tiles=2, leave_out=["Custard"])
    assert not again.series.problems()
    assert list(again.tiles["tile"]) == [1, 2, 3, 4, 5, 6, 7]
    kept = again.patches[again.patches["tile"] <= 5].reset_index(drop=True)
    was = before.patches[before.patches["tile"] <= 5].reset_index(drop=True)
    pd.testing.assert_frame_equal(kept, was)
    pd.testing.assert_frame_equal(again.series.grades, before.grades)
    new = patches_in_full(again.series).query("tile > 5")
    assert "Custard" not in {*new["base"], *new["overlay"]}
    assert set(again.order["tile"]) == {6, 7}
    assert new["tile"].map(again.tiles.set_index("tile")["session"]).min() > 1


def test_an_added_colour_comes_into_what_is_left(fired):
    more = pd.DataFrame([fired.colours.iloc[0].to_dict() | {"colour": "Quay Orange"}])
    colours = pd.concat([fired.colours, more], ignore_index=True).astype(fired.colours.dtypes)
    again = replan(replace(partly(fired, 4), colours=colours), tiles=3)
    new = patches_in_full(again.series).query("tile > 4")
    assert "Quay Orange" in {*new["base"], *new["overlay"]}


def test_an_added_colour_comes_in_even_where_others_would_settle_more(fired):
    """The search alone, which asks for verdicts that count, would leave it out."""
    more = pd.DataFrame([fired.colours.iloc[0].to_dict() | {"colour": "Quay Orange"}])
    colours = pd.concat([fired.colours, more], ignore_index=True).astype(fired.colours.dtypes)
    kept = only_tiles(replace(partly(fired, 4), colours=colours), range(1, 5))
    settings = replace(fired.settings, tiles=3)
    targets = pair_targets(settings, colours)
    added = targets[["base", "overlay"]].eq("Quay Orange").any(axis=1)
    targets["weight"] = targets["weight"].mask(added, 1e-6)
    drafted = draft_more_pairs(settings, colours, kept, Aim(targets)).patches
    assert "Quay Orange" in set(drafted["overlay"])


def test_limits_hold_for_the_new_tiles_alone_and_their_numbers_start_where_it_is_said(fired):
    before = partly(fired, 4)
    again = replan(before, tiles=3, first_tile=12, limits=Limits(trips=12))
    assert list(again.tiles["tile"]) == [1, 2, 3, 4, 12, 13]
    assert costs(again.to_make).trips == 12


def test_tiles_are_added_beside_those_planned_and_what_those_will_show_counts(fired):
    before = partly(fired, 4)
    longer = plan_more(before, 2)
    assert list(longer.tiles["tile"]) == [*range(1, 8), 8, 9]
    was = longer.patches[longer.patches["tile"] <= 7].reset_index(drop=True)
    pd.testing.assert_frame_equal(was, before.patches)
    assert not longer.series.problems()
    awaited = which_pairs._awaited(before)
    assert set(awaited["tile"]) == {5, 6, 7}


def test_striped_tiles_are_added_to_a_striped_plan(fresh):
    settings = replace(fresh.settings, stripes=3)
    first = plan(replace(fresh, settings=settings), tiles=3).series
    longer = plan_more(first, 2)
    assert set(first.stripes["tile"]) < set(longer.series.stripes["tile"])
    assert not longer.series.problems()
    sure = precision(longer.series)
    assert sure.pairs_fired == len(
        patches_in_full(longer.series)[["base", "overlay"]].drop_duplicates()
    )


def test_when_all_is_fired_it_asks_how_many_more(fired):
    with pytest.raises(Misuse, match="how many more"):
        replan(fired)


def test_more_tiles_of_a_round_know_what_the_rounds_before_it_showed(fresh, fired):
    """Known of a pair is what both showed, and no colour need come in that lay on earlier tiles."""
    again = plan(fresh, tiles=2, after=[fired]).series
    known, afresh = plan_more(again, 2, after=[fired]), plan_more(again, 2)
    assert not known.patches.equals(afresh.patches)
    expected = what_to_expect(known.to_make, [fired])
    assert any("had no verdict at each firing count" in line for line in expected)
    every = pd.concat([patches_in_full(fired), patches_in_full(known.series)])
    pairs = len(every[["base", "overlay"]].drop_duplicates())
    assert f"It fires {pairs} different pairs" in known.describe()


@pytest.mark.parametrize(("tiles", "stripes", "gave"), [(6, 3, 0.581), (9, 1, 0.559)])
def test_forecasts_come_to_what_invented_studios_gave(tiles, stripes, gave):
    """Right verdicts of 101 studios of a wide population: RESULTS.md, bench_heat."""
    settings = Settings(
        title="Wide",
        question="?",
        ask="which pairs work",
        graders=("A", "B"),
        tiles=tiles,
        stripes=stripes,
    )
    fresh = new_series("wide", settings, demo_colours())
    curve = verdict_curve(fresh, [tiles], studios=16)
    assert curve["right"].iloc[0] == pytest.approx(gave, abs=0.04)
