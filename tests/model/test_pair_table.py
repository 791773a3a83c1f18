"""The pair table against an invented studio whose truth is known."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from kit.errors import ExtrapolationWarning, Misuse
from kit.model import (
    ENDINGS,
    FINE_EDGE,
    NOT_KNOWN,
    VERDICTS,
    PairSetting,
    ScoreState,
    ending_chances,
    fit_observations,
    fit_series,
    outlook,
    pair_table,
    pairs,
    state_by_grades,
    through,
)
from kit.model.pair_setting import every_pair, recipes
from kit.model.pair_states import DRAWS, reading_fine_edge

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.AliasedEffectWarning")

SETTING = PairSetting()
SCORES = ("spread", "pull_through")
CHANCES = ["fine_edge", "soft_edge", "broken_through"]


@pytest.fixture(scope="module")
def fits(survey):
    return {scale: fit_series(survey, scale) for scale in SCORES}


@pytest.fixture(scope="module")
def table(fits, survey) -> pd.DataFrame:
    return pair_table(fits, survey.colours, SETTING)


def state(mean, variance, patch_variance, **others) -> ScoreState:
    """A score with one cut."""
    mean, variance = (np.atleast_1d(np.asarray(v, float))[:, None] for v in (mean, variance))
    return ScoreState(
        mean,
        variance,
        np.array([0.0, 1.0]),
        patch_variance,
        np.full(DRAWS, patch_variance),
        0.0,
        **others,
    )


def test_every_pair_has_a_row_at_every_firing_count_and_no_colour_lies_over_itself(table, survey):
    count = len(survey.colours)
    assert len(table) == count * (count - 1) * 3
    assert (table["base"] != table["overlay"]).all()
    assert set(table["firings"]) == {1, 2, 3}
    assert list(table.columns) == [
        "base", "overlay", "base_family", "overlay_family", "firings", "patches", *CHANCES,
        "verdict", "leans_to", "share_low", "share_high", "hit_or_miss", "reading_fine_edge",
        "spread", "spread_low", "spread_high", "pull_through", "pull_through_low",
        "pull_through_high", "foretold",
    ]  # fmt: skip
    assert np.isfinite(table.select_dtypes("number").to_numpy()).all()
    assert not table["foretold"].any()


def test_chances_sum_to_one_and_the_verdict_follows_from_them(table):
    chances = table[CHANCES].to_numpy()
    assert chances.sum(axis=1) == pytest.approx(1)
    assert (chances >= 0).all()
    assert list(table["leans_to"]) == [ENDINGS[k] for k in chances.argmax(axis=1)]
    sure = chances.max(axis=1) >= SETTING.confidence
    settled = table["verdict"].isin(ENDINGS)
    assert (settled == sure).all()
    assert (table.loc[settled, "verdict"] == table.loc[settled, "leans_to"]).all()
    assert set(table["verdict"]) <= set(VERDICTS)


def test_patches_are_counted_at_each_firing_and_without_the_controls(table, fits):
    seen = fits["spread"].frame.query("base != overlay")
    for firings, own in table.groupby("firings"):
        assert own["patches"].sum() == seen.loc[seen["firings"] == firings, "patch"].nunique()


def test_intervals_hold_their_middle(table):
    for score in SCORES:
        assert (table[f"{score}_low"] <= table[score]).all()
        assert (table[score] <= table[f"{score}_high"]).all()
    assert (table["share_low"] <= table["share_high"]).all()


def test_one_reading_is_less_sure_than_the_patch_s_state(table):
    sure = table["fine_edge"] > 0.8
    assert sure.sum() > 10
    assert (table.loc[sure, "reading_fine_edge"] < table.loc[sure, "fine_edge"]).all()


def test_chances_lean_as_the_truth_does(table, survey_truth):
    recipe = table.assign(mesh=100, coat_weight=40.0)
    z = {s: survey_truth.latent(recipe, s) for s in SCORES}
    sd = {s: _patch_sd(survey_truth, s) for s in SCORES}
    cut = {s: survey_truth.scales[s].cuts[1] for s in SCORES}
    fine = np.prod([norm.cdf((cut[s] - z[s]) / sd[s]) for s in SCORES], axis=0)
    assert np.corrcoef(fine, table["fine_edge"])[0, 1] > 0.8
    assert fine[table["verdict"] == FINE_EDGE].mean() > 0.8


def _patch_sd(truth, scale):
    own = truth.scales[scale]
    return np.sqrt(own.tile_sd**2 + own.patch_sd**2 + own.session_sd**2)


def test_chances_are_those_of_simulated_patches():
    """By hand: draw what is not known, then patches about it, and count the endings."""
    random = np.random.default_rng(3)
    rho, draws = 0.5, 400_000
    spread, pull = state([-0.6], [0.5], 0.8), state([-0.9], [0.3], 0.6)
    eta = -0.6 + np.sqrt(0.5) * random.normal(size=draws)
    zeta = -0.9 + np.sqrt(0.3) * random.normal(size=draws)
    cov = rho * np.sqrt(0.8 * 0.6)
    patch = random.multivariate_normal([0, 0], [[0.8, cov], [cov, 0.6]], size=draws)
    low, covered = eta + patch[:, 0] < 0, zeta + patch[:, 1] < 0
    counted = [(low & covered).mean(), (~low & covered).mean(), (~covered).mean()]
    assert ending_chances(spread, pull, rho)[0] == pytest.approx(counted, abs=0.004)


def test_a_single_reading_wavers_by_its_grader_and_by_itself():
    """By hand, on one score: the other lies far below its cut."""
    random = np.random.default_rng(5)
    draws = 400_000
    read = -1.0 + np.sqrt(0.4 + 0.5 + 2.0) * random.normal(size=draws) + random.logistic(size=draws)
    spread = replace(state([-1.0], [0.4], 0.5), reading_variance=2.0)
    told = reading_fine_edge(spread, state([-40.0], [0.1], 0.1), 0.0)
    assert told[0] == pytest.approx((read < 0).mean(), abs=0.004)
    camera = replace(spread, wavers=False)
    pictured = reading_fine_edge(camera, state([-40.0], [0.1], 0.1, wavers=False), 0.0)
    assert pictured[0] == pytest.approx(norm.cdf(1 / np.sqrt(2.9)), abs=1e-6)


def test_a_known_pair_that_varies_is_hit_or_miss_and_one_barely_known_is_not():
    known = outlook(state([0.0], [1e-6], 1.0), state([-9.0], [1e-6], 1.0), 0.0, 0.8)
    assert known.hit_or_miss[0] == 1
    assert known.share_low[0] == pytest.approx(0.5, abs=0.01)
    assert known.share_high[0] == pytest.approx(0.5, abs=0.01)
    vague = outlook(state([0.0], [4.0], 0.01), state([-9.0], [1e-6], 0.01), 0.0, 0.8)
    assert vague.hit_or_miss[0] < 0.2
    assert vague.chances[0] == pytest.approx(known.chances[0], abs=0.01)
    assert vague.share_high[0] - vague.share_low[0] > 0.9


def test_the_share_lies_within_its_bounds_as_often_as_the_confidence_says():
    """A share is Phi(-eta / w): its bounds are those of eta, of which half is left out each way."""
    never_pulled = state(-9.0, 0.01, 1.0)
    for mean in (-0.6, 0.3):
        seen = outlook(state(mean, 0.25, 1.0), never_pulled, 0.0, 0.8)
        bounds = norm.cdf(abs(mean) + 0.5 * norm.ppf([0.1, 0.9]))
        assert (seen.share_low[0], seen.share_high[0]) == pytest.approx(tuple(bounds), abs=0.01)


def test_the_share_of_broken_patches_is_counted_at_the_cut_where_they_break():
    calm = state(-9.0, 0.01, 1.0)
    pulled = ScoreState(
        np.array([[2.5, 0.5]]),
        np.array([[0.25, 0.25]]),
        np.arange(3.0),
        1.0,
        np.ones(DRAWS),
        0.0,
        fine=0,
        broken=1,
    )
    seen = outlook(calm, pulled, 0.0, 0.8)
    bounds = norm.cdf(0.5 + 0.5 * norm.ppf([0.1, 0.9]))
    assert ENDINGS[seen.leans_to[0]] == "broken through"
    assert (seen.share_low[0], seen.share_high[0]) == pytest.approx(tuple(bounds), abs=0.01)


def test_how_graders_waver_is_no_part_of_what_a_patch_comes_to():
    calm = state([-0.5, 0.5], [0.3, 0.3], 0.8)
    wild = replace(calm, reading_variance=4.0)
    assert ending_chances(wild, calm, 0.2) == pytest.approx(ending_chances(calm, calm, 0.2))
    one, other = outlook(wild, calm, 0.2, 0.8), outlook(calm, calm, 0.2, 0.8)
    assert one.hit_or_miss == pytest.approx(other.hit_or_miss)
    assert (reading_fine_edge(wild, calm, 0.2) != reading_fine_edge(calm, calm, 0.2)).all()


def test_the_step_at_which_the_base_breaks_through_leaves_a_soft_edge_between(fits, survey):
    later = pair_table(fits, survey.colours, replace(SETTING, breaks_through_from=3))
    usual = pair_table(fits, survey.colours, SETTING)
    assert (later["broken_through"] <= usual["broken_through"] + 1e-9).all()
    assert (later["soft_edge"] >= usual["soft_edge"] - 1e-9).all()
    assert later["fine_edge"].to_numpy() == pytest.approx(usual["fine_edge"].to_numpy())
    assert later["soft_edge"].sum() > usual["soft_edge"].sum() + 1


def test_the_steps_of_the_rule_are_the_cuts_right_below_and_above(fits, survey):
    """Fine up to step 1 ends at 1|2; broken from step 2 begins there, from step 3 at 2|3."""
    recipe = recipes(every_pair(survey.colours), SETTING, [3], fits)
    for later, cut in ((2, "1|2"), (3, "2|3")):
        rule = replace(SETTING, breaks_through_from=later).rule
        known = state_by_grades(fits["pull_through"], recipe, rule)
        for place, name in ((known.fine, "1|2"), (known.broken, cut)):
            mean, _ = fits["pull_through"].results.above(recipe, name)
            assert known.mean[:, place] == pytest.approx(mean)


def test_variation_that_cannot_be_seen_is_never_taken_for_zero(survey):
    """One session, one grader, each patch read once: the prior's variance stays in."""
    first = survey.grades[(survey.grades["firing"] == 3) & (survey.grades["grader"] == "AB")]
    once = replace(survey, grades=first, tiles=survey.tiles.assign(session=1))
    once = replace(once, firings=survey.firings.assign(session=1))
    fit = fit_series(once, "spread")
    assert not {"session", "grader", "patch"} & set(fit.results.random_sd)
    prior = fit.results.prior
    # The mean square of a gamma distribution of shape 2: 2 x 3 / rate squared.
    patch, session, grader = (
        6 / prior.source(name).rate ** 2 for name in ("patch", "session", "grader")
    )
    recipe = recipes(every_pair(survey.colours), SETTING, [3], {"spread": fit})
    known = state_by_grades(fit, recipe, SETTING.rule)
    assert known.patch_variance >= patch + session
    assert known.patch_variances.mean() == pytest.approx(known.patch_variance, rel=0.15)
    assert known.patch_variances.min() > 0
    assert np.mean(known.unseen) == pytest.approx(0, abs=0.15 * (session + grader))
    assert np.std(known.unseen) > 0.5 * (session + grader)
    _, cov = fit.results.above(recipe, "1|2")
    assert known.variance[:, 1] == pytest.approx(np.diag(cov) + session + grader)


def test_patches_of_a_new_tile_in_a_new_session_vary_by_all_three(fits, survey):
    recipe = recipes(every_pair(survey.colours), SETTING, [3], fits)
    fit = fits["spread"]
    new = dict(zip(fit.results.random_sd, fit.results.posterior.new_var, strict=True))
    known = state_by_grades(fit, recipe, SETTING.rule)
    expected = sum(new[name] for name in ("tile", "patch", "session"))
    assert known.patch_variance == pytest.approx(expected)
    assert known.patch_variances.mean() == pytest.approx(expected, rel=0.15)
    assert known.reading_variance == pytest.approx(new["grader"])


def test_less_data_never_makes_a_chance_surer(fits, survey):
    whole = pair_table(fits, survey.colours, SETTING)
    half = survey.grades[survey.grades["patch"].isin(survey.patches["patch"][::4])]
    few = {s: fit_series(replace(survey, grades=half), s) for s in SCORES}
    little = pair_table(few, survey.colours, SETTING)
    chance = [t[CHANCES].max(axis=1).mean() for t in (whole, little)]
    assert chance[1] < chance[0]


def test_through_counts_the_firings_up_to_which_every_verdict_is_a_fine_edge(table):
    own = pd.DataFrame(
        [(*names, "leaded", "leaded", f, 1, v, FINE_EDGE)
         for names, seen in {
             ("a", "b"): [FINE_EDGE, FINE_EDGE, NOT_KNOWN],
             ("a", "c"): [NOT_KNOWN, FINE_EDGE, FINE_EDGE],
             ("b", "a"): [FINE_EDGE, FINE_EDGE, FINE_EDGE],
         }.items()
         for f, v in zip((1, 2, 3), seen, strict=True)],
        columns=["base", "overlay", "base_family", "overlay_family", "firings", "patches",
                 "verdict", "leans_to"],
    )  # fmt: skip
    told = through(own)
    assert list(told["through"]) == [2, 0, 3]
    assert told.loc[0, "headline"] == (
        "keeps a fine edge through 2 firings; after 3 firings it is not known yet "
        "(leans to a fine edge)"
    )
    assert told.loc[1, "headline"].startswith("after 1 firing it is not known yet")
    assert told.loc[2, "headline"] == "keeps a fine edge through 3 firings"
    assert len(through(table)) == len(table) / 3


def test_rows_beyond_what_was_fired_are_marked_and_have_no_verdict(fits, survey):
    with pytest.warns(ExtrapolationWarning, match="number of firings would be 6"):
        table = pair_table(fits, survey.colours, SETTING, firings=[2, 6])
    beyond = table["firings"] == 6
    assert (table["foretold"] == beyond).all()
    assert (table.loc[beyond, "verdict"] == NOT_KNOWN).all()
    assert table.loc[~beyond, "verdict"].isin(ENDINGS).any()


def test_a_coat_thinner_than_any_fired_is_beyond_it_as_a_thicker_one_is(fits, survey):
    for weight in (1.0, 900.0):
        with pytest.warns(ExtrapolationWarning, match=f"would be {weight:g}, but"):
            table = pair_table(fits, survey.colours, PairSetting(coat_weight=weight), [2])
        assert table["foretold"].all()


def test_the_interval_of_a_grade_leaves_out_as_much_on_either_side(fits, survey):
    table = pair_table(fits, survey.colours, SETTING, [2])
    recipe = recipes(every_pair(survey.colours), SETTING, [2], fits)
    known = state_by_grades(fits["spread"], recipe, SETTING.rule)
    for column, level in (("spread_low", 0.1), ("spread_high", 0.9)):
        assert table[column].to_numpy() == pytest.approx(known.average_step(norm.ppf(level)))


def test_a_colour_never_fired_is_known_less_surely(fits, survey):
    stranger = pd.DataFrame({"colour": ["New Straw"], "family": ["leaded"]})
    colours = pd.concat([survey.colours[["colour", "family"]], stranger], ignore_index=True)
    table = pair_table(fits, colours, SETTING, [3]).set_index(["base", "overlay"])
    width = [
        table.loc[pair, "spread_high"] - table.loc[pair, "spread_low"]
        for pair in (("colour 0", "colour 2"), ("New Straw", "colour 2"))
    ]
    assert width[1] > width[0]


def test_a_pair_whose_patches_are_all_lost_is_judged_like_one_never_fired(fits, survey):
    frame = survey.patches.merge(survey.tiles[["tile", "base"]], on="tile")
    frame = frame[frame["base"] != frame["overlay"]]
    base, overlay = frame[["base", "overlay"]].iloc[0]
    gone = frame.loc[(frame["base"] == base) & (frame["overlay"] == overlay), "patch"]
    patches = survey.patches.copy()
    patches.loc[patches["patch"].isin(gone), "accident"] = "lost"
    lost = replace(survey, patches=patches)
    rows = pairs(lost).set_index(["base", "overlay"]).loc[(base, overlay)]
    assert (rows["patches"] == 0).all()
    assert rows["fine_edge"].between(0, 1).all()
    recipe = recipes(every_pair(survey.colours), SETTING, [3], fits)
    own = (recipe["base"] == base) & (recipe["overlay"] == overlay)
    known = [
        state_by_grades(fit, recipe[own], SETTING.rule).variance[0, 1]
        for fit in (fits["spread"], fit_series(lost, "spread"))
    ]
    assert known[1] > 1.2 * known[0]


def test_a_missing_fit_is_refused(fits, survey):
    with pytest.raises(Misuse, match="pull_through has no fit"):
        pair_table({"spread": fits["spread"]}, survey.colours, SETTING)


def test_grades_that_never_passed_the_edge_s_step_leave_it_out_of_reach(survey):
    frame = fit_series(survey, "spread").frame
    low = frame.assign(spread=np.minimum(frame["spread"].astype(int), 1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = fit_observations(low, "spread", prior=None, steps=range(5))
    recipe = recipes(every_pair(survey.colours), SETTING, [3], {"spread": fit})
    known = state_by_grades(fit, recipe, SETTING.rule)
    assert (known.mean[:, known.fine] < -10).all()
