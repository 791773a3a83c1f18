"""Separation is decided by whether the likelihood has a finite maximum."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import SeparationWarning, StatisticalWarning
from kit.mixed import OrdinalMixedModel
from kit.mixed.ordinal import without_finite_estimate


def column(*values: float) -> np.ndarray:
    return np.array(values, float)[:, None]


def test_a_column_that_splits_the_grades_has_no_finite_effect():
    assert without_finite_estimate(np.array([0, 0, 1, 1]), column(0, 1, 2, 3), 2) == [0]


def test_a_shared_value_at_the_split_changes_nothing():
    """Quasi-complete separation: Albert and Anderson (1984), Biometrika 71, section 3."""
    assert without_finite_estimate(np.array([0, 0, 1, 1]), column(0, 1, 1, 3), 2) == [0]


def test_an_overlap_of_one_row_makes_the_effect_finite():
    assert without_finite_estimate(np.array([0, 1, 0, 1]), column(0, 1, 2, 3), 2) == []


def test_a_split_between_two_steps_only_is_enough():
    y = np.array([0, 1, 0, 1, 2, 2])
    assert without_finite_estimate(y, column(0, 0, 0, 0, 1, 1), 3) == [0]
    # With three steps, an overlap below the top cut holds the effect.
    assert without_finite_estimate(y, column(1, 0, 0, 1, 1, 1), 3) == []


def test_only_the_effects_that_run_off_are_named():
    random = np.random.default_rng(0)
    dull = random.normal(size=40)
    clean = np.repeat([0.0, 1.0], 20)
    y = np.where(clean == 1, 2, random.integers(0, 2, 40))
    assert without_finite_estimate(y, np.column_stack([dull, clean]), 3) == [1]


def test_two_columns_may_split_only_together():
    one, other = np.meshgrid(np.arange(5.0), np.arange(5.0))
    x = np.column_stack([one.ravel(), other.ravel()])
    y = (x.sum(axis=1) > 4.5).astype(int)
    assert without_finite_estimate(y, x, 2) == [0, 1]
    assert without_finite_estimate(y, x[:, :1], 2) == []


def orders_the_steps(y: np.ndarray, eta: np.ndarray, steps: int) -> bool:
    """Whether no row of a step lies above a row of the next one, and some lie apart."""
    return np.ptp(eta) > 1e-9 and all(
        eta[y == k].max() <= eta[y == k + 1].min() + 1e-9 for k in range(steps - 1)
    )


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 4), st.integers(5, 9))
def test_the_programme_agrees_with_every_direction_that_could_matter(seed, steps, rows):
    """With two columns the order of the rows changes only at finitely many angles."""
    random = np.random.default_rng(seed)
    x = random.integers(0, 4, (rows, 2)).astype(float)
    y = np.concatenate([np.arange(steps), random.integers(0, steps, rows - steps)])
    if np.linalg.matrix_rank(np.column_stack([np.ones(rows), x])) < 3:
        return
    apart = (x[:, None] - x[None]).reshape(-1, 2)
    turns = np.unique(np.arctan2(apart[:, 0], -apart[:, 1]) % (2 * np.pi))
    angles = np.concatenate([turns, 0.5 * (turns + np.roll(turns, -1)), turns + 1e-3])
    directions = np.column_stack([np.cos(angles), np.sin(angles)])
    separated = any(orders_the_steps(y, x @ d, steps) for d in directions)
    assert bool(without_finite_estimate(y, x, steps)) == separated


@pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")
def test_the_weaker_rule_of_size_would_be_wrong():
    """A steep effect is finite as long as the grades overlap, however many logits it spans."""
    random = np.random.default_rng(1)
    data = pd.DataFrame({"x": np.repeat(np.linspace(0, 20, 41), 20)})
    eta = 1.5 * (data["x"] - 10)
    data["y"] = np.searchsorted([-2.0, 2.0], eta + random.logistic(size=len(data)))
    with warnings.catch_warnings():
        warnings.simplefilter("error", SeparationWarning)
        fit = OrdinalMixedModel("y ~ x", data).fit()
    assert fit.params["x"] * 20 > 25


@pytest.mark.filterwarnings("ignore::kit.errors.EmptyGradeWarning")
@pytest.mark.filterwarnings("ignore::kit.errors.NotConvergedWarning")
def test_a_mixed_model_names_it_too(wine):
    clean = wine.assign(rating=np.where(wine["temp"] == "warm", 5, wine["rating"].clip(1, 3)))
    model = OrdinalMixedModel("rating ~ temp + contact", clean, groups=["judge"])
    with pytest.warns(SeparationWarning, match=r"temp\[T.warm\] splits"):
        model.fit()
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always", StatisticalWarning)
        model.fit(prior="weak")
    assert not [w for w in said if issubclass(w.category, SeparationWarning)]


def test_a_search_that_came_to_rest_far_out_is_asked_too():
    """Of thirty such tables this is one on which the search sees no slope left and stops."""
    random = np.random.default_rng(19)
    side = np.repeat([0, 1], 20)
    grade = np.where(side == 1, 2, random.integers(0, 2, 40))
    data = pd.DataFrame({"side": side, "dull": random.normal(size=40), "grade": grade})
    data["judge"] = np.arange(40) % 8
    with pytest.warns(SeparationWarning, match="side splits"):
        assert OrdinalMixedModel("grade ~ side + dull", data, ["judge"]).fit().converged
