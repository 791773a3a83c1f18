"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.fractions import Fraction, fraction
from kit.design.layout import held_in_words, order_of_work
from kit.design.materials import (
    copper_needed,
    counter_enamel_g,
    doses,
    enamel_needed,
    patch_grams,
    stripe_grams,
    weighed,
)
from kit.design.optimal_design import Efficiency, efficiency, optimal, relative_efficiency
from kit.design.plan_again import plan_more, replan
from kit.design.plan_costs import Costs, Limits, Saving, costs, saving
from kit.design.plan_model import StandardDeviations
from kit.design.plan_precision import Precision, precision
from kit.design.plan_series import NEXT_TILES, Plan, plan
from kit.design.surveys import TileFormat, next_patches, survey
from kit.design.verdict_forecast import (
    NextStep,
    VerdictForecast,
    curve_in_words,
    fewer_would_do,
    forecast_verdicts,
    next_step,
    verdict_curve,
    what_to_expect,
)

__all__ = [
    "NEXT_TILES",
    "Costs",
    "Efficiency",
    "Fraction",
    "Limits",
    "NextStep",
    "Plan",
    "Precision",
    "Saving",
    "StandardDeviations",
    "TileFormat",
    "VerdictForecast",
    "copper_needed",
    "costs",
    "counter_enamel_g",
    "curve_in_words",
    "doses",
    "efficiency",
    "enamel_needed",
    "fewer_would_do",
    "forecast_verdicts",
    "fraction",
    "held_in_words",
    "next_patches",
    "next_step",
    "optimal",
    "order_of_work",
    "patch_grams",
    "plan",
    "plan_more",
    "precision",
    "relative_efficiency",
    "replan",
    "saving",
    "stripe_grams",
    "survey",
    "verdict_curve",
    "weighed",
    "what_to_expect",
]
