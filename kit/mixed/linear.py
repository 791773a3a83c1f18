"""Linear mixed models for measurements: normal response, crossed random effects."""

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import pandas as pd

from kit.errors import Misuse
from kit.mixed.display import model_line
from kit.mixed.grouping import as_lists, check_twins, columns_of, pattern_of, read_random_terms
from kit.mixed.linear_fit import LinearFit
from kit.mixed.linear_results import LinearResults
from kit.mixed.model_matrix import complete_rows, parse, read_effects, used_columns
from kit.mixed.prior import Prior, as_prior
from kit.mixed.sparsity import Array
from kit.mixed.threads import one_thread


class LinearMixedModel:
    """Measurements with random intercepts and slopes.

    y = effects + one normal deviation a level, alone or times a column, + error.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread_mm ~ base_family * overlay_family + firings'.
    data : DataFrame
        Rows with a blank in a column that is used are left out.
    groups, slopes
        As for `OrdinalMixedModel`.

    Raises
    ------
    Misuse
        If the formula or the data cannot be used as asked.

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
        response, left, right = parse(formula)
        used = used_columns(left, right) | columns_of(groups, slopes)
        data = complete_rows(data, formula, used)
        self.formula = formula
        self.response = response
        self.y = _measurements(left.get_model_matrix(data, output="numpy"), response)
        self.effects = read_effects(right, data, intercept=True)
        self.terms = read_random_terms(groups, slopes, data)
        self.data = data
        self.nobs = len(data)
        single = [t.name for t in self.terms if t.size == self.nobs and t.column is None]
        if single:
            raise Misuse(
                f"{', '.join(single)} has a level for every row, so it cannot be told apart from "
                "the measurement's own error. Leave it out of the groups."
            )
        if self.nobs <= len(self.effects.names):
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} measurements."
            )
        self.pattern = pattern_of(self.terms, self.nobs)

    def __repr__(self) -> str:
        return model_line(self)

    def fit(self, reml: bool = True, prior: Prior | Literal["weak"] | None = None) -> LinearResults:
        """Fit by residual or plain maximum likelihood, with a prior if one is given.

        Parameters
        ----------
        reml : bool
            Residual maximum likelihood, which does not underestimate spreads in small data.
        prior : None, 'weak' or Prior

        Warns
        -----
        BoundaryVarianceWarning, NotConvergedWarning
        """
        check_twins(self.terms, with_prior=prior is not None)
        with one_thread():
            return LinearFit(self, reml, as_prior(prior)).results()


def _measurements(matrix: Array, response: str) -> Array:
    y = np.asarray(matrix, dtype=float)
    if y.ndim == 2 and y.shape[1] != 1:
        raise Misuse(f"The response {response!r} must be one column of numbers.")
    y = y.reshape(len(y))
    if np.ptp(y) == 0:
        raise Misuse(
            f"Every {response} is {y[0]:g}. Where nothing differs there is nothing to fit."
        )
    return y
