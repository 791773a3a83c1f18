"""The blocked factor against dense linear algebra."""

import numpy as np
import pandas as pd
import pytest

from kit.mixed.cholesky import CrossedFactor
from kit.mixed.sparsity import CrossedPattern


def columns_of(data: pd.DataFrame, names: list[str]) -> tuple[list[np.ndarray], list[int]]:
    codes = [pd.factorize(data[name])[0] for name in names]
    return codes, [int(code.max()) + 1 for code in codes]


@pytest.fixture(params=["six crossed", "slopes", "nested", "one", "two", "scattered"])
def case(request, graded):
    random = np.random.default_rng(0)
    if request.param == "scattered":
        data = pd.DataFrame(random.integers(0, [70, 60, 5], (400, 3)), columns=["u", "v", "w"])
        names = ["u", "v", "w"]
    else:
        data = graded
        names = {
            "six crossed": ["base", "overlay", "pair", "tile", "patch", "grader"],
            "slopes": ["base", "overlay", "tile", "patch", "base", "patch"],
            "nested": ["tile", "patch"],
            "one": ["patch"],
            "two": ["patch", "grader"],
        }[request.param]
    codes, sizes = columns_of(data, names)
    later = data["firings"].to_numpy(float) - 1 if request.param == "slopes" else None
    values = [None] * 4 + [later, 0.3 * later] if later is not None else [None] * len(names)
    pattern = CrossedPattern(codes, sizes, values)
    weight = random.uniform(0.05, 0.5, len(data))
    sd = random.uniform(0.2, 1.5, len(names))
    z = np.zeros((len(data), pattern.q))
    for code, offset, value in zip(codes, pattern.offsets[:-1], values, strict=True):
        z[np.arange(len(data)), code + offset] = 1 if value is None else value
    summed = pattern.gather(np.bincount(pattern.cell, weight, pattern.cells))
    factor = CrossedFactor(pattern, summed, pattern.scale(sd))
    scaled = z * sd[pattern.term]
    dense = np.eye(pattern.q) + scaled.T @ (weight[:, None] * scaled)
    return pattern, factor, dense, z, sd, summed, weight


def test_the_log_determinant_is_that_of_the_dense_matrix(case):
    _, factor, dense, *_ = case
    assert factor.logdet == pytest.approx(np.linalg.slogdet(dense)[1], abs=1e-10)


def test_solving_agrees_with_the_dense_matrix_for_a_vector_and_for_a_block(case):
    pattern, factor, dense, *_ = case
    right = np.random.default_rng(1).normal(size=(pattern.q, 3))
    answer = np.linalg.solve(dense, right)
    assert np.allclose(factor.solve(right[:, 0]), answer[:, 0], atol=1e-11)
    assert np.allclose(factor.solve(right), answer, atol=1e-11)


def test_the_inverse_is_exact_wherever_it_is_kept(case):
    pattern, factor, dense, *_ = case
    inverse = np.linalg.inv(dense)
    kept = factor.inverse()
    assert np.allclose(kept[: pattern.q], np.diag(inverse), atol=1e-12)
    coupled = kept[pattern.q : pattern.stored]
    assert np.allclose(coupled, inverse[pattern.lower, pattern.upper], atol=1e-12)


def test_leverages_agree_with_the_dense_matrix(case):
    pattern, factor, dense, z, sd, *_ = case
    scaled = z * sd[pattern.term]
    by_row = np.einsum("ij,jk,ik->i", scaled, np.linalg.inv(dense), scaled, optimize=True)
    assert np.allclose(pattern.leverage(factor.inverse(), sd)[pattern.cell], by_row, atol=1e-11)


def test_the_trace_is_the_slope_of_the_log_determinant(case):
    pattern, factor, _, _, sd, summed, _ = case
    slope = pattern.sd_trace(summed, factor.inverse(), sd)
    for j in range(sd.size):
        step = np.zeros_like(sd)
        step[j] = 1e-5
        above = CrossedFactor(pattern, summed, pattern.scale(sd + step)).logdet
        below = CrossedFactor(pattern, summed, pattern.scale(sd - step)).logdet
        assert 2 * slope[j] == pytest.approx((above - below) / 2e-5, rel=1e-6)


def test_products_agree_with_the_dense_matrix(case):
    pattern, _, _, z, _, summed, weight = case
    block = np.random.default_rng(2).normal(size=(pattern.q, 2))
    assert np.allclose(pattern.times(summed, block), z.T @ (weight[:, None] * (z @ block)))


def test_patches_pairs_and_tiles_are_eliminated_without_a_large_dense_rest(graded):
    codes, sizes = columns_of(graded, ["base", "overlay", "pair", "tile", "patch", "grader"])
    pattern = CrossedPattern(codes, sizes)
    assert pattern.rest.size < 80 < pattern.q
