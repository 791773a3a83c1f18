"""Measurements through the models: the same right-hand side, and the same verdicts."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import norm

from kit.errors import Misuse
from kit.model import (
    MEASURE_OF,
    NOT_KNOWN,
    SUITED,
    VERDICTS,
    PairSetting,
    fit_measurements,
    measured_pair_table,
    scale_to_share,
    share_to_scale,
)
from kit.model.measured_pairs import measure_correlation
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
        "base", "overlay", "base:overlay", "tile", "patch", "session", "Residual"
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
    told = fits["spread_mm"].results.predict(measured)
    inside = measured["spread_mm"].between(told["new_low"], told["new_high"])
    assert inside.mean() > 0.85


def test_the_measured_table_is_read_like_the_graded_one(table, survey):
    assert list(table.columns) == [
        "base", "overlay", "base_family", "overlay_family", "patches", "p_fine_edge",
        "p_fine_edge_at_least", "p_breaks_through", "spread", "spread_low", "spread_high",
        "pull_through", "pull_through_low", "pull_through_high", "verdict",
    ]  # fmt: skip
    assert len(table) == len(survey.colours) ** 2
    assert set(table["verdict"]) <= set(VERDICTS)
    assert table["patches"].sum() == len(survey.patches)
    assert table["pull_through"].between(0, 1).all()
    assert (table["spread_low"] < table["spread"]).all()
    assert (table["p_fine_edge"] >= table["p_fine_edge_at_least"] - 1e-9).all()


def test_chances_are_those_of_the_stated_limits(table, survey, survey_truth):
    """The truth's own chance of a fine edge, pair by pair, from the rule that made the numbers."""
    recipe = table.assign(mesh=100, coat_weight=40.0, firings=3)
    spread = norm.cdf((0.5 - 0.3 * survey_truth.latent(recipe, "spread")) / 0.304)
    middle = -2 + 0.5 * survey_truth.latent(recipe, "pull_through")
    pull = norm.cdf((share_to_scale(np.array(0.1)) - middle) / 0.304)
    fine = spread * pull
    fired = table["patches"] > 0
    assert np.corrcoef(fine[fired], table.loc[fired, "p_fine_edge"])[0, 1] > 0.85
    suited = table["verdict"] == SUITED
    assert suited.sum() > 3
    assert fine[suited].mean() > 0.8


def test_stricter_limits_leave_fewer_pairs_suited(fits, survey, table):
    strict = PairSetting(mesh=100, fine_edge_mm=-0.5, fine_edge_share=0.02)
    fewer = measured_pair_table(fits, survey.colours, strict)
    assert (fewer["p_fine_edge"] <= table["p_fine_edge"] + 1e-12).all()
    assert (fewer["p_breaks_through"] >= table["p_breaks_through"] - 1e-12).all()


def test_the_correlation_of_the_two_measures_is_found(fits):
    # Made with 0.5 between the patches of one recipe.
    rho = measure_correlation(fits["spread_mm"], fits["pull_through_share"])
    assert 0.25 < rho < 0.7


@pytest.mark.filterwarnings("ignore::kit.errors.ExtrapolationWarning")
def test_what_was_never_fired_is_not_known(fits, survey):
    beyond = measured_pair_table(fits, survey.colours, PairSetting(mesh=100, firings=9))
    assert (beyond["verdict"] == NOT_KNOWN).all()


def test_too_little_is_refused_with_the_reason(measured):
    with pytest.raises(Misuse, match="No photograph gave spread_mm"):
        fit_measurements(measured.assign(spread_mm=np.nan), "spread_mm")
    with pytest.raises(Misuse, match="only 6 rows"):
        fit_measurements(measured.iloc[:6], "spread_mm")
    with pytest.raises(Misuse, match="no column 'gloss'"):
        fit_measurements(measured, "gloss")


def test_patches_measured_once_count_with_the_residual(measured):
    once = measured[measured["firing"] == 1]
    fit = fit_measurements(once, "spread_mm")
    assert "patch" not in fit.results.random_sd
    assert any("patch" in sentence and "once" in sentence for sentence in fit.dropped)
