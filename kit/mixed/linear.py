"""Linear mixed models for measurements: normal response, crossed random effects."""

from typing import Literal

import numpy as np
import pandas as pd
from formulaic import Formula

from kit.errors import Misuse
from kit.mixed.grouping import RandomTerm, check_twins
from kit.mixed.linear_fit import LinearFit
from kit.mixed.linear_results import LinearResults
from kit.mixed.mixed_model import OneResponseModel
from kit.mixed.model_matrix import differing
from kit.mixed.prior import Prior, as_prior
from kit.mixed.threads import one_thread


class LinearMixedModel(OneResponseModel):
    """Measurements with random intercepts and slopes.

    y = effects + one normal deviation a level, alone or times a column, + error. Formula, data,
    groups and slopes are those of `OneResponseModel`.
    """

    rows_are = "measurements"

    def _take_response(self, left: Formula) -> bool:
        y = np.asarray(left.get_model_matrix(self.data, output="numpy"), dtype=float)
        if y.ndim == 2 and y.shape[1] != 1:
            raise Misuse(f"The response {self.response!r} must be one column of numbers.")
        self.y = differing(y.reshape(len(y)), self.response)
        return True

    def _lay_out(
        self, right: Formula, rows: pd.DataFrame, terms: tuple[RandomTerm, ...], intercept: bool
    ) -> None:
        single = [t.name for t in terms if t.size == len(rows) and t.column is None]
        if single:
            raise Misuse(
                f"{', '.join(single)} has a level for every row, so it cannot be told apart from "
                "the measurement's own error. Leave it out of the groups."
            )
        super()._lay_out(right, rows, terms, intercept)

    def fit(self, reml: bool = True, prior: Prior | Literal["weak"] | None = None) -> LinearResults:
        """Fit by residual or plain maximum likelihood, with a prior if one is given.

        Parameters
        ----------
        reml : bool
            Residual maximum likelihood, which does not underestimate standard deviations in small
            data.
        prior : None, 'weak' or Prior

        Warns
        -----
        BoundaryVarianceWarning, NotConvergedWarning
        """
        check_twins(self.terms, with_prior=prior is not None)
        with one_thread():
            return LinearFit(self, reml, as_prior(prior)).results()
