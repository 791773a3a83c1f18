"""Where the non-zeros of I + L Z'WZ L lie, the matrix behind crossed random effects.

Z holds one column a level of each term: 1 where a row is at that level, or for a random slope the
value of its column there. So Z'WZ is a table of sums over rows that share two levels. Levels of one
term never meet, which makes each term's own block diagonal. Such a block is eliminated without fill
inside it, term after term (patches within tiles first, as a rule), until what is left is small
enough to be dense. Which sums are needed, and where each lands, is worked out
once (`CrossedPattern`) and serves every evaluation (`CrossedFactor`).

The inverse is computed only where Z'WZ and its factor have entries, after Takahashi, Fagan and Chen
(1973), Formation of a sparse bus impedance matrix and its application to short circuit study.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

# Floating-point and integer arrays; numpy's own types cannot tell the two apart after arithmetic.
Array = NDArray[Any]
Index = NDArray[Any]

# Below this many columns a dense factor costs less than the bookkeeping of another stage.
DENSE_ENOUGH = 48


@dataclass(frozen=True)
class Stage:
    """One term to eliminate: its columns, its couplings, and where their products land.

    A coupling is a non-zero between a column of the term (`row`) and a column that is still to be
    eliminated (`column`); `slot` is its place among the stored values. Couplings run row by row,
    and `ends` tells where each row starts and stops. `first` and `second` list the pairs of
    couplings that share a row, `target` the slot their product updates.
    """

    start: int
    stop: int
    ends: Index
    row: Index
    column: Index
    slot: Index
    first: Index
    second: Index
    target: Index


class CrossedPattern:
    """Where the non-zeros of Z'WZ and of its factor lie.

    Parameters
    ----------
    codes : sequence of (n,) integer arrays
        For each term, the level of each row, counted from 0.
    sizes : sequence of int
        Number of levels of each term.
    values : sequence of ((n,) array or None), optional
        What each row has in its column of Z: None for an intercept, which has 1.

    Attributes
    ----------
    cell : (n,) array
        Rows that share every level and value share a cell; sums over rows are first taken by cell.
    columns : (terms, cells) array
        Column of Z for each term and cell.
    values : (terms, cells) array
        What stands there.
    lower, upper : (couplings,) arrays
        The pairs of columns that meet in some cell.
    q : int
        Number of columns of Z.
    """

    def __init__(
        self,
        codes: Sequence[Index],
        sizes: Sequence[int],
        values: Sequence[Array | None] | None = None,
    ) -> None:
        self.sizes = tuple(int(size) for size in sizes)
        self.offsets = np.concatenate([[0], np.cumsum(self.sizes)]).astype(np.int64)
        self.q = int(self.offsets[-1])
        self.term = np.repeat(np.arange(len(self.sizes)), self.sizes)
        by_row = [None] * len(codes) if values is None else list(values)
        self.cell, self.columns, self.values = _cells(codes, self.sizes, self.offsets, by_row)
        self.cells = self.columns.shape[1]
        self.lower, self.upper, self._pair_slots = self._couplings()
        self._slots = np.concatenate([self.columns.ravel(), self._pair_slots.ravel()])
        self._crossings = np.array(
            [(j, k) for j in range(len(self.sizes)) for k in range(j)], dtype=np.int64
        ).reshape(-1, 2)
        one, other = self._crossings.T
        self._products = np.vstack([self.values**2, self.values[one] * self.values[other]])
        self.stored = self.q + self.lower.size
        self.stages, self.rest, self.rest_slots, self.filled = self._eliminate()
        self.length = self.stored + self.filled

    def _couplings(self) -> tuple[Index, Index, Index]:
        """Number the distinct pairs of columns that meet in some cell."""
        terms = range(len(self.sizes))
        keys = [
            np.maximum(self.columns[j], self.columns[k]) * self.q
            + np.minimum(self.columns[j], self.columns[k])
            for j in terms
            for k in range(j)
        ]
        if not keys:
            none = np.empty(0, np.int64)
            return none, none, none
        slots, distinct = pd.factorize(np.concatenate(keys))
        return distinct % self.q, distinct // self.q, slots + self.q

    def _eliminate(self) -> tuple[tuple[Stage, ...], Index, Index, int]:
        graph = _Graph(self.lower, self.upper, self.q)
        waiting = set(range(len(self.sizes)))
        diagonal = set(waiting)
        stages = []
        while waiting:
            left = sum(self.sizes[j] for j in waiting)
            candidates = sorted(waiting & diagonal, key=lambda j: -self.sizes[j])
            if (left <= DENSE_ENOUGH and len(waiting) > 1) or not candidates:
                break
            chosen = next((j for j in candidates if self._pays(graph, j, left)), None)
            if chosen is None:
                break
            stage = graph.eliminate(int(self.offsets[chosen]), int(self.offsets[chosen + 1]))
            stages.append(stage)
            waiting.discard(chosen)
            a, b = self.term[stage.column[stage.first]], self.term[stage.column[stage.second]]
            diagonal -= set(np.unique(a[a == b]).tolist())
        rest = np.flatnonzero(np.isin(self.term, sorted(waiting)))
        return tuple(stages), rest, graph.dense_slots(rest), graph.fill

    def _pays(self, graph: "_Graph", j: int, left: int) -> bool:
        """Compare the products of a sparse stage with the dense work that it saves."""
        degree = graph.degree(int(self.offsets[j]), int(self.offsets[j + 1]))
        products = float(np.sum(degree * (degree - 1.0)) / 2)
        saved = float(left) ** 3 - float(left - self.sizes[j]) ** 3
        return products * 30 < saved

    def part(self, keep: Array) -> "CrossedPattern":
        """The same columns and cells, for some of the rows only."""
        part = copy(self)
        part.cell = self.cell[keep]
        return part

    def gather(self, weights: Array) -> Array:
        """Sum weights over rows into the non-zeros of Z'WZ.

        Parameters
        ----------
        weights : (cells,) array

        Returns
        -------
        (stored,) array
            The diagonal (q values) and then the couplings.
        """
        return np.bincount(self._slots, (self._products * weights).ravel(), self.stored)

    def by_column(self, values: Array) -> Array:
        """Z'v from values by cell: sum them into the columns of Z."""
        return np.bincount(self.columns.ravel(), (self.values * values).ravel(), self.q)

    def by_columns(self, values: Array) -> Array:
        """Z'V from a (cells, m) block, as `by_column` does for one column of it."""
        by_columns: Array = self._transposed @ values
        return by_columns

    @cached_property
    def _transposed(self) -> sparse.csr_array:
        cells = np.tile(np.arange(self.cells), len(self.sizes))
        places = (self.columns.ravel(), cells)
        return sparse.csr_array((self.values.ravel(), places), shape=(self.q, self.cells))

    def by_cell(self, values: Array) -> Array:
        """Z u by cell: add up each cell's columns."""
        total: Array = np.einsum("jc,jc->c", self.values, values[self.columns])
        return total

    def scale(self, sd: Array) -> Array:
        """Each stored non-zero's product of standard deviations (L . L at its two columns)."""
        column_sd = sd[self.term]
        return np.concatenate([column_sd**2, column_sd[self.lower] * column_sd[self.upper]])

    def leverage(self, inverse: Array, sd: Array) -> Array:
        """z' L D^-1 L z for each cell, from the inverse at the stored non-zeros."""
        one, other = self._crossings.T
        size = np.concatenate([sd**2, 2 * sd[one] * sd[other]])
        slots = self._slots.reshape(-1, self.cells)
        total: Array = size @ (self._products * inverse[slots])
        return total

    def sd_trace(self, summed: Array, inverse: Array, sd: Array) -> Array:
        """Half the derivative of log det(I + L A L) by each standard deviation, A = `summed`."""
        product = summed * inverse[: self.stored]
        terms = len(self.sizes)
        slope = sd * np.bincount(self.term, product[: self.q], terms)
        if self.lower.size:
            low, high = self.term[self.lower], self.term[self.upper]
            cross = product[self.q :]
            slope += np.bincount(low, cross * sd[high], terms)
            slope += np.bincount(high, cross * sd[low], terms)
        return slope

    def times(self, summed: Array, block: Array) -> Array:
        """A @ block, for the symmetric A held in `summed` and a (q, m) block."""
        half = sparse.coo_array(
            (summed[self.q :], (self.lower, self.upper)), shape=(self.q, self.q)
        ).tocsr()
        product: Array = summed[: self.q, None] * block + half @ block + half.T @ block
        return product


def _cells(
    codes: Sequence[Index], sizes: Sequence[int], offsets: Index, values: Sequence[Array | None]
) -> tuple[Index, Index, Array]:
    """Number the distinct combinations of levels and values; give each one's entries of Z."""
    key = np.zeros(len(codes[0]), dtype=np.int64)
    for code, size, value in zip(codes, sizes, values, strict=True):
        key, _ = pd.factorize(key * size + code)
        if value is not None:
            place, distinct = pd.factorize(value)
            key, _ = pd.factorize(key * len(distinct) + place)
    cells = int(key.max()) + 1
    first = np.empty(cells, dtype=np.int64)
    first[key[::-1]] = np.arange(len(key))[::-1]
    columns = np.stack(
        [code[first] + offset for code, offset in zip(codes, offsets[:-1], strict=True)]
    )
    entries = np.stack([np.ones(cells) if value is None else value[first] for value in values])
    return key, columns, entries


class _Graph:
    """Which columns meet while terms are eliminated one by one."""

    def __init__(self, lower: Index, upper: Index, q: int) -> None:
        self.q = q
        self.lower, self.upper = lower, upper
        self.slot = np.arange(lower.size, dtype=np.int64) + q
        self.next_slot = q + lower.size
        self.fill = 0

    def degree(self, start: int, stop: int) -> Index:
        ends = np.concatenate([self.lower, self.upper])
        own = ends[(ends >= start) & (ends < stop)]
        return np.bincount(own - start, minlength=stop - start)

    def eliminate(self, start: int, stop: int) -> Stage:
        down = (self.lower >= start) & (self.lower < stop)
        up = (self.upper >= start) & (self.upper < stop)
        row = np.concatenate([self.lower[down], self.upper[up]])
        column = np.concatenate([self.upper[down], self.lower[up]])
        slot = np.concatenate([self.slot[down], self.slot[up]])
        order = np.argsort(row, kind="stable")
        row, column, slot = row[order], column[order], slot[order]
        counts = np.bincount(row - start, minlength=stop - start)
        ends = np.concatenate([[0], np.cumsum(counts)])
        first, second = _pairs_within(counts)
        keep = ~(down | up)
        self.lower, self.upper, self.slot = self.lower[keep], self.upper[keep], self.slot[keep]
        target = self._targets(column[first], column[second])
        return Stage(start, stop, ends, row, column, slot, first, second, target)

    def _targets(self, one: Index, other: Index) -> Index:
        """Slots of the given pairs of columns, with new ones for pairs that had none."""
        low, high = np.minimum(one, other), np.maximum(one, other)
        known = self.upper * self.q + self.lower
        codes, distinct = pd.factorize(np.concatenate([known, high * self.q + low]))
        added = distinct.size - known.size
        slot = np.concatenate([self.slot, self.next_slot + np.arange(added, dtype=np.int64)])
        self.next_slot += added
        self.fill += added
        self.lower, self.upper, self.slot = distinct % self.q, distinct // self.q, slot
        targets: Index = slot[codes[known.size :]]
        return targets

    def dense_slots(self, rest: Index) -> Index:
        """Slot of each cell of the dense remainder; the last slot stands for zero."""
        place = np.full(self.q, -1, dtype=np.int64)
        place[rest] = np.arange(rest.size)
        table = np.full((rest.size, rest.size), -1, dtype=np.int64)
        table[place[rest], place[rest]] = rest
        table[place[self.lower], place[self.upper]] = self.slot
        table[place[self.upper], place[self.lower]] = self.slot
        return table.ravel()


def _pairs_within(counts: Index) -> tuple[Index, Index]:
    """All pairs first < second inside consecutive runs of the given lengths."""
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    ends = np.repeat(starts + counts, counts)
    position = np.arange(int(counts.sum()))
    follow = ends - position - 1
    first = np.repeat(position, follow)
    step = np.arange(first.size) - np.repeat(np.cumsum(follow) - follow, follow)
    return first.astype(np.int64), (first + 1 + step).astype(np.int64)
