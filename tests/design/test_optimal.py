"""Optimal plans for tiles of patches."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.design import efficiency, optimal, relative_efficiency
from kit.errors import Misuse

REFERENCE = Path(__file__).parents[1] / "reference"
FAMILIES = ["leaded", "unleaded"]
TWELVE = {
    "base_type": FAMILIES,
    "base_weight": [-1, 1],
    "overlay_type": FAMILIES,
    "mesh": [-1, 1],
    "weight": [-1, 1],
    "firings": [-1, 0, 1],
}
EIGHT = {
    "base_type": FAMILIES,
    "overlay_type": FAMILIES,
    "mesh": [-1, 1],
    "weight": [-1, 1],
    "firings": [-1, 1],
}
PROBLEMS = {
    "12x4": (TWELVE, 12, 4, ["base_type", "base_weight"], " + I(firings**2)"),
    "8x3": (EIGHT, 8, 3, ["base_type"], ""),
}


def all_pairs(factors: dict[str, list], extra: str = "") -> str:
    return f"({' + '.join(factors)})**2{extra}"


@pytest.mark.parametrize("problem", PROBLEMS)
def test_at_least_as_good_as_the_reference_design(problem: str) -> None:
    factors, tiles, patches, by_tile, extra = PROBLEMS[problem]
    terms = all_pairs(factors, extra)
    plan = optimal(factors, tiles, patches, by_tile, terms, seed=1)
    reference = pd.read_csv(REFERENCE / f"split_plot_{problem}_d.csv")
    assert relative_efficiency(plan, reference, factors, terms) >= 1.0


def test_all_factors_by_patch_and_main_effects_alone_give_an_orthogonal_plan() -> None:
    # Textbook: orthogonal two-level arrays are D-optimal for main effects (Plackett and Burman
    # 1946), and here every tile can hold as many high as low, so tiles cost nothing.
    factors = {name: [-1, 1] for name in "abcde"}
    plan = optimal(factors, 4, 4, terms="a + b + c + d + e", seed=2)
    x = plan[list(factors)].to_numpy()
    np.testing.assert_array_equal(x.T @ x, 16 * np.eye(5))
    assert (plan.groupby("tile")[list(factors)].sum() == 0).all(axis=None)
    assert efficiency(plan, factors).d_against_bound == pytest.approx(1.0)


def test_a_two_level_split_plot_reaches_the_published_determinant() -> None:
    # Goos and Vandebroek (2003), D-optimal split-plot designs with given numbers and sizes of
    # whole plots, Technometrics 45: two-level designs whose sub-plot columns sum to zero in each
    # whole plot are D-optimal, |M| = (n / (1 + k d))^q n^(p - q) with q whole-plot columns
    # (from memory).
    factors = {name: [-1, 1] for name in ("w", "a", "b", "c")}
    terms = "(w + a + b + c)**2"
    plan = optimal(factors, 4, 4, ["w"], terms, seed=3)
    p, q, n, k = 11, 2, 16, 4
    published = ((n / (1 + k)) ** q * n ** (p - q)) ** (1 / p) / n
    found = efficiency(plan, factors, terms, tile_factors=["w"])
    assert found.d_value == pytest.approx(published)
    assert found.d_against_bound == pytest.approx(1.0)


def test_the_same_seed_gives_the_same_plan_and_another_may_not() -> None:
    factors, tiles, patches, by_tile, extra = PROBLEMS["8x3"]
    ask = (factors, tiles, patches, by_tile, all_pairs(factors, extra))
    one, two = optimal(*ask, seed=4, starts=10), optimal(*ask, seed=4, starts=10)
    pd.testing.assert_frame_equal(one, two)
    assert not one.equals(optimal(*ask, seed=5, starts=10))


def test_levels_come_back_as_given_and_tiles_stay_whole() -> None:
    factors = {"mesh": [60, 80], "base": ["ivory", "slate", "rust"], "coat_weight": [20.0, 45.5]}
    plan = optimal(factors, 6, 3, ["base"], "base + mesh*coat_weight", seed=1, starts=5)
    assert list(plan.columns) == ["tile", "mesh", "base", "coat_weight"]
    assert list(plan["tile"]) == [t for t in range(1, 7) for _ in range(3)]
    assert plan.groupby("tile")["base"].nunique().max() == 1
    assert all(set(plan[name]) <= set(levels) for name, levels in factors.items())
    assert plan["mesh"].dtype.kind == "i"


def test_units_do_not_matter() -> None:
    raw = {"mesh": [60, 80, 100], "coat_weight": [20, 40, 60]}
    tiny = {"mesh": [0.060, 0.080, 0.100], "coat_weight": [20e6, 40e6, 60e6]}
    terms = "mesh*coat_weight + I(mesh**2) + I(coat_weight**2)"
    values = [
        efficiency(optimal(f, 4, 3, terms=terms, seed=1, starts=10), f, terms) for f in (raw, tiny)
    ]
    assert values[0].d_value == pytest.approx(values[1].d_value)


BENCH = {
    "base": ["ivory", "slate", "rust"],
    "overlay": ["ivory", "slate", "rust"],
    "mesh": [60, 100],
    "coat_weight": [20, 40, 60],
}
BENCH_TERMS = "base + overlay + mesh + coat_weight"


def bench(tiles: int = 8, **more: object) -> pd.DataFrame:
    return optimal(BENCH, tiles, 4, ["base"], BENCH_TERMS, seed=1, starts=6, **more)


def test_controls_lie_on_their_own_colour_and_are_spread_over_tiles() -> None:
    plan = bench(controls=5, control=("base", "overlay"))
    controls = plan[plan["control"]]
    assert len(controls) == 5
    assert (controls["base"] == controls["overlay"]).all()
    assert controls["tile"].is_unique


def test_sessions_are_blocks_of_limited_length() -> None:
    plan = bench(tiles=9, tiles_per_session=4)
    tiles = plan.drop_duplicates("tile")
    assert list(tiles["session"]) == [1] * 4 + [2] * 4 + [3]
    assert plan.loc[plan["session"] < 3].groupby("session")["base"].nunique().min() > 1


def test_tiles_already_fired_count() -> None:
    # One colour has been fired to excess: the new tiles go to the others.
    fired = pd.DataFrame(
        {
            "tile": np.repeat([1, 2, 3, 4], 4),
            "base": "ivory",
            "overlay": ["ivory", "slate", "rust", "slate"] * 4,
            "mesh": [60, 100] * 8,
            "coat_weight": [20, 60, 60, 20] * 4,
        }
    )
    plan = bench(tiles=4, fired=fired)
    assert list(plan["tile"].unique()) == [5, 6, 7, 8]
    assert set(plan["base"]) == {"slate", "rust"}
    whole = pd.concat([fired, plan])
    blind = pd.concat([fired, bench(tiles=4).assign(tile=lambda f: f["tile"] + 4)])
    versus = relative_efficiency(whole, blind, BENCH, BENCH_TERMS)
    assert versus > 1.0


def test_a_separate_tile_for_each_firing_count() -> None:
    factors = {**BENCH, "firings": [1, 2, 3]}
    plan = optimal(factors, 9, 4, ["base", "firings"], f"{BENCH_TERMS} + firings", seed=1, starts=6)
    assert plan.groupby("tile")["firings"].nunique().max() == 1
    assert set(plan["firings"]) == {1, 3}  # a straight line is surest from its ends


@pytest.mark.parametrize(
    ("request_", "told"),
    [
        (lambda: optimal(TWELVE, 5, 4, ["base_type"], all_pairs(TWELVE)), "6 tiles of 4"),
        (lambda: optimal(TWELVE, 3, 9, ["base_type", "base_weight"], all_pairs(TWELVE)), "4 tiles"),
        (lambda: optimal(EIGHT, 8, 3, ["base"], "mesh"), "base cannot change by tile"),
        (lambda: optimal(EIGHT, 8, 3, terms="mesh + coat"), "coat, which no factor is called"),
        (lambda: optimal(EIGHT, 8, 3, terms="mesh + I(mesh**2)"), "no plan"),
        (lambda: optimal(EIGHT, 8, 3, terms="mesh +"), "cannot be read"),
        (lambda: optimal(EIGHT, 8, 3, terms="open('x')"), "cannot be read"),
        (lambda: optimal(EIGHT, 0, 3), "tiles must be"),
        (lambda: optimal(EIGHT, 8, 3, tile_variance_ratio=-1.0), "0 or more"),
        (lambda: optimal({"mesh": [80]}, 8, 3), "two or more"),
        (lambda: optimal({"mesh": [80, "fine"]}, 8, 3), "all words or all numbers"),
        (lambda: bench(controls=2), "which tile factor"),
        (lambda: bench(fired=bench().assign(mesh=99)), "mesh is 99"),
    ],
)
def test_the_impossible_is_refused_with_the_nearest_possible(request_, told: str) -> None:
    with pytest.raises(Misuse, match=told):
        request_()


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
