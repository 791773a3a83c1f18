"""Latent values of new rows against dense normal theory."""

import numpy as np
import pandas as pd
import pytest

from kit.mixed import LinearMixedModel, OrdinalMixedModel
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.penalised_least_squares import PenalisedLikelihood
from kit.mixed.row_likelihoods import GradeRows

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")


@pytest.fixture(scope="module")
def fit(penicillin):
    return LinearMixedModel("diameter ~ 1", penicillin, groups=["plate", "sample"]).fit()


def test_the_mean_at_known_levels_is_the_kriging_mean(fit, penicillin):
    """Universal kriging by dense matrices: Cressie (1993), Statistics for Spatial Data, 3.4."""
    z = [pd.get_dummies(penicillin[g]).to_numpy(float) for g in ("plate", "sample")]
    sds = [fit.random_sd["plate"], fit.random_sd["sample"]]
    random_part = sum(sd**2 * part @ part.T for sd, part in zip(sds, z, strict=True))
    cov = random_part + fit.residual_sd**2 * np.eye(len(penicillin))
    ones = np.ones((len(penicillin), 1))
    y = penicillin["diameter"].to_numpy(float)
    inverse = np.linalg.inv(cov)
    bread = np.linalg.inv(ones.T @ inverse @ ones)
    beta = bread @ ones.T @ inverse @ y
    mean = ones @ beta + random_part @ inverse @ (y - ones @ beta)
    lever = ones - random_part @ inverse @ ones
    full = random_part - random_part @ inverse @ random_part + lever @ bread @ lever.T
    ours, ours_cov = fit.latent(penicillin)
    assert ours == pytest.approx(mean, abs=1e-6)
    # Ours adds what the spreads' own uncertainty moves, which is little but never negative.
    extra = np.diag(ours_cov) - np.diag(full)
    assert (extra > -1e-8).all()
    assert extra.max() < 0.1 * np.diag(full).max()


def test_rows_that_share_a_new_level_share_its_variance(fit):
    rows = pd.DataFrame({"plate": ["new", "new", "other"], "sample": ["A", "A", "A"]})
    _, cov = fit.latent(rows)
    plate = fit.random_sd["plate"] ** 2
    assert cov[0, 1] == pytest.approx(cov[0, 0])
    assert cov[0, 0] - cov[0, 2] == pytest.approx(plate)


def test_a_group_left_out_stands_at_zero_unless_it_is_noise(fit):
    rows = pd.DataFrame({"sample": ["A", "A"]})
    _, calm = fit.latent(rows)
    _, noisy = fit.latent(rows, noise=("plate",))
    plate = fit.random_sd["plate"] ** 2
    assert np.diag(noisy) - np.diag(calm) == pytest.approx([plate, plate])
    assert noisy[0, 1] == pytest.approx(calm[0, 1])


def test_covariances_are_positive_semidefinite(graded, six_groups, six_group_formula):
    fit = OrdinalMixedModel(six_group_formula, graded, groups=six_groups).fit(prior="weak")
    rows = graded.drop(columns=["tile", "patch", "grader"]).drop_duplicates(["base", "overlay"])
    _, cov = fit.latent(rows)
    assert np.linalg.eigvalsh(cov).min() > -1e-9


def test_known_levels_are_surer_than_new_ones(graded, six_groups, six_group_formula):
    fit = OrdinalMixedModel(six_group_formula, graded, groups=six_groups).fit(prior="weak")
    known = graded.drop(columns=["tile", "patch", "grader"]).head(1)
    new = known.assign(base="a colour never fired")
    (_, sure), (_, unsure) = fit.latent(known), fit.latent(new)
    assert sure[0, 0] < unsure[0, 0]


def test_ordinal_latent_values_move_with_the_modes_as_a_refit_says(wine):
    """The slopes behind the covariance, against modes found anew at moved parameters."""

    model = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"])
    likelihood = LaplaceLikelihood(GradeRows(model.y, model.effects.x, model.pattern, 5, 1))
    psi = np.array([-1.0, 0.8, 3.1, 5.2, 2.0, 1.1, 0.9])
    slopes = likelihood.mode_slopes(psi, likelihood.mode(psi))
    for i in range(psi.size):
        step = np.zeros_like(psi)
        step[i] = 1e-5
        moved = likelihood.mode(psi + step).b - likelihood.mode(psi - step).b
        assert slopes[:, i] == pytest.approx(moved / 2e-5, abs=1e-6)


def test_linear_predictors_move_with_the_spreads_as_a_refit_says(graded, six_groups):
    """d eta / d (relative sds, log residual sd), against solutions at moved spreads."""
    model = LinearMixedModel("spread_mm ~ firings + mesh", graded, groups=six_groups)
    x = model.effects.x
    likelihood = PenalisedLikelihood(x, model.y, model.pattern, 6, True, None, np.ptp(x, axis=0))
    phi = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, -1.5])
    at = likelihood.solve(phi)
    delta_slopes, b_slopes = likelihood.moving(phi, at)
    s = np.exp(phi[-1])
    total = b_slopes - at.b_of_q @ delta_slopes / s
    for i in range(phi.size):
        step = np.zeros_like(phi)
        step[i] = 1e-5
        above, below = likelihood.solve(phi + step), likelihood.solve(phi - step)
        scale = np.exp(step[-1])
        assert delta_slopes[:, i] == pytest.approx(
            (above.delta - below.delta) / 2e-5, rel=1e-4, abs=1e-6
        )
        moved = (above.b / (s * scale) - below.b / (s / scale)) / 2e-5
        assert total[:, i] == pytest.approx(moved, rel=1e-4, abs=1e-5)
