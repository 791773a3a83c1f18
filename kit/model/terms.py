"""From a formula and a data frame to columns: effects, random intercepts, and the response."""

import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec
from formulaic.errors import DataMismatchWarning, FormulaicError

from kit.errors import AliasedEffectWarning, Misuse
from kit.model.crossed import Array, Index

# A column whose part outside the others' span is below this share of it counts as aliased.
ALIAS_TOLERANCE = 1e-8


@dataclass(frozen=True)
class Effects:
    """The fixed part of a model.

    Parameters
    ----------
    names : tuple of str
        Names of the columns kept, as formulaic gives them.
    x : (n, p) array
    spec : formulaic.ModelSpec
        How to build the same columns for new rows.
    kept : (p,) integer array
        Places of the kept columns among those of `spec`.
    dropped : tuple of str
        One sentence for each column left out.
    """

    names: tuple[str, ...]
    x: Array
    spec: ModelSpec
    kept: Index
    dropped: tuple[str, ...]

    def columns_for(self, frame: pd.DataFrame) -> Array:
        """Build the effects' columns for new rows.

        Raises
        ------
        Misuse
            If a column is missing or holds a value that the fit never saw.
        """
        missing = sorted(self.spec.required_variables - set(frame.columns))
        if missing:
            raise Misuse(f"The new rows lack the columns {', '.join(missing)}.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", DataMismatchWarning)
            try:
                full = self.spec.get_model_matrix(frame, output="numpy", na_action="raise")
            except DataMismatchWarning as unseen:
                raise Misuse(
                    f"The new rows hold a value that the fit never saw. {unseen}"
                ) from None
            except ValueError as blank:
                raise Misuse(
                    f"The new rows have a blank where a value is needed. {blank}"
                ) from None
        return np.asarray(full, dtype=float)[:, self.kept]


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


def read_effects(right: Formula, data: pd.DataFrame, intercept: bool) -> Effects:
    """Build the effects' columns, leaving out those that repeat others.

    Parameters
    ----------
    right : formulaic.Formula
    data : DataFrame
        Without blanks in the columns used.
    intercept : bool
        False where thresholds play the part of the intercept; columns are then judged beside
        a constant, which is not among them.

    Raises
    ------
    Misuse
        If there are more effects than rows.
    """
    matrix = right.get_model_matrix(data, output="numpy")
    spec = matrix.model_spec
    names = tuple(spec.column_names)
    full = np.asarray(matrix, dtype=float)
    if full.shape[1] > full.shape[0]:
        raise Misuse(
            f"The formula asks for {full.shape[1]} effects, but there are only "
            f"{full.shape[0]} rows. Drop some terms."
        )
    constant = names.index("Intercept") if "Intercept" in names else None
    wanted = [j for j in range(len(names)) if intercept or j != constant]
    kept, sentences = _independent(full, names, wanted, beside_constant=not intercept)
    for sentence in sentences:
        warnings.warn(sentence, AliasedEffectWarning, stacklevel=4)
    return Effects(
        tuple(names[j] for j in kept), full[:, kept], spec, np.array(kept, int), tuple(sentences)
    )


def _independent(
    full: Array, names: Sequence[str], wanted: Sequence[int], beside_constant: bool
) -> tuple[list[int], list[str]]:
    """Keep each column that the ones before it do not already span, and say why the rest go."""
    basis: list[Array] = []
    if beside_constant:
        basis.append(np.full(full.shape[0], full.shape[0] ** -0.5))
    kept: list[int] = []
    sentences = []
    for j in wanted:
        column = full[:, j]
        left = column.copy()
        for _ in range(2):
            for q in basis:
                left = left - (q @ left) * q
        length = float(np.linalg.norm(left))
        if length > ALIAS_TOLERANCE * max(float(np.linalg.norm(column)), 1e-300):
            basis.append(left / length)
            kept.append(j)
        else:
            sentences.append(_alias_sentence(full, names, kept, j))
    return kept, sentences


def _alias_sentence(full: Array, names: Sequence[str], kept: list[int], j: int) -> str:
    beside = np.column_stack([np.ones(full.shape[0]), full[:, kept]])
    weights = np.linalg.lstsq(beside, full[:, j], rcond=None)[0][1:]
    partners = [names[k] for k, weight in zip(kept, weights, strict=True) if abs(weight) > 1e-8]
    if not partners:
        return f"{names[j]} has one value only in these data, so its effect was left out."
    return (
        f"{names[j]} cannot be told apart from {' and '.join(partners)} in these data; "
        "it was left out."
    )


def parse(formula: str) -> tuple[str, Formula, Formula]:
    """Split a formula into the response's name and its two sides.

    Raises
    ------
    Misuse
        If it cannot be read, or has no response.
    """
    try:
        parsed = Formula(formula)
        left, right = parsed.lhs, parsed.rhs
    except FormulaicError as trouble:
        # formulaic colours the offending place for a terminal.
        plain = " ".join(re.sub(r"\x1b\[[0-9;]*m", "", str(trouble)).split())
        raise Misuse(f"The formula {formula!r} cannot be read. {plain}") from None
    except AttributeError:
        raise Misuse(f"The formula {formula!r} needs a response, as in 'spread ~ mesh'.") from None
    return formula.split("~")[0].strip(), left, right


def complete_rows(
    data: pd.DataFrame, formula: str, left: Formula, right: Formula, groups: Sequence[str]
) -> pd.DataFrame:
    """Rows without a blank in any column that the model uses.

    Raises
    ------
    Misuse
        If a column is missing or no row is left.
    """
    used = {str(name) for name in left.required_variables | right.required_variables}
    used |= {part.strip() for name in groups for part in name.split(":")}
    missing = sorted(used - set(map(str, data.columns)))
    if missing:
        raise Misuse(
            f"The data have no column {', '.join(missing)}, which the model {formula!r} uses. "
            f"They have {', '.join(map(str, data.columns))}."
        )
    whole = data[sorted(used)].notna().all(axis=1)
    if not whole.any():
        raise Misuse("No row has a value in every column that the model uses.")
    return data if whole.all() else data.loc[whole]


def grade_codes(response: pd.Series) -> tuple[Index, tuple[Any, ...]]:
    """Steps of an ordinal response, counted from 0, and the labels of the whole scale.

    Whole numbers span a scale from the least to the greatest seen; an ordered categorical brings
    its own.

    Raises
    ------
    Misuse
        If the response has no order, or one grade only.
    """
    labels: tuple[Any, ...]
    if isinstance(response.dtype, pd.CategoricalDtype):
        if not response.cat.ordered:
            raise Misuse(f"{response.name} is a categorical without an order; give it one.")
        codes, labels = response.cat.codes.to_numpy(), tuple(response.cat.categories)
    elif pd.api.types.is_numeric_dtype(response.dtype):
        values = response.to_numpy(dtype=float)
        if np.all(values == np.round(values)):
            low, high = int(values.min()), int(values.max())
            if high - low > 200:
                raise Misuse(f"{response.name} has {high - low + 1} steps; that is no grade.")
            codes, labels = values.astype(int) - low, tuple(range(low, high + 1))
        else:
            levels, codes = np.unique(values, return_inverse=True)
            labels = tuple(levels.tolist())
    else:
        raise Misuse(
            f"{response.name} holds text, which has no order. Use whole numbers or an ordered "
            "categorical."
        )
    if np.unique(codes).size < 2:
        raise Misuse(
            f"Every {response.name} is {labels[int(codes[0])]}. Where nothing differs there is "
            "nothing to explain; at least two different grades are needed."
        )
    return codes.astype(np.int64), labels
