"""What is written down of the heat enters the model when it varies, and only then."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.model import (
    PairSetting,
    effects_table,
    family_contrasts,
    fit_series,
    pair_table,
    refiring_table,
)
from kit.series import observations


@pytest.fixture(scope="module")
def by_two_heats(survey):
    """Every third tile in the kiln, where everything spreads by a step more."""
    kiln = survey.firings["tile"] % 3 == 0
    firings = survey.firings.assign(heat=np.where(kiln, "Kiln ", "torch"))
    tile = survey.grades["patch"].map(survey.patches.set_index("patch")["tile"])
    up = (tile % 3 == 0).astype("Int64")
    grades = survey.grades.assign(spread=(survey.grades["spread"] + up).clip(upper=4))
    return replace(survey, firings=firings, grades=grades)


@pytest.fixture(scope="module")
def fit(by_two_heats):
    return fit_series(by_two_heats, "spread")


def of_heat(fit):
    return effects_table(fit).set_index("factor").loc["heat"]


def test_torch_against_kiln_is_a_factor_where_both_were_used(fit):
    assert fit.factors[-1] == "heat"
    told = of_heat(fit)
    assert (told["from"], told["to"]) == ("kiln", "torch")
    assert -1.6 < told["effect"] < -0.4
    assert told["high"] < 0


def test_one_heat_throughout_has_no_effect_and_that_is_said(survey):
    fit = fit_series(survey, "spread")
    assert "heat" not in fit.factors and "minutes" not in fit.factors
    assert "The heat was torch throughout, so it has no effect here." in fit.dropped


def test_minutes_read_off_a_clock_are_no_factor_and_minutes_chosen_are(survey):
    fit = fit_series(survey, "spread")
    assert any("too much alike to tell" in sentence for sentence in fit.dropped)
    long = survey.firings["tile"] % 3 == 0
    minutes = survey.firings["minutes"].where(~long, survey.firings["minutes"] + 1.5)
    chosen = replace(survey, firings=survey.firings.assign(minutes=minutes))
    assert "minutes" in fit_series(chosen, "spread").factors


def test_heat_that_was_not_always_written_down_is_left_out_with_a_sentence(by_two_heats):
    some = by_two_heats.firings.copy()
    some.loc[some["tile"] == 3, "heat"] = ""
    some.loc[some["tile"] == 4, "minutes"] = None
    fit = fit_series(replace(by_two_heats, firings=some), "spread")
    assert not {"heat", "minutes"} & set(fit.factors)
    for what in ("The heat", "The time in the heat"):
        said = f"{what} was not written down for every firing, so it is not asked what it does."
        assert said in fit.dropped


def test_pairs_are_judged_at_the_heat_that_was_used_most(by_two_heats, fit):
    fits = {"spread": fit, "pull_through": fit_series(by_two_heats, "pull_through")}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        table = pair_table(fits, by_two_heats.colours, PairSetting(firings=2))
    assert len(table) == 8 * 7 * 3
    assert np.allclose(table[["fine_edge", "soft_edge", "broken_through"]].sum(axis=1), 1)
    assert len(family_contrasts(fit)) == 6
    assert not refiring_table({"spread": fit}).empty


@pytest.fixture(scope="module")
def by_session(survey):
    """Sessions that were planned to differ, where longer firing moves every grade by a step."""
    numbers = sorted(set(survey.tiles["session"]))
    minutes = [1.5 if n % 2 else 3.0 for n in numbers]
    heat = ["torch" if n % 2 else "kiln" for n in numbers]
    sessions = pd.DataFrame({"session": numbers, "minutes": minutes, "heat": heat})
    firings = survey.firings.assign(minutes=np.nan, heat="")
    return replace(survey, sessions=sessions.astype({"heat": "str"}), firings=firings)


def test_what_is_planned_for_a_session_stands_where_nothing_was_written_down(by_session):
    seen = observations(by_session)
    planned = by_session.sessions.set_index("session")
    assert (seen["minutes"] == seen["session"].map(planned["minutes"])).all()
    assert (seen["heat"] == seen["session"].map(planned["heat"])).all()
    wrote = by_session.firings.copy()
    wrote.loc[wrote["tile"] == 1, ["minutes", "heat"]] = [2.2, "Kiln, 780 °C"]
    seen = observations(replace(by_session, firings=wrote))
    assert set(seen.loc[seen["tile"] == 1, "minutes"]) == {2.2}
    assert set(seen["heat"]) == {"torch", "kiln"}
    assert set(seen.loc[seen["tile"] == 1, "heat"]) == {"kiln"}


def test_words_for_the_heat_stay_as_they_are_where_no_plan_compares_it(survey):
    firings = survey.firings.assign(heat="Kiln, 780 °C")
    assert set(observations(replace(survey, firings=firings))["heat"]) == {"kiln, 780 °c"}


def test_minutes_planned_by_session_enter_the_model_beside_the_session(by_session):
    fit = fit_series(replace(by_session, sessions=by_session.sessions.assign(heat="")), "spread")
    assert "minutes" in fit.factors
    assert "session" in fit.results.group_sizes
