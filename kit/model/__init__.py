"""What the grades say: ordinal and linear mixed models, and what they mean at the bench."""

from kit.model.linear import LinearMixedModel, LinearResults
from kit.model.ordinal import OrdinalMixedModel
from kit.model.ordinal_results import OrdinalResults
from kit.model.prior import Prior

__all__ = ["LinearMixedModel", "LinearResults", "OrdinalMixedModel", "OrdinalResults", "Prior"]
