"""Linear mixed models against lme4 and statsmodels."""

import numpy as np
import pytest
import statsmodels.formula.api as smf
from scipy.optimize import approx_fprime

from kit.errors import Misuse
from kit.mixed import LinearMixedModel, Prior
from kit.mixed.penalised_least_squares import PenalisedLikelihood

CASES = {
    "lmm-penicillin-reml": ("penicillin", "diameter ~ 1", ["plate", "sample"], True),
    "lmm-penicillin-ml": ("penicillin", "diameter ~ 1", ["plate", "sample"], False),
    "lmm-cake-splitplot-reml": (
        "cake",
        "angle ~ C(recipe) * temp",
        ["recipe:replicate", "replicate"],
        True,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_published_data_agree_with_the_published_fits(case, references, request):
    """Reference: R 4.2.2, lme4 1.1-31."""
    data, formula, groups, reml = CASES[case]
    reference = references[case]
    fit = LinearMixedModel(formula, request.getfixturevalue(data), groups=groups).fit(reml=reml)
    assert fit.converged
    assert fit.llf == pytest.approx(reference["log_likelihood"], abs=1e-4)
    assert fit.params.to_numpy() == pytest.approx(
        np.array(list(reference["coefficients"].values())), rel=1e-3
    )
    assert fit.bse.to_numpy() == pytest.approx(
        np.array(list(reference["standard_errors"].values())), rel=1e-2
    )
    names = {"rr": "recipe:replicate"}
    for name, value in reference["random_sd"].items():
        assert fit.random_sd[names.get(name, name)] == pytest.approx(value, rel=1e-3)


STRIPS = ["rep", "rep:gen", "rep:nitro"]


def test_a_strip_plot_agrees_with_the_published_fit(strips, references):
    """Strips of varieties crossed by strips of nitrogen. Reference: R 4.2.2, lme4 1.1-31."""
    reference = references["lmm-strip-plot-reml"]
    fit = LinearMixedModel("Q('yield') ~ gen * C(nitro)", strips, groups=STRIPS).fit()
    assert fit.converged
    assert fit.llf == pytest.approx(reference["log_likelihood"], abs=1e-6)
    coefficients = np.array(list(reference["coefficients"].values()))
    # nitro lists 60 before 120 for every variety, the reference too.
    assert fit.params.to_numpy() == pytest.approx(coefficients, rel=1e-6)
    errors = np.array(list(reference["standard_errors"].values()))
    assert fit.bse.to_numpy() == pytest.approx(errors, rel=1e-4)
    names = {"rep": "rep", "rep:gen": "rep:gen", "rep:nitro": "rep:nf", "Residual": "Residual"}
    for ours, theirs in names.items():
        assert fit.random_sd[ours] == pytest.approx(reference["random_sd"][theirs], rel=1e-4)


def test_the_strip_plot_has_the_published_f_values(strips):
    """Gomez and Gomez (1984), p. 110: 7.65, 34.07 and 5.80. In a balanced plan whose components
    of variance are all positive, Wald's statistic over its degrees of freedom is that F."""
    formula = "Q('yield') ~ C(gen, contr.sum) * C(nitro, contr.sum)"
    fit = LinearMixedModel(formula, strips, groups=STRIPS).fit()
    named = fit.params.index
    variety = named.str.contains("gen") & ~named.str.contains(":")
    nitrogen = named.str.contains("nitro") & ~named.str.contains(":")
    product = named.str.contains(":")
    for own, expected in ((variety, 7.65), (nitrogen, 34.07), (product, 5.80)):
        b, cov = fit.params[own], fit.cov_params().loc[own, own]
        assert b @ np.linalg.solve(cov, b) / own.sum() == pytest.approx(expected, abs=0.005)


def test_a_nested_case_agrees_with_statsmodels(cake):
    data = cake.assign(rr=cake["recipe"] + cake["replicate"].astype(str))
    theirs = smf.mixedlm(
        "angle ~ C(recipe) + temp",
        data,
        groups="replicate",
        re_formula="1",
        vc_formula={"rr": "0 + C(rr)"},
    ).fit(reml=True)
    ours = LinearMixedModel("angle ~ C(recipe) + temp", cake, ["replicate", "recipe:replicate"])
    fit = ours.fit()
    assert fit.llf == pytest.approx(theirs.llf, abs=1e-3)
    assert fit.params.to_numpy() == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-3)
    assert fit.random_sd["replicate"] ** 2 == pytest.approx(
        float(theirs.cov_re.iloc[0, 0]), rel=0.01
    )
    assert fit.residual_sd**2 == pytest.approx(theirs.scale, rel=1e-3)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("prior", [None, Prior()])
def test_the_gradient_is_the_slope_of_the_objective(graded, six_groups, reml, prior):
    model = LinearMixedModel("spread_mm ~ firings + mesh", graded, groups=six_groups)
    x = model.effects.x
    likelihood = PenalisedLikelihood(x, model.y, model.pattern, 6, reml, prior, np.ptp(x, axis=0))
    phi = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, -1.5])
    _, exact, _ = likelihood.objective(phi, None)
    numerical = approx_fprime(phi, lambda at: likelihood.objective(at, None)[0], 1e-7)
    assert exact == pytest.approx(numerical, rel=1e-4, abs=1e-3)


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
def test_the_log_likelihood_is_that_of_the_dense_normal_density(graded, six_groups):
    data = graded.iloc[::7]
    model = LinearMixedModel("spread_mm ~ firings", data, groups=six_groups[:4])
    fit = model.fit(reml=False)
    cov = fit.residual_sd**2 * np.eye(len(data))
    for term in model.terms:
        z = np.eye(term.size)[term.group.codes]
        cov += fit.random_sd[term.name] ** 2 * z @ z.T
    off = model.y - model.effects.x @ fit.params.to_numpy()
    density = -0.5 * (
        len(data) * np.log(2 * np.pi) + np.linalg.slogdet(cov)[1] + off @ np.linalg.solve(cov, off)
    )
    assert fit.llf == pytest.approx(density, abs=1e-8)


def test_an_invented_series_gives_back_what_made_it(graded, six_groups):
    fit = LinearMixedModel(
        "spread_mm ~ base_family * overlay_family + firings", graded, groups=six_groups
    ).fit()
    assert abs(fit.params["firings"] - 0.14) < 3 * fit.bse["firings"]
    assert fit.residual_sd == pytest.approx(0.2, abs=0.01)
    assert fit.random_sd["patch"] == pytest.approx(0.1, abs=0.03)
    assert fit.random_sd["Residual"] == fit.residual_sd


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
def test_predictions_of_fired_patches_are_close_to_what_was_measured(graded, six_groups):
    fit = LinearMixedModel("spread_mm ~ firings", graded, groups=six_groups).fit()
    told = fit.predict(graded)
    inside = graded["spread_mm"].between(told["new_low"], told["new_high"])
    assert 0.87 < inside.mean() < 0.95


def test_a_level_for_every_row_is_refused(penicillin):
    data = penicillin.assign(row=range(len(penicillin)))
    with pytest.raises(Misuse, match="error"):
        LinearMixedModel("diameter ~ 1", data, groups=["row"])


def test_a_constant_response_and_a_perfect_fit_are_refused(penicillin):
    with pytest.raises(Misuse, match="Every diameter"):
        LinearMixedModel("diameter ~ 1", penicillin.assign(diameter=3.0), groups=["plate"])
    exact = penicillin.assign(diameter=penicillin["plate"].map(ord) * 1.0)
    with pytest.raises(Misuse, match="to the last digit"):
        LinearMixedModel("diameter ~ C(plate)", exact, groups=["sample"]).fit()
