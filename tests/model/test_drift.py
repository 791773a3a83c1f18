"""Drift within a session is found where there is one, and not where there is none."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.model import drift_in_session, fit_series
from kit.model.drift import turn_in_session


@pytest.fixture(scope="module")
def order(survey):
    """Every tile's turn, shuffled anew for each firing of a session."""
    random = np.random.default_rng(7)
    each = survey.firings[["tile", "firing"]]
    return each.assign(step=random.permutation(len(each)))


def drifting(survey, order, share):
    fit = fit_series(survey, "spread")
    late = turn_in_session(fit.frame, order) + 0.5
    up = np.random.default_rng(3).random(len(late)) < share * late
    rows = fit.frame.assign(spread=(fit.frame["spread"].astype(int) + up).clip(upper=4))
    keys = ["patch", "firing", "grader"]
    raised = survey.grades.drop(columns="spread").merge(rows[[*keys, "spread"]], on=keys)
    raised = raised.astype({"spread": "Int64"})[list(survey.grades.columns)]
    return fit_series(replace(survey, grades=raised), "spread")


def test_a_session_without_drift_raises_no_alarm(survey, order):
    drift = drift_in_session(fit_series(survey, "spread"), order)
    assert drift.chance > 0.05
    assert not drift.stands_out
    assert drift.sentence == "No drift of spread within a session can be told."


def test_grades_that_rise_through_a_session_are_named_with_what_to_do(survey, order):
    drift = drift_in_session(drifting(survey, order, 0.8), order)
    assert drift.stands_out
    assert 0.3 < drift.steps < 2
    assert "spread rises by" in drift.sentence
    assert "fire a control tile at both ends" in drift.sentence


def test_the_other_way_round_it_falls(survey, order):
    other_way = order.assign(step=-order["step"])
    drift = drift_in_session(drifting(survey, order, 0.8), other_way)
    assert drift.stands_out and drift.steps < 0
    assert "spread falls by" in drift.sentence


def test_turns_are_counted_within_session_and_firing():
    rows = pd.DataFrame(
        {
            "session": [1, 1, 1, 1, 2, pd.NA],
            "tile": [3, 8, 5, 3, 9, 4],
            "firing": [1, 1, 1, 2, 1, 1],
        }
    )
    order = pd.DataFrame(
        {"tile": [3, 8, 5, 3, 9], "firing": [1, 1, 1, 2, 1], "step": [7, 2, 4, 9, 1]}
    )
    assert turn_in_session(rows, order).tolist() == [0.5, -0.5, 0.0, 0.0, 0.0, 0.0]


def test_where_no_turn_is_known_nothing_is_said(survey, order):
    drift = drift_in_session(fit_series(survey, "spread"), order.head(0))
    assert (drift.chance, drift.stands_out) == (1.0, False)
