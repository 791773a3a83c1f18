"""Rules about what must not occur."""

import numpy as np
import pandas as pd
import pytest

from kit.design.rule import forbidden
from kit.errors import Misuse

CELLS = pd.DataFrame(
    {
        "base_family": ["leaded", "leaded", "unleaded", "unleaded"],
        "mesh": [60, 100, 60, 100],
        "coat_weight": [20.0, 60.0, 60.0, 20.0],
    }
)


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("mesh == 60", [True, False, True, False]),
        ("mesh == 60 and coat_weight > 40", [False, False, True, False]),
        ("not (mesh == 60 or base_family == 'leaded')", [False, False, False, True]),
        ("base_family in ['leaded'] and mesh not in (60, 80)", [False, True, False, False]),
        ("20 < coat_weight <= 60", [False, True, True, False]),
        ("coat_weight / mesh > 0.5", [False, True, True, False]),
        ("-mesh < -80", [False, True, False, True]),
    ],
)
def test_a_rule_marks_what_it_says(rule: str, expected: list[bool]) -> None:
    np.testing.assert_array_equal(forbidden(rule, CELLS), expected)


@pytest.mark.parametrize(
    "rule",
    [
        "__import__('os').system('true')",
        "mesh.__class__ == 1",
        "[x for x in (1,)]",
        "open('x')",
        "mesh = 60",
        "lambda: 1",
        "mesh ** 99999999 > 1",
        "f'{mesh}' == '60'",
    ],
)
def test_a_rule_cannot_run_anything(rule: str) -> None:
    with pytest.raises(Misuse, match="cannot be read"):
        forbidden(rule, CELLS)


def test_an_unknown_name_is_named_with_the_choices() -> None:
    with pytest.raises(Misuse, match=r"names 'weight'.*base_family, mesh and coat_weight"):
        forbidden("weight > 3", CELLS)


@pytest.mark.parametrize("rule", ["mesh", "mesh == 60 and coat_weight", "mesh + 1"])
def test_a_rule_must_be_true_or_false(rule: str) -> None:
    with pytest.raises(Misuse):
        forbidden(rule, CELLS)
