"""From fit to meaning: what is said about an invented series whose truth is known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.errors import AliasedEffectWarning, ExtrapolationWarning, FewGradersWarning, Misuse
from kit.model import (
    AVOID,
    BROKEN_ONLY,
    NOT_KNOWN,
    SUITED,
    PairSetting,
    ScaleFit,
    common_practice_check,
    effects_table,
    family_contrasts,
    family_table,
    fit_series,
    grader_influence,
    observed_against_foretold,
    pair_table,
    proportional_odds_check,
    residuals,
    score_correlation,
    tile_influence,
    variation_table,
)
from kit.model.verdicts import verdicts

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.AliasedEffectWarning")

SETTING = PairSetting(mesh=100, coat_weight=40.0, base_mesh=80, base_coat_weight=60.0, firings=3)


@pytest.fixture(scope="module")
def fits(survey) -> dict[str, ScaleFit]:
    return {scale: fit_series(survey, scale) for scale in ("spread", "pull_through")}


@pytest.fixture(scope="module")
def pairs(fits, survey) -> pd.DataFrame:
    return pair_table(fits, survey.colours, SETTING)


def test_every_ordered_pair_is_judged_fired_or_not(pairs, survey):
    count = len(survey.colours)
    assert len(pairs) == count**2
    assert (pairs["patches"] == 0).any() and (pairs["patches"] > 0).any()
    assert set(pairs["verdict"]) <= {SUITED, BROKEN_ONLY, AVOID, NOT_KNOWN}
    numbers = pairs.select_dtypes("number")
    assert np.isfinite(numbers.to_numpy()).all()


def test_patches_behind_a_pair_are_those_that_were_graded(pairs, fits):
    frame = fits["spread"].frame
    assert pairs["patches"].sum() == frame["patch"].nunique()


def test_intervals_hold_their_middle_and_are_wider_for_pairs_never_fired(pairs):
    for score in ("spread", "pull_through"):
        assert (pairs[f"{score}_low"] <= pairs[score]).all()
        assert (pairs[score] <= pairs[f"{score}_high"]).all()
    width = pairs["spread_high"] - pairs["spread_low"]
    like = pairs["base_family"] == pairs["overlay_family"]
    fired = pairs["patches"] > 0
    assert width[like & fired].mean() < width[like & ~fired].mean()


def test_the_chance_of_a_fine_edge_lies_within_frechet_s_bounds(pairs):
    assert (pairs["p_fine_edge"] >= pairs["p_fine_edge_at_least"] - 1e-12).all()
    assert (pairs["p_fine_edge"] + pairs["p_breaks_through"] <= 1 + 1e-9).all()


def test_verdicts_follow_the_stated_rule(pairs):
    suited = pairs["verdict"] == SUITED
    assert (pairs.loc[suited, "p_fine_edge"] >= 0.8).all()
    assert (pairs.loc[~suited, "p_fine_edge"] < 0.8).all()
    assert list(
        verdicts(np.array([0.9, 0.1, 0.05, 0.4]), np.array([0.05, 0.85, 0.1, 0.4]), 0.8)
    ) == [
        SUITED,
        BROKEN_ONLY,
        AVOID,
        NOT_KNOWN,
    ]


def test_verdicts_lean_as_the_truth_does(pairs, survey_truth):
    recipe = pairs.assign(mesh=100, coat_weight=40.0, firings=3)
    true = [survey_truth.chances(recipe, s)[:, :2].sum(axis=1) for s in ("spread", "pull_through")]
    fine = true[0] * true[1]
    assert np.corrcoef(fine, pairs["p_fine_edge"])[0, 1] > 0.8
    assert fine[pairs["verdict"] == SUITED].mean() > 0.8


def test_a_setting_outside_what_was_fired_leaves_every_pair_unknown(fits, survey):
    with pytest.warns(ExtrapolationWarning, match="firings would be 6"):
        table = pair_table(fits, survey.colours, PairSetting(firings=6))
    assert (table["verdict"] == NOT_KNOWN).all()


def test_a_colour_never_fired_is_foretold_less_surely(fits, survey):
    stranger = pd.DataFrame({"colour": ["New Straw"], "family": ["leaded"]})
    colours = pd.concat([survey.colours[["colour", "family"]], stranger], ignore_index=True)
    table = pair_table(fits, colours, SETTING).set_index(["base", "overlay"])
    known = table.loc[("colour 0", "colour 2")]
    unknown = table.loc[("New Straw", "colour 2")]
    width = [row["spread_high"] - row["spread_low"] for row in (known, unknown)]
    assert width[1] > width[0]


def test_a_pair_whose_patches_are_all_lost_is_foretold_like_one_never_fired(survey):
    frame = survey.patches.merge(survey.tiles[["tile", "base"]], on="tile")
    base, overlay = frame.loc[0, ["base", "overlay"]]
    gone = frame.loc[(frame["base"] == base) & (frame["overlay"] == overlay), "patch"]
    patches = survey.patches.copy()
    patches.loc[patches["patch"].isin(gone), "accident"] = "lost"
    lost = replace(survey, patches=patches)
    fits = {scale: fit_series(lost, scale) for scale in ("spread", "pull_through")}
    table = pair_table(fits, survey.colours, SETTING).set_index(["base", "overlay"])
    row = table.loc[(base, overlay)]
    assert row["patches"] == 0
    assert np.isfinite(row[["p_fine_edge", "spread_low", "spread_high"]].astype(float)).all()


def test_a_missing_fit_is_refused(fits, survey):
    with pytest.raises(Misuse, match="pull_through has no fit"):
        pair_table({"spread": fits["spread"]}, survey.colours, SETTING)


def test_scores_made_apart_are_found_hardly_correlated(fits):
    assert abs(score_correlation(fits["spread"], fits["pull_through"])) < 0.3


def test_effects_are_told_in_steps_with_their_interval(fits):
    table = effects_table(fits["spread"]).set_index("factor")
    firings = table.loc["firings"]
    assert firings["low"] < firings["effect"] < firings["high"]
    assert firings["chance_up"] > 0.95
    assert "raises the grade" in firings["sentence"]


def test_family_pairs_differ_as_they_were_made_to(fits):
    table = family_table(fits["spread"], firings=3).set_index("family_pair")
    assert table["grade"].idxmax() == "leaded over unleaded"
    contrasts = family_contrasts(fits["spread"], firings=3)
    assert len(contrasts) == 6
    assert (contrasts["low"] <= contrasts["difference"]).all()


def test_common_practice_is_confirmed_where_the_truth_follows_it(fits):
    table = common_practice_check(fits, firings=3)
    assert list(table["finding"]) == ["agrees", "agrees"]
    assert set(table["source"]) == {"common practice, no source"}


def test_sources_of_variation_share_out_the_whole(fits):
    table = variation_table(fits["spread"])
    assert table["share"].sum() == pytest.approx(1)
    assert {"base", "overlay", "base:overlay", "tile", "grader"} <= set(table["source"])
    assert (table["low"] <= table["sd"]).all() and (table["sd"] <= table["high"]).all()


def test_proportional_odds_raise_no_false_alarm_and_find_a_true_one(fits, survey):
    assert not proportional_odds_check(fits["spread"])["stands_out"].any()
    grades = survey.grades.copy()
    random = np.random.default_rng(0)
    late = (grades["firing"] == 3) & (grades["spread"] <= 1)
    grades.loc[late, "spread"] = random.choice([0, 4], late.sum(), p=[0.7, 0.3])
    early = (grades["firing"] == 1) & (grades["spread"] == 0)
    grades.loc[early, "spread"] = random.choice([0, 1], early.sum(), p=[0.3, 0.7])
    spoiled = proportional_odds_check(fit_series(replace(survey, grades=grades), "spread"))
    assert spoiled["stands_out"].any()


def test_residuals_of_a_true_model_are_centred_and_of_unit_size_or_less(fits):
    table = residuals(fits["spread"])
    assert table["residual"].mean() == pytest.approx(0, abs=0.1)
    assert 0.4 < table["residual"].std() < 1.1
    assert len(table) == fits["spread"].results.nobs


def test_observed_shares_follow_the_foretold(fits):
    table = observed_against_foretold(fits["spread"])
    assert np.average((table["observed"] - table["foretold"]).abs(), weights=table["grades"]) < 0.06
    assert (table.groupby("step")["grades"].sum() == fits["spread"].results.nobs).all()


def test_a_spoiled_tile_is_the_most_influential(small_fit_with_odd_tile):
    said = []
    table = tile_influence(small_fit_with_odd_tile, progress=said.append)
    assert table.loc[0, "tile"] == 3
    assert len(said) == len(table)


def test_several_series_are_fitted_together_with_a_term_for_each(fired):
    other = replace(fired, name="second")
    alone = fit_series(fired, "spread")
    both = fit_series([fired, other], "spread")
    assert "series" in both.results.random_sd
    assert both.results.nobs == 2 * alone.results.nobs
    assert both.results.group_sizes["tile"] == 2 * alone.results.group_sizes["tile"]
    assert both.results.group_sizes["base"] == alone.results.group_sizes["base"]


def test_what_cannot_be_told_apart_is_said(fired):
    frame_fit = fit_series(fired, "spread")
    assert any("coat weight was 40" in sentence for sentence in frame_fit.dropped)
    with pytest.warns(AliasedEffectWarning):
        one_each = replace_with_one_tile_per_base(fired)
        fit = fit_series(one_each, "spread")
    assert any("base and tile" in sentence for sentence in fit.dropped)


def replace_with_one_tile_per_base(series):
    keep = series.tiles.drop_duplicates("base")["tile"]
    patches = series.patches[series.patches["tile"].isin(keep)]
    return replace(
        series,
        tiles=series.tiles[series.tiles["tile"].isin(keep)],
        patches=patches,
        firings=series.firings[series.firings["tile"].isin(keep)],
        grades=series.grades[series.grades["patch"].isin(patches["patch"])],
    )


def test_one_grade_only_and_an_unknown_scale_are_refused(fired):
    flat = fired.grades.assign(spread=pd.Series(0, index=fired.grades.index, dtype="Int64"))
    with pytest.raises(Misuse, match="Every spread grade is 0"):
        fit_series(replace(fired, grades=flat), "spread")
    with pytest.raises(Misuse, match="no scale 'gloss'"):
        fit_series(fired, "gloss")


def test_one_colour_a_family_still_gives_finite_answers(fired):
    kept = ["Attic Rose", "Plaster White"]
    tiles = fired.tiles[fired.tiles["base"].isin(kept)]
    patches = fired.patches[
        fired.patches["tile"].isin(tiles["tile"]) & fired.patches["overlay"].isin(kept)
    ]
    few = replace(
        fired,
        colours=fired.colours[fired.colours["colour"].isin(kept)],
        tiles=tiles,
        patches=patches,
        firings=fired.firings[fired.firings["tile"].isin(tiles["tile"])],
        grades=fired.grades[fired.grades["patch"].isin(patches["patch"])],
    )
    fits = {scale: fit_series(few, scale) for scale in ("spread", "pull_through")}
    table = pair_table(fits, few.colours, SETTING)
    assert np.isfinite(table.select_dtypes("number").to_numpy()).all()


def test_leaving_a_grader_out_changes_few_verdicts_and_turns_fewer(fits, survey):
    table = grader_influence(fits, survey.colours, SETTING)
    assert list(table["grader"]) == ["AB", "CD"]
    assert (table["turned"] <= table["changed"]).all()
    assert (table["turned"] < 0.1 * len(survey.colours) ** 2).all()


def test_with_one_grader_nothing_is_said_about_another(fits, survey):
    alone = replace(survey, grades=survey.grades[survey.grades["grader"] == "AB"])
    only = {scale: fit_series(alone, scale) for scale in ("spread", "pull_through")}
    with pytest.warns(FewGradersWarning):
        assert grader_influence(only, survey.colours, SETTING).empty
