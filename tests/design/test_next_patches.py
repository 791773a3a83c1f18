"""What to fire next: the parts against simulation and textbooks, the whole on a fired series."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from kit.design import TileFormat, next_patches
from kit.design.surveys.choose_next import verdicts_now
from kit.design.surveys.pair_knowledge import (
    PairKnowledge,
    fitted_scores,
    grade_information,
    known_from_grades,
)
from kit.design.surveys.pairs_beforehand import (
    known_beforehand,
    score_beforehand,
    source_beliefs,
)
from kit.design.surveys.verdict_criterion import expected_verdicts, true_verdicts
from kit.errors import Misuse
from kit.mixed import Prior
from kit.model import (
    FINE_EDGE,
    HIT_OR_MISS,
    NOT_KNOWN,
    PairSetting,
    ending_chances,
    outlook,
    pair_table,
    verdicts,
)
from kit.series import Series

pytestmark = pytest.mark.filterwarnings("ignore::kit.errors.StatisticalWarning")

THREE = TileFormat(3)
SELF = pd.DataFrame({"base": ["Pond Green"], "overlay": ["Pond Green"]})


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


@pytest.fixture(scope="module")
def fits_of():
    known: dict[str, dict] = {}

    def fitted(series: Series) -> dict:
        if series.name not in known:
            known[series.name] = fitted_scores(series)
        return known[series.name]

    return fitted


@pytest.fixture
def known(fired, fits_of) -> PairKnowledge:
    return known_from_grades(fits_of(fired), fired.colours, PairSetting.of(fired.settings.verdict))


def test_the_next_patch_wobbles_by_its_own_variance_and_its_grades(fired, fits_of, known):
    """Of twice as many grades the noise is halved, and of the patch itself it is not."""
    fits = {
        name: replace(fit, frame=pd.concat([fit.frame, fit.frame], ignore_index=True))
        for name, fit in fits_of(fired).items()
    }
    setting = PairSetting.of(fired.settings.verdict)
    twice = known_from_grades(fits, fired.colours, setting)
    for once, more in zip(known.scores, twice.scores, strict=True):
        own = 2 * more.noise_variance - once.noise_variance
        assert own == pytest.approx(once.patch_variance)
        assert once.patch_variance > 0


def test_a_first_patch_wobbles_by_its_own_variance_and_its_grades(fired):
    variances = {name: b.mean_square for name, b in source_beliefs(None).items()}
    once, twice = (
        score_beforehand(fired.colours, Prior(), variances, (1, 2), grades) for grades in (2.0, 4.0)
    )
    assert 2 * twice.noise_variance - once.noise_variance == pytest.approx(variances["patch"])


def test_beforehand_the_base_breaks_through_as_many_steps_above_the_fine_edge_as_the_rule_says(
    fired,
):
    # Steps are taken to lie 2 / 0.5 = 4 logits apart, the mean of the prior's gamma distribution.
    for breaks, above in ((2, 0.0), (3, 4.0), (4, 8.0)):
        known = known_beforehand(fired.colours, PairSetting(breaks_through_from=breaks), (1,), 2)
        assert [score.broken_above for score in known.scores] == [above, above]


def test_verdicts_are_those_of_the_pair_table_but_for_the_scores_correlation(fired, fits_of, known):
    table = pair_table(fits_of(fired), fired.colours, PairSetting.of(fired.settings.verdict))
    pairs = known.pairs.iloc[known.judged].reset_index(drop=True)
    now = verdicts_now(known)
    agree = []
    for i, count in enumerate(known.counts):
        told = pairs.merge(table[table["firings"] == count], on=["base", "overlay"])
        agree.append((told["verdict"].to_numpy() == now[:, i]).mean())
    assert np.mean(agree) > 0.9


def simulated(known: PairKnowledge, pair: int, left: float) -> tuple[float, float, float]:
    """Draw true values, fire, judge by the model's rule, and count."""
    rng = np.random.default_rng(7)
    n = 4000
    given, right, wrong_fine = [], [], []
    for i in range(len(known.counts)):
        told, true = [], []
        for score in known.scores:
            m, v = score.mean[pair, i], score.variance[pair, i]
            x = rng.normal(m, np.sqrt(v), n)
            # The posterior mean given x: m + d (x - m) with variance d (1 - d) v, d = 1 - left.
            d = 1 - left
            moved = m + d * (x - m) + rng.normal(0, np.sqrt(d * (1 - d) * v), n)
            told.append(score.state(moved, np.full(n, left * v)))
            true.append(score.state(x, np.full(n, 1e-9)))
        seen = outlook(told[0], told[1], 0.0, known.confidence)
        verdict = verdicts(seen.chances, seen.hit_or_miss, known.confidence)
        truth = true_verdicts(ending_chances(true[0], true[1], 0.0), known.confidence)
        given.append((verdict != NOT_KNOWN).mean())
        right.append(((verdict != NOT_KNOWN) & (verdict == truth)).mean())
        wrong_fine.append(((verdict == FINE_EDGE) & (truth != FINE_EDGE)).mean())
    return float(np.mean(given)), float(np.mean(right)), float(np.mean(wrong_fine))


@pytest.mark.parametrize("left", [0.2, 0.6])
def test_expected_verdicts_are_those_of_a_simulation(known, left):
    for pair in known.judged[[0, 5, 9]]:
        expected = expected_verdicts(known, (np.array([left]),) * 2, np.array([pair]))
        got = expected.given[0], expected.right[0], expected.wrong_fine[0]
        np.testing.assert_allclose(got, simulated(known, int(pair), left), atol=0.06)


def test_knowing_more_never_gives_fewer_right_verdicts_and_wrong_ones_cost(known):
    n = len(known.judged)
    worth = [
        expected_verdicts(known, (np.full(n, share),) * 2).right.mean()
        for share in (1.0, 0.5, 0.1, 0.01)
    ]
    assert np.all(np.diff(worth) > -0.01)
    expected = expected_verdicts(known, (np.full(n, 0.5),) * 2)
    assert (expected.value(2.0) <= expected.right).all()
    assert expected.value(2.0).sum() < expected.right.sum()
    # Only a wrong 'fine edge' costs; other wrong verdicts there are too.
    assert expected.wrong_fine.sum() < 0.99 * (expected.given - expected.right).sum()


def test_true_verdicts_call_a_pair_of_even_shares_hit_or_miss():
    shares = np.array([[0.5, 0.3, 0.2], [0.9, 0.1, 0.0], [0.0, 0.1, 0.9]])
    assert list(true_verdicts(shares, 0.8)) == [HIT_OR_MISS, FINE_EDGE, "broken through"]


def test_a_score_that_never_left_its_lowest_steps_makes_no_pair_unsure(fired):
    tame = replace(
        fired, grades=fired.grades.assign(pull_through=fired.grades["pull_through"].clip(upper=1))
    )
    known = known_from_grades(
        fitted_scores(tame), tame.colours, PairSetting.of(tame.settings.verdict)
    )
    assert not (verdicts_now(known) == "broken through").any()
    assert len(next_patches(tame, 3, tile_format=THREE)) == 3


def test_the_plan_goes_on_where_the_series_stopped(fired):
    plan = next_patches(fired, 6, tile_format=THREE, seed=2)
    assert list(plan.columns) == ["tile", "stripe", "small", "base", "overlay", "reason"]
    assert list(plan["tile"]) == [9] * 3 + [10] * 3
    assert not plan.duplicated(["tile", "overlay"]).any()
    assert (plan["base"] != plan["overlay"]).all()
    assert plan["reason"].str.endswith(".").all()


def test_as_many_patches_as_asked_even_if_a_tile_stays_half_empty(fired, fits_of):
    plan = next_patches(fits_of(fired), 5, colours=fired.colours, tile_format=THREE)
    assert len(plan) == 5
    assert list(plan.groupby("tile").size()) == [3, 2]


def test_the_same_seed_gives_the_same_plan(fired, fits_of):
    first, again = (
        next_patches(fits_of(fired), 6, colours=fired.colours, tile_format=THREE, seed=4)
        for _ in range(2)
    )
    pd.testing.assert_frame_equal(first, again)


def test_a_wish_draws_the_patches_to_its_pair(fired, fits_of):
    wish = pd.DataFrame({"base": ["Pond Green"], "overlay": ["Attic Rose"]})
    plan = next_patches(
        fits_of(fired), 2, colours=fired.colours, tile_format=TileFormat(2), targets=wish
    )
    assert "Pond Green" in set(plan["base"])
    assert "Attic Rose" in set(plan["overlay"])


def test_colours_left_out_are_not_fired(fired, fits_of):
    plan = next_patches(
        fits_of(fired),
        4,
        colours=fired.colours,
        tile_format=TileFormat(2),
        leave_out=["Ferry Blue"],
    )
    assert "Ferry Blue" not in {*plan["base"], *plan["overlay"]}


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        ({"patches": 0}, "at least one patch"),
        ({"tile_format": TileFormat(4)}, "3 is the most"),
        ({"leave_out": ["Puce"]}, "Puce"),
        ({"colours": None}, "colours"),
        (
            {"targets": pd.DataFrame({"base": ["Pond Green"], "overlay": ["Pond Green"]})},
            "two diff",
        ),
    ],
)
def test_what_cannot_be_done_is_refused_with_what_can(fired, fits_of, request_, says):
    usual = {"patches": 4, "colours": fired.colours, "tile_format": TileFormat(2)}
    with pytest.raises(Misuse, match=says):
        next_patches(fits_of(fired), **(usual | request_))
