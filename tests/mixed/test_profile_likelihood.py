"""Profile-likelihood intervals against lme4, and against searches by scipy."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from kit.errors import Misuse
from kit.mixed import LinearMixedModel, OrdinalMixedModel
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.profile_likelihood import Profile
from kit.mixed.row_likelihoods import GradeRows


@pytest.fixture(scope="module")
def tasted(wine):
    return OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"]).fit()


@pytest.mark.parametrize("reml", [False, True])
@pytest.mark.parametrize("case", ["profile-penicillin-ml", "profile-sleep-slopes-ml"])
def test_profiles_agree_with_the_published_ones(case, reml, request, references):
    """Reference: R 4.2.2, lme4 1.1-31. A residual fit's profiles are those of the likelihood."""
    penicillin = ("penicillin", "diameter ~ 1", ["plate", "sample"], {})
    sleep = ("sleep", "Reaction ~ Days", ["Subject"], {"Subject": ["Days"]})
    data, formula, groups, slopes = penicillin if "penicillin" in case else sleep
    model = LinearMixedModel(formula, request.getfixturevalue(data), groups, slopes)
    fit = model.fit(reml=reml)
    ours = pd.concat([fit.random_sd_conf_int(method="profile"), fit.conf_int(method="profile")])
    reference = references[case]
    assert list(ours["low"]) == pytest.approx(reference["low"], rel=1e-4)
    assert list(ours["high"]) == pytest.approx(reference["high"], rel=1e-4)


def test_at_the_ends_the_likelihood_falls_by_half_a_chi_square(tasted, wine):
    """Everything else is fitted anew by scipy, without gradients or starting values of ours."""
    model = tasted.model
    likelihood = LaplaceLikelihood(GradeRows(model.y, model.effects.x, model.pattern, 5, 1))
    best = np.append(tasted.params.to_numpy(), tasted.random_sd["judge"])
    table = pd.concat(
        [tasted.conf_int(0.9, method="profile"), tasted.random_sd_conf_int(0.9, method="profile")]
    )

    def most(place: int, value: float) -> float:
        rest = np.delete(np.arange(best.size), place)

        def loss(free: np.ndarray) -> float:
            psi = np.empty_like(best)
            psi[rest], psi[place] = free, value
            mode = likelihood.mode(psi)
            return np.inf if mode is None else -mode.value

        options = {"xatol": 1e-7, "fatol": 1e-9, "maxiter": 20000, "maxfev": 20000}
        return -minimize(loss, best[rest], method="Nelder-Mead", options=options).fun

    for place in (0, 4, 6):
        for end in table.iloc[place]:
            assert 2 * (tasted.llf - most(place, end)) == pytest.approx(2.7055, abs=1e-3)


def test_profiles_of_a_steep_effect_lean_outward(tasted):
    wald, profile = tasted.conf_int(), tasted.conf_int(method="profile")
    warm = "temp[T.warm]"
    assert profile.loc[warm, "high"] > wald.loc[warm, "high"]
    assert profile.loc[warm, "low"] > wald.loc[warm, "low"]


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
def test_a_standard_deviation_that_may_be_zero_has_zero_for_its_low_end(wine):
    fit = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge", "bottle"]).fit()
    interval = fit.random_sd_conf_int(method="profile")
    assert interval.loc["bottle", "low"] == 0
    assert 0 < interval.loc["bottle", "high"] < 2
    assert fit.random_sd_conf_int().loc["bottle"].tolist() == [0, 0]


def test_an_end_that_the_likelihood_never_leaves_is_infinite():
    flat = Profile(1.0, 0.5, lambda value: 3.0 * (1 - np.exp(-((value - 1) ** 2))))
    assert flat.interval(0.95) == (-np.inf, np.inf)
    steep = Profile(1.0, 0.5, lambda value: ((value - 1) / 0.5) ** 2)
    assert steep.interval(0.95) == pytest.approx((1 - 0.979982, 1 + 0.979982), abs=1e-6)
    assert Profile(1.0, 0.5, steep.deviance, floor=0.4).interval(0.95)[0] == 0.4


def test_normal_intervals_of_standard_deviations_are_even_in_their_logs(tasted, sleep):
    linear = LinearMixedModel("Reaction ~ Days", sleep, ["Subject"], {"Subject": ["Days"]}).fit()
    for fit in (tasted, linear):
        table = fit.random_sd_conf_int(0.9)
        sd = pd.Series(fit.random_sd)
        assert (np.sqrt(table["low"] * table["high"])).to_numpy() == pytest.approx(sd.to_numpy())
        profile = fit.random_sd_conf_int(0.9, method="profile")
        assert np.log(table).to_numpy() == pytest.approx(np.log(profile).to_numpy(), abs=0.35)


def test_a_fit_with_a_prior_has_no_profile(wine, tasted):
    fit = OrdinalMixedModel("rating ~ temp", wine, groups=["judge"]).fit(prior="weak")
    for ask in (fit.conf_int, fit.random_sd_conf_int):
        with pytest.raises(Misuse, match="likelihood alone"):
            ask(method="profile")
        with pytest.raises(Misuse, match="must be 'wald' or 'profile'"):
            ask(method="bootstrap")
    with pytest.raises(Misuse, match="between 0 and 1"):
        tasted.conf_int(95)
