"""Random slopes against lme4 and R's ordinal, and against dense normal theory."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed import LinearMixedModel, OrdinalMixedModel, Prior
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.penalised_least_squares import PenalisedLikelihood
from kit.mixed.row_likelihoods import GradeRows

SLEEP = {"groups": ["Subject"], "slopes": {"Subject": ["Days"]}}


@pytest.fixture(scope="module")
def warm_wine(wine):
    return wine.assign(warm=(wine["temp"] == "warm").astype(int))


@pytest.mark.parametrize(
    ("case", "reml"), [("lmm-sleep-slopes-reml", True), ("lmm-sleep-slopes-ml", False)]
)
def test_sleep_data_agree_with_the_published_fits(case, reml, sleep, references):
    """Reference: R 4.2.2, lme4 1.1-31."""
    reference = references[case]
    fit = LinearMixedModel("Reaction ~ Days", sleep, **SLEEP).fit(reml=reml)
    assert fit.converged
    assert fit.llf == pytest.approx(reference["log_likelihood"], abs=1e-6)
    expected = list(reference["coefficients"].values())
    assert fit.params.to_numpy() == pytest.approx(np.array(expected), rel=1e-6)
    errors = list(reference["standard_errors"].values())
    assert fit.bse.to_numpy() == pytest.approx(np.array(errors), rel=1e-4)
    assert fit.random_sd == pytest.approx(
        {
            "Subject": reference["random_sd"]["Subject.(Intercept)"],
            "Subject.Days": reference["random_sd"]["Subject.Days"],
            "Residual": reference["random_sd"]["Residual"],
        },
        rel=1e-4,
    )


def test_wine_with_a_slope_agrees_with_the_published_fit(warm_wine, references):
    """Reference: R 4.2.2, ordinal 2022.11-16."""
    reference = references["clmm-wine-slope"]
    fit = OrdinalMixedModel(
        "rating ~ temp + contact", warm_wine, groups=["judge"], slopes={"judge": ["warm"]}
    ).fit()
    assert fit.converged
    assert fit.llf == pytest.approx(reference["log_likelihood"], abs=1e-6)
    expected = np.array(list(reference["coefficients"].values()))
    assert fit.params.to_numpy() == pytest.approx(expected, rel=1e-4)
    errors = np.array(list(reference["standard_errors"].values()))
    assert fit.bse.to_numpy() == pytest.approx(errors, rel=1e-2)
    assert fit.random_sd["judge"] == pytest.approx(
        reference["random_sd"]["judge.(Intercept)"], rel=1e-3
    )
    assert fit.random_sd["judge.warm"] == pytest.approx(
        reference["random_sd"]["judge.warm"], rel=1e-3
    )


def test_the_unit_of_a_column_changes_its_slopes_and_nothing_else(sleep):
    days = LinearMixedModel("Reaction ~ Days", sleep, **SLEEP).fit()
    weeks = sleep.assign(Days=sleep["Days"] / 7)
    other = LinearMixedModel("Reaction ~ Days", weeks, **SLEEP).fit()
    assert other.llf == pytest.approx(days.llf + np.log(7), abs=1e-6)
    assert other.random_sd["Subject.Days"] == pytest.approx(7 * days.random_sd["Subject.Days"])
    mean, cov = days.latent(sleep.head(20))
    again, also = other.latent(weeks.head(20))
    assert again == pytest.approx(mean, rel=1e-6)
    assert also == pytest.approx(cov, rel=1e-3, abs=1e-3)


def test_the_laplace_gradient_with_slopes_is_the_slope_of_its_value(graded):
    data = graded.assign(later=graded["firings"] - 1.0)
    model = OrdinalMixedModel(
        "grade ~ firings",
        data,
        groups=["base", "overlay", "tile"],
        slopes={"base": ["later"], "overlay": ["later"]},
    )
    likelihood = LaplaceLikelihood(GradeRows(model.y, model.effects.x, model.pattern, 5, 5))
    psi = np.array([0.2, 1.5, 3.0, 4.5, 0.5, 0.8, 0.7, 0.6, 0.5, 0.4])
    exact = likelihood.gradient(psi, likelihood.mode(psi))
    for i in range(psi.size):
        step = np.zeros_like(psi)
        step[i] = 1e-5
        rise = likelihood.mode(psi + step).value - likelihood.mode(psi - step).value
        assert exact[i] == pytest.approx(rise / 2e-5, rel=1e-5, abs=1e-5)
        moved = likelihood.mode(psi + step).b - likelihood.mode(psi - step).b
        slopes = likelihood.mode_slopes(psi, likelihood.mode(psi))
        assert slopes[:, i] == pytest.approx(moved / 2e-5, abs=1e-6)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("prior", [None, Prior()])
def test_the_penalised_gradient_with_slopes_is_the_slope_of_its_value(sleep, reml, prior):
    model = LinearMixedModel("Reaction ~ Days", sleep, **SLEEP)
    x = model.effects.x
    likelihood = PenalisedLikelihood(x, model.y, model.pattern, 2, reml, prior, np.ptp(x, axis=0))
    phi = np.array([0.9, 1.7, 3.1])
    exact = likelihood.objective(phi, None)[1]
    numerical = approx_fprime(phi, lambda at: likelihood.objective(at, None)[0], 1e-7)
    assert exact == pytest.approx(numerical, rel=1e-4, abs=1e-3)


def test_the_mean_and_the_likelihood_are_those_of_dense_normal_theory(sleep):
    """Universal kriging: Cressie (1993), Statistics for Spatial Data, 3.4."""
    fit = LinearMixedModel("Reaction ~ Days", sleep, **SLEEP).fit(reml=False)
    z = pd.get_dummies(sleep["Subject"]).to_numpy(float)
    later = z * sleep[["Days"]].to_numpy(float)
    cov = fit.random_sd["Subject"] ** 2 * z @ z.T
    cov += fit.random_sd["Subject.Days"] ** 2 * later @ later.T
    whole = cov + fit.residual_sd**2 * np.eye(len(sleep))
    x = np.column_stack([np.ones(len(sleep)), sleep["Days"]])
    off = sleep["Reaction"].to_numpy() - x @ fit.params.to_numpy()
    density = -0.5 * (
        len(sleep) * np.log(2 * np.pi)
        + np.linalg.slogdet(whole)[1]
        + off @ np.linalg.solve(whole, off)
    )
    assert fit.llf == pytest.approx(density, abs=1e-8)
    mean = x @ fit.params.to_numpy() + cov @ np.linalg.solve(whole, off)
    assert fit.latent(sleep)[0] == pytest.approx(mean, abs=1e-6)
    assert fit.fittedvalues.to_numpy() == pytest.approx(mean, abs=1e-6)


def test_a_slope_of_an_unknown_level_adds_its_variance_by_the_square_of_its_column(sleep):
    fit = LinearMixedModel("Reaction ~ Days", sleep, **SLEEP).fit()
    intercept, slope = fit.random_sd["Subject"] ** 2, fit.random_sd["Subject.Days"] ** 2
    rows = pd.DataFrame({"Days": [0.0, 3.0, 6.0]})
    _, average = fit.latent(rows)
    _, one = fit.latent(rows.assign(Subject="new"))
    days = rows["Days"].to_numpy()
    assert one - average == pytest.approx(intercept + slope * np.outer(days, days))
    _, each = fit.latent(rows, noise=("Subject",))
    assert each - average == pytest.approx(np.diag(intercept + slope * days**2))
    _, alone = fit.latent_marginal(rows, noise=("Subject",))
    assert alone == pytest.approx(np.diag(each))
    _, shared = fit.latent_marginal(rows.assign(Subject="new"))
    assert shared == pytest.approx(np.diag(one))
    draws = fit.latent_draws(rows, noise=("Subject",), draws=16)
    assert draws.noise_sd**2 == pytest.approx(np.tile(intercept + slope * days**2, (16, 1)))


def test_a_slope_vanishes_where_its_column_is_zero(warm_wine):
    fit = OrdinalMixedModel(
        "rating ~ contact", warm_wine, groups=["judge"], slopes={"judge": ["warm"]}
    ).fit()
    rows = pd.DataFrame({"contact": "no", "judge": 1, "warm": [0, 1]})
    mean, _ = fit.latent(rows)
    table = fit.random_effects
    assert mean[0] == pytest.approx(table["judge"].loc[1, "value"])
    assert mean[1] - mean[0] == pytest.approx(table["judge.warm"].loc[1, "value"])


def test_a_group_may_have_slopes_without_an_intercept(sleep):
    fit = LinearMixedModel("Reaction ~ Days", sleep, slopes={"Subject": ["Days"]}).fit()
    assert set(fit.random_sd) == {"Subject.Days", "Residual"}
    z = pd.get_dummies(sleep["Subject"]).to_numpy(float) * sleep[["Days"]].to_numpy(float)
    cov = fit.random_sd["Subject.Days"] ** 2 * z @ z.T + fit.residual_sd**2 * np.eye(len(sleep))
    x = np.column_stack([np.ones(len(sleep)), sleep["Days"]])
    bread = np.linalg.inv(x.T @ np.linalg.solve(cov, x))
    beta = bread @ x.T @ np.linalg.solve(cov, sleep["Reaction"])
    assert fit.params.to_numpy() == pytest.approx(beta, rel=1e-6)


def test_slopes_that_cannot_be_seen_are_refused(sleep):
    def model(**columns: object) -> LinearMixedModel:
        return LinearMixedModel(
            "Reaction ~ 1", sleep.assign(**columns), ["Subject"], {"Subject": ["dose"]}
        )

    with pytest.raises(Misuse, match="dose is 0 in every row"):
        model(dose=0.0)
    with pytest.raises(Misuse, match="dose holds something else"):
        model(dose="much")
    with pytest.raises(Misuse, match="no column dose"):
        model()
    constant = model(dose=2.0)
    with pytest.raises(Misuse, match=r"Subject and Subject\.dose"):
        constant.fit()
    with pytest.warns(AliasedEffectWarning, match=r"Subject and Subject\.dose"):
        constant.fit(prior="weak")


def test_a_single_name_stands_for_a_list_of_one(sleep):
    model = LinearMixedModel("Reaction ~ Days", sleep, "Subject", {"Subject": "Days"})
    assert [term.name for term in model.terms] == ["Subject", "Subject.Days"]


def test_new_rows_at_a_level_need_the_column_of_its_slope(sleep):
    fit = LinearMixedModel("Reaction ~ 1", sleep, **SLEEP).fit()
    assert len(fit.predict(pd.DataFrame(index=range(2)))) == 2
    with pytest.raises(Misuse, match="lack the column Days"):
        fit.predict(pd.DataFrame({"Subject": ["a"]}))
    with pytest.raises(Misuse, match="blank where a value of Days"):
        fit.predict(pd.DataFrame({"Subject": ["a"], "Days": [np.nan]}))
