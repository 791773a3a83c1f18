"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.efficiency import Efficiency, RelativeEfficiency, efficiency, relative_efficiency
from kit.design.fitted_spreads import fitted_spreads
from kit.design.fraction import Fraction, fraction
from kit.design.next_patches import next_patches
from kit.design.optimal import optimal
from kit.design.order import order_of_work
from kit.design.plan import Plan, plan
from kit.design.plan_series import NEXT_TILES, every_round, plan_series
from kit.design.power import Power, power
from kit.design.precision import Precision, budget_curve, precision
from kit.design.saving import Saving, saving
from kit.design.spreads import Spreads
from kit.design.survey import survey

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
