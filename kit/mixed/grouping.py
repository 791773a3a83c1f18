"""Grouping factors, and the random terms on them: intercepts and slopes.

A grouping factor divides the rows by a column, or by several. A random term gives each of its
levels a normal deviation: the same for all its rows (an intercept), or in proportion to a numeric
column (a slope, which vanishes where the column is 0).
"""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed.sparsity import Array, CrossedPattern, Index


@dataclass(frozen=True)
class Group:
    """A grouping factor: one column of the data, or several joined by ':'.

    Parameters
    ----------
    name : str
    columns : tuple of str
    levels : pandas.Index
    codes : (n,) integer array
    """

    name: str
    columns: tuple[str, ...]
    levels: pd.Index
    codes: Index

    @property
    def size(self) -> int:
        return len(self.levels)

    def codes_for(self, frame: pd.DataFrame) -> Index | None:
        """Levels of new rows; unseen ones count on from the known. None if a column is missing."""
        if not set(self.columns) <= set(frame.columns):
            return None
        values = _labels(frame, self.columns)
        codes = self.levels.get_indexer(values)
        unseen = codes < 0
        if unseen.any():
            codes = codes.copy()
            codes[unseen] = self.size + pd.factorize(values[unseen])[0]
        known: Index = codes.astype(np.int64)
        return known


def _labels(frame: pd.DataFrame, columns: tuple[str, ...]) -> pd.Index:
    if len(columns) == 1:
        return pd.Index(frame[columns[0]])
    parts = [frame[column].astype(str) for column in columns]
    return pd.Index(parts[0].str.cat(parts[1:], sep=":"))


def read_group(name: str, data: pd.DataFrame) -> Group:
    """Read one grouping factor from the data.

    Raises
    ------
    Misuse
        If it names no column or has a single level.
    """
    columns = tuple(part.strip() for part in name.split(":"))
    codes, levels = _divide(data, columns)
    if len(levels) < 2:
        raise Misuse(
            f"Every row has the same {name}, so its variation cannot be seen. "
            f"Leave {name} out of the groups."
        )
    return Group(name, columns, pd.Index(levels), codes.astype(np.int64))


def _divide(data: pd.DataFrame, columns: tuple[str, ...]) -> tuple[Index, pd.Index]:
    """Levels of one column, or of several joined, and each row's place among them."""
    if len(columns) == 1:
        codes, levels = pd.factorize(pd.Index(data[columns[0]]), sort=True)
        return codes, levels
    key = np.zeros(len(data), dtype=np.int64)
    for column in columns:
        part, parts = pd.factorize(data[column], sort=True)
        key = key * len(parts) + part
    codes, keys = pd.factorize(key, sort=True)
    first = np.empty(len(keys), dtype=np.int64)
    first[codes] = np.arange(len(data))
    return codes, _labels(data.iloc[first], columns)


@dataclass(frozen=True)
class RandomTerm:
    """One normal deviation for each level of a group.

    Parameters
    ----------
    group : Group
    column : str or None
        Numeric column that the deviation is multiplied by; None for an intercept.
    unit : float
        The column's greatest distance from 0. Inside a fit slopes are per unit.
    entries : (n,) array or None
        The column in units; None for an intercept.
    """

    group: Group
    column: str | None = None
    unit: float = 1.0
    entries: Array | None = None

    @property
    def name(self) -> str:
        return self.group.name if self.column is None else f"{self.group.name}.{self.column}"

    @property
    def size(self) -> int:
        return self.group.size

    def entries_for(self, frame: pd.DataFrame) -> Array:
        """What multiplies the deviation in new rows: 1, or the column (not in units).

        Raises
        ------
        Misuse
            If the column is missing or has a blank.
        """
        if self.column is None:
            return np.ones(len(frame))
        if self.column not in frame.columns:
            raise Misuse(f"The new rows lack the column {self.column}.")
        entries = _numbers(frame, self.column)
        if np.isnan(entries).any():
            raise Misuse(f"The new rows have a blank where a value of {self.column} is needed.")
        return entries


def _numbers(frame: pd.DataFrame, column: str) -> Array:
    try:
        numbers: Array = frame[column].to_numpy(dtype=float, na_value=np.nan)
    except (TypeError, ValueError):
        raise Misuse(f"A random slope needs numbers, and {column} holds something else.") from None
    return numbers


def columns_of(groups: Sequence[str], slopes: Mapping[str, Sequence[str]]) -> set[str]:
    """Columns of the data that the given groups and slopes use."""
    grouping = {part.strip() for name in (*groups, *slopes) for part in name.split(":")}
    return grouping.union(*slopes.values())


def read_random_terms(
    groups: Sequence[str], slopes: Mapping[str, Sequence[str]], data: pd.DataFrame
) -> tuple[RandomTerm, ...]:
    """Read all random terms: the intercepts of `groups`, then the slopes, group by group.

    Raises
    ------
    Misuse
        If a group has a single level, or a slope's column is not numeric or 0 throughout.
    """
    known = {name: read_group(name, data) for name in dict.fromkeys((*groups, *slopes))}
    terms = [RandomTerm(known[name]) for name in groups]
    for name, columns in slopes.items():
        for column in columns:
            values = _numbers(data, column)
            unit = float(np.abs(values).max())
            if unit == 0:
                raise Misuse(
                    f"{column} is 0 in every row, so how it differs by {name} cannot be seen. "
                    "Leave it out of the slopes."
                )
            terms.append(RandomTerm(known[name], column, unit, values / unit))
    return tuple(terms)


def pattern_of(terms: Sequence[RandomTerm], nobs: int) -> CrossedPattern:
    """Lay the terms' columns out; without any, one column that the fit holds at zero."""
    if not terms:
        return CrossedPattern([np.zeros(nobs, np.int64)], [1])
    return CrossedPattern(
        [term.group.codes for term in terms],
        [term.size for term in terms],
        [term.entries for term in terms],
    )


def twins(terms: Sequence[RandomTerm]) -> list[tuple[str, str]]:
    """Pairs of terms that say the same of every row, by name."""
    return [
        (one.name, other.name)
        for i, one in enumerate(terms)
        for other in terms[i + 1 :]
        if same_division(one.group, other.group) and _proportional(one, other)
    ]


def _proportional(one: RandomTerm, other: RandomTerm) -> bool:
    """Whether two terms of one division multiply its deviations alike, up to a factor."""
    if one.entries is None and other.entries is None:
        return True
    ones = np.ones(len(one.group.codes))
    first = ones if one.entries is None else one.entries
    second = ones if other.entries is None else other.entries
    # Cauchy and Schwarz: equality means proportional.
    lengths = float(first @ first) * float(second @ second)
    return lengths - float(first @ second) ** 2 <= 1e-12 * lengths


def check_twins(terms: Sequence[RandomTerm], with_prior: bool) -> None:
    """Refuse terms that divide the rows alike, or with a prior say that it shares them out.

    Raises
    ------
    Misuse
        Without a prior.

    Warns
    -----
    AliasedEffectWarning
        With one.
    """
    for one, other in twins(terms):
        if not with_prior:
            raise Misuse(
                f"{one} and {other} divide the rows in the same way, so they cannot be told "
                "apart. Leave one of them out, or fit with prior='weak'."
            )
        warnings.warn(
            f"{one} and {other} divide the rows in the same way, so only their sum is seen; the "
            "prior shares it between them.",
            AliasedEffectWarning,
            stacklevel=4,
        )


def same_division(one: Group, other: Group) -> bool:
    """Whether two groups put the same rows together."""
    if one.size != other.size:
        return False
    both, _ = pd.factorize(one.codes * other.size + other.codes)
    return int(both.max()) + 1 == one.size
