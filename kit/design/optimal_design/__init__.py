"""Optimal plans: the model's terms over a factor space, the D-criterion, exchange, efficiency."""

from kit.design.optimal_design.coordinate_exchange import (
    Draw,
    ExchangeProblem,
    exchange,
    moves,
    search,
)
from kit.design.optimal_design.d_criterion import (
    NEVER,
    CovarianceStructure,
    VarianceRatios,
    structure,
)
from kit.design.optimal_design.d_efficiency import (
    Efficiency,
    efficiency,
    information_of,
    relative_efficiency,
)
from kit.design.optimal_design.design_space import (
    Factors,
    FactorSpace,
    Level,
    factor_space,
    is_words,
)
from kit.design.optimal_design.model_terms import candidates
from kit.design.optimal_design.split_plot import optimal

__all__ = [
    "NEVER",
    "CovarianceStructure",
    "Draw",
    "Efficiency",
    "ExchangeProblem",
    "FactorSpace",
    "Factors",
    "Level",
    "VarianceRatios",
    "candidates",
    "efficiency",
    "exchange",
    "factor_space",
    "information_of",
    "is_words",
    "moves",
    "optimal",
    "relative_efficiency",
    "search",
    "structure",
]
