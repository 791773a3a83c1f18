"""Agreement of graders against published worked examples."""

import re

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from kit.errors import ConstantGraderWarning, FewGradersWarning, Misuse
from kit.model import agreement
from kit.model.interrater_agreement import ordinal_alpha, weighted_kappa


def test_alpha_agrees_with_krippendorff_s_worked_example():
    """Krippendorff (2011), Computing Krippendorff's alpha-reliability, part C: four observers,
    twelve units, missing data; ordinal alpha 0.815 (values from memory of the paper)."""
    gap = np.nan
    grades = np.array(
        [
            [1, 2, 3, 3, 2, 1, 4, 1, 2, gap, gap, gap],
            [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, gap, 3],
            [gap, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, gap],
            [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, gap],
        ]
    ).T
    assert ordinal_alpha(grades, range(1, 6)) == pytest.approx(0.815, abs=5e-4)


def test_kappa_agrees_with_the_formula_of_cohen_1968():
    """Cohen (1968): 1 - sum(v observed) / sum(v chance), v the squared distance."""
    random = np.random.default_rng(3)
    one = random.integers(0, 5, 80).astype(float)
    other = np.clip(one + random.integers(-1, 2, 80), 0, 4)
    chance = np.mean((one[:, None] - other[None, :]) ** 2)
    by_hand = 1 - np.mean((one - other) ** 2) / chance
    assert weighted_kappa(one, other, range(5)) == pytest.approx(by_hand, abs=1e-12)


def graded_by(graders: dict[str, np.ndarray]) -> pd.DataFrame:
    rows = [
        {"series": "s", "patch": f"{k // 2}-1", "firing": k % 2, "grader": name, "spread": grade}
        for name, grades in graders.items()
        for k, grade in enumerate(grades)
    ]
    return pd.DataFrame(rows)


@pytest.fixture
def truth() -> np.ndarray:
    return np.random.default_rng(1).integers(0, 5, 60)


def test_graders_who_agree_wholly_have_alpha_one(truth):
    found = agreement(graded_by({"A": truth, "B": truth}), "spread")
    assert found.alpha == pytest.approx(1)
    assert found.pairs.loc[0, "kappa"] == pytest.approx(1)
    assert "almost perfect" in found.sentences[0]


def test_intervals_hold_the_estimate_and_repeat_exactly(truth):
    random = np.random.default_rng(2)
    data = graded_by({"A": truth, "B": np.clip(truth + random.integers(-1, 2, 60), 0, 4)})
    one, other = agreement(data, "spread", seed=5), agreement(data, "spread", seed=5)
    alpha, low, high = map(float, re.findall(r"\d\.\d\d", one.sentences[0]))
    assert alpha == pytest.approx(one.alpha, abs=0.005) and low < alpha < high
    assert one.sentences == other.sentences


def test_a_grader_who_grows_harsher_is_noticed(truth):
    later = np.clip(truth + np.where(np.arange(60) > 30, 1, 0), 0, 5)
    found = agreement(graded_by({"A": np.minimum(truth, 3), "B": np.minimum(later, 4)}), "spread")
    assert any(sentence.startswith("B came to grade higher") for sentence in found.sentences)


@pytest.mark.parametrize("way", ["higher", "lower"])
def test_the_drift_of_a_grader_has_the_two_sided_interval_of_least_squares(truth, way):
    """Reference library: statsmodels' ordinary least squares, 90 % of Student's t."""
    when = np.linspace(-0.5, 0.5, 60)
    random = np.random.default_rng(4)
    moved = (1 if way == "higher" else -1) * 1.5 * when
    other = np.clip(truth + np.round(moved + random.normal(0, 0.7, 60)), 0, 4)
    found = agreement(graded_by({"A": truth, "B": other}), "spread", confidence=0.9)
    line = sm.OLS(other - truth, sm.add_constant(when)).fit()
    row = found.drift.set_index("grader").loc["B"]
    assert row["drift"] == pytest.approx(line.params[1])
    assert (row["low"], row["high"]) == pytest.approx(tuple(line.conf_int(0.1)[1]))
    assert any(sentence.startswith(f"B came to grade {way}") for sentence in found.sentences)


def test_a_second_look_is_compared_with_the_first(truth):
    data = pd.concat([graded_by({"A": truth}), graded_by({"A": np.clip(truth + 1, 0, 4)})])
    found = agreement(data, "spread")
    assert list(found.pairs[["first", "second"]].iloc[0]) == ["A", "A again"]


def test_a_constant_grader_is_named_and_nothing_is_nan(truth):
    data = graded_by({"A": truth, "B": np.clip(truth + 1, 0, 4), "C": np.full(60, 2)})
    with pytest.warns(ConstantGraderWarning, match="C gave the same"):
        found = agreement(data, "spread")
    assert np.isfinite(found.alpha)
    assert np.isfinite(found.pairs[["kappa", "low", "high"]].to_numpy()).all()
    assert set(found.pairs["first"]) | set(found.pairs["second"]) == {"A", "B"}


def test_one_grader_alone_is_named(truth):
    with pytest.warns(FewGradersWarning):
        found = agreement(graded_by({"A": truth}), "spread")
    assert found.alpha is None
    assert found.pairs.empty


def test_an_unknown_scale_is_refused(truth):
    with pytest.raises(Misuse, match="gloss"):
        agreement(graded_by({"A": truth}), "gloss")
