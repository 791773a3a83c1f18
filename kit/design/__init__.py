"""What to fire: fractions, optimal split plots, pair surveys, precision and order of work."""

from kit.design.efficiency import Efficiency, RelativeEfficiency, efficiency, relative_efficiency
from kit.design.fraction import Fraction, fraction
from kit.design.next_patches import next_patches
from kit.design.optimal import optimal
from kit.design.plan import Plan, plan
from kit.design.spreads import Spreads
from kit.design.survey import survey

__all__ = [
    "Efficiency",
    "Fraction",
    "Plan",
    "RelativeEfficiency",
    "Spreads",
    "efficiency",
    "fraction",
    "next_patches",
    "optimal",
    "plan",
    "relative_efficiency",
    "survey",
]
