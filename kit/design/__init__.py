"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.optimal_design.d_efficiency import Efficiency, RelativeEfficiency, efficiency, relative_efficiency
from kit.design.fitted_spreads import fitted_spreads
from kit.design.fractions.fractional import Fraction, fraction
from kit.design.surveys.choose_next import next_patches
from kit.design.optimal_design.split_plot import optimal
from kit.design.layout.bench_order import order_of_work
from kit.design.plan_series import Plan, plan
from kit.design.plan_series import NEXT_TILES, every_round, plan_series
from kit.design.power import Power, power
from kit.design.plan_precision import Precision, budget_curve, precision
from kit.design.layout.effort import Saving, saving
from kit.design.spreads import Spreads
from kit.design.surveys.pair_survey import survey

__all__ = [
    "NEXT_TILES",
    "Efficiency",
    "Fraction",
    "Plan",
    "Power",
    "Precision",
    "RelativeEfficiency",
    "Saving",
    "Spreads",
    "budget_curve",
    "efficiency",
    "every_round",
    "fitted_spreads",
    "fraction",
    "next_patches",
    "optimal",
    "order_of_work",
    "plan",
    "plan_series",
    "power",
    "precision",
    "relative_efficiency",
    "saving",
    "survey",
]
