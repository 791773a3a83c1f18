"""Two-level and mixed-level fractions against published tables."""

import itertools
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.design import fraction
from kit.design.fractions.aliases import word_length_pattern
from kit.errors import Misuse

REFERENCE = Path(__file__).parents[1] / "reference"
CATALOGUE = pd.read_csv(REFERENCE / "fraction_wordlengths.csv")

NIST_TABLE = [
    # (factors, runs, resolution): NIST/SEMATECH e-Handbook of Statistical Methods, section
    # 5.3.3.4.7, summary table of useful fractional factorial designs (from memory).
    (3, 4, 3), (4, 8, 4), (5, 16, 5), (5, 8, 3), (6, 32, 6), (6, 16, 4), (6, 8, 3), (7, 64, 7),
    (7, 32, 4), (7, 16, 4), (7, 8, 3), (8, 64, 5), (8, 32, 4), (8, 16, 4), (9, 128, 6), (9, 64, 4),
    (9, 32, 4), (9, 16, 3), (10, 128, 5), (10, 64, 4), (10, 32, 4), (10, 16, 3), (11, 128, 5),
    (11, 64, 4), (11, 32, 4), (11, 16, 3), (15, 16, 3),
]  # fmt: skip

LEAST_ABERRATION_64 = {
    # Words of length 4, 5, ... of the minimum-aberration fractions of 64 runs in Wu and Hamada,
    # Experiments: Planning, Analysis and Optimization, appendix 5A (from memory).
    8: (0, 2, 1),
    9: (1, 4, 2),
    10: (2, 8, 4),
}


def names(count: int) -> list[str]:
    return [f"x{i}" for i in range(1, count + 1)]


def coded(frame: pd.DataFrame) -> np.ndarray:
    return frame.to_numpy(float)


@pytest.mark.parametrize(("runs", "factors", "words"), list(CATALOGUE.itertuples(index=False)))
def test_words_are_as_long_as_in_the_catalogue(runs: int, factors: int, words: str) -> None:
    published = [int(count) for count in words.split()]
    found = list(fraction(names(factors), runs).word_length_pattern)
    length = max(len(published), len(found))
    shown = min(len(published), len(found))
    assert found[:shown] == published[:shown]
    assert not any(published[shown:length])


@pytest.mark.parametrize(("factors", "runs", "resolution"), NIST_TABLE)
def test_resolution_is_that_of_the_handbook(factors: int, runs: int, resolution: int) -> None:
    assert fraction(names(factors), runs).resolution == resolution


@pytest.mark.parametrize("factors", LEAST_ABERRATION_64)
def test_64_runs_have_least_aberration(factors: int) -> None:
    pattern = fraction(names(factors), 64).word_length_pattern
    assert pattern[:4] == (0, *LEAST_ABERRATION_64[factors])


def test_half_fraction_of_three_factors_is_the_handbooks() -> None:
    # NIST/SEMATECH e-Handbook, section 5.3.3.4.1: the half fraction with X3 = X1 X2, I = 123
    # (from memory).
    found = fraction(names(3), 4)
    runs = {tuple(run) for run in coded(found.frame)}
    assert runs == {(-1, -1, 1), (1, -1, -1), (-1, 1, -1), (1, 1, 1)}
    table = found.alias_table.set_index("effect")["confused_with"]
    assert table["x1"] == "x2:x3"
    assert table["x1:x2"] == "x3"


def test_eight_factors_in_sixteen_runs_mix_pairs_in_fours() -> None:
    # NIST/SEMATECH e-Handbook, section 5.3.3.4.4 on the 2^(8-4) of resolution IV: each of seven
    # strings of two-factor interactions holds four (from memory).
    table = fraction(names(8), 16).alias_table
    assert (table.loc[table["factors"] == 1, "confused_with"] == "").all()
    pairs = table.loc[table["factors"] == 2, "confused_with"]
    assert (pairs.str.split(", ").str.len() == 3).all()


@pytest.mark.parametrize(("factors", "runs"), [(5, 8), (6, 16), (7, 8), (9, 32), (15, 16)])
def test_what_pydoe3_returns_is_balanced_and_orthogonal(factors: int, runs: int) -> None:
    found = fraction(names(factors), runs)
    x = coded(found.frame)
    assert x.shape == (runs, factors)
    np.testing.assert_array_equal(x.T @ x, runs * np.eye(factors))
    np.testing.assert_array_equal(x.sum(axis=0), 0)
    assert len(found.frame.drop_duplicates()) == runs


def unchanging(frame: pd.DataFrame) -> list[tuple[str, ...]]:
    """Sets of two-level factors whose product never changes: the defining words."""
    signs = frame.apply(lambda levels: np.where(levels == levels.min(), -1, 1))
    sets = (
        s for n in range(1, signs.shape[1] + 1) for s in itertools.combinations(signs.columns, n)
    )
    return [word for word in sets if len(set(signs[list(word)].prod(axis=1))) == 1]


@pytest.mark.parametrize(("factors", "runs"), [(5, 8), (7, 16), (9, 32)])
def test_word_lengths_count_the_products_that_never_change(factors: int, runs: int) -> None:
    found = fraction(names(factors), runs)
    words = unchanging(found.frame)
    assert len(words) == 2**factors // runs - 1
    counted = [sum(len(word) == length for word in words) for length in range(3, factors + 1)]
    assert list(found.word_length_pattern) == counted


def test_levels_and_aliases_are_in_the_persons_own_words() -> None:
    found = fraction(
        {
            "base_family": ["leaded", "unleaded"],
            "overlay_family": ["leaded", "unleaded"],
            "mesh": [80, 100],
            "coat_weight": [20.0, 40.0],
            "firings": [1, 3],
        },
        8,
    )
    assert set(found.frame["base_family"]) == {"leaded", "unleaded"}
    assert set(found.frame["firings"]) == {1, 3}
    row = found.alias_table.set_index("effect").loc["firings"]
    words = [set(word) - {"firings"} for word in unchanging(found.frame) if "firings" in word]
    shortest = min(words, key=len)
    assert set(row["confused_with"].split(", ")[0].split(":")) == shortest
    assert "Resolution III" in found.describe()
    assert "cannot be told from" in found.describe()


def test_a_full_set_costs_nothing() -> None:
    twice = fraction({"mesh": [80, 100], "coats": [1, 2]}, 8)
    assert twice.resolution is None
    assert (twice.frame.value_counts() == 2).all()
    assert "nothing is mixed up" in twice.describe()


@pytest.mark.parametrize(
    ("factors", "runs", "named"),
    [
        (5, 4, "8"),
        (7, 7, "8"),
        (8, 8, "12"),
        (31, 16, "32"),
        (5, 14, "12 and 16"),
        (12, 30, "24 and 32"),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(factors: int, runs: int, named: str) -> None:
    with pytest.raises(Misuse, match=named):
        fraction(names(factors), runs)


ARRAYS = [
    # Orthogonal arrays of strength two that exist: L9(3^4), L18(2 x 3^7), L16(4^5) and L27(3^13)
    # of Taguchi (1987), System of Experimental Design; L12(2^4 x 3) of Wang and Wu (1991);
    # L36(2^11 x 3^12) of Taguchi; the 12 runs of Plackett and Burman (1946).
    ((3, 3, 3, 3), 9),
    ((2, 3, 3, 3, 3, 3, 3, 3), 18),
    ((4, 4, 4, 4, 4), 16),
    ((2, 2, 2, 3), 12),
    ((3, 3, 3, 3), 27),
    ((3,) * 13, 27),
    ((2,) * 11 + (3,) * 12, 36),
    ((2,) * 11, 12),
]


@pytest.mark.parametrize(("levels", "runs"), ARRAYS)
def test_mixed_levels_come_out_as_an_orthogonal_array(levels: tuple[int, ...], runs: int) -> None:
    factors = {f"x{i}": list(range(count)) for i, count in enumerate(levels)}
    found = fraction(factors, runs)
    for one, two in itertools.combinations(factors, 2):
        cells = found.frame.groupby([one, two]).size()
        assert len(cells) == math.prod([len(factors[one]), len(factors[two])])
        assert cells.min() == cells.max()
    assert found.resolution is None or found.resolution >= 3


def test_three_level_word_lengths_are_those_of_the_literature() -> None:
    # The regular 3^(4-1) of 27 runs has A_4 = 2, the saturated 3^(4-2) of nine runs A_3 = 8:
    # Chen, Sun and Wu (1993), words counted with both signs as Xu and Wu (2001) do (from memory).
    factors = {name: [0, 1, 2] for name in names(4)}
    assert fraction(factors, 27).word_length_pattern == (0, 2)
    assert fraction(factors, 9).word_length_pattern == (8, 0)


def test_a_mixed_fraction_that_must_mix_says_so() -> None:
    found = fraction({"mesh": [80, 100], "coats": [1, 2], "firings": [1, 2, 3]}, 6)
    assert found.resolution == 2
    assert "partly mixed" in found.describe()
    table = found.alias_table.set_index("effect")
    assert 0 < table.loc["mesh", "share"] <= 1


def test_too_few_runs_for_three_levels_names_the_smallest_number() -> None:
    with pytest.raises(Misuse, match=r"smallest number that would do is 6"):
        fraction({"mesh": [60, 80, 100], "firings": [1, 2, 3], "coats": [1, 2]}, 5)


def test_twelve_runs_are_those_of_plackett_and_burman() -> None:
    # Plackett and Burman (1946), Biometrika 33, table for N = 12: the generating row
    # + + - + + + - - - + - moved round, and a row of one sign (from memory). Any array of 12 runs
    # and 11 two-level factors is that one, up to the order and signs of rows and columns, and
    # mixes each main effect with every pair of other factors by a share of (1/3)^2.
    row = np.array([1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1])
    printed = pd.DataFrame(
        np.vstack([*(np.roll(row, i) for i in range(11)), -np.ones(11)]), columns=names(11)
    )
    levels = dict.fromkeys(names(11), (-1, 1))
    found = fraction(names(11), 12)
    np.testing.assert_allclose(
        found.word_length_pattern, word_length_pattern(printed, levels)[2:], atol=1e-9
    )
    main = found.alias_table[found.alias_table["factors"] == 1]
    np.testing.assert_allclose(main["share"], 1 / 9)


@pytest.mark.parametrize(
    ("factors", "runs", "told"),
    [
        ({"a": [1, 2, 3], "b": [1, 2]}, 100_000, "the most is 256"),
        ([], 4, "at least one factor"),
        (["a", "a", "b"], 4, "a is there more than once"),
        (["a"], 2.5, "whole number"),
    ],
)
def test_bad_requests_are_refused_in_a_sentence(factors, runs, told: str) -> None:
    with pytest.raises(Misuse, match=told):
        fraction(factors, runs)
