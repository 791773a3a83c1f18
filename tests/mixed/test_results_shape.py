"""Results in the shape that users of statsmodels expect, short in text and readable as HTML."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import norm

from kit.errors import Misuse
from kit.mixed import JointMixedModel, LinearMixedModel, OrdinalMixedModel


@pytest.fixture(scope="module")
def ordinal(wine):
    return OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"]).fit()


@pytest.fixture(scope="module")
def linear(sleep):
    return LinearMixedModel("Reaction ~ Days", sleep, ["Subject"], {"Subject": ["Days"]}).fit()


@pytest.fixture(scope="module")
def joint(wine):
    measured = wine.assign(mm=wine["rating"] + 0.1 * np.arange(72) % 1)
    return JointMixedModel("rating ~ temp", wine, measured, "mm", ["judge"]).fit(prior="weak")


def test_typing_a_fit_or_a_model_prints_one_line(ordinal, linear, joint):
    for fit in (ordinal, linear, joint):
        for shown in (repr(fit), repr(fit.model)):
            assert "\n" not in shown
            assert len(shown) < 200
        assert repr(fit).startswith(f"<{type(fit).__name__}: {fit.formula} by ")
        assert f"{fit.nobs} rows" in repr(fit)
    assert "judge" in repr(ordinal)
    assert "Subject.Days" in repr(linear)
    assert repr(ordinal.latent_draws(ordinal.model.data, draws=8)) == (
        "<OrdinalDraws: 8 draws of 72 rows>"
    )


def test_a_notebook_shows_the_tables(ordinal, linear, joint):
    for fit in (ordinal, linear, joint):
        page = fit._repr_html_()
        for name in [*fit.params.index, *fit.random_sd]:
            assert name in page
        assert page.count("<table") == 3


def test_linear_estimates_agree_with_statsmodels_by_the_same_names(sleep, linear):
    theirs = smf.mixedlm(
        "Reaction ~ Days",
        sleep,
        groups="Subject",
        re_formula="1",
        vc_formula={"days": "0 + Days"},
    ).fit()
    assert linear.llf == pytest.approx(theirs.llf, abs=1e-4)
    for ours, other in ((linear.params, theirs.fe_params), (linear.tvalues, theirs.tvalues[:2])):
        assert ours.to_numpy() == pytest.approx(other.to_numpy(), rel=1e-3)
    assert linear.pvalues.to_numpy() == pytest.approx(theirs.pvalues[:2].to_numpy(), rel=1e-2)
    assert linear.fittedvalues.to_numpy() == pytest.approx(theirs.fittedvalues, abs=0.05)
    assert linear.resid.to_numpy() == pytest.approx(theirs.resid, abs=0.05)


def test_intervals_are_the_normal_ones(ordinal):
    table = ordinal.conf_int(0.9)
    reach = norm.ppf(0.95) * ordinal.bse
    pd.testing.assert_series_equal(table["high"], ordinal.params + reach, check_names=False)
    pd.testing.assert_series_equal(table["low"], ordinal.params - reach, check_names=False)
    for wrong in (0, 1, 95):
        with pytest.raises(Misuse, match="confidence must lie between 0 and 1"):
            ordinal.conf_int(wrong)
        with pytest.raises(Misuse, match="confidence must lie between 0 and 1"):
            ordinal.predict(confidence=wrong)


def test_predicting_nothing_in_particular_means_the_fitted_rows(ordinal, linear, wine, sleep):
    pd.testing.assert_frame_equal(ordinal.predict(), ordinal.predict(wine))
    pd.testing.assert_frame_equal(linear.predict(), linear.predict(sleep))
    assert linear.predict()["mean"].to_numpy() == pytest.approx(linear.fittedvalues.to_numpy())


def test_fitted_grades_are_expectations_at_the_best_fit(ordinal, wine):
    judge = ordinal.random_effects["judge"]["value"]
    eta = ordinal.effects["temp[T.warm]"] * (wine["temp"] == "warm")
    eta += ordinal.effects["contact[T.yes]"] * (wine["contact"] == "yes")
    eta += wine["judge"].map(judge)
    cuts = ordinal.thresholds.to_numpy()
    above = 1 / (1 + np.exp(cuts - eta.to_numpy()[:, None]))
    assert ordinal.fittedvalues.to_numpy() == pytest.approx(1 + above.sum(axis=1))
    assert (wine["rating"] - ordinal.fittedvalues).to_numpy() == pytest.approx(
        ordinal.resid.to_numpy()
    )


def test_the_summary_states_its_confidence(ordinal):
    text = str(ordinal.summary(0.9))
    assert "low (90\u00a0%)" in text
    assert "log-likelihood" in text
    assert repr(ordinal.summary()) == str(ordinal.summary())
