"""What every mixed model is made of, whatever its response."""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import ClassVar

import pandas as pd
from formulaic import Formula

from kit.errors import Misuse
from kit.mixed.grouping import RandomTerm, as_lists, columns_of, pattern_of, read_random_terms
from kit.mixed.model_matrix import complete_rows, parse, read_effects, used_columns


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
