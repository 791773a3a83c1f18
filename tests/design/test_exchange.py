"""The arithmetic under the search, against plain linear algebra and statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from kit.design.optimal_design.d_criterion import Change, DCriterion, ICriterion
from kit.design.optimal_design.factor_space import grid
from kit.design.readback import read_plan
from kit.design.optimal_design.covariance_structure import Spread, structure
from kit.design.optimal_design.model_terms import candidates

FACTORS = {
    "base_family": ["leaded", "unleaded"],
    "mesh": [60, 80, 100],
    "coat_weight": [20.0, 40.0],
}
TERMS = "(base_family + mesh + coat_weight)**2 + I(mesh**2)"


def random_plan(seed: int, tiles: int = 6, patches: int = 4) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    n = tiles * patches
    return pd.DataFrame(
        {
            "tile": np.repeat(np.arange(1, tiles + 1), patches),
            "base_family": np.repeat(rng.choice(FACTORS["base_family"], tiles), patches),
            "mesh": rng.choice(FACTORS["mesh"], n),
            "coat_weight": rng.choice(FACTORS["coat_weight"], n),
        }
    )


@pytest.mark.parametrize("ratio", [0.0, 0.3, 1.0, 5.0])
def test_precision_is_the_inverse_of_the_split_plot_covariance(ratio: float) -> None:
    layout = structure([4] * 3, 1, None, Spread(ratio))
    tiles = np.kron(np.eye(3), np.ones((4, 4)))
    np.testing.assert_allclose(
        layout.precision @ (np.eye(12) + ratio * tiles), np.eye(12), atol=1e-12
    )


def test_information_is_that_of_statsmodels_gls() -> None:
    # statsmodels' GLS, given the covariance of the split plot, is the outside judge.
    plan = random_plan(1)
    space = grid(FACTORS, ["base_family"])
    model = candidates(space, TERMS)
    cells, layout = read_plan(plan, space, Spread(0.7))
    x = model.x[cells]
    tile = plan["tile"].to_numpy()
    covariance = np.eye(len(plan)) + 0.7 * (tile[:, None] == tile)
    fit = sm.GLS(np.arange(len(plan), dtype=float), x, sigma=covariance).fit()
    np.testing.assert_allclose(
        np.linalg.inv(x.T @ layout.precision @ x), fit.normalized_cov_params, rtol=1e-8, atol=1e-10
    )


@pytest.mark.parametrize("rows", [[5], [4, 5, 6, 7]])
def test_gains_and_updates_match_recomputing_from_scratch(rows: list[int]) -> None:
    space = grid(FACTORS, ["base_family"])
    model = candidates(space, TERMS)
    cells, layout = read_plan(random_plan(1), space, Spread(1.0))
    w = layout.precision
    rng = np.random.default_rng(0)
    proposals = rng.integers(0, space.size, (5, len(rows)))

    def information(these: np.ndarray) -> np.ndarray:
        return (model.x[these].T @ w @ model.x[these])[None]

    x = model.x[cells]
    change = Change(
        (w[rows] @ x)[None], (model.x[proposals] - x[rows])[None], w[np.ix_(rows, rows)]
    )
    inverse = np.linalg.inv(information(cells))
    for criterion in (DCriterion(), ICriterion(model.moments)):
        gains = criterion.gains(inverse, criterion.weighted(inverse), change)[0]
        for proposal, gain in zip(proposals, gains, strict=True):
            after = cells.copy()
            after[rows] = proposal
            direct = criterion.values(information(after)) - criterion.values(information(cells))
            assert gain == pytest.approx(direct[0], rel=1e-6, abs=1e-8)
    after = cells.copy()
    after[rows] = proposals[0]
    taken = Change(change.u, change.d[:, :1], change.omega)
    np.testing.assert_allclose(
        taken.updated(inverse), np.linalg.inv(information(after)), rtol=1e-6, atol=1e-8
    )


def test_average_variance_is_taken_over_the_whole_region() -> None:
    # Held against a plain Monte Carlo average: amounts uniform from least to greatest, words even.
    plan = random_plan(2)
    space = grid(FACTORS, ["base_family"])
    model = candidates(space, TERMS)
    cells, layout = read_plan(plan, space, Spread(1.0))
    information = model.x[cells].T @ layout.precision @ model.x[cells]
    value = -ICriterion(model.moments).values(information[None])[0]

    rng = np.random.default_rng(8)
    points = pd.DataFrame(
        {
            "base_family": rng.choice(FACTORS["base_family"], 200_000),
            "mesh": rng.uniform(60, 100, 200_000),
            "coat_weight": rng.uniform(20, 40, 200_000),
        }
    )

    def columns(frame: pd.DataFrame) -> np.ndarray:
        b = np.where(frame["base_family"] == "leaded", 1.0, -1.0)
        m, c = frame["mesh"].to_numpy() / 20 - 4, frame["coat_weight"].to_numpy() / 10 - 3
        return np.column_stack([np.ones(len(b)), b, m, c, b * m, b * c, m * c, m**2])

    own = columns(plan)
    inverse = np.linalg.inv(own.T @ layout.precision @ own)
    x = columns(points)
    assert value == pytest.approx(np.einsum("ij,jk,ik->i", x, inverse, x).mean(), rel=5e-3)
