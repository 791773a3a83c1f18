"""From fit to meaning: what is said about an invented series whose truth is known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.errors import AliasedEffectWarning, FewGradersWarning, Misuse
from kit.model import (
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
    tile_influence,
    variation_table,
)

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.AliasedEffectWarning")

SETTING = PairSetting(mesh=100, coat_weight=40.0, base_mesh=80, base_coat_weight=60.0, firings=3)


@pytest.fixture(scope="module")
def fits(survey) -> dict[str, ScaleFit]:
    return {scale: fit_series(survey, scale) for scale in ("spread", "pull_through")}


def test_effects_are_told_in_steps_with_their_interval(fits):
    table = effects_table(fits["spread"]).set_index("factor")
    firings = table.loc["firings"]
    assert firings["low"] < firings["effect"] < firings["high"]
    assert firings["chance_up"] > 0.95


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


def test_a_tile_that_was_turned_over_is_named(survey):
    assert not tile_influence({"pull_through": fit_series(survey, "pull_through")})[
        "stands_out"
    ].any()
    own = survey.grades["patch"].isin(survey.patches.loc[survey.patches["tile"] == 23, "patch"])
    grades = survey.grades.copy()
    grades.loc[own, "pull_through"] = 4 - grades.loc[own, "pull_through"]
    turned = fit_series(replace(survey, grades=grades), "pull_through")
    table = tile_influence({"pull_through": turned})
    assert list(table["tile"][table["stands_out"]]) == [23]
    assert "fire its pairs on another tile" in table.loc[0, "sentence"]
    assert not table.loc[1:, "sentence"].str.contains("fire").any()


def test_leaving_tiles_out_needs_three(survey):
    fit = fit_series(survey, "spread")
    two = replace(fit, frame=fit.frame[fit.frame["tile"] <= 2])
    with pytest.raises(Misuse, match="at least three; there are 2"):
        tile_influence({"spread": two})


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
    one_each = replace_with_one_tile_per_base(fired)
    fit = fit_series(one_each, "spread")
    assert any("base and tile" in sentence for sentence in fit.dropped)
    with pytest.warns(AliasedEffectWarning):
        fit_series(one_each, "spread", prior=None)


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
