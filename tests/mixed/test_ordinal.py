"""Ordinal mixed models against R's ordinal, statsmodels and invented data of known make."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import approx_fprime
from statsmodels.miscmodels.ordinal_model import OrderedModel

from kit.errors import (
    AliasedEffectWarning,
    BoundaryVarianceWarning,
    EmptyGradeWarning,
    Misuse,
    SeparationWarning,
)
from kit.mixed import OrdinalMixedModel, Prior
from kit.mixed.laplace import LaplaceLikelihood
from kit.mixed.quadrature import QuadratureLikelihood
from kit.mixed.row_likelihoods import GradeRows

NAMES = {"tempwarm": "temp[T.warm]", "contactyes": "contact[T.yes]"}
FORMULA = "rating ~ temp + contact"
CASES = {
    "clm-wine": ([], 1),
    "clmm-wine-laplace": (["judge"], 1),
    "clmm-wine-agq10": (["judge"], 10),
    "clmm-wine-two-terms": (["judge", "bottle"], 1),
}


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
@pytest.mark.parametrize("case", CASES)
def test_wine_ratings_agree_with_the_published_fits(case, wine, references):
    """Reference: R 4.2.2, ordinal 2022.11-16."""
    groups, quadrature = CASES[case]
    reference = references[case]
    fit = OrdinalMixedModel(FORMULA, wine, groups=groups).fit(quadrature=quadrature)
    assert fit.converged
    assert fit.llf == pytest.approx(reference["log_likelihood"], abs=1e-4)
    for name, value in reference["coefficients"].items():
        assert fit.params[NAMES.get(name, name)] == pytest.approx(value, rel=1e-3)
    for name, value in reference["standard_errors"].items():
        assert fit.bse[NAMES.get(name, name)] == pytest.approx(value, rel=1e-2)
    for group in groups:
        value = reference["random_sd"][f"{group}.(Intercept)"]
        assert fit.random_sd[group] == pytest.approx(value, rel=1e-3, abs=1e-4)


def test_without_groups_it_is_the_proportional_odds_model_of_statsmodels(wine):
    theirs = OrderedModel(
        wine["rating"],
        pd.get_dummies(wine[["temp", "contact"]], drop_first=True).astype(float),
        distr="logit",
    ).fit(method="bfgs", disp=False)
    ours = OrdinalMixedModel(FORMULA, wine).fit()
    assert ours.llf == pytest.approx(theirs.llf, abs=1e-5)
    assert ours.effects.to_numpy() == pytest.approx(theirs.params.to_numpy()[:2], rel=1e-3)
    assert ours.bse.iloc[4:].to_numpy() == pytest.approx(theirs.bse.to_numpy()[:2], rel=1e-2)


def likelihoods(wine: pd.DataFrame, groups: list[str]) -> LaplaceLikelihood:
    model = OrdinalMixedModel(FORMULA, wine, groups=groups)
    return LaplaceLikelihood(GradeRows(model.y, model.effects.x, model.pattern, 5, len(groups)))


POINT = np.array([-1.0, 0.8, 3.1, 5.2, 2.0, 1.1])


def test_the_laplace_gradient_is_the_slope_of_its_value(wine):
    likelihood = likelihoods(wine, ["judge", "bottle"])
    psi = np.append(POINT, [0.9, 0.5])
    exact = likelihood.gradient(psi, likelihood.mode(psi))
    numerical = approx_fprime(psi, lambda at: likelihood.mode(at).value, 1e-6)
    assert exact == pytest.approx(numerical, abs=2e-4)


def test_the_gradient_with_six_crossed_groups_is_the_slope_of_its_value(graded, six_groups):
    model = OrdinalMixedModel("grade ~ firings", graded, groups=six_groups)
    likelihood = LaplaceLikelihood(GradeRows(model.y, model.effects.x, model.pattern, 5, 6))
    psi = np.array([0.2, 1.5, 3.0, 4.5, 0.5, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3])
    exact = likelihood.gradient(psi, likelihood.mode(psi))
    for i in range(psi.size):
        step = np.zeros_like(psi)
        step[i] = 1e-5
        rise = likelihood.mode(psi + step).value - likelihood.mode(psi - step).value
        assert exact[i] == pytest.approx(rise / 2e-5, rel=1e-5, abs=1e-5)


def test_the_quadrature_gradient_is_the_slope_of_its_value(wine):
    likelihood = QuadratureLikelihood(likelihoods(wine, ["judge"]).rows, 7)
    psi = np.append(POINT, 0.9)
    exact = likelihood.gradient(psi, likelihood.mode(psi))
    numerical = approx_fprime(psi, lambda at: likelihood.mode(at).value, 1e-6)
    assert exact == pytest.approx(numerical, abs=2e-4)


def test_quadrature_of_one_point_is_laplace(wine):
    laplace = likelihoods(wine, ["judge"])
    psi = np.append(POINT, 0.9)
    assert QuadratureLikelihood(laplace.rows, 1).mode(psi).value == pytest.approx(
        laplace.mode(psi).value, abs=1e-10
    )


def test_many_points_approach_the_exact_integral(wine):
    """Each judge's likelihood integrated by brute force on a fine grid."""
    judge = ["judge"]
    model = OrdinalMixedModel(FORMULA, wine, groups=judge)
    psi = np.append(POINT, 0.9)
    theta = np.concatenate([[-np.inf], psi[:4], [np.inf]])
    grid = np.linspace(-9, 9, 4001)
    density = np.exp(-0.5 * grid**2) / np.sqrt(2 * np.pi)
    total = 0.0
    for code in range(9):
        own = model.terms[0].group.codes == code
        eta = (model.effects.x[own] @ psi[4:6])[:, None] + psi[6] * grid
        y = model.y[own]
        chance = 1 / (1 + np.exp(eta - theta[y + 1][:, None])) - 1 / (
            1 + np.exp(eta - theta[y][:, None])
        )
        total += np.log(np.trapezoid(chance.prod(axis=0) * density, grid))
    likelihood = QuadratureLikelihood(likelihoods(wine, judge).rows, 15)
    assert likelihood.mode(psi).value == pytest.approx(total, abs=1e-6)


def test_an_invented_series_gives_back_what_made_it(graded, six_groups, six_group_formula):
    fit = OrdinalMixedModel(six_group_formula, graded, groups=six_groups).fit(prior="weak")
    truth = {"firings": 0.7, "mesh": 0.01}
    for name, value in truth.items():
        assert abs(fit.params[name] - value) < 3 * fit.bse[name]
    assert np.diff(fit.thresholds) == pytest.approx([1.5, 1.5, 1.5], abs=0.35)
    assert fit.random_sd["patch"] == pytest.approx(0.5, abs=0.25)


def test_a_level_s_mode_has_the_spread_that_the_joint_information_gives(wine):
    fit = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit()
    table = fit.random_effects["judge"]
    assert list(table.index) == sorted(wine["judge"].unique())
    assert (table["se"] < fit.random_sd["judge"]).all()
    assert table["value"].sum() == pytest.approx(0, abs=0.5)


def test_an_unused_step_inside_the_scale_joins_its_neighbours(wine):
    data = wine.assign(rating=wine["rating"].replace({3: 4}))
    with pytest.warns(EmptyGradeWarning, match="3"):
        fit = OrdinalMixedModel(FORMULA, data, groups=["judge"]).fit()
    assert list(fit.thresholds.index) == ["1|2", "2|4", "4|5"]
    chance = fit.predict(data)["probability"]
    assert (chance[3] == 0).all()
    assert chance.sum(axis=1).to_numpy() == pytest.approx(np.ones(72))


def test_an_unused_end_of_an_ordered_scale_is_said_aloud(wine):
    steps = pd.CategoricalDtype(list(range(0, 7)), ordered=True)
    data = wine.assign(rating=wine["rating"].astype(steps))
    with pytest.warns(EmptyGradeWarning, match="0, 6"):
        fit = OrdinalMixedModel(FORMULA, data, groups=["judge"]).fit()
    assert fit.llf == pytest.approx(-81.56541, abs=1e-4)


def test_under_a_prior_an_unused_step_keeps_a_small_chance(wine):
    steps = pd.CategoricalDtype(list(range(1, 7)), ordered=True)
    data = wine.assign(rating=wine["rating"].astype(steps))
    fit = OrdinalMixedModel(FORMULA, data, groups=["judge"]).fit(prior="weak")
    chance = fit.predict(data)["probability"][6]
    assert ((chance > 0) & (chance < 0.2)).all()


@pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")
def test_separation_is_named_and_a_prior_makes_it_finite():
    data = pd.DataFrame({"side": ["a", "b"] * 20, "grade": [0, 2] * 20})
    data.loc[:4, "grade"] = [0, 3, 0, 2, 1]
    model = OrdinalMixedModel("grade ~ side", data)
    with pytest.warns(SeparationWarning, match="side"):
        model.fit()
    fit = model.fit(prior="weak")
    assert fit.converged
    assert 1 < fit.params["side[T.b]"] < 8
    assert np.isfinite(fit.bse).all()


def test_a_spread_of_zero_is_named_and_changes_nothing_else(wine):
    model = OrdinalMixedModel(FORMULA, wine, groups=["judge", "bottle"])
    with pytest.warns(BoundaryVarianceWarning, match="bottle"):
        fit = model.fit()
    alone = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit()
    assert fit.random_sd["bottle"] == 0
    assert fit.bse.to_numpy() == pytest.approx(alone.bse.to_numpy(), rel=1e-4)


def test_a_strong_prior_holds_effects_near_zero(wine):
    weak = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit(prior="weak")
    strong = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit(prior=Prior(effect_sd=0.1))
    assert np.abs(strong.effects).max() < 0.2 < np.abs(weak.effects).min()


def test_one_grade_only_is_refused_in_plain_words(wine):
    with pytest.raises(Misuse, match="Every rating is 2"):
        OrdinalMixedModel(FORMULA, wine.assign(rating=2), groups=["judge"])


def test_a_group_of_one_level_and_twins_are_refused(wine):
    with pytest.raises(Misuse, match="same room"):
        OrdinalMixedModel(FORMULA, wine.assign(room="x"), groups=["judge", "room"])
    twins = OrdinalMixedModel(FORMULA, wine.assign(taster=wine["judge"] * 2), ["judge", "taster"])
    with pytest.raises(Misuse, match="judge and taster"):
        twins.fit()


def test_under_a_prior_twins_share_their_variation(wine):
    twins = OrdinalMixedModel(FORMULA, wine.assign(taster=wine["judge"] * 2), ["judge", "taster"])
    with pytest.warns(AliasedEffectWarning, match="judge and taster"):
        fit = twins.fit(prior="weak")
    assert fit.converged
    assert fit.random_sd["judge"] == pytest.approx(fit.random_sd["taster"], rel=1e-3)


def test_more_effects_than_rows_are_refused(wine):
    with pytest.raises(Misuse, match="effects"):
        OrdinalMixedModel("rating ~ C(bottle) * temp * contact", wine.head(8))


def test_quadrature_with_two_groups_is_refused(wine):
    with pytest.raises(Misuse, match="exactly one group"):
        OrdinalMixedModel(FORMULA, wine, groups=["judge", "bottle"]).fit(quadrature=5)


def test_the_summary_shows_every_estimate_and_the_prior(wine):
    fit = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit(prior="weak")
    text = str(fit.summary())
    for name in [*fit.params.index, "judge"]:
        assert name in text
    assert "Before anything was seen" in text


def test_chances_sum_to_one_and_lie_within_their_limits(graded, six_groups, six_group_formula):
    fit = OrdinalMixedModel(six_group_formula, graded, groups=six_groups).fit(prior="weak")
    told = fit.predict(graded.head(300))
    assert told["probability"].sum(axis=1).to_numpy() == pytest.approx(np.ones(300))
    assert (told["low"] <= told["high"]).all(axis=None)
    middle = told["probability"].to_numpy()
    inside = (told["low"].to_numpy() <= middle) & (middle <= told["high"].to_numpy())
    assert inside.mean() > 0.97


def test_a_chance_averages_the_draws_that_its_limits_come_from(wine):
    fit = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit()
    rows = wine.head(20)
    wide = fit.predict(rows, confidence=0.98)
    narrow = fit.predict(rows, confidence=0.5)
    assert (wide["low"] <= narrow["low"]).all(axis=None)
    assert (narrow["high"] <= wide["high"]).all(axis=None)


def test_at_most_agrees_with_the_chances_also_where_a_step_is_empty(wine):
    steps = pd.CategoricalDtype(list(range(0, 7)), ordered=True)
    data = wine.assign(rating=wine["rating"].replace({3: 4}).astype(steps))
    with pytest.warns(EmptyGradeWarning):
        fit = OrdinalMixedModel(FORMULA, data, groups=["judge"]).fit()
    summed = fit.predict(data)["probability"].cumsum(axis=1)
    assert fit.at_most(data).to_numpy() == pytest.approx(summed.to_numpy(), abs=1e-12)


def test_one_grade_a_level_still_reaches_an_optimum(wine):
    random = np.random.default_rng(2)
    eta = random.normal(0, 1.0, 400)
    data = pd.DataFrame({"x": random.normal(size=400), "row": np.arange(400)})
    data["y"] = np.searchsorted([-1.0, 0.5, 2.0], data["x"] + eta + random.logistic(size=400))
    fit = OrdinalMixedModel("y ~ x", data, groups=["row"]).fit()
    assert fit.converged
    assert np.isfinite(fit.bse).all()


def test_an_aliased_effect_is_named_and_left_out(wine):
    data = wine.assign(heat=(wine["temp"] == "warm") * 2.0)
    with pytest.warns(AliasedEffectWarning, match="heat cannot be told apart from temp"):
        fit = OrdinalMixedModel("rating ~ temp + contact + heat", data, groups=["judge"]).fit()
    assert fit.llf == pytest.approx(-81.56541, abs=1e-4)


def test_new_rows_must_hold_known_values(wine):
    fit = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit()
    with pytest.raises(Misuse, match="never saw"):
        fit.predict(pd.DataFrame({"temp": ["hot"], "contact": ["no"]}))
    with pytest.raises(Misuse, match="lack the columns contact"):
        fit.predict(pd.DataFrame({"temp": ["warm"]}))
    with pytest.raises(Misuse, match="no group taster"):
        fit.predict(wine, noise=["taster"])


def test_no_new_rows_give_no_chances(wine):
    fit = OrdinalMixedModel(FORMULA, wine, groups=["judge"]).fit()
    assert fit.predict(wine.head(0)).shape == (0, 15)
    assert fit.latent(wine.head(0))[1].shape == (0, 0)


def test_a_formula_that_cannot_be_read_is_refused_without_control_characters(wine):
    with pytest.raises(Misuse, match="cannot be read") as refused:
        OrdinalMixedModel("rating ~ temp +* contact", wine)
    assert "\x1b" not in str(refused.value)
