"""The correlation that joins the two scores is the patches', and not the graders'."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from kit.model import fit_series, score_correlation
from kit.model.correlated_scores import both_below
from kit.studio import fire

SCORES = ("spread", "pull_through")

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


def found(survey, truth, correlation: float, halo: float) -> float:
    """Mean over four firings of a studio whose tiles and patches vary much."""
    varied = {name: replace(s, tile_sd=0.9, patch_sd=0.9) for name, s in truth.scales.items()}
    studio = replace(truth, scales=varied, state_correlation=correlation, halo_sd=halo)
    each = [fire(survey, studio, seed) for seed in range(4)]
    return float(np.mean([score_correlation(*(fit_series(f, s) for s in SCORES)) for f in each]))


def test_patches_that_do_badly_on_both_scores_are_seen(survey, survey_truth):
    assert found(survey, survey_truth, 0.8, 0.0) > 0.3


def test_a_grader_who_marks_both_high_in_one_look_is_not_taken_for_the_patch(survey, survey_truth):
    assert abs(found(survey, survey_truth, 0.0, 1.5)) < 0.2


def test_patches_that_were_looked_at_once_tell_nothing(survey):
    first = (survey.grades["firing"] == 1) & (survey.grades["grader"] == "AB")
    once = replace(survey, grades=survey.grades[first])
    assert score_correlation(*(fit_series(once, s) for s in SCORES)) == 0


def test_both_below_is_the_bivariate_normal_of_scipy():
    # Reference library: scipy.stats.multivariate_normal.
    for rho in (-0.9, -0.4, 0.0, 0.25, 0.6, 0.94):
        for h, k in itertools.product((-1.5, 0.2, 2.0), (-0.4, 1.0)):
            theirs = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([h, k])
            assert both_below(np.array(h), np.array(k), rho) == pytest.approx(theirs, abs=2e-5)
