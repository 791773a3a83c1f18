"""What the grades say: ordinal and linear mixed models, and what they mean at the bench."""

from kit.model.dependence import score_correlation
from kit.model.linear import LinearMixedModel, LinearResults
from kit.model.ordinal import OrdinalMixedModel
from kit.model.ordinal_results import OrdinalResults
from kit.model.pairs import PairSetting, pair_table
from kit.model.prior import Prior
from kit.model.series_fit import ScaleFit, fit_observations, fit_series
from kit.model.verdicts import AVOID, BROKEN_ONLY, NOT_KNOWN, SUITED, VERDICTS

__all__ = [
    "AVOID",
    "BROKEN_ONLY",
    "NOT_KNOWN",
    "SUITED",
    "VERDICTS",
    "LinearMixedModel",
    "LinearResults",
    "OrdinalMixedModel",
    "OrdinalResults",
    "PairSetting",
    "Prior",
    "ScaleFit",
    "fit_observations",
    "fit_series",
    "pair_table",
    "score_correlation",
]
