"""Which terms the standard model of a series has."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.mixed import Prior
from kit.model import fit_series
from kit.studio import fire

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


def fired_with_own_reactions(survey, truth, sd: float, seed: int = 3):
    """The survey by a studio whose overlays differ in how they take repeated firing."""
    random = np.random.default_rng(seed)
    own = {
        name: float(v)
        for name, v in zip(survey.colours["colour"], random.normal(0, sd, 8), strict=True)
    }
    scales = {name: replace(s, overlay_refirings=own) for name, s in truth.scales.items()}
    return fire(survey, replace(truth, scales=scales), seed), own


def test_every_base_and_overlay_takes_repeated_firing_in_its_own_way(survey, survey_truth):
    series, own = fired_with_own_reactions(survey, survey_truth, 1.5)
    fit = fit_series(series, "spread")
    assert {"base.refirings", "overlay.refirings"} <= set(fit.results.random_sd)
    sd = fit.results.random_sd
    assert sd["overlay.refirings"] > 2 * sd["base.refirings"]
    found = fit.results.random_effects["overlay.refirings"]["value"]
    within = pd.Series(own)
    family = survey.colours.set_index("colour")["family"]
    within -= within.groupby(family).transform("mean")
    assert np.corrcoef(found[within.index], within)[0, 1] > 0.8


def test_where_colours_react_alike_the_reactions_shrink(survey, survey_truth):
    series, _ = fired_with_own_reactions(survey, survey_truth, 0.0)
    assert fit_series(series, "spread").results.random_sd["overlay.refirings"] < 0.4


def test_a_reaction_vanishes_at_the_first_firing(survey):
    fit = fit_series(survey, "spread")
    row = fit.frame.iloc[[0]].assign(firings=1, refirings=0)
    stranger = row.drop(columns=["tile", "patch", "session", "grader"]).assign(overlay="stranger")
    _, first = fit.results.latent_marginal(stranger)
    _, third = fit.results.latent_marginal(stranger.assign(refirings=2))
    assert third[0] > first[0] + 0.01


def test_patches_fired_once_have_no_reaction(survey):
    once = replace(survey, grades=survey.grades[survey.grades["firing"] == 1])
    assert not any("refirings" in name for name in fit_series(once, "spread").results.random_sd)


def test_the_prior_is_said_in_steps_of_the_scale(survey):
    # 2 x 4 logits and 2/4 of a logit, at 1/0.5 = 2 logits a step.
    fit = fit_series(survey, "spread", Prior(effect_sd=4.0, sd_rate=4.0))
    assert "by at most 4.0 steps over its whole range" in fit.prior_sentence
    assert "the pair itself 0.2" in fit.prior_sentence
    # 2/2, 2/2.5 and 2/4 of a logit.
    usual = fit_series(survey, "spread").prior_sentence
    assert "overlay colour 0.5, base colour 0.4" in usual and "tile 0.2" in usual
