"""What to fire next: the parts against simulation and textbooks, the whole on a fired series."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import norm

from kit.design import next_patches
from kit.design.surveys.expected_verdicts import (
    KAPPA,
    NOT_KNOWN,
    ScoreKnowledge,
    grade_information,
    judged,
    worth,
)
from kit.design.surveys.pair_knowledge import fitted_scores, knowledge_of
from kit.design.surveys.pair_numbers import PairField
from kit.errors import Misuse
from kit.model import VERDICTS, PairSetting, pair_table
from kit.model.verdicts import verdicts
from kit.series import Series

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")


def test_a_two_step_scale_informs_as_a_coin_does():
    # Binary logistic regression: Fisher information p (1 - p); McCullagh and Nelder (1989),
    # Generalized Linear Models, 2nd ed., section 4.4.
    eta = np.array([-3.0, 0.0, 1.2])
    p = expit(0.4 - eta)
    got = grade_information(np.array([0.4]), eta, np.full(3, 1e-12))
    np.testing.assert_allclose(got, p * (1 - p), rtol=1e-5)


def test_more_steps_inform_more_up_to_that_of_the_logistic_itself():
    # Fisher information of a logistic location: 1/3.
    at = np.zeros(1), np.full(1, 1e-12)
    few, many, very_many = (grade_information(np.linspace(-6, 6, k), *at)[0] for k in (3, 7, 401))
    assert few < many < very_many < 1 / 3
    assert very_many == pytest.approx(1 / 3, rel=1e-2)


@pytest.mark.parametrize(("m", "v"), [(-2.0, 0.5), (0.7, 1.0), (1.5, 2.5)])
def test_the_averaged_chance_is_that_of_the_integral(m, v):
    exact, _ = quad(lambda x: expit(-x) * norm.pdf(x, m, np.sqrt(v)), m - 12, m + 12)
    assert expit(-m / np.sqrt(1 + KAPPA * v)) == pytest.approx(exact, abs=0.01)


def test_verdicts_are_those_of_the_pair_table():
    low = np.random.default_rng(1).uniform(size=(2, 500))
    got = judged(low[0], low[1], 0.8)
    expected = verdicts(low[0] * low[1], 1 - low[1], 0.8)
    assert (np.array(VERDICTS)[got] == expected).all()
    assert set(got) == {0, 1, 2, 3}


def simulated_gain(spread: ScoreKnowledge, pull: ScoreKnowledge, share: float) -> float:
    """Draw true values, fire, judge, and count how much oftener the true verdict is given."""
    rng = np.random.default_rng(7)
    n = 200_000

    def draw(score: ScoreKnowledge) -> tuple[np.ndarray, np.ndarray]:
        true = rng.normal(score.m[0], np.sqrt(score.v[0]), n)
        moved = score.m[0] + share * (true - score.m[0])
        return true, moved + rng.normal(0, np.sqrt(share * (1 - share) * score.v[0]), n)

    def low(x: np.ndarray, v: float) -> np.ndarray:
        return expit(-x / np.sqrt(1 + KAPPA * v))

    (true_s, then_s), (true_t, then_t) = draw(spread), draw(pull)
    truth = judged(low(true_s, spread.wobble), low(true_t, pull.wobble), 0.8)
    left_s, left_t = ((1 - share) * k.v[0] + k.wobble for k in (spread, pull))
    after = judged(low(then_s, left_s), low(then_t, left_t), 0.8)
    before = judged(spread.low, pull.low, 0.8)[0]
    placed = truth != NOT_KNOWN
    return float(np.mean((after == truth) & placed) - np.mean((before == truth) & placed))


@pytest.mark.parametrize(
    ("m", "v"), [((-2.0, -2.5), (1.0, 1.0)), ((0.5, -3.0), (1.5, 0.5)), ((-1.0, 1.5), (1.0, 1.2))]
)
def test_the_worth_of_a_pair_is_what_firing_it_gains_in_simulation(m, v):
    spread, pull = (
        ScoreKnowledge(np.array([a]), np.array([b]), 0.4) for a, b in zip(m, v, strict=True)
    )
    expected = simulated_gain(spread, pull, share=0.6)
    assert worth(spread, pull, 0.8, share=0.6)[0] == pytest.approx(expected, abs=0.02)


def test_a_pair_far_from_every_verdict_edge_is_worth_little():
    m, v = np.array([-8.0, -2.0]), np.array([0.5, 0.5])
    gain = worth(ScoreKnowledge(m, v, 0.4), ScoreKnowledge(m, v, 0.4), 0.8)
    assert gain[0] < 0.01 < gain[1]


@pytest.fixture(scope="module")
def fits_of():
    known: dict[str, dict] = {}

    def fitted(series: Series) -> dict:
        if series.name not in known:
            known[series.name] = fitted_scores(series)
        return known[series.name]

    return fitted


def test_knowledge_is_in_the_order_of_the_field_and_close_to_the_pair_table(fired, fits_of):
    setting = PairSetting.of(fired.settings.verdict)
    spread, pull = knowledge_of(fits_of(fired), fired.colours, setting)
    table = pair_table(fits_of(fired), fired.colours, setting)
    field: PairField = spread.field
    both = field.pairs.assign(fine=spread.knowledge.low * pull.knowledge.low)
    joined = both.merge(table, on=["base", "overlay"])
    # The table adds thresholds' uncertainty and the scores' correlation.
    np.testing.assert_allclose(joined["fine"], joined["fine_edge"], atol=0.1)


def test_a_score_that_never_left_its_lowest_steps_makes_no_pair_unsure(fired):
    tame = replace(
        fired, grades=fired.grades.assign(pull_through=fired.grades["pull_through"].clip(upper=1))
    )
    setting = PairSetting.of(tame.settings.verdict)
    _, pull = knowledge_of(fitted_scores(tame), tame.colours, setting)
    assert (pull.knowledge.low > setting.confidence + 0.1).all()
    assert len(next_patches(tame, 3, patches_per_tile=3, starts=1)) == 3


def test_the_plan_goes_on_where_the_series_stopped(fired):
    plan = next_patches(fired, 6, patches_per_tile=3, seed=2, starts=1)
    assert list(plan.columns) == ["tile", "base", "overlay", "reason"]
    assert list(plan["tile"]) == [9] * 3 + [10] * 3
    assert not plan.duplicated(["tile", "overlay"]).any()
    assert (plan["base"] != plan["overlay"]).all()
    assert plan["reason"].str.endswith(".").all()


def test_as_many_patches_as_asked_even_if_a_tile_stays_half_empty(fired, fits_of):
    plan = next_patches(fits_of(fired), 5, colours=fired.colours, patches_per_tile=3, starts=1)
    assert len(plan) == 5
    assert plan["tile"].max() == 2


def test_the_same_seed_gives_the_same_plan(fired, fits_of):
    first, again = (
        next_patches(fits_of(fired), 6, colours=fired.colours, patches_per_tile=3, seed=4)
        for _ in range(2)
    )
    pd.testing.assert_frame_equal(first, again)


def test_a_wish_draws_the_patches_to_its_pair(fired, fits_of):
    wish = pd.DataFrame({"base": ["Pond Green"], "overlay": ["Attic Rose"]})
    plan = next_patches(fits_of(fired), 2, colours=fired.colours, patches_per_tile=2, wishes=wish)
    assert not plan.merge(wish, on=["base", "overlay"]).empty


def test_colours_left_out_are_not_fired(fired, fits_of):
    plan = next_patches(
        fits_of(fired), 4, colours=fired.colours, patches_per_tile=2, leave_out=["Ferry Blue"]
    )
    assert "Ferry Blue" not in {*plan["base"], *plan["overlay"]}


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({"patches": 0}, "at least one patch"),
        ({"patches_per_tile": 4}, "3 is the most"),
        ({"leave_out": ["Puce"]}, "Puce"),
        ({"colours": None}, "colours"),
        ({"wishes": pd.DataFrame({"base": ["Pond Green"], "overlay": ["Pond Green"]})}, "two diff"),
    ],
)
def test_what_cannot_be_done_is_refused_with_what_can(fired, fits_of, request_, says):
    usual = {"patches": 4, "colours": fired.colours, "patches_per_tile": 2}
    with pytest.raises(Misuse, match=says):
        next_patches(fits_of(fired), **(usual | request_))
