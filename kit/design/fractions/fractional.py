"""A fraction of all combinations, what it costs to leave the rest out, and its runs on tiles."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np
import pandas as pd
from pyDOE3 import ff2n, fracfact

from kit.design.fractions.aliases import alias_table, word_length_pattern
from kit.design.fractions.generators import best_columns
from kit.design.fractions.orthogonal_arrays import TWO_LEVEL_RUNS, mixed_level_runs, published_array
from kit.design.optimal_design import (
    NEVER,
    Factors,
    Level,
    VarianceRatios,
    candidates,
    factor_space,
    information_of,
)
from kit.errors import Misuse
from kit.wording import counted, listed, lower_first, plain_name

MOST_RUNS = 256
_MOST_SEARCHED = 20_000
_EXAMPLES = 3


@dataclass(frozen=True)
class Fraction:
    """Part of all combinations of some factors' levels.

    Parameters
    ----------
    factors : mapping of str to tuple
    frame : pandas.DataFrame
        A row a run, in the factors' own levels.
    word_length_pattern : tuple of float
        Number of words of length 3, 4, 5, ...; for mixed levels the generalised pattern of Xu and
        Wu (2001), which need not be whole.
    resolution : int or None
        Least number of factors whose effects are mixed up; None when nothing is.
    alias_table : pandas.DataFrame
        `effect`, `factors`, `confused_with`, `share`: what cannot be told from what.
    """

    factors: Mapping[str, tuple[Level, ...]]
    frame: pd.DataFrame
    word_length_pattern: tuple[float, ...]
    resolution: int | None
    alias_table: pd.DataFrame

    @property
    def runs(self) -> int:
        return len(self.frame)

    @property
    def combinations(self) -> int:
        """How many combinations of levels there are in all."""
        return prod(len(levels) for levels in self.factors.values())

    def describe(self) -> str:
        """Say in words what the fraction costs."""
        if self.resolution is None:
            often = self.runs // self.combinations
            return (
                f"{self.runs} runs fire each of {self.combinations} combinations of "
                f"{counted(len(self.factors), 'factor')} "
                f"{'once' if often == 1 else f'{often} times'}. "
                "Nothing is left out and nothing is mixed up."
            )
        sentences = [
            f"{self.runs} runs stand for {self.combinations} combinations of "
            f"{len(self.factors)} factors.",
            _meaning(self.resolution),
        ]
        told = self.alias_table[self.alias_table["confused_with"] != ""]
        for _, row in told.head(_EXAMPLES).iterrows():
            verb = "cannot be told from" if row["share"] > 0.995 else "is partly mixed with"
            others = _spoken_list(row["confused_with"])
            sentences.append(f"{_spoken(row['effect'])} {verb} {others}.")
        if len(told) > _EXAMPLES:
            sentences.append(f"{len(told) - _EXAMPLES} more such lines are in the alias table.")
        return " ".join(sentences)


def fraction(factors: Factors | Sequence[str], runs: int) -> Fraction:
    """Choose the best part of all combinations for a number of runs.

    Parameters
    ----------
    factors : mapping of str to sequence, or sequence of str
        Levels of each factor. Names alone get the levels -1 and 1.
    runs : int
        With two levels throughout, a power of two or a size that Plackett and Burman printed.

    Returns
    -------
    Fraction

    Raises
    ------
    Misuse
        When no such fraction exists; the message names the nearest that does.

    Notes
    -----
    Two-level fractions have the least aberration (the fewest short words) that a search over
    generators finds, and are built by pyDOE3. Other plans come from printed arrays or from a
    search for the runs that keep the main effects surest, whichever mixes up less.
    """
    if not isinstance(factors, Mapping):
        twice = sorted({name for name in factors if list(factors).count(name) > 1})
        if twice:
            raise Misuse(f"Each factor is named once; {listed(twice)} is there more than once.")
        factors = dict.fromkeys(factors, (-1, 1))
    space = factor_space(factors)
    levels = {name: space.levels[name] for name in factors}
    if runs != int(runs) or runs < 1:
        raise Misuse(f"The number of runs must be a whole number of 1 or more, not {runs}.")
    if runs > MOST_RUNS:
        raise Misuse(f"{runs} runs are more than this plans for; the most is {MOST_RUNS}.")
    runs = int(runs)
    two_level = all(len(choice) == 2 for choice in levels.values())
    if two_level and not (runs in TWO_LEVEL_RUNS and runs > len(levels)):
        return _two_level(levels, runs)
    printed = published_array(levels, runs)
    if printed is not None and (two_level or space.size > _MOST_SEARCHED):
        return _measured(levels, printed)
    searched = _measured(levels, mixed_level_runs(levels, runs))
    if printed is None:
        return searched
    return min(searched, _measured(levels, printed), key=_mixing)


def _mixing(plan: Fraction) -> tuple[float, ...]:
    """How much a plan mixes up, what involves fewest factors first."""
    return (plan.resolution is not None and plan.resolution < 3, *plan.word_length_pattern)


def _two_level(levels: dict[str, tuple[Level, ...]], runs: int) -> Fraction:
    k = len(levels)
    _refuse_runs(k, runs)
    base = min(runs.bit_length() - 1, k)
    if base == k:
        coded = np.tile(ff2n(k), (runs // 2**k, 1))
    else:
        columns = best_columns(k, base)
        coded = fracfact(" ".join(_letters(column) for column in columns))
    frame = pd.DataFrame(
        {
            name: [choice[int(sign > 0)] for sign in coded[:, i]]
            for i, (name, choice) in enumerate(levels.items())
        }
    )
    return _measured(levels, frame)


def _refuse_runs(k: int, runs: int) -> None:
    smallest = min(2 ** k.bit_length(), *(n for n in TWO_LEVEL_RUNS if n > k), MOST_RUNS)
    if runs < smallest:
        raise Misuse(
            f"{runs} runs are too few for the main effects of {k} two-level factors. "
            f"The smallest number that would do is {smallest}."
        )
    if runs.bit_count() != 1:
        sizes = sorted({2**i for i in range(1, 9)} | {n for n in TWO_LEVEL_RUNS if n > k})
        below, above = max(n for n in sizes if n < runs), min(n for n in sizes if n > runs)
        raise Misuse(
            f"No two-level plan of {runs} runs keeps every main effect clear of the others. "
            f"The nearest possible are {below} and {above}."
        )


def _letters(column: int) -> str:
    """Spell a column for pyDOE3: 5 is 'ac'."""
    return "".join(chr(ord("a") + bit) for bit in range(column.bit_length()) if column >> bit & 1)


def _measured(levels: dict[str, tuple[Level, ...]], frame: pd.DataFrame) -> Fraction:
    """Describe a fraction by what its runs show, whatever they were built from."""
    pattern = word_length_pattern(frame, levels)
    mixed = np.flatnonzero(pattern > 1e-9)
    lengths = tuple(int(a) if a == int(a) else float(a) for a in pattern[2:])
    resolution = int(mixed[0]) + 1 if len(mixed) else None
    return Fraction(levels, frame, lengths, resolution, alias_table(frame, levels))


def _meaning(resolution: int) -> str:
    if resolution <= 2:
        return "Even the main effects are partly mixed with each other."
    if resolution == 3:
        return (
            "Resolution III: main effects are clear of each other, but some are mixed with what "
            "two other factors do together."
        )
    if resolution == 4:
        return (
            "Resolution IV: main effects are clear of each other and of what any two factors do "
            "together, but some of these joint effects are mixed with each other."
        )
    return (
        f"Resolution {_roman(resolution)}: main effects and what any two factors do together are "
        f"clear of one another; mixing starts where {resolution} factors come together."
    )


def _roman(number: int) -> str:
    tens, ones = divmod(number, 10)
    return "X" * tens + ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX")[ones]


def _spoken(effect: str) -> str:
    parts = [plain_name(part) for part in effect.split(":")]
    if len(parts) == 1:
        return f"The effect of {parts[0]}"
    return f"What {listed(parts)} do together"


def _spoken_list(effects: str) -> str:
    named = [_spoken(effect.split(" (")[0]) for effect in effects.split(", ")]
    shown = [lower_first(name) for name in named[:_EXAMPLES]]
    if len(named) > _EXAMPLES:
        shown.append(f"{len(named) - _EXAMPLES} more")
    return listed(shown, "or")


_TRIES = 200


def fraction_on_tiles(
    varied: dict[str, tuple[Level, ...]],
    by_tile: list[str],
    patches_per_tile: int,
    runs: int,
    terms: str,
    tile_variance_ratio: float,
    seed: int,
) -> pd.DataFrame | None:
    """Lay a two-level fraction on tiles, if it fits.

    It fits when every factor has two levels, the runs are a power of two in number, and those
    that share a tile setting fill whole tiles. Where a setting has several tiles, its runs are
    split among them by the signs of products of patch factors, the products that leave the
    effects surest.

    Returns
    -------
    pandas.DataFrame or None
        `tile` and a column a factor.
    """
    two_level = all(len(levels) == 2 for levels in varied.values())
    if not two_level or runs.bit_count() != 1:
        return None
    if not len(varied) < runs <= min(MOST_RUNS, 2 ** len(varied)):
        return None
    frame = fraction(varied, runs).frame
    by_setting = frame.groupby(by_tile).ngroup() if by_tile else pd.Series(0, index=frame.index)
    sizes = by_setting.value_counts()
    tiles_each, rest = divmod(int(sizes.min()), patches_per_tile)
    uneven = rest or int(sizes.max()) != int(sizes.min())
    if uneven or tiles_each < 1 or tiles_each.bit_count() != 1:
        return None
    best, best_value = None, NEVER
    model = candidates(factor_space(varied, by_tile), terms)
    for split in _splits(frame, varied, by_tile, tiles_each.bit_length() - 1, seed):
        tile = pd.factorize(by_setting.to_numpy() * tiles_each + split)[0]
        if (np.bincount(tile) != patches_per_tile).any():
            continue
        plan = frame.assign(tile=tile + 1)
        value, _ = information_of(plan, model, VarianceRatios(tile_variance_ratio))
        if value > best_value + 1e-9:
            best, best_value = plan, value
    if best is None:
        return None
    return best.sort_values("tile", ignore_index=True)[["tile", *varied]]


def _splits(
    frame: pd.DataFrame,
    varied: dict[str, tuple[Level, ...]],
    by_tile: list[str],
    products: int,
    seed: int,
) -> list[np.ndarray]:
    """Number the runs by the signs of so many products of patch factors, in several ways."""
    if products == 0:
        return [np.zeros(len(frame), int)]
    second = {n: (frame[n] == levels[1]).to_numpy() for n, levels in varied.items()}
    by_patch = [name for name in varied if name not in by_tile]
    words = [
        word
        for size in range(len(by_patch), 0, -1)
        for word in itertools.combinations(by_patch, size)
    ]
    rng = np.random.default_rng(seed)
    chosen = list(itertools.islice(itertools.combinations(words, products), _TRIES))
    if len(words) > products:
        picks = (rng.permutation(len(words))[:products] for _ in range(_TRIES))
        chosen += [tuple(words[i] for i in pick) for pick in picks]
    return [
        sum(
            np.logical_xor.reduce([second[name] for name in word]).astype(int) * 2**bit
            for bit, word in enumerate(pick)
        )
        for pick in chosen
    ]
