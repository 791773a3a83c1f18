"""What a grade is worth in millimetres, where the rule that made the millimetres is known."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from kit.errors import Misuse
from kit.model import grades_against_measurements
from kit.wording import amount, between, gap

KEYS = ["series", "patch", "firing"]


def compared(seed: int, shift: float = 0.0, step: float = 0.4, patches: int = 60):
    """Patches of 0.1 mm + a step a grade; Ben gives the same grade `shift` mm further on."""
    random = np.random.default_rng(seed)
    seen = pd.DataFrame(
        [("s", f"T{p}-1", f) for p in range(patches) for f in (1, 2, 3)], columns=KEYS
    )
    grade = random.integers(0, 5, len(seen))
    own = random.normal(0, 0.05, patches)[pd.factorize(seen["patch"])[0]]
    measured = seen.assign(spread_mm=0.1 + step * grade + own + random.normal(0, 0.03, len(seen)))
    ada = seen.assign(grader="Ada", spread=grade)
    ben = seen.assign(grader="Ben", spread=grade - round(shift / step)).query("0 <= spread <= 4")
    return pd.concat([ada, ben], ignore_index=True), measured


def test_the_step_of_a_known_rule_comes_back():
    grades, measured = compared(seed=1)
    told = grades_against_measurements(grades, measured, "spread", "spread_mm")
    assert told.step == pytest.approx(0.4, abs=0.01)
    assert told.step_low < 0.4 < told.step_high
    assert told.step_high - told.step_low < 0.05
    own = told.levels[told.levels["grader"] == "Ada"].set_index("grade")
    assert own["average"].to_numpy() == pytest.approx(0.1 + 0.4 * np.arange(5), abs=0.04)
    assert "A step of spread is about 0.40 mm" in told.sentences[0]


def test_intervals_hold_the_step_as_often_as_they_say():
    hits = 0
    for seed in range(60):
        grades, measured = compared(seed, patches=15)
        told = grades_against_measurements(grades, measured, "spread", "spread_mm")
        hits += told.step_low < 0.4 < told.step_high
    # 90 % of 60 is 54; fewer than 47 would come about once in 400 tries.
    assert hits >= 47


def test_standard_errors_are_those_of_statsmodels():
    grades, measured = compared(seed=2, shift=0.4)
    told = grades_against_measurements(grades, measured, "spread", "spread_mm", confidence=0.9)
    rows = grades.merge(measured, on=KEYS)
    theirs = smf.ols("spread_mm ~ spread + C(grader)", rows).fit(
        cov_type="cluster", cov_kwds={"groups": pd.factorize(rows["patch"])[0]}, use_t=True
    )
    low, high = theirs.conf_int(alpha=0.1).loc["spread"]
    assert (told.step_low, told.step_high) == pytest.approx((low, high), rel=1e-9)


def test_a_milder_grader_is_named_with_the_size():
    grades, measured = compared(seed=3, shift=0.4)
    told = grades_against_measurements(grades, measured, "spread", "spread_mm")
    row = told.differences.iloc[0]
    assert (row["first"], row["second"], row["finding"]) == ("Ada", "Ben", "differ")
    assert row["difference"] == pytest.approx(-0.4, abs=0.03)
    assert told.sentences[-1].startswith("Ben is milder than Ada")
    assert "1.0 of a step" in told.sentences[-1]


def test_graders_who_agree_mean_the_same():
    grades, measured = compared(seed=4)
    told = grades_against_measurements(grades, measured, "spread", "spread_mm")
    assert told.differences["finding"].tolist() == ["alike"]
    assert "means the same to Ada and Ben" in told.sentences[-1]


def test_few_patches_have_no_interval_and_too_few_are_refused():
    grades, measured = compared(seed=5, patches=8)
    told = grades_against_measurements(grades, measured, "spread", "spread_mm")
    assert told.levels.loc[told.levels["patches"] < 6, "low"].isna().all()
    few = measured[measured["patch"].isin(["T0-1", "T1-1"])]
    with pytest.raises(Misuse, match="2 of the patches"):
        grades_against_measurements(grades, few, "spread", "spread_mm")
    with pytest.raises(Misuse, match="same grade"):
        grades_against_measurements(grades.assign(spread=1), measured, "spread", "spread_mm")


def test_one_grader_is_compared_with_nobody():
    grades, measured = compared(seed=6)
    told = grades_against_measurements(grades.query("grader == 'Ada'"), measured, "spread",
                                       "spread_mm")  # fmt: skip
    assert told.differences.empty
    assert len(told.sentences) == 1


def test_amounts_are_told_with_their_units():
    assert amount(0.123, "pull_through_share") == "12\u00a0%"
    assert amount(0.42, "spread_mm") == "0.42 mm"
    assert between(-0.031, 0.04, "spread_mm") == "−0.03 to 0.04 mm"
    assert between(-0.001, 0.04, "spread_mm") == "0.00 to 0.04 mm"
    assert gap(0.081, "pull_through_share") == "8.1 percentage points"
