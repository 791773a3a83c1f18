"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.efficiency import Efficiency, RelativeEfficiency, efficiency, relative_efficiency
from kit.design.fraction import Fraction, fraction
from kit.design.optimal import optimal
from kit.design.plan import Plan, plan

__all__ = [
    "Efficiency",
    "Fraction",
    "Plan",
    "RelativeEfficiency",
    "efficiency",
    "fraction",
    "optimal",
    "plan",
    "relative_efficiency",
]
