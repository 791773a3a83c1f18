"""Measurements through the models: the same right-hand side, and the same verdicts."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import logit
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
        base="one", overlay="one", base_family="leaded", overlay_family="leaded", session=1
    )
    ours = fit_measurements(one, "spread_mm", prior=None)
    assert set(ours.results.random_sd) == {"tile", "patch", "Residual"}
    theirs = smf.mixedlm(
        "spread_mm ~ (firings + mesh) ** 2",
        one.assign(firings=one["firings"] - 2, mesh=(one["mesh"] - one["mesh"].mean())),
        groups="tile",
        vc_formula={"patch": "0 + C(patch)"},
    ).fit(reml=True)
    assert ours.results.llf == pytest.approx(theirs.llf, abs=1e-3)
    assert ours.results.residual_sd**2 == pytest.approx(theirs.scale, rel=1e-3)
    assert ours.results.params.iloc[1:].to_numpy() == pytest.approx(
        theirs.fe_params.iloc[1:].to_numpy(), abs=1e-4
    )


def test_fitted_millimetres_follow_the_truth(fits, measured):
    told = fits["spread_mm"].results.predict(fits["spread_mm"].frame)
    inside = measured["spread_mm"].between(told["new_low"], told["new_high"])
    assert inside.mean() > 0.85


def test_the_measured_table_is_read_like_the_graded_one(table, survey):
    graded = {s: fit_series(survey, s) for s in MEASURE_OF}
    assert list(table.columns) == list(pair_table(graded, survey.colours, PairSetting()).columns)
    count = len(survey.colours)
    assert len(table) == count * (count - 1) * 3
    assert set(table["verdict"]) <= set(VERDICTS)
    assert table["pull_through"].between(0, 1).all()
    assert (table["spread_low"] < table["spread"]).all()
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
