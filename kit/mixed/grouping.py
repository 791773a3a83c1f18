"""Grouping factors: columns of the data whose levels each have a deviation of their own."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed.sparsity import Index


@dataclass(frozen=True)
class Group:
    """A random intercept: one column of the data, or several joined by ':'.

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
        return codes.astype(np.int64)


def _labels(frame: pd.DataFrame, columns: tuple[str, ...]) -> pd.Index:
    if len(columns) == 1:
        return pd.Index(frame[columns[0]])
    parts = [frame[column].astype(str) for column in columns]
    return pd.Index(parts[0].str.cat(parts[1:], sep=":"))


def read_group(name: str, data: pd.DataFrame) -> Group:
    """Read one random intercept from the data.

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


def read_groups(names: Sequence[str], data: pd.DataFrame) -> tuple[Group, ...]:
    """Read all random intercepts."""
    return tuple(read_group(name, data) for name in names)


def twins(groups: Sequence[Group]) -> list[tuple[str, str]]:
    """Pairs of groups that divide the rows in the same way, by name."""
    return [
        (one.name, other.name)
        for i, one in enumerate(groups)
        for other in groups[i + 1 :]
        if same_division(one, other)
    ]


def check_twins(groups: Sequence[Group], with_prior: bool) -> None:
    """Refuse groups that divide the rows alike, or with a prior say that it shares them out.

    Raises
    ------
    Misuse
        Without a prior.

    Warns
    -----
    AliasedEffectWarning
        With one.
    """
    for one, other in twins(groups):
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
