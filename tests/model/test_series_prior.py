"""What earlier series showed becomes the prior of the next one; every grade counts once."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from kit.model import LEARNED, SERIES_PRIOR, fit_observations, fit_series, learned_prior, pairs
from kit.report import analyse
from kit.report.sections.method_in_full import method
from kit.series import observations
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


@pytest.fixture(scope="module")
def spring(survey, survey_truth):
    return replace(fire(survey, survey_truth, 31), name="spring")


@pytest.fixture(scope="module")
def few(survey, survey_truth):
    """Six tiles of the same studio."""
    some = survey.tiles["tile"] <= 6
    small = replace(
        survey,
        tiles=survey.tiles[some],
        patches=survey.patches[survey.patches["tile"] <= 6],
        grades=survey.grades.iloc[:0],
    )
    return replace(fire(small, survey_truth, 32), name="autumn")


@pytest.fixture(scope="module")
def learning(few, spring):
    return replace(few, earlier=(spring,))


def test_the_fit_starts_from_what_spring_showed(learning, few, spring):
    fit, afresh = fit_series(learning, "spread"), fit_series(few, "spread")
    own = fit_series(spring, "spread").results
    assert fit.learned.names == ("spring",)
    known = fit.results.prior
    assert known.sources["overlay"].mean == pytest.approx(own.random_sd["overlay"], rel=0.01)
    gap = np.diff(own.thresholds.to_numpy())[0]
    assert (known.steps[0].shape - 1) / known.steps[0].rate == pytest.approx(gap)
    widths = [np.diff(r.thresholds)[0] - gap for r in (fit.results, afresh.results)]
    assert abs(widths[0]) < abs(widths[1])
    assert (
        fit.results.bse["base_family[T.unleaded]"] < afresh.results.bse["base_family[T.unleaded]"]
    )


def test_a_new_series_may_lie_higher_or_lower_than_what_it_learns_from(learning, spring):
    learned, _ = learned_prior([learning], "spread")
    recipe = learned.recipe
    _, cov = learned.family_values(recipe)
    _, alone = learned.results.above(recipe, "0|1")
    assert cov - alone == pytest.approx(SERIES_PRIOR.source("series").mean_square)


def test_each_grade_counts_once(learning, few, spring):
    pooled = fit_series([spring, learning], "spread")
    assert pooled.learned is None
    assert pooled.results.params.equals(fit_series([spring, few], "spread").results.params)
    nested = replace(learning, earlier=(replace(spring, earlier=(few,)),))
    assert fit_series(nested, "spread").results.params.equals(
        fit_series(learning, "spread").results.params
    )


def test_a_prior_that_is_given_or_none_leaves_earlier_series_aside(learning, few):
    assert fit_series(learning, "spread", SERIES_PRIOR).results.params.equals(
        fit_series(few, "spread").results.params
    )


def test_it_says_in_steps_what_was_taken_over_and_from_where(learning, survey_truth):
    fit = fit_series(learning, "spread")
    said = fit.prior_sentence
    assert said.startswith("Spread, from spring: ")
    assert "leaded over unleaded comes to" in said and "more than like over like" in said
    assert "give or take" in said and "one more firing adds" in said
    own = survey_truth.scales["spread"]
    alike = [own.families[f"{f} over {f}"] for f in ("leaded", "unleaded")]
    true = (own.families["leaded over unleaded"] - np.mean(alike)) / np.mean(np.diff(own.cuts))
    by, error = (
        float(said.split("leaded over unleaded comes to ")[1].split(a)[b].split(c)[0])
        for a, b, c in ((" steps", 0, " "), ("give or take ", 1, ";"))
    )
    assert abs(by - true) < 1.5 * error


def test_give_or_take_is_nine_times_in_ten(learning):
    learned = fit_series(learning, "spread").learned
    _, said = learned._in_steps(np.array([1.0]), np.zeros(1), np.array([[learned.step**2]]))
    assert said == f"give or take {norm.ppf(0.95):.1f}"


def test_other_steps_of_the_scale_are_not_learned_from(learning, spring):
    steps = [f"other {step}" for step in spring.settings.scale("spread").steps]
    scales = tuple(
        replace(s, steps=tuple(steps)) if s.name == "spread" else s for s in spring.settings.scales
    )
    other = replace(spring, settings=replace(spring.settings, scales=scales))
    fit = fit_series(replace(learning, earlier=(other,)), "spread")
    assert fit.learned is None
    assert any("spring does not count for spread" in reason for reason in fit.dropped)
    assert fit.results.prior == SERIES_PRIOR


def test_without_grades_there_is_nothing_to_learn(learning, spring):
    bare = replace(spring, grades=spring.grades.iloc[:0])
    fit = fit_series(replace(learning, earlier=(bare,)), "spread")
    assert fit.learned is None
    assert "spring has no grades to learn from." in fit.dropped


def test_families_are_not_taken_over_from_another_sifter(learning, spring):
    finer = replace(spring, patches=spring.patches.assign(mesh=150))
    fit = fit_series(replace(learning, earlier=(finer,)), "spread")
    assert any("the overlay's sifter was another there" in reason for reason in fit.dropped)
    assert fit.results.prior.rows is None and fit.results.prior.sources


def test_families_are_not_taken_over_from_another_heat(learning, spring):
    by_kiln = replace(spring, firings=spring.firings.assign(heat="kiln"))
    fit = fit_series(replace(learning, earlier=(by_kiln,)), "spread")
    assert any("the heat was another there" in reason for reason in fit.dropped)
    unsaid = replace(spring, firings=spring.firings.assign(heat=""))
    assert fit_series(replace(learning, earlier=(unsaid,)), "spread").results.prior.rows is not None


def test_only_firings_that_both_saw_are_believed(learning, spring):
    frame = observations(learning)
    learned, _ = learned_prior([learning], "spread")
    once, _ = learned.prior_for(frame[frame["firings"] == 1])
    assert set(once.rows.frame["firings"]) == {1}
    thrice, _ = learned.prior_for(frame)
    assert set(thrice.rows.frame["firings"]) == {1, 3}
    fit_observations(frame[frame["firings"] == 1], "spread", once)


def test_pairs_are_judged_from_what_was_learned(learning, few):
    assert not pairs(learning)["fine_edge"].equals(pairs(few)["fine_edge"])


def test_the_report_says_what_was_learned_and_how_to_start_afresh(learning, few):
    told = str(method(analyse(learning)))
    for score in ("spread", "pull_through"):
        assert fit_series(learning, score).learned.sentence in told
    assert LEARNED in told and "empty learns_from in series.toml" in LEARNED
    assert LEARNED not in str(method(analyse(few)))
