"""Averaging over standard deviations, against direct numerical integration."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.special import expit, ndtr

from kit.errors import Misuse
from kit.mixed import LinearMixedModel, OrdinalMixedModel, Prior
from kit.mixed.integration import normal_rule

LEVELS = 8
ANYWHERE = pd.DataFrame(index=[0])


@pytest.mark.parametrize("k", range(1, 13))
def test_the_rule_has_the_moments_of_independent_normals(k):
    points, weights = normal_rule(k)
    assert weights.sum() == pytest.approx(1)
    assert weights @ points == pytest.approx(np.zeros(k), abs=1e-12)
    assert (points.T * weights) @ points == pytest.approx(np.eye(k), abs=1e-12)
    cubes = np.einsum("n,ni,nj,nl->ijl", weights, points, points, points)
    assert cubes == pytest.approx(np.zeros((k, k, k)), abs=1e-12)


def grades_of_one_group(seed: int) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    group = np.repeat(np.arange(LEVELS), 3)
    eta = random.normal(0, 1.5, LEVELS)[group]
    grade = np.searchsorted([-0.8, 1.0], eta + random.logistic(size=len(group)))
    steps = pd.Categorical(grade, categories=[0, 1, 2], ordered=True)
    return pd.DataFrame({"group": group, "grade": steps})


def chances_by_brute_force(data: pd.DataFrame, rate: float) -> np.ndarray:
    """Chance of a new level's state below each cut, on a grid of sd, first cut and gap."""
    log_sd = np.linspace(np.log(0.05), np.log(9), 41)[:, None, None]
    cut = np.linspace(-6, 3, 37)[None, :, None]
    gap = np.geomspace(0.15, 9, 31)[None, None, :]
    sd = np.exp(log_sd)
    # Densities of log sd and, with the grid's own stretch, of the gap: gamma of shape 2.
    height = 2 * log_sd - rate * sd + 2 * np.log(gap) - 0.5 * gap
    node, weight = np.polynomial.hermite_e.hermegauss(40)
    counts = pd.crosstab(data["group"], data["grade"], dropna=False).to_numpy()
    for row in counts:
        total = 0.0
        for z, w in zip(node, weight / weight.sum(), strict=True):
            first = expit(cut - sd * z)
            second = expit(cut + gap - sd * z) - first
            total += w * first ** row[0] * second ** row[1] * (1 - first - second) ** row[2]
        height = height + np.log(total)
    density = np.exp(height - height.max())
    density /= density.sum()
    return np.array([(density * ndtr(c / sd)).sum() for c in (cut, cut + gap)])


def test_grades_of_one_group_come_closer_to_the_exact_integral():
    errors = {"best": [], "integrated": []}
    for seed in range(6):
        data = grades_of_one_group(seed)
        fit = OrdinalMixedModel("grade ~ 1", data, ["group"]).fit(prior=Prior(spread_rate=1.0))
        exact = chances_by_brute_force(data, rate=1.0)
        for name, results in {"best": fit, "integrated": fit.integrated()}.items():
            told = results.state_at_most(ANYWHERE, ("group",)).to_numpy()[0, :2]
            errors[name].append(np.abs(told - exact).mean())
    assert np.mean(errors["integrated"]) < 0.012
    assert np.mean(errors["integrated"]) < 0.75 * np.mean(errors["best"])


def test_measurements_agree_with_a_grid_of_dense_normal_densities(penicillin):
    """Three standard deviations on a grid, the mean integrated exactly."""
    data = penicillin[penicillin["plate"].isin(list("abcdef"))].reset_index(drop=True)
    prior = Prior()
    model = LinearMixedModel("diameter ~ 1", data, groups=["plate", "sample"])
    fit = model.fit(prior=prior).integrated()
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
                rate = prior.spread_rate / unit
                heights.append(height + np.sum(prior.spread_shape * np.log(sd) - rate * sd))
                variances.append(1 / precision + np.exp(2 * a) + np.exp(2 * b))
    density = np.exp(np.array(heights) - max(heights))
    exact = float(density @ np.array(variances) / density.sum())
    _, cov = fit.latent(ANYWHERE, ("plate", "sample"))
    assert cov[0, 0] == pytest.approx(exact, rel=0.1)


@pytest.fixture(scope="module")
def few(few_grades):
    groups = ["base", "overlay", "base:overlay", "tile", "patch"]
    data = few_grades.assign(later=few_grades["firings"] - 1.0)
    model = OrdinalMixedModel("grade ~ firings", data, groups, {"overlay": ["later"]})
    return model.fit(prior="weak")


def test_everything_foretold_is_averaged_over_the_same_points(few, few_grades):
    rows = few_grades.assign(later=few_grades["firings"] - 1.0).drop(columns=["tile", "patch"])
    averaged = few.integrated()
    noise = ("tile", "patch")
    state = averaged.state_at_most(rows, noise).to_numpy()
    share = averaged.latent_draws(rows, noise, draws=2048).share_at_most()
    assert share.mean(axis=0) == pytest.approx(state, abs=0.03)
    mean, cov = averaged.latent(rows)
    again, variance = averaged.latent_marginal(rows)
    assert again == pytest.approx(mean)
    assert variance == pytest.approx(np.diag(cov))
    assert averaged.params.equals(few.params)


def test_the_points_lie_on_both_sides_of_the_best_values(few):
    for j, name in enumerate(few.random_sd):
        values = [float(part.sd[j]) for part in few.integrated().mixture.parts]
        assert min(values) < few.random_sd[name] < max(values)


def test_at_given_standard_deviations_the_rest_is_fitted_anew(few):
    """Half a standard error away on every log, against a search over thresholds and effects."""
    fit = few.fit
    away = fit.log_sd + 0.5 * np.sqrt(np.diag(fit.log_sd_covariance()))
    _, part = fit.given(away)
    held = np.exp(away)

    def loss(free: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope, _ = fit.objective(np.append(free, held), None)
        return value, slope[: fit.fixed]

    best = minimize(loss, fit.best.x[: fit.fixed], jac=True, method="BFGS").x
    psi = fit.outward @ np.append(best, held)
    error = np.sqrt(np.diag(part.psi_cov)[: fit.fixed])
    assert np.abs(part.psi - psi)[: fit.fixed] / error == pytest.approx(0 * error, abs=0.01)


def test_averaging_needs_groups_and_a_prior(wine):
    model = OrdinalMixedModel("rating ~ temp", wine, groups=["judge"])
    with pytest.raises(Misuse, match="needs groups and a prior"):
        model.fit().integrated()
    with pytest.raises(Misuse, match="needs groups and a prior"):
        OrdinalMixedModel("rating ~ temp", wine).fit(prior="weak").integrated()
