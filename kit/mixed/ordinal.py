"""Ordinal mixed models: cumulative logit, flexible thresholds, crossed random effects."""

from typing import Literal

from formulaic import Formula

from kit.errors import Misuse
from kit.mixed.grouping import check_twins
from kit.mixed.mixed_model import OneResponseModel
from kit.mixed.model_matrix import grade_codes
from kit.mixed.ordinal_fit import OrdinalFit
from kit.mixed.ordinal_results import OrdinalResults
from kit.mixed.prior import Prior, as_prior
from kit.mixed.threads import one_thread


class OrdinalMixedModel(OneResponseModel):
    """Cumulative-logit model of ordered grades with random intercepts and slopes.

    P(y <= k) = logistic(threshold_k - eta), with eta the effects of `formula` plus one normal
    deviation for each level of each group, and one times a column for each random slope.
    Thresholds stand in for the intercept. Formula, data, groups and slopes are those of
    `OneResponseModel`.

    Examples
    --------
    >>> model = OrdinalMixedModel("rating ~ temp + contact", wine, groups=["judge"])
    >>> print(model.fit().summary())
    """

    rows_are = "grades"

    def _take_response(self, left: Formula) -> bool:
        if self.response not in self.data.columns:
            raise Misuse(f"The response {self.response!r} must be a column of the data.")
        self.y, self.labels = grade_codes(self.data[self.response])
        return False

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
