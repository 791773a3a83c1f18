"""What a fraction mixes together, measured on the runs themselves."""

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from kit.design.optimal_design import Level
from kit.wording import percent

_LEAST_SHOWN = 0.005


def word_length_pattern(runs: pd.DataFrame, factors: Mapping[str, Sequence[Level]]) -> np.ndarray:
    """How much is mixed up, by the number of factors involved.

    Parameters
    ----------
    runs : pandas.DataFrame
        One column a factor, in its levels.
    factors : mapping of str to sequence

    Returns
    -------
    numpy.ndarray, shape (k,)
        Entry j - 1 is A_j. For a two-level fraction from generators this is the number of words
        of length j; A_1 = A_2 = 0 means that main effects are clear of each other.

    Notes
    -----
    The generalised word lengths of Xu and Wu (2001), Annals of Statistics 29:
    sum_j A_j y^j = sum over pairs of runs a, b of prod_f (1 + y (s_f [a_f = b_f] - 1)) / N^2.
    """
    n, k = len(runs), len(factors)
    pattern = np.zeros((n, k + 1))
    codes = {name: pd.Index(levels).get_indexer(runs[name]) for name, levels in factors.items()}
    for a in range(n):
        polynomial = np.zeros((n, k + 1))
        polynomial[:, 0] = 1
        for name, levels in factors.items():
            slope = len(levels) * (codes[name] == codes[name][a]) - 1.0
            polynomial[:, 1:] += slope[:, None] * polynomial[:, :-1]
        pattern[a] = polynomial.sum(axis=0)
    lengths: np.ndarray = np.round(pattern.sum(axis=0)[1:] / n**2, 9) + 0.0
    return lengths


def alias_table(runs: pd.DataFrame, factors: Mapping[str, Sequence[Level]]) -> pd.DataFrame:
    """List each effect of one or two factors with those of the same kind it is mixed with.

    Returns
    -------
    pandas.DataFrame
        `effect` (two factors joined by a colon), `factors` (1 or 2), `confused_with` (blank if
        none of these) and `share`, the largest part of the effect that is mixed with one other:
        1 means that the two cannot be told apart at all.
    """
    effects = [(name,) for name in factors] + list(itertools.combinations(factors, 2))
    bases = {effect: _basis(effect, runs, factors) for effect in effects}
    names = [":".join(effect) for effect in effects]
    stacked = np.hstack(list(bases.values()))
    widths = [basis.shape[1] for basis in bases.values()]
    group = np.repeat(np.arange(len(effects)), widths)
    member = np.equal.outer(np.arange(len(effects)), group).astype(float)
    smaller = np.maximum(np.minimum.outer(widths, widths), 1)
    share = member @ (stacked.T @ stacked) ** 2 @ member.T / smaller
    np.fill_diagonal(share, 0)
    rows = []
    for i, effect in enumerate(effects):
        mixed = [j for j in np.argsort(-share[i], kind="stable") if share[i, j] > _LEAST_SHOWN]
        shown = [
            names[j] if share[i, j] > 1 - _LEAST_SHOWN else f"{names[j]} ({percent(share[i, j])})"
            for j in mixed
        ]
        lost = widths[i] == 0
        rows.append(
            {
                "effect": names[i],
                "factors": len(effect),
                "confused_with": "the overall level" if lost else ", ".join(shown),
                "share": 1.0 if lost else float(share[i].max()),
            }
        )
    return pd.DataFrame(rows)


def _basis(
    effect: tuple[str, ...], runs: pd.DataFrame, factors: Mapping[str, Sequence[Level]]
) -> np.ndarray:
    """Orthonormal columns that span the centred contrasts of an effect over the runs."""
    columns = np.ones((len(runs), 1))
    for name in effect:
        codes = pd.Index(factors[name]).get_indexer(runs[name])
        contrasts = _contrasts(len(factors[name]))[codes]
        columns = (columns[:, :, None] * contrasts[:, None, :]).reshape(len(runs), -1)
    left, size, _ = np.linalg.svd(columns - columns.mean(axis=0), full_matrices=False)
    return left[:, size > 1e-9 * len(runs)]


def _contrasts(levels: int) -> np.ndarray:
    """Contrasts of a factor's levels, orthonormal over the levels, shape (levels, levels - 1)."""
    full = np.column_stack([np.ones(levels), np.eye(levels)[:, :-1]])
    orthonormal: np.ndarray = np.linalg.qr(full)[0][:, 1:] * np.sqrt(levels)
    return orthonormal
