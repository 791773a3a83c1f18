"""What is known of rows, against direct numerical integration over all that is not known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import gamma, lognorm

from kit.mixed import LinearMixedModel, OrdinalMixedModel, Prior
from kit.mixed.posterior import new_level_variance

LEVELS = 8
ANYWHERE = pd.DataFrame(index=[0])


def grades_of_one_group(seed: int) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    group = np.repeat(np.arange(LEVELS), 3)
    eta = random.normal(0, 1.5, LEVELS)[group]
    grade = np.searchsorted([-0.8, 1.0], eta + random.logistic(size=len(group)))
    steps = pd.Categorical(grade, categories=[0, 1, 2], ordered=True)
    return pd.DataFrame({"group": group, "grade": steps})


def by_brute_force(data: pd.DataFrame, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of each level's deviation above the first cut, on the same grid."""
    log_sd = np.linspace(np.log(0.05), np.log(9), 41)[:, None, None]
    cut = np.linspace(-6, 3, 37)[None, :, None]
    gap = np.geomspace(0.15, 9, 31)[None, None, :]
    sd = np.exp(log_sd)
    height = 2 * log_sd - rate * sd + 2 * np.log(gap) - 0.5 * gap
    node, weight = np.polynomial.hermite_e.hermegauss(40)
    counts = pd.crosstab(data["group"], data["grade"], dropna=False).to_numpy()
    firsts, seconds = [], []
    for row in counts:
        total, first_moment, second_moment = 0.0, 0.0, 0.0
        for z, w in zip(node, weight / weight.sum(), strict=True):
            low = expit(cut - sd * z)
            middle = expit(cut + gap - sd * z) - low
            own = w * low ** row[0] * middle ** row[1] * (1 - low - middle) ** row[2]
            total = total + own
            first_moment = first_moment + own * (sd * z - cut)
            second_moment = second_moment + own * (sd * z - cut) ** 2
        height = height + np.log(total)
        firsts.append(first_moment / total)
        seconds.append(second_moment / total)
    density = np.exp(height - height.max())
    density /= density.sum()
    mean = np.array([(density * first).sum() for first in firsts])
    return mean, np.array([(density * second).sum() for second in seconds]) - mean**2


def test_levels_seen_come_closer_to_the_exact_integral_than_by_the_best_values():
    """The best standard deviation alone draws levels together and leaves them too sure."""
    off, log_ratio = {"best": [], "foretelling": []}, {"best": [], "foretelling": []}
    for seed in range(6):
        data = grades_of_one_group(seed)
        fit = OrdinalMixedModel("grade ~ 1", data, ["group"]).fit(prior=Prior(sd_rate=1.0))
        exact, spread = by_brute_force(data, rate=1.0)
        rows = pd.DataFrame({"group": range(LEVELS)})
        for name, known in {"best": fit.posterior, "foretelling": fit.foretelling}.items():
            mean, variance = replace(fit, foretelling=known).above_cuts(rows)
            off[name].append(np.abs(mean[:, 0] - exact).mean())
            log_ratio[name].append(np.abs(np.log(variance[:, 0] / spread)).mean())
    assert np.mean(off["foretelling"]) < 0.8 * np.mean(off["best"])
    assert np.mean(log_ratio["foretelling"]) < 0.9 * np.mean(log_ratio["best"])


def test_measurements_agree_with_a_grid_of_dense_normal_densities(penicillin):
    """Three standard deviations on a grid, the mean integrated exactly."""
    data = penicillin[penicillin["plate"].isin(list("abcdef"))].reset_index(drop=True)
    prior = Prior()
    model = LinearMixedModel("diameter ~ 1", data, groups=["plate", "sample"])
    fit = model.fit(prior=prior)
    z = [pd.get_dummies(data[g]).to_numpy(float) for g in ("plate", "sample")]
    y, ones = data["diameter"].to_numpy(float), np.ones(len(data))
    axes = np.linspace(np.log(0.05), np.log(20), 23)
    unit = y.std()
    heights, variances = [], []
    for a in axes:
        for b in axes:
            between = np.exp(2 * a) * z[0] @ z[0].T + np.exp(2 * b) * z[1] @ z[1].T
            for c in np.linspace(np.log(0.25), np.log(1.5), 11):
                inverse = np.linalg.inv(between + np.exp(2 * c) * np.eye(len(y)))
                precision = ones @ inverse @ ones
                mean = ones @ inverse @ y / precision
                height = 0.5 * np.linalg.slogdet(inverse)[1] - 0.5 * np.log(precision)
                height -= 0.5 * (y - mean) @ inverse @ (y - mean)
                sd = np.exp([a, b])
                rate = prior.sd_rate / unit
                heights.append(height + np.sum(prior.sd_shape * np.log(sd) - rate * sd))
                variances.append(1 / precision + np.exp(2 * a) + np.exp(2 * b))
    density = np.exp(np.array(heights) - max(heights))
    exact = float(density @ np.array(variances) / density.sum())
    _, cov = fit.latent(ANYWHERE, ("plate", "sample"))
    # Six levels a group: a standard deviation is then known to a third of itself.
    assert cov[0, 0] == pytest.approx(exact, rel=0.15)


@pytest.fixture(scope="module")
def few(few_grades):
    groups = ["base", "overlay", "base:overlay", "tile", "patch"]
    data = few_grades.assign(later=few_grades["firings"] - 1.0)
    model = OrdinalMixedModel("grade ~ firings", data, groups, {"overlay": ["later"]})
    return model.fit(prior="weak")


def test_everything_foretold_rests_on_the_same_knowledge(few, few_grades):
    rows = few_grades.assign(later=few_grades["firings"] - 1.0).drop(columns=["tile", "patch"])
    noise = ("tile", "patch")
    state = few.state_at_most(rows, noise).to_numpy()
    share = few.latent_draws(rows, noise, draws=2048).share_at_most()
    assert share.mean(axis=0) == pytest.approx(state, abs=0.03)
    mean, cov = few.latent(rows)
    again, variance = few.latent_marginal(rows)
    assert again == pytest.approx(mean)
    assert variance == pytest.approx(np.diag(cov))


def test_levels_seen_and_unseen_share_one_variance(few):
    seen = few.foretelling.sd**2
    assert seen == pytest.approx(few.posterior.new_var)
    assert few.foretelling.new_var == pytest.approx(few.posterior.new_var)
    assert (seen > few.posterior.sd**2).all()
    assert few.random_sd["tile"] == few.posterior.sd[list(few.random_sd).index("tile")]


def test_a_variance_to_expect_is_the_priors_or_the_data_s():
    """E sd^2 of a gamma of shape 1/v and mode sd of its log, and of a log-normal (any textbook)."""
    sd, v = np.array([0.7]), 0.2
    slopes, cov = np.ones((1, 1)), np.array([[v * 0.7**2]])
    by_prior = new_level_variance(sd, slopes, cov, held=np.array([1 / v]))
    assert by_prior == pytest.approx(gamma(1 / v, scale=0.7 * v).moment(2))
    by_data = new_level_variance(sd, slopes, cov, held=np.zeros(1))
    assert by_data == pytest.approx(lognorm(np.sqrt(v), scale=0.7).moment(2))
    assert new_level_variance(sd, slopes, cov) == pytest.approx(0.49)


def test_without_a_prior_rows_are_foretold_from_the_best_fit(wine):
    fit = OrdinalMixedModel("rating ~ temp", wine, groups=["judge"]).fit()
    assert fit.foretelling is fit.posterior


def test_at_given_standard_deviations_the_rest_is_fitted_anew(few):
    """Half a standard error away on every log, against a search over thresholds and effects."""
    fit = few.fit
    stretch = np.exp(0.5 * fit.sd_shares())
    part = fit.given(stretch)
    held = fit.best.x[fit.every_sd] * stretch

    def loss(free: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope, _ = fit.objective(np.append(free, held), None)
        return value, slope[: fit.fixed]

    best = minimize(loss, fit.best.x[: fit.fixed], jac=True, method="BFGS").x
    psi = fit.outward @ np.append(best, held)
    error = np.sqrt(np.diag(part.psi_cov)[: fit.fixed])
    assert np.abs(part.psi - psi)[: fit.fixed] / error == pytest.approx(0 * error, abs=0.01)
