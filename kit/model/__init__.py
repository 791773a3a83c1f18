"""What the grades say: ordinal and linear mixed models, and what they mean at the bench."""

from kit.model.linear import LinearMixedModel, LinearResults
from kit.model.ordinal import OrdinalMixedModel
from kit.model.ordinal_results import OrdinalResults
from kit.model.prior import Prior
from kit.model.series_fit import ScaleFit, fit_observations, fit_series

__all__ = [
    "LinearMixedModel",
    "LinearResults",
    "OrdinalMixedModel",
    "OrdinalResults",
    "Prior",
    "ScaleFit",
    "fit_observations",
    "fit_series",
]
