"""Several series together: which may be pooled, and whose jars count."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.model import (
    PairSetting,
    every_pair,
    fit_series,
    pair_table,
    pairs,
    recipes,
    state_by_grades,
)
from kit.model.pair_setting import with_jars
from kit.model.pool_of_series import poolable
from kit.series import SPREAD
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

SCORES = ("spread", "pull_through")


def jars_of(survey, truth, names, sd):
    """A series for each name, fired from jars that differ by so much."""
    each = []
    for seed, name in enumerate(names):
        random = np.random.default_rng(seed)
        scales = {
            scale: replace(
                own, overlay={o: v + random.normal(0, sd) for o, v in own.overlay.items()}
            )
            for scale, own in truth.scales.items()
        }
        each.append(replace(fire(survey, replace(truth, scales=scales), seed), name=name))
    return each


@pytest.fixture(scope="module")
def two(survey, survey_truth):
    return jars_of(survey, survey_truth, ("first", "second"), 1.5)


@pytest.fixture(scope="module")
def fits(two):
    return {scale: fit_series(two, scale) for scale in SCORES}


def with_steps(series, steps):
    scales = tuple(
        replace(scale, steps=tuple(steps)) if scale.name == "spread" else scale
        for scale in series.settings.scales
    )
    return replace(series, settings=replace(series.settings, scales=scales))


def test_series_graded_on_other_words_are_left_out_with_the_reason(two):
    steps = list(SPREAD.steps)
    steps[2] = "swollen: another look"
    kept, reasons = poolable([with_steps(two[0], steps), two[1]], "spread")
    assert [one.name for one in kept] == ["second"]
    assert len(reasons) == 1
    assert "first does not count for spread" in reasons[0]
    assert "'swollen'" in reasons[0]
    fit = fit_series([with_steps(two[0], steps), two[1]], "spread")
    assert fit.dropped[0] == reasons[0]
    assert set(fit.frame["series"]) == {"second"}


def test_series_graded_in_another_number_of_steps_are_left_out(two):
    _, reasons = poolable([with_steps(two[0], SPREAD.steps[:4]), two[1]], "spread")
    assert "in 4 steps, and second in 5" in reasons[0]


def test_a_longer_explanation_of_a_step_is_no_other_scale(two):
    longer = [f"{step}, as on the sheet" for step in SPREAD.steps]
    kept, reasons = poolable([with_steps(two[0], longer), two[1]], "spread")
    assert len(kept) == 2
    assert not reasons


def test_a_series_of_one_grade_does_not_move_the_pool(two):
    flat = replace(
        two[0], grades=two[0].grades.assign(spread=pd.array([0] * len(two[0].grades), "Int64"))
    )
    kept, reasons = poolable([flat, two[1]], "spread")
    assert [one.name for one in kept] == ["second"]
    assert "every spread grade in it is 0" in reasons[0]
    alone, pooled = fit_series(two[1], "spread"), fit_series([flat, two[1]], "spread")
    assert pooled.results.params.to_numpy() == pytest.approx(alone.results.params.to_numpy())


def test_every_grade_counts_once(two, fits):
    alone = sum(fit_series(one, "spread").results.nobs for one in two)
    assert fits["spread"].results.nobs == alone


def test_jars_that_differ_are_found_where_colours_come_again(fits, survey, survey_truth):
    assert fits["spread"].results.random_sd["overlay:series"] > 0.7
    same = jars_of(survey, survey_truth, ("first", "second"), 0.0)
    assert fit_series(same, "spread").results.random_sd["overlay:series"] < 0.5


def test_a_single_series_has_no_jars_to_tell_apart(two):
    assert not any("series" in name for name in fit_series(two[0], "spread").results.random_sd)


def test_chances_for_new_jars_are_less_sure_than_for_those_fired(fits, survey):
    setting = PairSetting()
    fired, new = (pair_table(fits, survey.colours, setting, jars=jars) for jars in ("fired", "new"))
    chances = ["fine_edge", "soft_edge", "broken_through"]
    assert new[chances].max(axis=1).mean() < fired[chances].max(axis=1).mean() - 0.02
    width = [(t["share_high"] - t["share_low"]).mean() for t in (fired, new)]
    assert width[1] > width[0]


def test_new_jars_add_the_variance_that_jars_were_seen_to_have(fits, survey):
    fit = fits["spread"]
    recipe = recipes(every_pair(survey.colours), PairSetting(), [3], fits)
    known = state_by_grades(fit, recipe, PairSetting().rule)
    new = dict(zip(fit.results.random_sd, fit.results.posterior.new_var, strict=True))
    _, variance = fit.results.above_cuts(recipe)
    added = new["base:series"] + new["overlay:series"]
    assert known.variance == pytest.approx(variance + added)


def test_the_jar_of_a_pair_is_that_of_the_last_series_that_fired_it(fits):
    frame = fits["spread"].frame
    known = frame[["base", "overlay"]].drop_duplicates()
    assert set(with_jars(known, fits)["series"]) == {"second"}
    only = frame[(frame["series"] == "first") | (frame["base"] != "colour 0")]
    thinned = {"spread": replace(fits["spread"], frame=only)}
    recipe = with_jars(pd.DataFrame({"base": ["colour 0"], "overlay": ["colour 3"]}), thinned)
    assert recipe["series"].tolist() == ["first"]


def test_the_jar_of_a_pair_never_fired_is_that_of_the_last_series_that_fired_both_colours(fits):
    frame = pd.DataFrame(
        {
            "series": ["first", "first", "second"],
            "base": ["Ash", "Chalk", "Ash"],
            "overlay": ["Chalk", "Brick", "Chalk"],
        }
    )
    seen = {"spread": replace(fits["spread"], frame=frame)}
    asked = pd.DataFrame({"base": ["Ash", "Ash", "Dune"], "overlay": ["Brick", "Dune", "Brick"]})
    # The second series has no jar of Brick; of Dune nobody has, so the other colour's last decides.
    assert with_jars(asked, seen)["series"].tolist() == ["first", "second", "first"]


def test_pairs_of_several_series_cover_all_their_colours(two):
    assert len(pairs(two)) == 8 * 7 * 3
