"""Pair surveys against block designs from the literature and the mixed-model equations."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from kit.design import TileFormat, survey
from kit.design.surveys.pair_knowledge import PairKnowledge
from kit.design.surveys.pair_survey import survey_task
from kit.design.surveys.pairs_beforehand import SOURCES, known_beforehand, score_beforehand
from kit.design.surveys.patch_exchange import AverageVariance, Bench, Places, SurveySearch, View
from kit.design.surveys.verdict_search import (
    after_firing,
    best_patches,
    dealt_evenly,
    remaining_shares,
    value_of,
)
from kit.errors import Misuse
from kit.mixed import Prior
from kit.model import PairSetting

STRIPED = TileFormat(stripes=3)


def stock(leaded: int, unleaded: int) -> pd.DataFrame:
    names = [f"L{i}" for i in range(leaded)] + [f"U{i}" for i in range(unleaded)]
    return pd.DataFrame({"colour": names, "family": ["leaded"] * leaded + ["unleaded"] * unleaded})


def known(colours: pd.DataFrame) -> PairKnowledge:
    return known_beforehand(colours, PairSetting(), (1, 2, 3), 3)


def harmonic_efficiency(base: np.ndarray, overlay: np.ndarray) -> tuple[float, np.ndarray]:
    """Mean intrablock efficiency factor of the overlays, and how often two share a tile."""
    n = pd.crosstab(overlay, base).to_numpy()
    together = n @ n.T
    k, r = n.sum(axis=0)[0], n.sum() / len(n)
    factors = np.sort(np.linalg.eigvalsh(np.diag(n.sum(axis=1)) - together / k))[1:] / r
    return len(factors) / np.sum(1 / factors), together[~np.eye(len(n), dtype=bool)]


# Parameters: Cochran and Cox (1957), Experimental Designs, 2nd ed., chapter 11, plans 11.1 on, as
# are b k = v r, lambda (v - 1) = r (k - 1) and the efficiency factor E = lambda v / (k r).


@pytest.mark.parametrize(
    ("v", "b", "k", "r", "together"),
    [(4, 4, 3, 3, 2), (7, 7, 3, 3, 1), (6, 10, 3, 5, 2), (9, 12, 3, 4, 1)],
)
def test_a_balanced_incomplete_block_design_is_found_where_one_exists(v, b, k, r, together):
    # Tiles are blocks, overlays treatments, and nothing else matters.
    assert b * k == v * r
    assert together * (v - 1) == r * (k - 1)
    sizes = dict.fromkeys(SOURCES, 0.0) | {"overlay": 4.0, "tile": 400.0, "pair": 1e-9}
    prior = Prior(effect_sd=1e-6)
    score = score_beforehand(stock(v, 0), prior, sizes, (1,), 1)
    places = TileFormat(k).places(b)
    allowed = ~np.eye(v, dtype=bool)
    yes = np.ones(v, dtype=bool)
    criterion = AverageVariance(score.covariance, allowed.ravel().astype(float))
    view = View(score.covariance, 400.0, 0.0, np.ones(v * v), 0.0, criterion)
    rng = np.random.default_rng(3)
    best = None
    for _ in range(6):
        task = survey_task(known(stock(v, 0)), None)
        pair = dealt_evenly(known(stock(v, 0)), task, places, rng)
        base = pair[np.searchsorted(places.stripe, np.arange(b))] // v
        search = SurveySearch(Bench((view,), places, allowed, yes, yes), base, pair % v)
        search.improve(rng, 12, 300)
        if best is None or search.value < best.value:
            best = search
    efficiency, concurrence = harmonic_efficiency(places.tile, best.overlay)
    assert efficiency == pytest.approx(together * v / (k * r), rel=1e-9)
    assert (concurrence == together).all()


def test_prediction_variances_are_those_of_hendersons_equations():
    # Henderson (1975), Best linear unbiased estimation and prediction under a selection model,
    # Biometrics 31: the inverse of the mixed-model equations' left side holds them. Two stripes a
    # tile, so that tile and stripe are random too.
    colours = stock(3, 3)
    before = known(colours)
    score = replace(before.scores[0], stripe_variance=0.3, tile_variance=0.5)
    before = replace(before, scores=(score, score))
    places = TileFormat(2, 2, 2).places(4)
    task = survey_task(before, None)
    pair = dealt_evenly(before, task, places, np.random.default_rng(1))
    after = after_firing(before, pair, places)
    n = len(before.pairs)
    pairs = np.eye(n)
    tile = np.eye(4)[places.tile]
    striped = np.eye(places.stripes)[places.stripe] * places.small[:, None]
    Z = np.hstack([pairs[pair], tile, striped])
    noise = score.noise_variance[pair] + score.small_variance * places.small
    blocks = [score.covariance, 0.5 * np.eye(4), 0.3 * np.eye(places.stripes)]
    size = sum(map(len, blocks))
    G = np.zeros((size, size))
    at = 0
    for block in blocks:
        G[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    left = Z.T @ (Z / noise[:, None]) + np.linalg.inv(G)
    expected = np.linalg.inv(left)[:n, :n]
    np.testing.assert_allclose(after.scores[0].covariance, expected, atol=1e-9)
    shares = remaining_shares(before, pair, places)[0]
    told = np.diag(expected) / np.diag(score.covariance)
    np.testing.assert_allclose(shares, told[before.judged], rtol=1e-8)


@pytest.mark.parametrize("tile_format", [TileFormat(3), TileFormat(3, 3, 2)])
def test_the_value_kept_through_many_exchanges_is_that_of_the_final_plan(tile_format):
    colours = stock(5, 5)
    before = known(colours)
    score = before.scores[0]
    w = (1 - np.eye(10)).ravel() / 90
    criterion = AverageVariance(score.covariance, w)
    view = View(score.covariance, 0.4, 0.2, score.noise_variance, 0.3, criterion)
    places = tile_format.places(5)
    yes = np.ones(10, dtype=bool)
    bench = Bench((view,), places, ~np.eye(10, dtype=bool), yes, yes)
    pair = dealt_evenly(before, survey_task(before, None), places, np.random.default_rng(4))
    _, first = np.unique(places.stripe, return_index=True)
    search = SurveySearch(bench, pair[first] // 10, pair % 10)
    started = search.value
    for row in range(len(pair)):
        search._other_overlay(row)
        search._other_base(row % places.stripes)
    assert search.value < started
    assert search.value == pytest.approx(bench.value(search.pair, places), rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(
    st.integers(2, 5), st.integers(0, 4), st.integers(1, 6), st.integers(1, 3), st.integers(0, 99)
)
def test_whatever_is_asked_the_plan_keeps_its_promises(leaded, unleaded, tiles, stripes, seed):
    colours = stock(leaded, unleaded)
    c = len(colours)
    tile_format = TileFormat(min(4, c - 1), min(stripes, c), min(3, c - 1))
    plan = survey(colours, tiles, tile_format, seed=seed, counts=(1, 2))
    assert len(plan) == len(tile_format.places(tiles).stripe)
    assert not plan.duplicated(["tile", "stripe", "overlay"]).any()
    assert (plan["base"] != plan["overlay"]).all()
    bases = plan[["tile", "stripe", "base"]].drop_duplicates()
    assert not bases.duplicated(["tile", "stripe"]).any()
    assert not bases.duplicated(["tile", "base"]).any()
    assert bases["base"].nunique() == min(c, len(bases))
    if len(plan) >= 2 * c:
        assert plan["overlay"].nunique() == c


def test_a_plan_with_stripes_keeps_some_tiles_of_full_size():
    plan = survey(stock(6, 6), 9, STRIPED)
    by_tile = plan.groupby("tile").agg(small=("small", "first"), patches=("base", "size"))
    assert list(by_tile["small"]) == [True] * 7 + [False] * 2
    assert set(by_tile.loc[by_tile["small"], "patches"]) == {9}
    assert set(by_tile.loc[~by_tile["small"], "patches"]) == {4}


@pytest.mark.parametrize("tiles", [9, 12, 18])
def test_a_survey_of_twelve_colours_is_balanced_and_connected(tiles):
    plan = survey(stock(6, 6), tiles, TileFormat())
    as_base = plan.drop_duplicates("tile")["base"].value_counts()
    as_overlay = plan["overlay"].value_counts()
    assert as_overlay.max() - as_overlay.min() <= 2
    assert as_base.max() - as_base.min() <= 1
    base, overlay = pd.factorize(plan["base"])[0], pd.factorize(plan["overlay"])[0]
    size = base.max() + overlay.max() + 2
    links = coo_array((np.ones(len(plan)), (base, base.max() + 1 + overlay)), shape=(size, size))
    assert connected_components(links, directed=False)[0] == 1


def test_the_same_seed_gives_the_same_plan_and_another_seed_another():
    first, again, other = (survey(stock(4, 4), 6, TileFormat(3), seed=s) for s in (5, 5, 6))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


def test_the_survey_settles_more_than_chance_and_stripes_more_than_single_bases():
    before = known(stock(6, 6))
    task = survey_task(before, None)
    rng = np.random.default_rng(1)
    places = TileFormat().places(9)

    def at_random() -> float:
        pair = np.concatenate(
            [12 * base + rng.permutation(np.delete(np.arange(12), base))[:4]
             for base in rng.integers(0, 12, 9)]
        )  # fmt: skip
        return value_of(before, task, pair, places)

    planned = best_patches(before, task, places, rng).value
    striped = best_patches(before, task, STRIPED.places(9), rng).value
    assert np.mean([at_random() for _ in range(8)]) < planned < striped


def test_pairs_that_matter_more_are_fired_more():
    wishes = pd.DataFrame({"base": ["L0", "L0"], "overlay": ["U1", "U2"], "weight": [3.0, 3.0]})
    plan = survey(stock(4, 4), 3, TileFormat(3), targets=wishes)
    assert {"U1", "U2"} <= set(plan.loc[plan["base"] == "L0", "overlay"])


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({"tile_format": TileFormat(4)}, "3 is the most"),
        ({"tile_format": TileFormat(1, 5, 1)}, "5 stripes need 5 different bases"),
        ({"tiles": 0}, "at least one tile"),
        ({"targets": pd.DataFrame({"base": ["Puce"], "overlay": ["L0"]})}, "Puce"),
        ({"targets": pd.DataFrame({"base": ["L0"], "overlay": ["L0"]})}, "two different"),
    ],
)
def test_what_cannot_be_done_is_refused_with_what_can(request_, says):
    with pytest.raises(Misuse, match=says):
        survey(stock(2, 2), **({"tiles": 3, "tile_format": TileFormat(2)} | request_))


@pytest.mark.parametrize(
    ("colours", "says"),
    [
        (stock(1, 0), "two colours"),
        (pd.concat([stock(2, 0)] * 2), "more than once"),
        (stock(2, 0).drop(columns="family"), "family"),
    ],
)
def test_a_stock_that_cannot_be_planned_with_is_refused(colours, says):
    with pytest.raises(Misuse, match=says):
        survey(colours, 2, TileFormat(1))


def test_colours_of_wanted_pairs_must_appear_in_the_part_they_are_wanted_in():
    wish = pd.DataFrame({"base": ["L0"], "overlay": ["U1"], "weight": [1.0]})
    task = survey_task(known(stock(2, 2)), wish)
    assert task.bases.tolist() == [True, False, False, False]
    assert task.overlays.tolist() == [False, False, False, True]


def test_full_size_and_small_patches_have_places_in_order():
    places = TileFormat(4, 2, 3).places(5)
    assert isinstance(places, Places)
    assert list(np.bincount(places.tile)) == [6, 6, 6, 6, 4]
    assert places.small.sum() == 24
