"""The chance of a state, and joint draws of states, against what they must agree with."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed import LinearMixedModel, OrdinalMixedModel


@pytest.fixture(scope="module")
def fit(graded, six_groups):
    data = graded.assign(later=graded["firings"] - 1.0)
    return OrdinalMixedModel(
        "grade ~ base_family * overlay_family + firings",
        data,
        groups=six_groups,
        slopes={"overlay": ["later"]},
    ).fit(prior="weak")


@pytest.fixture(scope="module")
def rows(graded):
    columns = ["base", "overlay", "base_family", "overlay_family"]
    pairs = graded[columns].drop_duplicates().head(40)
    return pairs.merge(pd.DataFrame({"firings": [1, 3], "later": [0.0, 2.0]}), how="cross")


NOISE = ("tile", "patch")


def test_a_state_is_the_normal_chance_of_lying_below_the_cut(fit, rows):
    told = fit.state_at_most(rows, NOISE)
    for step, cut in zip([0, 1, 2, 3], fit.thresholds.index, strict=True):
        mean, cov = fit.above(rows, cut, NOISE)
        assert told[step].to_numpy() == pytest.approx(norm.cdf(-mean / np.sqrt(np.diag(cov))))
    assert (told[4] == 1).all()


def test_a_reading_adds_a_logistic_wavering_to_a_state(fit, rows):
    """The convolution of a normal and a logistic distribution, by brute force."""
    mean, cov = fit.above(rows, "1|2", NOISE)
    grid = np.linspace(-9, 9, 2001)
    spread = np.sqrt(np.diag(cov))[:, None]
    logistic = 1 / (1 + np.exp(mean[:, None] + spread * grid))
    expected = np.trapezoid(logistic * norm.pdf(grid), grid, axis=1)
    assert fit.at_most(rows, NOISE)[1].to_numpy() == pytest.approx(expected, abs=1e-4)


def test_a_state_is_surer_than_a_reading(fit, rows):
    state, reading = fit.state_at_most(rows, NOISE)[1], fit.at_most(rows, NOISE)[1]
    assert (np.abs(state - 0.5) >= np.abs(reading - 0.5) - 1e-3).all()
    assert (np.abs(state - 0.5) - np.abs(reading - 0.5)).max() > 0.1


def test_a_step_that_was_never_used_has_no_state(wine):
    steps = pd.CategoricalDtype(list(range(0, 7)), ordered=True)
    data = wine.assign(rating=wine["rating"].replace({3: 4}).astype(steps))
    with pytest.warns(UserWarning, match="0, 3, 6"):
        fit = OrdinalMixedModel("rating ~ temp", data, groups=["judge"]).fit()
    told = fit.state_at_most(data)
    assert (told[0] == 0).all()
    assert (told[3] == told[2]).all()
    assert (told[5] == 1).all()
    draws = fit.latent_draws(data)
    assert np.isneginf(draws.cuts[:, 0]).all()
    assert (draws.cuts[:, 3] == draws.cuts[:, 2]).all()
    assert np.isposinf(draws.cuts[:, 5]).all()
    assert draws.share_at_most().mean(axis=0) == pytest.approx(told.to_numpy(), abs=0.02)


def test_draws_have_the_mean_and_covariance_of_the_latent_values(fit, rows):
    draws = fit.latent_draws(rows, draws=4096, seed=3)
    mean, cov = fit.latent(rows)
    sd = np.sqrt(np.diag(cov))
    assert draws.value.mean(axis=0) == pytest.approx(mean, abs=0.03 * sd.max())
    assert np.cov(draws.value.T) == pytest.approx(cov, abs=0.08 * sd.max() ** 2)


def test_draws_vary_with_the_thresholds_as_the_fit_says(fit, rows):
    draws = fit.latent_draws(rows, draws=4096, seed=1)
    _, cov = fit.above(rows, "2|3")
    apart = draws.value - draws.cuts[:, [2]]
    assert apart.var(axis=0) == pytest.approx(np.diag(cov), rel=0.08)


def test_rows_at_one_unknown_level_share_its_draw(fit, rows):
    new = rows.assign(overlay="never fired").drop(columns=["base"])
    draws = fit.latent_draws(new, draws=2048)
    _, cov = fit.latent(new)
    assert np.cov(draws.value.T) == pytest.approx(cov, abs=0.12 * cov.max())


def test_the_share_of_states_averages_to_the_chance_of_one(fit, rows):
    draws = fit.latent_draws(rows, NOISE, draws=1024)
    share = draws.share_at_most()
    assert share.shape == (1024, len(rows), 5)
    told = fit.state_at_most(rows, NOISE).to_numpy()
    assert share.mean(axis=0) == pytest.approx(told, abs=0.012)
    noise = np.random.default_rng(1).standard_normal(draws.value.shape)
    single = draws.value + draws.noise_sd * noise
    below = single[:, :, None] <= draws.cuts[:, None, :]
    assert below.mean(axis=0) == pytest.approx(told[:, :4], abs=0.05)


def test_without_noise_a_share_is_all_or_nothing(fit, rows):
    share = fit.latent_draws(rows, draws=64).share_at_most()
    assert set(np.unique(share)) <= {0.0, 1.0}


def test_how_much_noise_groups_vary_is_drawn_with_its_expectation(fit, rows):
    draws = fit.latent_draws(rows.head(2), NOISE, draws=4096)
    terms = {t.name: v for t, v in zip(fit.posterior.terms, fit.posterior.new_var, strict=True)}
    expected = terms["tile"] + terms["patch"]
    assert (draws.noise_sd**2).mean(axis=0) == pytest.approx([expected] * 2, rel=0.03)
    assert (draws.noise_sd**2).std(axis=0).min() > 0.1 * expected


def test_a_standard_deviation_is_drawn_from_a_gamma_as_wide_as_the_fit_says(fit, rows):
    """Mean sd, variance sd^2 v: the distribution whose second moment is sd^2 (1 + v)."""
    part = fit.posterior
    for j, term in enumerate(part.terms):
        if term.name in NOISE:
            drawn = fit.latent_draws(rows.head(1), (term.name,), draws=4096).noise_sd[:, 0]
            v = part.new_var[j] / part.sd[j] ** 2 - 1
            assert drawn.mean() == pytest.approx(part.sd[j], rel=0.02)
            assert drawn.var() == pytest.approx(part.sd[j] ** 2 * v, rel=0.05)


def test_a_seed_repeats_exactly_and_another_differs(fit, rows):
    one = fit.latent_draws(rows, draws=32, seed=5)
    assert (fit.latent_draws(rows, draws=32, seed=5).value == one.value).all()
    assert (fit.latent_draws(rows, draws=32, seed=6).value != one.value).any()


def test_draws_of_measurements_agree_with_their_moments(sleep):
    fit = LinearMixedModel("Reaction ~ Days", sleep, ["Subject"], {"Subject": ["Days"]}).fit()
    rows = sleep.head(12).assign(Subject=["308"] * 6 + ["new"] * 6)
    draws = fit.latent_draws(rows, draws=4096)
    mean, cov = fit.latent(rows)
    assert draws.value.mean(axis=0) == pytest.approx(mean, abs=1.0)
    assert np.cov(draws.value.T) == pytest.approx(cov, abs=0.08 * cov.max())
    assert (draws.noise_sd == 0).all()


def test_a_number_of_draws_that_is_no_power_of_two_is_refused(fit, rows):
    with pytest.raises(Misuse, match="power of two"):
        fit.latent_draws(rows, draws=500)
