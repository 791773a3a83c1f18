"""The prior is a value that a person can read, and its slopes are those of its density."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from kit.errors import Misuse
from kit.mixed import LinearMixedModel, Prior


def test_a_prior_says_in_plain_words_what_it_holds():
    text = Prior(effect_sd=1.5, spread_shape=2, spread_rate=4).describe()
    assert "within 3.0 units either way" in text
    assert "around 0.5 units" in text
    assert "logit" in text


def test_the_weak_prior_holds_what_the_documents_say_of_it():
    text = Prior().describe()
    assert "within 4.0 units either way" in text
    assert "unknown size, around 1.0 units" in text
    assert "taken to lie around 2.0 units apart" in text


def test_measurements_are_told_in_their_own_unit(penicillin):
    fit = LinearMixedModel("diameter ~ 1", penicillin, groups=["plate"]).fit(prior="weak")
    text = str(fit.summary())
    assert "standard deviation (the usual distance from the mean)" in text
    assert "logit" not in text


def test_slopes_are_those_of_the_density():
    prior = Prior()
    sd, theta = np.array([0.4, 1.3]), np.array([-1.0, 0.4, 2.5])
    _, slope, _ = prior.spread_terms(sd, unit=2.0)
    assert slope == pytest.approx(
        approx_fprime(sd, lambda at: prior.spread_terms(at, unit=2.0)[0], 1e-7), rel=1e-5
    )
    _, slope, _ = prior.step_terms(theta)
    assert slope == pytest.approx(
        approx_fprime(theta, lambda at: prior.step_terms(at)[0], 1e-7), rel=1e-4
    )


def test_impossible_priors_are_refused():
    with pytest.raises(Misuse, match="positive effect_sd"):
        Prior(effect_sd=0)
    with pytest.raises(Misuse, match="shapes"):
        Prior(spread_shape=0.5)
