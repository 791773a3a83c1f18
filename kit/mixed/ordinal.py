"""Ordinal mixed models: cumulative logit, flexible thresholds, crossed random effects."""

from collections.abc import Mapping, Sequence
from typing import Literal

import pandas as pd

from kit.errors import Misuse
from kit.mixed.display import model_line
from kit.mixed.grouping import as_lists, check_twins, columns_of, pattern_of, read_random_terms
from kit.mixed.model_matrix import complete_rows, grade_codes, parse, read_effects, used_columns
from kit.mixed.ordinal_fit import OrdinalFit
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.prior import Prior, as_prior
from kit.mixed.threads import one_thread


class OrdinalMixedModel:
    """Cumulative-logit model of ordered grades with random intercepts and slopes.

    P(y <= k) = logistic(threshold_k - eta), with eta the effects of `formula` plus one normal
    deviation for each level of each group, and one times a column for each random slope.

    Parameters
    ----------
    formula : str
        As formulaic reads it: 'spread ~ base_family * overlay_family + firings'. Thresholds stand
        in for the intercept.
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
        If the formula or the data cannot be used as asked: one grade only, a group of one level,
        more effects than rows.

    Warns
    -----
    AliasedEffectWarning
        If an effect repeats others; it is left out.

    Examples
    --------
    >>> model = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"])
    >>> print(model.fit().summary())
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
        if response not in data.columns:
            raise Misuse(f"The response {response!r} must be a column of the data.")
        self.formula = formula
        self.response = response
        self.y, self.labels = grade_codes(data[response])
        self.effects = read_effects(right, data, intercept=False)
        self.terms = read_random_terms(groups, slopes, data)
        self.data = self.everything = data
        self.nobs = len(data)
        if len(self.effects.names) + 1 >= self.nobs:
            raise Misuse(
                f"{len(self.effects.names)} effects need more than {self.nobs} grades. "
                "Drop some terms."
            )
        self.pattern = pattern_of(self.terms, self.nobs)

    def __repr__(self) -> str:
        return model_line(self)

    def fit(
        self, prior: Prior | Literal["weak"] | None = None, quadrature: int = 1
    ) -> OrdinalResults:
        """Fit by maximum likelihood, or by the highest posterior density under a prior.

        Parameters
        ----------
        prior : None, 'weak' or Prior
            None is plain maximum likelihood; it refuses groups that divide the rows alike.
        quadrature : int
            Points of adaptive Gauss-Hermite quadrature; 1 is Laplace's approximation. More need
            a model with one group.

        Warns
        -----
        EmptyGradeWarning, SeparationWarning, BoundaryVarianceWarning, NotConvergedWarning
        """
        belief = as_prior(prior)
        if quadrature > 1 and (len(self.terms) != 1 or self.terms[0].column is not None):
            raise Misuse(
                "Quadrature needs exactly one group and no slopes; this model has "
                f"{', '.join(term.name for term in self.terms) or 'no group'}. Use quadrature=1."
            )
        check_twins(self.terms, with_prior=belief is not None)
        with one_thread():
            return OrdinalFit(self, belief, quadrature).results()
