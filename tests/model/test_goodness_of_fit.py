"""Chances of what was left out: the quick way against true refits, and findings that can fail."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.model import PairSetting, fit_observations, fit_series
from kit.model.goodness_of_fit import (
    COME_TRUE,
    TOO_FEW,
    TOO_HIGH,
    TOO_SURE,
    _finding,
    _standardised,
    expected_without,
    left_out,
)

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

RULE = PairSetting().rule


@pytest.fixture(scope="module")
def fits(survey):
    return {scale: fit_series(survey, scale) for scale in ("spread", "pull_through")}


@pytest.mark.parametrize("by", ["tile", "pair"])
def test_one_newton_step_agrees_with_true_refits(fits, by):
    fit = fits["spread"]
    quick = expected_without(fit, RULE.fine_edge_at_most, by)
    fitted = fit.results.at_most(fit.frame)[1].to_numpy()
    off, moved = [], []
    for group in quick["group"].unique()[:6]:
        rows = (quick["group"] == group).to_numpy()
        without = fit_observations(fit.frame[~rows], "spread")
        told = without.results.at_most(fit.frame[rows])[1].to_numpy()
        off.append(np.abs(quick.loc[rows, "expected"] - told).mean())
        moved.append(np.abs(fitted[rows] - told).mean())
    assert np.mean(off) < 0.02
    assert np.mean(off) < 0.4 * np.mean(moved)


@pytest.mark.parametrize("by", ["tile", "pair"])
def test_chances_of_a_true_model_come_true(fits, by):
    found = left_out(fits, RULE, by)
    assert found.finding == COME_TRUE
    assert "come true" in found.sentence
    assert f"Each {by} left out" in found.sentence
    assert found.table["readings"].sum() == len(found.readings)


def test_tiles_that_differ_far_more_than_was_fitted_make_chances_too_sure(fits):
    """Grades of each tile pushed all up or all down, after the fit: a world it knows nothing of."""
    random = np.random.default_rng(2)
    fit = fits["spread"]
    readings = expected_without(fit, RULE.fine_edge_at_most, "tile")
    chosen = {group: bool(random.integers(2)) for group in readings["group"].unique()}
    readings["stayed"] = readings["group"].map(chosen)
    off = (readings["stayed"] - readings["expected"]).to_numpy(float)
    surer = readings["expected"].to_numpy(float) - 0.5
    bias, sharpness = (_standardised(off * v, readings["group"]) for v in (1.0, surer))
    assert sharpness < -3
    assert _finding(readings, bias, sharpness) == TOO_SURE


def test_fewer_fine_edges_than_expected_are_named():
    random = np.random.default_rng(0)
    readings = pd.DataFrame(
        {
            "group": np.repeat([str(k) for k in range(30)], 10),
            "expected": 0.7,
            "stayed": random.random(300) < 0.4,
        }
    )
    off = (readings["stayed"] - readings["expected"]).to_numpy(float)
    bias = _standardised(off, readings["group"])
    assert bias < -3
    assert _finding(readings, bias, 0.0) == TOO_HIGH


def test_with_few_tiles_nothing_is_said(survey):
    kept = survey.tiles["tile"].iloc[:6]
    patches = survey.patches[survey.patches["tile"].isin(kept)]
    few = replace(
        survey,
        tiles=survey.tiles[survey.tiles["tile"].isin(kept)],
        patches=patches,
        firings=survey.firings[survey.firings["tile"].isin(kept)],
        grades=survey.grades[survey.grades["patch"].isin(patches["patch"])],
    )
    found = left_out({"spread": fit_series(few, "spread")}, RULE)
    assert found.finding == TOO_FEW
    assert "cannot be said from 6 tiles" in found.sentence
