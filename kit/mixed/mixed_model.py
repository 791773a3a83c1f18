"""What every mixed model is made of, whatever its response: effects of a formula, random terms.

From a formula and a data frame to the fixed effects' columns and the response.
"""

import re
import warnings
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec
from formulaic.errors import DataMismatchWarning, FormulaicError

from kit.errors import AliasedEffectWarning, Misuse
from kit.mixed.grouping import RandomTerm, as_lists, columns_of, pattern_of, read_random_terms
from kit.mixed.sparsity import Array, Index


class MixedModel:
    """Effects of a formula, and random terms, over rows of data.

    Attributes
    ----------
    formula, response : str
    data : DataFrame
        The rows that were fitted.
    effects : Effects
    terms : tuple of RandomTerm
    nobs : int
    """

    rows_are: ClassVar[str] = "rows"
    """What the rows are, in a word."""

    formula: str
    response: str
    data: pd.DataFrame

    def _lay_out(
        self, right: Formula, rows: pd.DataFrame, terms: tuple[RandomTerm, ...], intercept: bool
    ) -> None:
        self.nobs, self.terms = len(rows), terms
        self.effects = read_effects(right, rows, intercept)
        # Where there is no intercept, thresholds are: one at least.
        if len(self.effects.names) + (not intercept) >= self.nobs:
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} {self.rows_are}. "
                "Drop some terms."
            )
        self.pattern = pattern_of(self.terms, self.nobs)

    def __repr__(self) -> str:
        terms = ", ".join(term.name for term in self.terms) or "no groups"
        return f"<{type(self).__name__}: {self.formula} by {terms}; {self.nobs} rows>"


class OneResponseModel(MixedModel, ABC):
    """A mixed model of one response, from one table.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread ~ base_family * overlay_family + firings'.
    data : DataFrame
        Rows with a blank in a column that is used are left out.
    groups : sequence of str
        Columns whose levels each have a deviation of their own, crossed or nested; several columns
        joined by ':' make one group ('base:overlay').
    slopes : mapping of str to sequence of str, optional
        Numeric columns whose effect differs by group: {"judge": ["warm"]}. A slope is independent
        of the group's intercept and is not centred: it vanishes where the column is 0.

    Raises
    ------
    Misuse
        If the formula or the data cannot be used as asked: nothing differs, a group of one level,
        more effects than rows.

    Warns
    -----
    AliasedEffectWarning
        If an effect repeats others; it is left out.
    """

    def __init__(
        self,
        formula: str,
        data: pd.DataFrame,
        groups: Sequence[str] = (),
        slopes: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        groups, slopes = as_lists(groups, slopes)
        self.formula = formula
        self.response, left, right = parse(formula)
        used = used_columns(left, right) | columns_of(groups, slopes)
        self.data = complete_rows(data, formula, used)
        intercept = self._take_response(left)
        self._lay_out(right, self.data, read_random_terms(groups, slopes, self.data), intercept)

    @abstractmethod
    def _take_response(self, left: Formula) -> bool:
        """Read the response off the data, and tell whether the effects need an intercept."""


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
    built : dict
        Columns by the values that they were built from, as few recipes are asked about often.
    """

    names: tuple[str, ...]
    x: Array
    spec: ModelSpec
    kept: Index
    dropped: tuple[str, ...]
    built: dict[tuple[Any, ...], Array] = field(default_factory=dict, repr=False, compare=False)

    def columns_for(self, frame: pd.DataFrame) -> Array:
        """Build the effects' columns for new rows.

        Raises
        ------
        Misuse
            If a column is missing or holds a value that the fit never saw.
        """
        used = sorted(self.spec.required_variables)
        missing = [name for name in used if name not in frame.columns]
        if missing:
            raise Misuse(f"The new rows lack the columns {', '.join(missing)}.")
        if not used or frame.empty:
            return self._build(frame)
        rows = list(zip(*(frame[name] for name in used), strict=True))
        fresh = {row: n for n, row in enumerate(rows) if row not in self.built}
        if fresh:
            built = self._build(frame.iloc[list(fresh.values())])
            self.built.update(zip(fresh, built, strict=True))
        return np.stack([self.built[row] for row in rows])

    def _build(self, frame: pd.DataFrame) -> Array:
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


def used_columns(left: Formula, right: Formula) -> set[str]:
    """Columns that a formula's two sides use."""
    return {str(name) for name in left.required_variables | right.required_variables}


def complete_rows(data: pd.DataFrame, formula: str, used: set[str]) -> pd.DataFrame:
    """Rows without a blank in any column that the model uses.

    Raises
    ------
    Misuse
        If a column is missing or no row is left.
    """
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


def differing(values: Array, name: str) -> Array:
    """Refuse measurements that are all the same."""
    if np.ptp(values) == 0:
        raise Misuse(
            f"Every {name} is {values[0]:g}. Where nothing differs there is nothing to fit."
        )
    return values


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
