"""Measurements through the models: the same right-hand side, and the same verdicts."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.special import logit, logsumexp
from scipy.stats import norm

from kit.errors import Misuse
from kit.model import (
    FINE_EDGE,
    MEASURE_OF,
    NOT_KNOWN,
    VERDICTS,
    PairSetting,
    fit_measurements,
    fit_series,
    measured_pair_table,
    pair_table,
    scale_to_share,
    share_to_scale,
    state_by_measurements,
)
from kit.model.correlated_scores import measure_correlation
from kit.model.measurement_fit import FLOORS
from kit.model.pair_setting import every_pair, recipes
from kit.series import observations

COLUMNS = ["series", "tile", "patch", "base", "overlay", "base_family", "overlay_family",
           "base_coats", "base_mesh", "base_coat_weight", "mesh", "coat_weight", "firings",
           "firing", "session"]  # fmt: skip


@pytest.fixture(scope="module")
def measured(survey, survey_truth) -> pd.DataFrame:
    """What perfect pictures of the survey would give: millimetres straight from the truth."""
    seen = observations(survey).drop_duplicates(["patch", "firing"], ignore_index=True)[COLUMNS]
    random = np.random.default_rng(8)
    codes, patches = pd.factorize(seen["patch"])
    both = random.multivariate_normal([0, 0], [[0.09, 0.045], [0.045, 0.09]], len(patches))[codes]
    eta = {s: survey_truth.latent(seen, s) for s in MEASURE_OF}
    mm = 0.3 * eta["spread"] + both[:, 0] + random.normal(0, 0.05, len(seen))
    logit = -2 + 0.5 * eta["pull_through"] + both[:, 1] + random.normal(0, 0.05, len(seen))
    return seen.assign(spread_mm=mm, pull_through_share=scale_to_share(logit))


@pytest.fixture(scope="module")
def fits(measured):
    return {measure: fit_measurements(measured, measure) for measure in MEASURE_OF.values()}


@pytest.fixture(scope="module")
def table(fits, survey):
    return measured_pair_table(fits, survey.colours, PairSetting(mesh=100, confidence=0.8))


def test_a_measure_has_the_right_hand_side_of_the_grades(fits):
    formula = fits["spread_mm"].results.formula
    assert formula.startswith("spread_mm ~ ")
    assert "base_family:overlay_family:center(firings)" in formula
    assert set(fits["spread_mm"].results.random_sd) == {
        "base", "overlay", "base:overlay", "tile", "patch", "session", "base.refirings",
        "overlay.refirings", "Residual"
    }  # fmt: skip
    assert fits["spread_mm"].results.random_sd["Residual"] == pytest.approx(0.05, abs=0.01)


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
def test_patches_nested_in_tiles_agree_with_statsmodels(measured):
    # Reference library: statsmodels MixedLM, patches nested in tiles.
    one = measured.assign(
        base="one", overlay="other", base_family="leaded", overlay_family="leaded", session=1,
        spread_mm=measured["spread_mm"] + 5.0,  # far above the floor
    )  # fmt: skip
    ours = fit_measurements(one, "spread_mm", prior=None)
    assert set(ours.results.random_sd) == {"tile", "patch", "Residual"}
    theirs = smf.mixedlm(
        "spread_mm ~ (firings + mesh) ** 2",
        one.assign(firings=one["firings"] - 2, mesh=(one["mesh"] - one["mesh"].mean())),
        groups="tile",
        vc_formula={"patch": "0 + C(patch)"},
    ).fit(reml=False)
    assert ours.results.llf == pytest.approx(theirs.llf, abs=1e-3)
    assert ours.results.residual_sd**2 == pytest.approx(theirs.scale, rel=1e-3)
    assert ours.results.params.iloc[1:].to_numpy() == pytest.approx(
        theirs.fe_params.iloc[1:].to_numpy(), abs=1e-4
    )


def plates(tiles: int, each: int, seed: int) -> pd.DataFrame:
    """Measurements of one pair by one mesh or another, some of them beyond what can be told."""
    random = np.random.default_rng(seed)
    tile = np.repeat(np.arange(tiles), each)
    mesh = random.choice([80, 100, 150], tile.size)
    value = 0.02 * (mesh - 100) + 0.5 * random.normal(size=tiles)[tile]
    known = random.uniform(0.02, 0.3, tile.size)
    value = value + random.normal(0, np.hypot(0.3, known))
    return pd.DataFrame(
        {
            **{"tile": tile, "patch": np.arange(tile.size), "mesh": mesh, "session": 1},
            **{"base": "one", "overlay": "other", "firings": 1, "spread_mm": 0.4 + value},
            **{"base_family": "leaded", "overlay_family": "leaded", "spread_mm_se": known},
            "pull_through_share": scale_to_share(3 * value),
            "pull_through_share_se": 0.01,
        }
    )


def chance_of(y, middle, sd, low, high):
    """Log-density of what was read, log-chance of what lies beyond; by scipy alone."""
    below, above = norm.logcdf(low, middle, sd), norm.logsf(high, middle, sd)
    return np.where(y <= low, below, np.where(y >= high, above, norm.logpdf(y, middle, sd)))


@pytest.mark.filterwarnings("ignore::kit.errors.BoundaryVarianceWarning")
def test_one_measurement_a_tile_is_the_tobit_model_of_scipy():
    # Tobin (1958), Econometrica 26: the likelihood written out with scipy.stats.norm.
    rows = plates(90, 1, seed=3)
    y, known = rows["spread_mm"].to_numpy(), rows["spread_mm_se"].to_numpy()
    assert 15 < (y <= FLOORS["spread_mm"]).sum() < 50
    mesh = (rows["mesh"] - rows["mesh"].mean()).to_numpy()

    def misfit(psi):
        sd = np.hypot(np.exp(psi[2]), known)
        return -chance_of(y, psi[0] + psi[1] * mesh, sd, FLOORS["spread_mm"], np.inf).sum()

    theirs = minimize(misfit, [0.4, 0.02, -1.0], method="Nelder-Mead", options={"xatol": 1e-7})
    ours = fit_measurements(rows, "spread_mm", prior=None).results
    assert set(ours.random_sd) == {"Residual"}
    assert ours.llf == pytest.approx(-theirs.fun, abs=1e-5)
    told = [*ours.params, np.log(ours.residual_sd)]
    assert told == pytest.approx(list(theirs.x), abs=1e-3)


def test_several_a_tile_agree_with_direct_numerical_integration():
    rows = plates(30, 4, seed=4)
    fit = fit_measurements(rows, "pull_through_share", prior=None)
    y = share_to_scale(rows["pull_through_share"].to_numpy())
    p = rows["pull_through_share"].to_numpy()
    known = 0.01 * (1 / (p + 0.01) + 1 / (1.01 - p))  # the slope of the scale
    low, high = share_to_scale(np.array([0.03, 0.97]))
    assert min((y <= low).sum(), (y >= high).sum()) >= 5
    mesh = (rows["mesh"] - rows["mesh"].mean()).to_numpy()
    grid = np.linspace(-7, 7, 561)
    weight = norm.logpdf(grid) + np.log(grid[1] - grid[0])

    def misfit(psi):
        middle = (psi[0] + psi[1] * mesh)[:, None] + np.exp(psi[2]) * grid
        sd = np.hypot(np.exp(psi[3]), known)[:, None]
        each = chance_of(y[:, None], middle, sd, low, high).reshape(30, 4, -1).sum(axis=1)
        return -logsumexp(each + weight, axis=1).sum()

    results = fit.results
    ours = [*results.params, np.log(results.random_sd["tile"]), np.log(results.residual_sd)]
    exact = minimize(misfit, ours, method="BFGS")
    # Laplace's approximation is all that stands between the two.
    assert results.llf == pytest.approx(-exact.fun, abs=0.05)
    assert misfit(ours) - exact.fun < 0.002


def test_fitted_millimetres_follow_the_truth(fits):
    measured = fits["spread_mm"].frame
    told = fits["spread_mm"].results.predict(measured)
    read = measured["spread_mm"] > FLOORS["spread_mm"]
    assert 0.2 < read.mean() < 0.9
    inside = measured["spread_mm"].between(told["new_low"], told["new_high"])
    assert inside[read].mean() > 0.85
    assert (told["new_low"] < FLOORS["spread_mm"])[~read].mean() > 0.9


def test_the_measured_table_is_read_like_the_graded_one(table, survey):
    graded = {s: fit_series(survey, s) for s in MEASURE_OF}
    assert list(table.columns) == list(pair_table(graded, survey.colours, PairSetting()).columns)
    count = len(survey.colours)
    assert len(table) == count * (count - 1) * 3
    assert set(table["verdict"]) <= set(VERDICTS)
    assert table["pull_through"].between(0, 1).all()
    assert (table["spread_low"] <= table["spread"]).all()
    assert (table["spread_low"] >= FLOORS["spread_mm"]).all()
    chances = table[["fine_edge", "soft_edge", "broken_through"]]
    assert chances.sum(axis=1).to_numpy() == pytest.approx(1)


def test_chances_are_those_of_the_stated_limits(table, survey, survey_truth):
    """The truth's own chance of a fine edge, pair by pair, from the rule that made the numbers."""
    recipe = table.assign(mesh=100, coat_weight=40.0)
    spread = norm.cdf((0.5 - 0.3 * survey_truth.latent(recipe, "spread")) / 0.3)
    middle = -2 + 0.5 * survey_truth.latent(recipe, "pull_through")
    pull = norm.cdf((share_to_scale(np.array(0.1)) - middle) / 0.3)
    fine = spread * pull
    fired = table["patches"] > 0
    assert np.corrcoef(fine[fired], table.loc[fired, "fine_edge"])[0, 1] > 0.85
    fine_edge = table["verdict"] == FINE_EDGE
    assert fine_edge.sum() > 3
    assert fine[fine_edge].mean() > 0.8


def test_what_a_picture_is_off_by_is_no_part_of_the_patch(fits, survey):
    recipe = recipes(every_pair(survey.colours), PairSetting(), [3], fits)
    fit = fits["spread_mm"]
    known = state_by_measurements(fit, recipe, 0.5)
    assert known.reading_variance == pytest.approx(fit.results.residual_sd**2)
    new = dict(zip(fit.results.group_sizes, fit.results.posterior.new_var, strict=True))
    expected = new["tile"] + new["patch"] + new["session"]
    assert known.patch_variance == pytest.approx(expected)


def test_where_no_patch_was_measured_twice_the_error_counts_as_the_patches_own(measured, survey):
    once = measured[measured["firing"] == 1]
    fit = fit_measurements(once, "spread_mm")
    assert "patch" not in fit.results.random_sd
    assert any("patch" in sentence and "once" in sentence for sentence in fit.dropped)
    recipe = recipes(every_pair(survey.colours), PairSetting(), [1], {"spread_mm": fit})
    known = state_by_measurements(fit, recipe, 0.5)
    assert known.patch_variance >= fit.results.residual_sd**2
    assert known.reading_variance == 0


def test_stricter_limits_leave_fewer_fine_edges(fits, survey, table):
    strict = PairSetting(mesh=100, fine_edge_mm=-0.5, fine_edge_share=0.02)
    fewer = measured_pair_table(fits, survey.colours, strict)
    assert (fewer["fine_edge"] <= table["fine_edge"] + 1e-12).all()
    assert (fewer["broken_through"] >= table["broken_through"] - 1e-12).all()


def test_the_correlation_of_the_two_measures_is_found(fits):
    # Made with 0.5 between the patches of one recipe.
    rho = measure_correlation(fits["spread_mm"], fits["pull_through_share"])
    assert 0.25 < rho < 0.7


@pytest.mark.filterwarnings("ignore::kit.errors.ExtrapolationWarning")
def test_what_was_never_fired_is_not_known(fits, survey):
    beyond = measured_pair_table(fits, survey.colours, PairSetting(mesh=100), firings=[9])
    assert (beyond["verdict"] == NOT_KNOWN).all()
    assert beyond["foretold"].all()


def test_too_little_is_refused_with_the_reason(measured):
    with pytest.raises(Misuse, match="No photograph gave spread_mm"):
        fit_measurements(measured.assign(spread_mm=np.nan), "spread_mm")
    with pytest.raises(Misuse, match="only 6 rows"):
        fit_measurements(measured.iloc[:6], "spread_mm")
    with pytest.raises(Misuse, match="no column 'gloss'"):
        fit_measurements(measured, "gloss")


shares = st.floats(0, 1)


@given(shares)
def test_a_share_comes_back_from_the_scale(share):
    assert scale_to_share(share_to_scale(share)) == pytest.approx(share, abs=1e-12)


@given(shares, shares)
def test_the_scale_keeps_the_order(one, other):
    low, high = sorted((one, other))
    assert share_to_scale(low) <= share_to_scale(high)
    assert share_to_scale(low) < share_to_scale(high) or high - low < 1e-9


def test_without_the_allowance_the_scale_is_the_logit():
    p = np.linspace(0.02, 0.98, 25)
    np.testing.assert_allclose(share_to_scale(p, 0.0), logit(p))
