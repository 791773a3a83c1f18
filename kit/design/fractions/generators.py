"""Which columns to use for a two-level fraction: the least aberration that can be found."""

from functools import lru_cache

import numpy as np

_WORK = 6400


@lru_cache(maxsize=64)
def best_columns(factors: int, base: int) -> tuple[int, ...]:
    """Choose the column of each factor in a fraction of ``2**base`` runs.

    Columns are numbered by the base factors they multiply, in binary: 1, 2, 4, ... are the base
    factors themselves and 3 is the product of the first two.

    Parameters
    ----------
    factors, base : int
        ``base < factors < 2**base``.

    Returns
    -------
    tuple of int, length `factors`
        The base factors first.

    Notes
    -----
    Fractions are grown one factor at a time from all that differ so far, as in Chen, Sun and Wu
    (1993), International Statistical Review 61. Two are taken to be the same when their words,
    and those left after dropping any one factor, have the same lengths. Of 32 runs the 200 least
    aberrant are kept at each step, nearly all there are; fewer where there are more runs.
    """
    columns = np.arange(1, 2**base)
    runs = np.arange(2**base)
    signs = (np.bitwise_count(runs[:, None] & columns) % 2).astype(np.int64)
    kept = [tuple(2**i for i in range(base))]
    for count in range(base + 1, factors + 1):
        kept = _grown(kept, columns, signs, count)
    return kept[0]


def _grown(
    kept: list[tuple[int, ...]], columns: np.ndarray, signs: np.ndarray, count: int
) -> list[tuple[int, ...]]:
    """Add each further column to each fraction; keep the least aberrant of those that differ."""
    base = len(signs).bit_length() - 1
    grown = sorted(
        {
            (*parent[:base], *sorted((*parent[base:], int(column))))
            for parent in kept
            for column in columns
            if column not in parent
        }
    )
    chosen = np.array(grown) - 1
    minuses = signs[:, chosen].sum(axis=2).T
    lengths = word_lengths(minuses, count)
    order = np.lexsort(lengths[:, ::-1].T)
    survivors: list[tuple[int, ...]] = []
    seen = set()
    for i in order:
        less = minuses[i][:, None] - signs[:, chosen[i]]
        dropped = word_lengths(less.T, count - 1)
        key = (lengths[i].tobytes(), np.sort(dropped.view(_row(dropped)), axis=0).tobytes())
        if key not in seen:
            seen.add(key)
            survivors.append(grown[i])
        if len(survivors) == _WORK // len(signs):
            break
    return survivors


def _row(array: np.ndarray) -> np.dtype:
    return np.dtype([("", array.dtype)] * array.shape[1])


def word_lengths(minuses: np.ndarray, factors: int) -> np.ndarray:
    """Count the words of length 1 to `factors` of regular fractions.

    Parameters
    ----------
    minuses : numpy.ndarray of int, shape (s, runs)
        How many factors are at their second level in each run.
    factors : int

    Returns
    -------
    numpy.ndarray of int, shape (s, factors)

    Notes
    -----
    By MacWilliams' identity, A_i = sum_j B_j K_i(j) / runs, with B_j the number of runs with j
    factors at their second level and K_i the Krawtchouk polynomials.
    """
    runs = minuses.shape[1]
    krawtchouk = _krawtchouk(factors)
    lengths: np.ndarray = np.rint(krawtchouk[minuses].sum(axis=1) / runs).astype(np.int64)
    return lengths


@lru_cache(maxsize=64)
def _krawtchouk(factors: int) -> np.ndarray:
    """K_i(j) for i = 1..factors (columns) and j = 0..factors (rows)."""
    table = np.zeros((factors + 1, factors + 1))
    for j in range(factors + 1):
        row = np.polynomial.Polynomial([1.0, -1.0]) ** j * np.polynomial.Polynomial([1.0, 1.0]) ** (
            factors - j
        )
        table[j] = row.coef
    return table[:, 1:]
