"""The prior is a value that a person can read, and its slopes are those of its density."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import gamma

from kit.errors import Misuse
from kit.mixed import Amount, LinearMixedModel, OrdinalMixedModel, Prior, RowBelief
from kit.mixed.penalised_least_squares import PenalisedLikelihood


def test_a_prior_says_in_plain_words_what_it_holds():
    text = Prior(effect_sd=1.5, sd_shape=2, sd_rate=4).describe()
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


def test_standard_deviations_of_measurements_have_gamma_densities_the_residuals_too(penicillin):
    """Chung and others (2013): shape 2, and the rate a standard deviation of the response."""
    model = LinearMixedModel("diameter ~ 1", penicillin, groups=["plate", "sample"])
    x, y, prior = model.effects.x, model.y, Prior(effect_sd=1e9, sd_rate=1.5)
    free, held = (
        PenalisedLikelihood(x, y, model.pattern, 2, True, belief, np.ptp(x, axis=0))
        for belief in (None, prior)
    )

    def added(phi: np.ndarray) -> float:
        return held.objective(phi, None)[0] - free.objective(phi, None)[0]

    def density(phi: np.ndarray) -> float:
        sd = np.exp(phi[-1]) * np.array([*phi[:-1], 1.0])
        scale = y.std() / prior.sd_rate
        # Of the logarithm of a standard deviation.
        return float((gamma.logpdf(sd, prior.sd_shape, scale=scale) + np.log(sd)).sum())

    one, other = np.array([1.4, 3.1, -0.6]), np.array([0.7, 2.0, 0.5])
    assert added(one) - added(other) == pytest.approx(density(other) - density(one), abs=1e-6)


def test_slopes_are_those_of_the_density():
    prior = Prior()
    sd, theta = np.array([0.4, 1.3]), np.array([-1.0, 0.4, 2.5])
    _, slope, _ = prior.sd_terms(sd, unit=2.0)
    assert slope == pytest.approx(
        approx_fprime(sd, lambda at: prior.sd_terms(at, unit=2.0)[0], 1e-7), rel=1e-5
    )
    _, slope, _ = prior.step_terms(theta)
    assert slope == pytest.approx(
        approx_fprime(theta, lambda at: prior.step_terms(at)[0], 1e-7), rel=1e-4
    )


def test_impossible_priors_are_refused():
    with pytest.raises(Misuse, match="positive effect_sd"):
        Prior(effect_sd=0)
    with pytest.raises(Misuse, match="shapes"):
        Prior(sd_shape=0.5)


def test_a_belief_about_rows_adds_up_with_the_data_as_bayes_has_it(wine):
    """Two independent normal pieces of news: precisions add (any textbook)."""
    model = OrdinalMixedModel("rating ~ temp", wine)
    wide = Prior(effect_sd=1e3, step_shape=1.0001, step_rate=1e-9)
    alone = model.fit(prior=wide)
    rows = pd.DataFrame({"temp": ["cold", "warm"]})
    mean, cov = alone.above(rows, "1|2")
    belief = RowBelief(rows, mean + 0.2, cov)
    both = model.fit(prior=replace(wide, rows=belief))
    told, known = both.above(rows, "1|2")
    assert told == pytest.approx(mean + 0.1, abs=0.02)
    assert np.sqrt(np.diag(known)) == pytest.approx(np.sqrt(np.diag(cov) / 2), rel=0.03)


def test_an_amount_that_was_found_keeps_its_value_and_its_error():
    sd = Amount.of_sd(0.7, 0.2)
    prior = Prior(sources={"tile": sd})
    value, slope, bend = prior.sd_terms(np.array([0.7]), names=["tile"])
    log_slope, log_bend = slope * 0.7, bend * 0.7**2 + slope * 0.7
    assert log_slope == pytest.approx(0, abs=1e-9)
    assert -1 / (bend * 0.7**2) == pytest.approx(0.2**2)
    assert np.isfinite(value) and log_bend < 0
    step = Amount.of_step(2.5, 0.3)
    _, slope, bend = Prior(steps=(step,)).step_terms(np.array([0.0, 2.5]))
    assert slope == pytest.approx(0, abs=1e-9)
    assert 1 / bend == pytest.approx(0.3**2)


def test_a_slope_is_known_for_each_unit_of_its_column():
    prior = Prior(sources={"base.refirings": Amount.of_sd(0.4, 0.1)})
    _, slope, _ = prior.sd_terms(np.array([0.8]), names=["base.refirings"], reach=2.0)
    assert slope == pytest.approx(0, abs=1e-9)
