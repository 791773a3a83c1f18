"""The things a plan may vary, their levels, and the numbered cells they span."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import prod
from numbers import Real

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.wording import listed

Level = str | float
Factors = Mapping[str, Sequence[Level]]


@dataclass(frozen=True)
class FactorSpace:
    """Every combination of levels, numbered as an odometer counts (the last factor fastest).

    Parameters
    ----------
    levels : dict of str to tuple
        The factors in order, tile factors first.
    tile_factors : tuple of str
        Those that are the same for every patch of a tile.
    """

    levels: dict[str, tuple[Level, ...]]
    tile_factors: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.levels)

    @property
    def patch_factors(self) -> tuple[str, ...]:
        return tuple(name for name in self.levels if name not in self.tile_factors)

    @property
    def size(self) -> int:
        """Number of cells."""
        return prod(len(levels) for levels in self.levels.values())

    @property
    def strides(self) -> dict[str, int]:
        """How far the cell's number moves when a factor moves by one level."""
        strides, stride = {}, self.size
        for name, levels in self.levels.items():
            stride //= len(levels)
            strides[name] = stride
        return strides

    def level_index(self, name: str, cells: np.ndarray) -> np.ndarray:
        """Which level of a factor each cell holds, counted from 0."""
        return cells // self.strides[name] % len(self.levels[name])

    def frame(self, cells: np.ndarray) -> pd.DataFrame:
        """Spell cells out: one row a cell, one column a factor, in the levels given."""
        columns = {}
        for name, levels in self.levels.items():
            index = self.level_index(name, cells)
            columns[name] = [levels[i] for i in index]
        return pd.DataFrame(columns)

    def typed_frame(self, cells: np.ndarray) -> pd.DataFrame:
        """Like `frame`, with words as categoricals that know all their levels."""
        columns: dict[str, object] = {}
        for name, levels in self.levels.items():
            index = self.level_index(name, cells)
            if is_words(levels):
                columns[name] = pd.Categorical.from_codes(index, categories=list(levels))
            else:
                columns[name] = np.asarray(levels, float)[index]
        return pd.DataFrame(columns)

    def cells(self, frame: pd.DataFrame, what: str) -> np.ndarray:
        """Number the rows of a frame; `what` names the frame in the error.

        Raises
        ------
        Misuse
            When a factor has no column or a row holds something that is not one of its levels.
        """
        missing = [name for name in self.levels if name not in frame]
        if missing:
            raise Misuse(f"{what} has no column for {_named(missing)}.")
        cells = np.zeros(len(frame), int)
        wrong = []
        for name, levels in self.levels.items():
            index = pd.Index(levels).get_indexer(pd.Index(frame[name].tolist()))
            cells += index * self.strides[name]
            if (index < 0).any():
                strange = sorted({str(value) for value in frame[name][index < 0]})
                wrong.append(f"{name} is {_named(strange)}, which is not among {_named(levels)}")
        if wrong:
            raise Misuse(f"In {what}, {'; '.join(wrong)}.")
        return cells


def factor_space(factors: Factors, tile_factors: Sequence[str] = ()) -> FactorSpace:
    """Check the factors and put those that change by tile first.

    Raises
    ------
    Misuse
        When a factor has fewer than two levels, mixes words with numbers or repeats a level, or
        when a tile factor is not among the factors.
    """
    if not factors:
        raise Misuse("A plan needs at least one factor with its levels.")
    if isinstance(tile_factors, str):
        raise Misuse(f"Give the tile factors as a list: ['{tile_factors}'].")
    strange = [name for name in tile_factors if name not in factors]
    if strange:
        raise Misuse(
            f"{_named(strange)} cannot change by tile, being no factor of this plan. "
            f"The factors are {_named(factors)}."
        )
    checked = {name: _checked_levels(name, levels) for name, levels in factors.items()}
    order = [*dict.fromkeys(tile_factors), *(n for n in checked if n not in tile_factors)]
    return FactorSpace({name: checked[name] for name in order}, tuple(dict.fromkeys(tile_factors)))


def _checked_levels(name: str, levels: Sequence[Level]) -> tuple[Level, ...]:
    if not isinstance(name, str) or not name.isidentifier():
        raise Misuse(f"'{name}' cannot name a factor: use letters, digits and _ only.")
    if name in ("tile", "patch", "session"):
        raise Misuse(f"A factor cannot be called '{name}': that names a part of the plan itself.")
    if isinstance(levels, str):
        raise Misuse(f"Give the levels of {name} as a list, such as ['{levels}', ...].")
    plain = tuple(level.item() if isinstance(level, np.generic) else level for level in levels)
    if len(plain) < 2:
        raise Misuse(
            f"{name} has {len(plain)} level(s). A factor needs two or more; else leave it out."
        )
    if len(set(plain)) < len(plain):
        raise Misuse(f"{name} names a level twice: {_named(plain)}.")
    words = sum(isinstance(level, str | bool) for level in plain)
    if 0 < words < len(plain) or not all(isinstance(level, str | Real) for level in plain):
        raise Misuse(f"The levels of {name} must be all words or all numbers, not {_named(plain)}.")
    if not words and not np.isfinite(np.asarray(plain, float)).all():
        raise Misuse(f"The levels of {name} must be finite numbers, not {_named(plain)}.")
    return plain


def is_words(levels: Sequence[Level]) -> bool:
    """Whether levels are categories and not amounts."""
    return isinstance(levels[0], str | bool)


def _named(things: Iterable[object]) -> str:
    return listed([str(thing) for thing in things])
