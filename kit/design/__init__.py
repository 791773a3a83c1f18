"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.effort import Saving, saving
from kit.design.fractions import Fraction, fraction
from kit.design.layout import order_of_work
from kit.design.optimal_design import Efficiency, efficiency, optimal, relative_efficiency
from kit.design.plan_precision import Precision, budget_curve, precision
from kit.design.plan_series import NEXT_TILES, Plan, plan
from kit.design.standard_deviations import StandardDeviations
from kit.design.surveys import TileFormat, next_patches, survey

__all__ = [
    "NEXT_TILES",
    "Efficiency",
    "Fraction",
    "Plan",
    "Precision",
    "Saving",
    "StandardDeviations",
    "TileFormat",
    "budget_curve",
    "efficiency",
    "fraction",
    "next_patches",
    "optimal",
    "order_of_work",
    "plan",
    "precision",
    "relative_efficiency",
    "saving",
    "survey",
]
