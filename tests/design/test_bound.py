"""The bounds that plans are held against."""

import numpy as np
import pandas as pd
import pytest

from kit.design import efficiency, optimal

FACTORS = {"base": ["ivory", "slate"], "mesh": [60, 80, 100], "coat_weight": [20, 40, 60]}
TERMS = "(base + mesh + coat_weight)**2 + I(mesh**2) + I(coat_weight**2)"


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("ratio", [0.0, 0.5, 3.0])
def test_no_plan_beats_its_bound(seed: int, ratio: float) -> None:
    rng = np.random.default_rng(seed)
    plan = pd.DataFrame(
        {
            "tile": np.repeat(np.arange(9), 4),
            "base": np.repeat(rng.choice(FACTORS["base"], 9), 4),
            "mesh": rng.choice(FACTORS["mesh"], 36),
            "coat_weight": rng.choice(FACTORS["coat_weight"], 36),
        }
    )
    found = efficiency(plan, FACTORS, TERMS, tile_factors=["base"], tile_variance_ratio=ratio)
    assert found.d_value <= found.d_bound


def test_the_bound_of_a_quadratic_is_the_textbooks() -> None:
    # The D-optimal design of a quadratic in one variable puts a third of the runs at each end and
    # the middle (Smith 1918; Atkinson and Donev 1992, Optimum Experimental Designs).
    factors = {"mesh": [-1, -0.5, 0, 0.5, 1]}
    terms = "mesh + I(mesh**2)"
    best = pd.DataFrame({"tile": range(9), "mesh": [-1, 0, 1] * 3})
    found = efficiency(best, factors, terms, tile_variance_ratio=0.0)
    assert found.d_against_bound == pytest.approx(1.0, abs=1e-6)
    plan = optimal(factors, 9, 1, terms=terms, tile_variance_ratio=0.0, seed=1, starts=5)
    assert sorted(plan["mesh"]) == [-1] * 3 + [0] * 3 + [1] * 3


def test_orthogonal_blocks_reach_the_bound() -> None:
    factors = {"mesh": [80, 100], "coat_weight": [20, 40]}
    plan = pd.DataFrame(
        {
            "tile": np.repeat([1, 2, 3], 4),
            "mesh": [80, 80, 100, 100] * 3,
            "coat_weight": [20, 40, 20, 40] * 3,
        }
    )
    found = efficiency(plan, factors, "mesh*coat_weight", tile_variance_ratio=2.0)
    assert found.d_against_bound == pytest.approx(1.0)
    assert "over 99\u00a0%" in found.describe()
